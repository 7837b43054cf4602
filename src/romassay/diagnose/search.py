"""The search for the order of the lines: which of all makes the bytes read as code.

All 40,320 orders of the data lines, upright and inverted, are weighed by how often each byte value occurs, which no
order of the address lines changes. For the best of them the best of all orders of the address lines is found, by which
byte follows which: the score of a line depends only on the set of lines below it, so that the best order of n lines is
found exactly in 2**n steps. Last, the few best are read as instructions, with their jumps, and improved by exchanging
pairs of lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cache, lru_cache
from itertools import combinations
from math import log

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, adjacent_weights, byte_scores, byte_weights
from romassay.cpus.model import Name
from romassay.diagnose.hidden import Hidden, filled_in, hidden_pairs, may_be
from romassay.diagnose.order import Order, choices, every_order, exchanged, put_right, straight
from romassay.diagnose.reads import Sense, filler, likely_cpus, sense
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

STAYS = 0.97
"""Chance that filling follows filling in its right order."""

PADDED = 6
"""It is padding where it is more than one byte in so many."""

EACH = 3
"""Of those weighed by pairs, the best that are followed up for each CPU: the tables of some are kinder than others'."""

FOLLOWED = 12
"""Of all of them, the best that are."""

BEAM = 150
"""Sets of address lines of each size that are followed up."""

WORTH = 4
"""Exchanges of two lines that are read as instructions, of all that are weighed."""

REFINED = 6
"""Candidates that are read as instructions and improved, of all."""

OWN = 2
"""The same of each CPU's own."""

PIECE = 1024
"""Bytes of the piece of an image that is read in many orders."""

MOST_PIECES = 100
"""Orders of the data lines that suit the histogram best, for each CPU, in which it is."""

READ_PIECES = 4
"""Of these, those that are followed up."""

TEMPER = 0.35
"""The score counts neighbouring bytes as independent, which they are not: so much of it counts as evidence."""

PRIOR = log(0.02)
"""Natural logarithm of the odds that some line of a rig is in the wrong place, before anything is read."""


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """An image as it was read.

    Attributes:
        value: its bytes.
        hidden: what a faulty data line hides of them, or None.
    """

    value: Bytes
    hidden: Hidden | None = None

    @property
    def lines(self) -> int:
        """How many address lines it has."""
        return len(self.value).bit_length() - 1

    def behind(self, order: Order) -> Hidden | None:
        """Return what is hidden of the specimen's own lines."""
        return self.hidden.behind(order.data, inverted=order.inverted) if self.hidden else None

    def adjacent(self, order: Order, name: Name) -> float:
        """Return how well neighbouring bytes follow each other in an order, in nats."""
        wide = put_right(self.value, order).astype(np.int32)
        pairs = _pairs(name, _padding(self.value ^ np.uint8(0xFF * order.inverted)), self.behind(order))
        return float(pairs[wide[:-1] << 8 | wide[1:]].sum()) / SCALE

    def sense(self, order: Order, name: Name) -> Sense:
        """Return how well the bytes read as code in an order, the filling counted for standing together."""
        right, hidden = put_right(self.value, order), self.behind(order)
        read = sense(right if hidden is None else filled_in(right, hidden, name), name)
        return replace(read, score=read.score + in_runs(right))

    def as_it_is(self) -> Sense:
        """Return how well the bytes read as code with every line in place."""
        same = straight(self.lines)
        return max((self.sense(same, name) for name in likely_cpus(self.value, 3)), key=lambda read: read.score)


def search(read: Read, own: Sense) -> tuple[Order, Sense]:
    """Return the order of the lines that makes an image read best, and how well it then reads.

    Args:
        read: the image as it was read.
        own: how well it reads as it is.
    """
    best = straight(read.lines), own
    for candidates in (_likeliest, _by_instructions):
        for order, cpu in candidates(read, own):
            better = refined(read, order, cpu)
            if better[1].score > best[1].score:
                best = better
        if best[1].well:
            break
    return best


def _likeliest(read: Read, own: Sense) -> Iterator[tuple[Order, Name]]:
    """Yield the orders that histogram and neighbouring bytes speak for, the one as it is among them."""
    same = tuple(range(read.lines))
    orders = [*_data_orders(read), *((tuple(range(8)), upside, name) for name in FAMILIES for upside in (False, True))]
    pool = _pooled(read, orders)
    for name in dict.fromkeys((own.cpu, *likely_cpus(read.value, 1))):
        pool[straight(read.lines)] = read.adjacent(straight(read.lines), name), name
    yield from ((Order(data, inverted, same), cpu) for data, inverted, cpu in _nearly_straight(read))
    yield from ((order, pool[order][1]) for order in _foremost(pool))
    for upside in (False, True):
        counts = _counts(read.value)[:: -1 if upside else 1]
        for at in np.argsort(-byte_scores(counts))[:STRAIGHT]:
            yield Order(tuple(range(8)), upside, same[::-1]), NAMES[int(at)]


def _by_instructions(read: Read, _: Sense) -> Iterator[tuple[Order, Name]]:
    """Yield the orders of the data lines under which a piece of the image reads best, all address lines in place."""
    piece = Read(_fullest(read.value), read.hidden)
    every = every_order()[0]
    same, inside = tuple(range(read.lines)), tuple(range(piece.lines))
    tried: list[tuple[float, Order, Name]] = []
    for name in FAMILIES:
        flat = _by_histogram(_counts(read.value), name, read.hidden).ravel()
        best = np.argpartition(-flat, MOST_PIECES)[:MOST_PIECES]
        for at in best[np.argsort(-flat[best], kind="stable")].tolist():
            turned, number = divmod(at, len(every))
            order = Order(tuple(every[number].tolist()), bool(turned), inside)
            tried.append((-piece.sense(order, name).score, order, name))
    tried.sort(key=lambda item: item[0])
    yield from ((replace(order, address=same), name) for _, order, name in tried[:READ_PIECES])


def _pooled(read: Read, orders: Iterable[tuple[tuple[int, ...], bool, Name]]) -> dict[Order, tuple[float, Name]]:
    """Return orders of data lines with the address lines in place, and in their best order: scores and CPUs."""
    same = tuple(range(read.lines))
    pool: dict[Order, tuple[float, Name]] = {}
    for data, inverted, cpu in orders:
        turned = Order(data, inverted, same)
        for address in {same, _address_order(put_right(read.value, turned), cpu, read.behind(turned))}:
            order = Order(data, inverted, address)
            score = read.adjacent(order, cpu)
            if order not in pool or pool[order][0] < score:
                pool[order] = score, cpu
    return pool


def _fullest(value: Bytes) -> Bytes:
    """Return the piece of an image with the most different bytes, uint8[PIECE] or less."""
    pieces = value.reshape(-1, min(PIECE, len(value)))
    fullest: Bytes = max(pieces, key=lambda piece: len(np.unique(piece)))
    return fullest


def _counts(value: Bytes) -> Index:
    """Return how often each byte occurs, without what fills the image, int64[256]."""
    counts = np.bincount(value, minlength=256)
    for filling in (0x00, 0xFF):
        counts[filling] *= counts[filling] * FILLING < len(value)
    return counts


def _foremost(pool: Mapping[Order, tuple[float, Name]]) -> list[Order]:
    """Return the orders whose bytes follow each other best, and for each CPU the best of its own."""
    ordered = sorted(pool, key=lambda order: -pool[order][0])
    own = [[order for order in ordered if pool[order][1] == name][:OWN] for name in FAMILIES]
    return list(dict.fromkeys([*ordered[:REFINED], *(order for few in own for order in few)]))


@dataclass(frozen=True, slots=True)
class _Padding:
    """The filling of an image that is padded with it, and how many sixteenths of the image it is."""

    byte: int
    share: int

    def weights(self) -> tuple[float, float, float]:
        """Return the nats, against any order, for filling behind filling, for its beginning and for its end."""
        part = self.share / 16
        return log(STAYS / part), log((1 - STAYS) / part), log((1 - STAYS) / (1 - part))


@lru_cache(maxsize=256)
def _pairs(name: Name, padding: _Padding | None = None, hidden: Hidden | None = None) -> npt.NDArray[np.int32]:
    """Return what a byte behind another scores, int32[65536]; two of the same say nothing, but padding is in one."""
    weights = hidden_pairs(name, hidden).copy() if hidden else adjacent_weights(name).astype(np.int32)
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


def _data_orders(read: Read) -> Iterator[tuple[tuple[int, ...], bool, Name]]:
    """Yield the orders of the data lines that suit the bytes best, for each CPU, and the one as it is.

    All are weighed by the histogram. The best of these are weighed by pairs of bytes: whatever the order of the address
    lines, across one of them stand the bytes that follow each other.
    """
    every, becomes = every_order()
    counts, pairs = _counts(read.value), _line_pairs(read.value)
    ranked: list[tuple[int, Name]] = []
    paired: list[tuple[int, int, Name]] = []
    for name in FAMILIES:
        flat = _by_histogram(counts, name, read.hidden).ravel()
        best = np.argpartition(-flat, WEIGHED)[:WEIGHED]
        best = best[np.argsort(-flat[best], kind="stable")]
        simple = _simple_orders()
        ranked += [(int(at), name) for at in best[:KEPT]]
        behind = {at: _behind(read.hidden, at) for at in {*best.tolist(), *simple}}
        for at in sorted(behind, key=lambda at: repr(behind[at])):  # tables are made in turn
            turned, number = divmod(at, len(every))
            table = becomes[:, number].astype(np.int64)
            suits = _best_line(table[::-1] if turned else table, pairs, _pairs(name, None, behind[at]))
            paired.append((-suits - SIMPLE * (at in simple), at, name))
    paired.sort()
    each = [(at, name) for own in FAMILIES for at, name in [(at, name) for _, at, name in paired if name == own][:EACH]]
    for at, name in dict.fromkeys([*ranked, *each, *((at, name) for _, at, name in paired[:FOLLOWED])]):
        turned, number = divmod(at, len(every))
        yield tuple(int(n) for n in every[number]), bool(turned), name
    yield from ((tuple(range(8)), False, name) for name in likely_cpus(read.value, 2))


def _behind(hidden: Hidden | None, at: int) -> Hidden | None:
    """Return what is hidden of the specimen's own lines in one of all orders, the upright ones first."""
    every, _ = every_order()
    turned, number = divmod(at, len(every))
    return hidden.behind(every[number].tolist(), inverted=bool(turned)) if hidden else None


def _by_histogram(counts: Index, name: Name, hidden: Hidden | None) -> npt.NDArray[np.int32]:
    """Return how well each order of the data lines suits a histogram, upright and inverted, int32[2, 40320]."""
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


def _nearly_straight(read: Read) -> list[tuple[tuple[int, ...], bool, Name]]:
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
    upside_down = [((1, 0), name) for name in likely_cpus(~read.value, STRAIGHT)]
    chosen = [*((divmod(at, len(every)), name) for _, at, name in best[:STRAIGHT]), *upside_down]
    return [(tuple(int(n) for n in every[number]), bool(turned), name) for (turned, number), name in chosen]


def nearly_right(read: Read, own: Sense) -> tuple[Order, Sense]:
    """Return the best order with no more than two data lines exchanged, the one as it is among them."""
    same = straight(read.lines)
    tried = [(Order(data, inverted, same.address), name) for data, inverted, name in _nearly_straight(read)]
    senses = [(order, read.sense(order, name)) for order, name in tried]
    return max([(same, own), *senses], key=lambda pair: pair[1].score)


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


def _best_line(table: Index, pairs: Sequence[tuple[Index, Index]], weights: npt.NDArray[np.int32]) -> int:
    """Return how well the bytes across that address line follow each other where they do so best."""
    return max(int(weights[table[low] << 8 | table[high]].sum()) for low, high in pairs)


def _address_order(value: Bytes, name: Name, hidden: Hidden | None = None) -> tuple[int, ...]:
    """Return the order of the address lines under which neighbouring bytes score best, of all that a wide beam reaches.

    Where the lines below one are known as a set, so are the pairs of bytes across it: from all of them high and it low,
    to all of them low and it high. So the best order of a set is the best order of the set without its highest line.
    """
    lines = len(value).bit_length() - 1
    weights = _pairs(name, _padding(value), hidden)
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


def refined(read: Read, order: Order, name: Name) -> tuple[Order, Sense]:
    """Improve an order by exchanging pairs of lines as long as the bytes read better."""
    best = order, read.sense(order, name)
    improved = True
    while improved:
        improved = False
        for other in _neighbours(read, *best):
            tried = read.sense(other, name)
            if tried.score > best[1].score:
                best, improved = (other, tried), True
                break
    return best


def simplest(read: Read, order: Order, own: Sense, better: Sense) -> tuple[Order, Sense]:
    """Put lines back in place as long as what the bytes then lose is less than the simpler order is likelier."""
    lines = len(order.address)
    best = order, better
    improved = True
    while improved:
        improved = False
        for other in _simpler(best[0]):
            tried = read.sense(other, best[1].cpu)
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


def _neighbours(read: Read, order: Order, own: Sense) -> list[Order]:
    """Return the most promising exchanges of two lines, by neighbouring bytes and by jumps that would arrive."""
    weighed: list[tuple[float, Order]] = []
    for a, b in combinations(range(len(order.address)), 2):
        other = Order(order.data, order.inverted, exchanged(order.address, a, b))
        gain = own.jumps.gain_exchanged(a, b) - own.gain
        weighed.append((read.adjacent(other, own.cpu) + gain, other))
    for a, b in combinations(range(8), 2):
        other = Order(exchanged(order.data, a, b), order.inverted, order.address)
        weighed.append((read.adjacent(other, own.cpu), other))
    weighed.sort(key=lambda item: -item[0])
    return [other for _, other in weighed[:WORTH]]


def odds_of(order: Order, own: Sense, better: Sense, lines: int) -> float:
    """Return the logarithm of the odds that the lines are so, against their being right."""
    return PRIOR + TEMPER * (better.score - own.score) - choices(order, lines)
