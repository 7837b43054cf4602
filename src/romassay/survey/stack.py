"""All readings laid over each other, compactly: granules of sixteen addresses, present only where something was seen.

Bit operations on granule numbers are then bit operations on bus lines A4 and up, and a window spread over 4 GiB costs
no more than the bytes in it.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.address import Range
from romassay.reading import Bytes, Index, Reading
from romassay.survey.model import Function

GRANULE_LINES = 4

GRANULE = 1 << GRANULE_LINES

FEW_STRETCHES = 4096
"""More separate stretches than this are scattered byte by byte."""

ALL = np.uint8(0xFF)
"""All bits of a byte; where every byte is known, one stands for all."""

Bools = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True, eq=False)
class Stack:
    """Readings as dense planes over the granules that any of them saw.

    Attributes:
        bits: lines of the bus.
        granules: int64[G], granule numbers (address // 16), sorted.
        value: uint8[R, G, 16].
        known: uint8[R, G, 16], the bits that were seen; not to be written to.
    """

    bits: int
    granules: Index
    value: Bytes
    known: Bytes

    def positions(self, granules: Index) -> Index:
        """Return where each granule number stands in the stack, -1 where it was not seen."""
        if not len(self.granules):
            return np.full(len(granules), -1, np.int64)
        at = np.minimum(np.searchsorted(self.granules, granules), len(self.granules) - 1)
        return np.where(self.granules[at] == granules, at, -1)

    def answered(self, functions: Sequence[Function]) -> Bools:
        """Tell at which granules a copy of one of the functions stands, bool[g]."""
        found = np.zeros(len(self.granules), np.bool_)
        for function in functions:
            wide = max(1, function.size // GRANULE)
            numbers = (np.array([c.first // GRANULE for c in function.copies])[:, None] + np.arange(wide)).ravel()
            at = self.positions(numbers)
            found[at[at >= 0]] = True
        return found

    def partners(self, line: int) -> Index:
        """Return, for each granule, where the granule stands that differs in one bus line; -1 where it was not seen."""
        wanted = self.granules ^ (1 << (line - GRANULE_LINES))
        count = len(self.granules)
        span = int(self.granules[-1]) - int(self.granules[0]) + 1 if count else 0
        if span == count:
            at = wanted - self.granules[0]
            return np.where((at >= 0) & (at < count), at, -1)
        return self.positions(wanted)


def counted(flags: Bools) -> Index:
    """Return how many of each granule's bytes are marked, int64[n], from bool[n, 16]: its flags as two words."""
    words = np.bitwise_count(np.ascontiguousarray(flags).view(np.uint64))
    return (words[:, 0] + words[:, 1]).astype(np.int64)


def granules_seen(readings: Sequence[Reading]) -> Index:
    """Return the numbers of the granules in which any reading saw an address, sorted."""
    runs = np.concatenate([np.zeros((0, 4), np.int64), *(reading.runs for reading in readings)])
    runs = runs[runs[:, 2] > 0]
    first, last = runs[:, 0] >> GRANULE_LINES, (runs[:, 0] + runs[:, 2] - 1) >> GRANULE_LINES
    order = np.argsort(first, kind="stable")
    first, end = first[order], np.maximum.accumulate(last[order]) + 1
    first = np.maximum(first, np.r_[0, end[:-1]])[: len(first)]
    count = np.maximum(0, end - first)
    numbers: Index = np.arange(int(count.sum())) + np.repeat(first - (np.cumsum(count) - count), count)
    return numbers


def stack(
    readings: Sequence[Reading], bits: int, excluded: Sequence[Range] = (), granules: Index | None = None
) -> Stack:
    """Lay readings over each other.

    Args:
        readings: R of them.
        bits: lines of the bus.
        excluded: addresses taken as not seen.
        granules: the granules to hold; those that any reading saw, where not given.
    """
    held = granules_seen(readings) if granules is None else granules
    value = np.zeros((len(readings), len(held) * GRANULE), np.uint8)
    known = np.zeros((len(readings), len(held) * GRANULE), np.uint8)
    for row, reading in enumerate(readings):
        _lay(reading, held, value[row], known[row])
    if len(held):
        for item in excluded:
            known[:, _inside(held, item)] = 0
    shape = (len(readings), len(held), GRANULE)
    if known.size and all(plane.min() == ALL for plane in known):
        return Stack(bits, held, value.reshape(shape), np.broadcast_to(ALL, shape))
    return Stack(bits, held, value.reshape(shape), known.reshape(shape))


def _inside(held: Index, item: Range) -> Bools:
    address = (held[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    inside: Bools = (address >= item.first) & (address <= item.last)
    return inside


def _lay(reading: Reading, held: Index, value: Bytes, known: Bytes) -> None:
    """Write one reading into its plane; what it saw twice with different outcomes is known only where it agrees."""
    if not len(reading.value) or not len(held) or _laid_in_stretches(reading, held, value, known):
        return
    address = reading.addresses()
    at = (
        np.minimum(np.searchsorted(held, address >> GRANULE_LINES), len(held) - 1)
        if _gaps(held)
        else ((address >> GRANULE_LINES) - held[0])
    )
    inside = (at >= 0) & (at < len(held))
    inside &= held[np.clip(at, 0, len(held) - 1)] == address >> GRANULE_LINES
    flat = at * GRANULE + (address & (GRANULE - 1))
    seen, bits = reading.value, reading.known_bits()
    if not inside.all():
        flat, seen, bits = flat[inside], seen[inside], bits[inside]
    value[flat] = seen
    known[flat] = bits
    if len(flat) > np.count_nonzero(known):
        _reconcile(reading, flat, seen, bits, value, known)


def _laid_in_stretches(reading: Reading, held: Index, value: Bytes, known: Bytes) -> bool:
    """Copy a reading whose addresses only go up, stretch by stretch; False where that can't be done."""
    runs = reading.runs
    starts = np.flatnonzero(np.r_[True, np.diff(runs[:, 0] - runs[:, 1]) != 0])
    first, start = runs[starts, 0], runs[starts, 1]
    last = runs[np.r_[starts[1:], len(runs)] - 1]
    end = last[:, 0] + last[:, 2]
    if len(starts) > FEW_STRETCHES or (first[1:] < end[:-1]).any() or (np.diff(runs[:, 0]) <= 0).any():
        return False
    if not _gaps(held):
        cut = np.maximum(first, int(held[0]) * GRANULE) - first
        first, start, end = first + cut, start + cut, np.minimum(end, (int(held[-1]) + 1) * GRANULE)
        inside = first < end
        first, start, end = first[inside], start[inside], end[inside]
    at = np.searchsorted(held, first >> GRANULE_LINES)
    at_end = np.searchsorted(held, (end - 1) >> GRANULE_LINES)
    wide = ((end - 1) >> GRANULE_LINES) - (first >> GRANULE_LINES)
    if (at_end >= len(held)).any() or (held[at_end] != (end - 1) >> GRANULE_LINES).any() or (at_end - at != wide).any():
        return False
    for place, address, begin, count in zip(at, first, start, end - first, strict=True):
        to = int(place) * GRANULE + int(address) % GRANULE
        value[to : to + count] = reading.value[begin : begin + count]
        known[to : to + count] = 0xFF if reading.known is None else reading.known[begin : begin + count]
    return True


def _gaps(held: Index) -> bool:
    return int(held[-1]) - int(held[0]) + 1 != len(held)


def _reconcile(reading: Reading, flat: Index, seen: Bytes, bits: Bytes, value: Bytes, known: Bytes) -> None:
    """Settle what one reading itself says more than once: a trace by the majority of its cycles, a log not at all."""
    differs = (value[flat] ^ seen) & known[flat] & bits
    np.bitwise_or.at(known, flat, bits)
    if not differs.any():
        return
    if reading.unit != "trace":
        clear = np.zeros_like(known)
        np.bitwise_or.at(clear, flat, differs)
        known &= ~clear
        return
    disputed = np.zeros(len(value), np.bool_)
    disputed[flat[differs != 0]] = True
    chosen = np.flatnonzero(disputed[flat])
    places, index = np.unique(flat[chosen], return_inverse=True)
    for bit in range(8):
        has = bits[chosen] >> bit & 1
        ones = np.bincount(index, weights=(seen[chosen] >> bit & 1) & has, minlength=len(places))
        total = np.bincount(index, weights=has, minlength=len(places))
        mask = np.uint8(1 << bit)
        value[places] = np.where(2 * ones > total, value[places] | mask, value[places] & ~mask)
        known[places] = np.where(2 * ones == total, known[places] & ~mask, known[places] | mask)
