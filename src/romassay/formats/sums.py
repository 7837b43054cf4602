"""The sums that lines of dumps carry, over many lines at once.

Forms after common practice in monitors and listings of the 1970s and 80s (common practice, no source): the plain sum,
its complements, exclusive or; over the data, or over the address as well; 8 or 16 bits of it.
CRC-16 in three common parameter sets: ITU-T V.41 (polynomial 1021, initial value 0000 or FFFF) and ARC (8005,
reflected).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np

from romassay.reading import Bytes, Index

Columns = Index
Values = Bytes


@dataclass(frozen=True, slots=True)
class Kind:
    """One way to sum a line up.

    Attributes:
        name: in the layout's notation.
        bits: of the result.
        total: of (address bytes and data) as uint8[lines, n]: int64[lines], not yet cut to `bits`.
        address_bytes: so many low bytes of the printed address count.
        with_count: the number of data bytes counts.
    """

    name: str
    bits: int
    total: Callable[[Values], Columns]
    address_bytes: int = 0
    with_count: bool = False

    def of(self, address: Columns, data: Values) -> Columns:
        """Return each line's sum, int64[lines], from the printed address and the bytes, uint8[lines, n]."""
        front: list[Bytes] = []
        if self.with_count:
            front.append(np.full((len(data), 1), data.shape[1] & 0xFF, np.uint8))
        for i in reversed(range(self.address_bytes)):
            front += [(address >> 8 * i & 0xFF).astype(np.uint8)[:, None]]
        summed = np.concatenate([*front, data], axis=1) if front else data
        total: Columns = self.total(summed) & ((1 << self.bits) - 1)
        return total


def _plain(data: Values) -> Columns:
    total: Columns = data.sum(axis=1, dtype=np.int64)
    return total


def _negative(data: Values) -> Columns:
    return -_plain(data)


def _inverted(data: Values) -> Columns:
    return ~_plain(data)


def _exclusive(data: Values) -> Columns:
    return np.bitwise_xor.reduce(data, axis=1).astype(np.int64) if data.shape[1] else np.zeros(len(data), np.int64)


def _folded(data: Values) -> Columns:
    """Add with end-around carry: the ones'-complement sum."""
    total = _plain(data)
    for _ in range(4):
        total = (total & 0xFF) + (total >> 8)
    return total


def _words(order: str) -> Callable[[Values], Columns]:
    def total(data: Values) -> Columns:
        even = data if data.shape[1] % 2 == 0 else np.pad(data, ((0, 0), (0, 1)))
        high, low = (0, 1) if order == "big" else (1, 0)
        upper: Columns = even[:, high::2].sum(axis=1, dtype=np.int64)
        lower: Columns = even[:, low::2].sum(axis=1, dtype=np.int64)
        return (upper << 8) + lower

    return total


@cache
def _table(polynomial: int, reflected: bool) -> Columns:
    table = []
    for value in range(256):
        crc = value if reflected else value << 8
        for _ in range(8):
            if reflected:
                crc = crc >> 1 ^ (polynomial if crc & 1 else 0)
            else:
                crc = (crc << 1 ^ (polynomial if crc & 0x8000 else 0)) & 0xFFFF
        table.append(crc)
    return np.array(table, np.int64)


def _crc(polynomial: int, start: int, reflected: bool) -> Callable[[Values], Columns]:
    def total(data: Values) -> Columns:
        table = _table(polynomial, reflected)
        crc = np.full(len(data), start, np.int64)
        for column in data.T.astype(np.int64):
            crc = crc >> 8 ^ table[(crc ^ column) & 0xFF] if reflected else crc << 8 & 0xFFFF ^ table[crc >> 8 ^ column]
        return crc

    return total


def _kinds() -> dict[str, Kind]:
    simple = (("add", _plain), ("neg", _negative), ("inv", _inverted))
    kinds = [Kind(f"{name}8", 8, total) for name, total in simple]
    kinds += [Kind("xor8", 8, _exclusive), Kind("xinv8", 8, lambda data: ~_exclusive(data)), Kind("fold8", 8, _folded)]
    kinds += [Kind(f"{name}16", 16, total) for name, total in simple]
    kinds += [Kind("words-big16", 16, _words("big")), Kind("words-little16", 16, _words("little"))]
    with_address = [Kind(f"{k.name}-address", k.bits, k.total, 2) for k in kinds]
    with_count = [Kind(f"{k.name}-count", k.bits, k.total, 2, with_count=True) for k in kinds[:9]]
    with_count_alone = [Kind(f"{k.name}-length", k.bits, k.total, with_count=True) for k in kinds[:9]]
    with_long_address = [Kind(f"{k.name}-address32", k.bits, k.total, 4) for k in kinds]
    crcs = [
        Kind("crc16-v41", 16, _crc(0x1021, 0x0000, False)),
        Kind("crc16-v41-ffff", 16, _crc(0x1021, 0xFFFF, False)),
        Kind("crc16-arc", 16, _crc(0xA001, 0x0000, True)),
    ]
    return {
        kind.name: kind for kind in (*kinds, *with_address, *with_count, *with_count_alone, *with_long_address, *crcs)
    }


KINDS = _kinds()
"""All kinds by name, the likelier ones first."""
