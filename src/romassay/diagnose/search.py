"""The search for the order of the lines: which of all makes the bytes read as code.

All 40,320 orders of the data lines, upright and inverted, are weighed by how often each byte value occurs, which no
order of the address lines changes. For the best of them the best of all orders of the address lines is found, by which
byte follows which: the score of a line depends only on the set of lines below it, so that the best order of n lines is
found exactly in 2**n steps. Last, the few best are read as instructions, with their jumps, and improved by exchanging
pairs of lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations
from math import log

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, adjacent_weights, byte_weights
from romassay.cpus.model import Name
from romassay.diagnose.evidence import filler
from romassay.diagnose.order import Order, choices, every_order, exchanged, put_right, straight
from romassay.diagnose.reads import Sense, likely_cpus, sense
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

KEPT = 4
"""Orders of the data lines that are looked at by the histogram alone, for each CPU."""

FILLING = 12
"""00 or FF, which no order of the data lines changes, is filling where it is more than one byte in so many."""

STAYS = 0.97
"""Chance that filling follows filling in its right order."""

PADDED = 6
"""It is padding where it is more than one byte in so many."""

FOLLOWED = 12
"""Of either way of weighing, those that are followed up."""

BEAM = 150
"""Sets of address lines of each size that are followed up."""

WORTH = 4
"""Exchanges of two lines that are read as instructions, of all that are weighed."""

REFINED = 10
"""Candidates that are read as instructions and improved."""

TEMPER = 0.35
"""The score counts neighbouring bytes as independent, which they are not: so much of it counts as evidence."""

PRIOR = log(0.02)
"""Natural logarithm of the odds that some line of a rig is in the wrong place, before anything is read."""


def search(value: Bytes, own: Sense) -> tuple[Order, Sense]:
    """Return the order of the lines that makes an image read best, and how well it then reads.

    Args:
        value: the image as it was read.
        own: how well it reads as it is.
    """
    lines = len(value).bit_length() - 1
    pool: dict[Order, tuple[float, Name]] = {}
    same = tuple(range(lines))
    for data, inverted, cpu in _data_orders(value):
        turned = put_right(value, Order(data, inverted, same))
        for address in {same, _address_order(turned, cpu)}:
            order = Order(data, inverted, address)
            score = _adjacent(put_right(value, order), cpu)
            if order not in pool or pool[order][0] < score:
                pool[order] = score, cpu
    for name in dict.fromkeys((own.cpu, *likely_cpus(value, 1))):
        pool[straight(lines)] = _adjacent(value, name), name
    best = straight(lines), own
    near = [(Order(data, inverted, same), cpu) for data, inverted, cpu in _nearly_straight(value)]
    far = [(order, pool[order][1]) for order in sorted(pool, key=lambda order: -pool[order][0])[:REFINED]]
    for order, cpu in (*near, *far):
        better = refined(value, order, cpu)
        if better[1].score > best[1].score:
            best = better
    return best


@dataclass(frozen=True, slots=True)
class _Padding:
    """The filling of an image that is padded with it, and how many sixteenths of the image it is."""

    byte: int
    share: int

    def weights(self) -> tuple[float, float, float]:
        """Return the nats, against any order, for filling behind filling, for its beginning and for its end."""
        part = self.share / 16
        return log(STAYS / part), log((1 - STAYS) / part), log((1 - STAYS) / (1 - part))


@cache
def _pairs(name: Name, padding: _Padding | None = None) -> npt.NDArray[np.int32]:
    """Return what a byte behind another scores, int32[65536]; two of the same say nothing, but padding is in one."""
    weights = adjacent_weights(name).astype(np.int32)
    np.fill_diagonal(weights, 0)
    if padding is not None:
        inside, begins, ends = (round(SCALE * nats) for nats in padding.weights())
        weights[:, padding.byte] = begins
        weights[padding.byte] = ends
        weights[padding.byte, padding.byte] = inside
    return weights.ravel()


def _padding(value: Bytes) -> _Padding | None:
    """Return the filling of an image that is padded with it: in a wrong order it stands beside anything."""
    blank = filler(value)
    count = np.count_nonzero(value == blank) if blank is not None else 0
    if blank is None or count * PADDED < len(value):
        return None
    return _Padding(blank, min(15, max(1, round(16 * count / len(value)))))


def in_runs(value: Bytes) -> float:
    """Return how much the filling stands together, in nats against any order; 0 where there is little of it."""
    padding = _padding(value)
    if padding is None:
        return 0.0
    filled = value == padding.byte
    inside, begins, ends = padding.weights()
    both = np.count_nonzero(filled[1:] & filled[:-1])
    return float(
        both * inside
        + np.count_nonzero(filled[1:] & ~filled[:-1]) * begins
        + np.count_nonzero(~filled[1:] & filled[:-1]) * ends
    )


def _sense(value: Bytes, name: Name) -> Sense:
    """Return how well bytes read as code, the filling counted for standing together."""
    read = sense(value, name)
    return replace(read, score=read.score + in_runs(value))


def _adjacent(value: Bytes, name: Name) -> float:
    wide = value.astype(np.int32)
    return float(_pairs(name, _padding(value))[wide[:-1] << 8 | wide[1:]].sum()) / SCALE


def _data_orders(value: Bytes) -> Iterator[tuple[tuple[int, ...], bool, Name]]:
    """Yield the orders of the data lines that suit the bytes best, for each CPU, and the one as it is.

    All are weighed by the histogram. The best of these are weighed by pairs of bytes: whatever the order of the address
    lines, across one of them stand the bytes that follow each other.
    """
    every, becomes = every_order()
    counts = np.bincount(value, minlength=256)
    for filling in (0x00, 0xFF):
        counts[filling] *= counts[filling] * FILLING < len(value)
    weights = byte_weights()
    pairs = _line_pairs(value)
    ranked: list[tuple[int, int, int, Name]] = []
    paired: list[tuple[int, int, Name]] = []
    for name in FAMILIES:
        row = weights[NAMES.index(name)].astype(np.int32)
        total = np.zeros((2, len(every)), np.int32)
        for byte in np.flatnonzero(counts + counts[::-1]):
            scores = row[becomes[byte]]
            for inverted in (0, 1):
                total[inverted] += int(counts[byte ^ (0xFF * inverted)]) * scores
        flat = total.ravel()
        best = np.argpartition(-flat, WEIGHED)[:WEIGHED]
        best = best[np.argsort(-flat[best], kind="stable")]
        simple = _simple_orders()
        ranked += [(rank, -int(flat[at]), int(at), name) for rank, at in enumerate(best[:KEPT])]
        for at in {*best.tolist(), *simple}:
            turned, number = divmod(at, len(every))
            table = becomes[:, number].astype(np.int64)
            suits = _best_line(table[::-1] if turned else table, pairs, name)
            paired.append((-suits - SIMPLE * (at in simple), at, name))
    ranked.sort()
    paired.sort()
    chosen = [(at, name) for _, _, at, name in ranked[:FOLLOWED]] + [(at, name) for _, at, name in paired[:FOLLOWED]]
    for at, name in dict.fromkeys(chosen):
        turned, number = divmod(at, len(every))
        yield tuple(int(n) for n in every[number]), bool(turned), name
    yield from ((tuple(range(8)), False, name) for name in likely_cpus(value, 2))


def _nearly_straight(value: Bytes) -> list[tuple[tuple[int, ...], bool, Name]]:
    """Return the best of the orders in which all address lines are right and two data lines are exchanged, at most.

    Data that are inverted and no more are among them, for the CPUs that they suit best.
    """
    every, becomes = every_order()
    tried: list[tuple[float, int, Name, Bytes]] = []
    for at in sorted(_simple_orders()):
        turned, number = divmod(at, len(every))
        right = becomes[:, number][value ^ np.uint8(0xFF * turned)]
        tried += [(-_adjacent(right, name), at, name, right) for name in FAMILIES]
    tried.sort(key=lambda item: item[:3])
    read = sorted((-_sense(right, name).score, at, name) for _, at, name, right in tried[:READ])
    upside_down = [((1, 0), name) for name in likely_cpus(~value, STRAIGHT)]
    chosen = [*((divmod(at, len(every)), name) for _, at, name in read[:STRAIGHT]), *upside_down]
    return [(tuple(int(n) for n in every[number]), bool(turned), name) for (turned, number), name in chosen]


@cache
def _simple_orders() -> frozenset[int]:
    """Return which of all orders, upright and then inverted, have no more than two lines out of place."""
    every, _ = every_order()
    few = np.flatnonzero((every != np.arange(8)).sum(axis=1) <= 2)
    return frozenset(int(at) for at in (*few, *(few + len(every))))


def _line_pairs(value: Bytes) -> list[tuple[Index, Index]]:
    """Return, for each address line, bytes on its low side and on its high side, as int64; padding is left out."""
    lines = len(value).bit_length() - 1
    step = max(1, len(value) // 2 // MOST_PAIRS)
    low = _low(lines)[:, ::step]
    wide = value.astype(np.int64)
    padding = _padding(value)
    pairs = [(wide[low[line]], wide[low[line] | 1 << line]) for line in range(lines)]
    if padding is None:
        return pairs
    told = [(here != padding.byte) & (there != padding.byte) for here, there in pairs]
    return [(here[kept], there[kept]) for (here, there), kept in zip(pairs, told, strict=True)]


def _best_line(table: Index, pairs: Sequence[tuple[Index, Index]], name: Name) -> int:
    """Return how well the bytes across that address line follow each other where they do so best."""
    weights = _pairs(name)
    return max(int(weights[table[low] << 8 | table[high]].sum()) for low, high in pairs)


def _address_order(value: Bytes, name: Name) -> tuple[int, ...]:
    """Return the order of the address lines under which neighbouring bytes score best, of all that a wide beam reaches.

    Where the lines below one are known as a set, so are the pairs of bytes across it: from all of them high and it low,
    to all of them low and it high. So the best order of a set is the best order of the set without its highest line.
    """
    lines = len(value).bit_length() - 1
    weights = _pairs(name, _padding(value))
    wide = value.astype(np.int64)
    offset = np.arange(len(value))
    every = (1 << lines) - 1
    sets: dict[int, tuple[int, tuple[int, ...]]] = {0: (0, ())}
    for _ in range(lines):
        grown: dict[int, tuple[int, tuple[int, ...]]] = {}
        for below in sorted(sets, key=lambda known: -sets[known][0])[:BEAM]:
            so_far, order = sets[below]
            free = np.array([line for line in range(lines) if not below >> line & 1])
            rest = offset[offset & below == 0][_low(len(free))]
            pairs = wide[rest | below] << 8 | wide[rest | (1 << free)[:, None]]
            scores = weights[pairs].sum(axis=1)
            for line, score in zip(free, scores, strict=True):
                known = below | 1 << int(line)
                if known not in grown or grown[known][0] < so_far + int(score):
                    grown[known] = so_far + int(score), (*order, int(line))
        sets = grown
    return sets[every][1]


@cache
def _low(count: int) -> Index:
    """Return, for each of so many lines, the numbers over them in which it is low, int64[count, 2**(count - 1)]."""
    number = np.arange(1 << (count - 1))
    lines = np.arange(count)[:, None]
    low: Index = (number >> lines << lines + 1) | (number & ((1 << lines) - 1))
    return low


def refined(value: Bytes, order: Order, name: Name) -> tuple[Order, Sense]:
    """Improve an order by exchanging pairs of lines as long as the bytes read better."""
    best = order, _sense(put_right(value, order), name)
    improved = True
    while improved:
        improved = False
        for other in _neighbours(value, *best):
            tried = _sense(put_right(value, other), name)
            if tried.score > best[1].score:
                best, improved = (other, tried), True
                break
    return best


def simplest(value: Bytes, order: Order, own: Sense, better: Sense) -> tuple[Order, Sense]:
    """Put lines back in place as long as what the bytes then lose is less than the simpler order is likelier."""
    lines = len(order.address)
    best = order, better
    improved = True
    while improved:
        improved = False
        for other in _simpler(best[0]):
            tried = _sense(put_right(value, other), best[1].cpu)
            if odds_of(other, own, tried, lines) > odds_of(best[0], own, best[1], lines):
                best, improved = (other, tried), True
                break
    return best


def _simpler(order: Order) -> Iterator[Order]:
    """Yield the orders with all data lines in place, all address lines, or one line more."""
    same = straight(len(order.address))
    for simple in (replace(order, data=same.data), replace(order, address=same.address)):
        if simple != order:
            yield simple
    for line, bus in enumerate(order.address):
        if bus != line:
            yield replace(order, address=exchanged(order.address, line, order.address.index(line)))
    for bus, line in enumerate(order.data):
        if bus != line:
            yield replace(order, data=exchanged(order.data, bus, order.data.index(bus)))


def _neighbours(value: Bytes, order: Order, own: Sense) -> list[Order]:
    """Return the most promising exchanges of two lines, by neighbouring bytes and by jumps that would arrive."""
    weighed: list[tuple[float, Order]] = []
    for a, b in combinations(range(len(order.address)), 2):
        other = Order(order.data, order.inverted, exchanged(order.address, a, b))
        gain = own.jumps.gain_exchanged(a, b) - own.gain
        weighed.append((_adjacent(put_right(value, other), own.cpu) + gain, other))
    for a, b in combinations(range(8), 2):
        other = Order(exchanged(order.data, a, b), order.inverted, order.address)
        weighed.append((_adjacent(put_right(value, other), own.cpu), other))
    weighed.sort(key=lambda item: -item[0])
    return [other for _, other in weighed[:WORTH]]


def odds_of(order: Order, own: Sense, better: Sense, lines: int) -> float:
    """Return the logarithm of the odds that the lines are so, against their being right."""
    return PRIOR + TEMPER * (better.score - own.score) - choices(order, lines)
