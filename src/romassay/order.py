"""The order of the bytes in printed words, told from other readings or from a bus that says its address."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.reading import Reading, exchanged

TELLING = 16
"""Bytes that must speak for an order, beyond those that speak against it."""

CLEARLY = 4
"""How many times more must speak for an order than against it."""


def ordered(readings: Sequence[Reading]) -> tuple[Reading, ...]:
    """Return the readings with words put in order where anything tells how; the others keep their doubt.

    A reading whose order is known settles that of the others; so does a floating bus that says the low byte of its
    address, in which exchanged bytes stand out.
    """
    result = [_by_address(r) if r.source.unordered > 1 else r for r in readings]
    known = [r for r in result if r.source.unordered == 1]
    if not known:
        return tuple(result)
    return tuple(_by_others(r, known) if r.source.unordered > 1 else r for r in result)


def _settled(reading: Reading, as_printed: int, other_way: int) -> Reading:
    """Return the reading in the order that clearly more bytes speak for, or as it is."""
    if max(as_printed, other_way) < TELLING + CLEARLY * min(as_printed, other_way):
        return reading
    chosen = exchanged(reading) if other_way > as_printed else reading
    return replace(chosen, source=replace(chosen.source, unordered=1))


def _by_address(reading: Reading) -> Reading:
    address = reading.addresses()
    low = (address & 0xFF).astype(np.uint8)
    other = low ^ np.uint8(reading.source.unordered - 1)
    return _settled(reading, int(np.count_nonzero(reading.value == low)), int(np.count_nonzero(reading.value == other)))


def _by_others(reading: Reading, known: Sequence[Reading]) -> Reading:
    turned = exchanged(reading)
    as_printed = other_way = 0
    for one in known:
        order = np.argsort(one.addresses(), kind="stable")
        sorted_addresses = one.addresses()[order]
        if not len(order):
            continue
        at = np.minimum(np.searchsorted(sorted_addresses, reading.addresses()), len(order) - 1)
        both = sorted_addresses[at] == reading.addresses()
        theirs = one.value[order][at]
        differs = both & (reading.value != turned.value)
        as_printed += int(np.count_nonzero(differs & (reading.value == theirs)))
        other_way += int(np.count_nonzero(differs & (turned.value == theirs)))
    return _settled(reading, as_printed, other_way)
