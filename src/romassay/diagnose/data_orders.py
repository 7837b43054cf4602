"""The orders of the data lines that suit the bytes of an image: by how often each occurs, then by which follows which.

All 40,320 orders, upright and inverted, are weighed by how often each byte value occurs, which no order of the address
lines changes. The best of these are weighed by pairs of bytes: whatever the order of the address lines, across one of
them stand the bytes that follow each other.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cache, lru_cache

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, byte_weights
from romassay.cpus.model import Name
from romassay.diagnose.address_order import lows
from romassay.diagnose.as_read import Read, following, padding_of
from romassay.diagnose.hidden import Hidden, may_be
from romassay.diagnose.order import Order, every_order
from romassay.diagnose.reads import likely_cpus
from romassay.reading import Bytes, Index

FAMILIES: tuple[Name, ...] = ("65C02", "6801", "6809", "Z80", "8048", "8051", "1802")
"""CPUs whose bytes are weighed; the others share their codes with one of these."""

WEIGHED = 300
"""Orders of the data lines that suit the histogram best and are weighed by pairs of bytes, for each CPU."""

MOST_PAIRS = 512
"""Pairs of bytes across each address line that these are weighed by."""

READ = 16
"""Orders with all address lines in place that are read as instructions."""

STRAIGHT = 2
"""Of these, those that are followed up."""

SIMPLE = 200
"""Table units that no more than one exchange of data lines is given: it is so much likelier than any order."""

KEPT = 2
"""Orders of the data lines that are looked at by the histogram alone, for each CPU."""

FILLING = 12
"""00 or FF, which no order of the data lines changes, is filling where it is more than one byte in so many."""

BEST_OF_EACH = 3
"""Of those weighed by pairs, the best that are followed up for each CPU: the tables of some are kinder than others'."""

FOLLOWED = 12
"""Of all of them, the best that are."""


def data_orders(read: Read) -> Iterator[tuple[tuple[int, ...], bool, Name]]:
    """Yield the orders of the data lines that suit the bytes best, for each CPU, and the one as it is.

    All are weighed by the histogram. The best of these are weighed by pairs of bytes: whatever the order of the address
    lines, across one of them stand the bytes that follow each other.
    """
    every, becomes = every_order()
    counts, across = counts_of(read.left), Across.of(line_pairs(read.left))
    ranked: list[tuple[int, Name]] = []
    paired: list[tuple[int, int, Name]] = []
    for name in FAMILIES:
        flat = by_histogram(counts, name, read.hidden).ravel()
        best = np.argpartition(-flat, WEIGHED)[:WEIGHED]
        best = best[np.argsort(-flat[best], kind="stable")]
        simple = _simple_orders()
        ranked += [(int(at), name) for at in best[:KEPT]]
        behind = {at: _behind(read.hidden, at) for at in {*best.tolist(), *simple}}
        for at in sorted(behind, key=lambda at: repr(behind[at])):  # tables are made in turn
            turned, number = divmod(at, len(every))
            table = becomes[:, number].astype(np.int64)
            suits = across.best(table[::-1] if turned else table, following(name, None, behind[at]))
            paired.append((-suits - SIMPLE * (at in simple), at, name))
    paired.sort()
    each = [
        (at, name)
        for own in FAMILIES
        for at, name in [(at, name) for _, at, name in paired if name == own][:BEST_OF_EACH]
    ]
    for at, name in dict.fromkeys([*ranked, *each, *((at, name) for _, at, name in paired[:FOLLOWED])]):
        turned, number = divmod(at, len(every))
        yield tuple(int(n) for n in every[number]), bool(turned), name
    yield from ((tuple(range(8)), False, name) for name in likely_cpus(read.left, 2))


def counts_of(value: Bytes) -> Index:
    """Return how often each byte occurs, without what fills the image, int64[256]."""
    counts = np.bincount(value, minlength=256)
    for filling in (0x00, 0xFF):
        counts[filling] *= counts[filling] * FILLING < len(value)
    return counts


def _behind(hidden: Hidden | None, at: int) -> Hidden | None:
    """Return what is hidden of the specimen's own lines in one of all orders, the upright ones first."""
    every, _ = every_order()
    turned, number = divmod(at, len(every))
    return hidden.behind(every[number].tolist(), inverted=bool(turned)) if hidden else None


def by_histogram(counts: Index, name: Name, hidden: Hidden | None) -> npt.NDArray[np.int32]:
    """Return how well each order of the data lines suits a histogram, upright and inverted, int32[2, 40320]."""
    return _by_histogram(counts.astype(np.int64).tobytes(), name, hidden)


@lru_cache(maxsize=2 * len(FAMILIES))
def _by_histogram(histogram: bytes, name: Name, hidden: Hidden | None) -> npt.NDArray[np.int32]:
    counts = np.frombuffer(histogram, np.int64)
    every, becomes = every_order()
    row = byte_weights()[NAMES.index(name)].astype(np.int32)
    chance = np.exp(row / SCALE).astype(np.float32)
    total = np.zeros((2, len(every)), np.int32)
    for inverted in (0, 1):
        was = may_be(hidden.behind(range(8), inverted=bool(inverted))) if hidden else np.arange(256)[None]
        for byte in np.flatnonzero(counts):
            several = was[:, int(byte) ^ (0xFF * inverted)]
            if (several == several[0]).all():
                scores = row[becomes[several[0]]]
            else:
                scores = np.rint(np.log(sum(chance[becomes[one]] for one in several) / len(several)) * SCALE)
            total[inverted] += int(counts[byte]) * scores.astype(np.int32)
    return total


def nearly_straight(read: Read) -> list[tuple[tuple[int, ...], bool, Name]]:
    """Return the best of the orders in which all address lines are right and two data lines are exchanged, at most.

    Data that are inverted and no more are among them, for the CPUs that they suit best.
    """
    every, _ = every_order()
    same = tuple(range(read.lines))
    tried: list[tuple[float, int, Name, Order]] = []
    for at in sorted(_simple_orders()):
        turned, number = divmod(at, len(every))
        order = Order(tuple(int(n) for n in every[number]), bool(turned), same)
        tried += [(-read.adjacent(order, name), at, name, order) for name in FAMILIES]
    tried.sort(key=lambda item: item[:3])
    best = sorted((-read.sense(order, name).score, at, name) for _, at, name, order in tried[:READ])
    upside_down = [((1, 0), name) for name in likely_cpus(~read.left, STRAIGHT)]
    chosen = [*((divmod(at, len(every)), name) for _, at, name in best[:STRAIGHT]), *upside_down]
    return [(tuple(int(n) for n in every[number]), bool(turned), name) for (turned, number), name in chosen]


@cache
def _simple_orders() -> frozenset[int]:
    """Return which of all orders, upright and then inverted, have no more than two lines out of place."""
    every, _ = every_order()
    few = np.flatnonzero((every != np.arange(8)).sum(axis=1) <= 2)
    return frozenset(int(at) for at in (*few, *(few + len(every))))


def line_pairs(value: Bytes) -> list[tuple[Index, Index]]:
    """Return, for each address line, bytes on its low side and on its high side, as int64; padding is left out."""
    lines = len(value).bit_length() - 1
    step = max(1, len(value) // 2 // MOST_PAIRS)
    low = lows(lines)[:, ::step]
    wide = value.astype(np.int64)
    padding = padding_of(value)
    pairs = [(wide[low[line]], wide[low[line] | 1 << line]) for line in range(lines)]
    if padding is None:
        return pairs
    told = [(here != padding.byte) & (there != padding.byte) for here, there in pairs]
    return [(here[kept], there[kept]) for (here, there), kept in zip(pairs, told, strict=True)]


@dataclass(frozen=True, slots=True, eq=False)
class Across:
    """The pairs of bytes across every address line, one line's behind the other's, to be weighed at once.

    Attributes:
        low: int64[n], the bytes on the low side.
        high: int64[n], those on the high side.
        begins: int64[k], where each line's begin; lines without any are left out.
        bare: True where a line has none.
    """

    low: Index
    high: Index
    begins: Index
    bare: bool

    @classmethod
    def of(cls, pairs: Sequence[tuple[Index, Index]]) -> Across:
        """Return the pairs of `line_pairs`."""
        told = [pair for pair in pairs if len(pair[0])]
        none = np.zeros(0, np.int64)
        low, high = (np.concatenate([none, *(pair[side] for pair in told)]) for side in (0, 1))
        begins = np.cumsum([0, *(len(pair[0]) for pair in told)])[:-1]
        return cls(low, high, begins, len(told) < len(pairs))

    def best(self, table: Index, weights: npt.NDArray[np.int32]) -> int:
        """Return how well the bytes across that address line follow each other where they do so best.

        Args:
            table: int64[256], what each byte becomes.
            weights: what a byte behind another scores, int32[65536].
        """
        lines = np.add.reduceat(weights[table[self.low] << 8 | table[self.high]], self.begins) if len(self.low) else ()
        return max([*map(int, lines), *([0] if self.bare else [])])
