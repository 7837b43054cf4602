"""How the lines of an image are to be read: which line of the specimen arrives where, and whether bits are inverted."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache, lru_cache
from itertools import permutations
from math import lgamma, log

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index


@dataclass(frozen=True, slots=True)
class Order:
    """How the lines are to be read.

    Attributes:
        data: `data[i]` is the specimen's data line that arrives on bus line i.
        inverted: True where every bit arrives inverted.
        address: `address[i]` is the bus line that reaches the specimen's address line i.
    """

    data: tuple[int, ...]
    inverted: bool
    address: tuple[int, ...]


def straight(lines: int) -> Order:
    """Return the order in which nothing is wrong."""
    return Order(tuple(range(8)), False, tuple(range(lines)))


def put_right(value: Bytes, order: Order) -> Bytes:
    """Return an image as it stands in the specimen: lines put in order, data turned upright."""
    moved = value[sources(order, len(value))] ^ np.uint8(0xFF if order.inverted else 0)
    right: Bytes = data_table(order.data)[moved]
    return right


def sources(order: Order, size: int) -> Index:
    """Return where in the image as read each byte of the specimen stands, int64[size], not to be written to."""
    return _sources(order.address, size)


@lru_cache(maxsize=8)
def _sources(address: tuple[int, ...], size: int) -> Index:
    offset = np.arange(size)
    at = np.zeros(size, np.int64)
    for line, bus in enumerate(address):
        at |= (offset >> line & 1) << bus
    at.setflags(write=False)
    return at


@lru_cache(maxsize=4096)
def data_table(data: tuple[int, ...]) -> Bytes:
    """Return what each byte on the bus is in the specimen, uint8[256], not to be written to."""
    every = np.arange(256)
    out = np.zeros(256, np.uint8)
    for bus, own in enumerate(data):
        out |= ((every >> bus & 1) << own).astype(np.uint8)
    out.setflags(write=False)
    return out


@cache
def every_order() -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Return all orders of eight lines, uint8[40320, 8], and what each makes of every byte, uint8[256, 40320]."""
    every = np.array(list(permutations(range(8))), np.uint8)
    out = np.zeros((256, len(every)), np.uint8)
    for byte in range(1, 256):
        lowest = byte & -byte
        out[byte] = out[byte ^ lowest] | (np.uint8(1) << every[:, lowest.bit_length() - 1])
    return every, out


def exchanged(order: tuple[int, ...], a: int, b: int) -> tuple[int, ...]:
    """Return an order with two of its lines exchanged."""
    changed = list(order)
    changed[a], changed[b] = changed[b], changed[a]
    return tuple(changed)


def choices(order: Order, lines: int) -> float:
    """Return the logarithm of how many orders are as simple as this one."""
    moved = sum(bus != own for bus, own in enumerate(order.data))
    far = sum(bus != own for own, bus in enumerate(order.address))
    data = 0.0 if not moved else log(28) if moved == 2 else log(40320)
    address = 0.0 if not far else log(lines * (lines - 1) / 2) if far == 2 else lgamma(lines + 1)
    return data + address
