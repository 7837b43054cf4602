"""How large a function is: blocks grown from granules as long as the larger block still behaves as one thing.

A block is one thing when its granules answer alike to every line above it, no line inside it repeats it, and every line
inside it has something to say at both levels. A small neat block beside a large one (RAM or registers beside a ROM) is
not taken for its tail: code ends raggedly, memories end on a power of two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Index
from romassay.survey.bus import LOOSE
from romassay.survey.consensus import Consensus
from romassay.survey.ground import is_filling, padding
from romassay.survey.pairs import Ladder, Masks, Pairs
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools
from romassay.survey.states import BUS, CONTENT, STRUCTURED, UNSEEN, VOLATILE, Ground

STRAY = 0.1
"""Share of a block's granules that may behave otherwise: line noise in one granule must not break a ROM."""

FEW = 0.03
"""Share of granules that may repeat where the rest does not: chance makes few alike."""

MOSTLY = 4
"""Times as many granules that repeat across a line inside a block, as differ there, from which those that differ are a
counter's or a port's, and the block is a smaller one and its mirror."""

MIRRORED = 32
"""Bytes that must stand again across a line inside a block before that line is believed to be none of a function's
own: the registers of a combination chip, twice."""

NO_LINE = 63

LARGEST_NEAT = 8
"""Granules of RAM that may stand neatly beside a ROM and touch it: the 128 bytes of a combination chip (6532: data
sheet). More than that which touches it is its own."""

SMALL_TAIL = 2
"""Granules that may follow on a half without raggedness: less than any RAM of a combination chip."""

PATTERNED = 0.3
"""Share of a driven block that may be a pattern that repeats itself, and the whole still be one ROM with a table in it.
A combination chip's RAM and registers, all mirrors of them, fill half of the block that they share with its ROM."""

SUFFIX = 4
"""Granules at the end of a block that may stand alone after a blank stretch: vectors, a jump table."""


@dataclass(frozen=True, slots=True, eq=False)
class Grown:
    """For each granule the largest block that is one thing.

    Attributes:
        level: int8[G], log2 of that block's size; 0 where the granule holds nothing of a function.
        again: int64[G], bus lines across which the granule repeats.
        other: int64[G], bus lines across which something else stands.
        hollow: bool[G], granules that no ROM holds: as regular as a bus, but no padding.
    """

    level: Index
    again: Masks
    other: Masks
    hollow: Bools


@dataclass(frozen=True, slots=True, eq=False)
class _Fill:
    """Where the content of each block lies, in granules.

    Attributes:
        amount: how many.
        first: the first of them, -1 where there is none.
        last: the last of them.
        neat: whether they are one aligned run of a power of two.
        speaking: whether any of them is more than a regular pattern.
    """

    amount: Index
    first: Index
    last: Index
    neat: Bools
    speaking: Bools

    @property
    def empty(self) -> Bools:
        none: Bools = self.amount == 0
        return none


def _edges(told: Bools, said: Consensus, based: Ground, granules: Index) -> tuple[Index, Index]:
    """Return for each granule how ragged its content's first and last edge is, in bytes.

    That is how many of its first or last bytes say nothing or go on with what the granule beside it holds, or that a
    byte or two stand in that one; on a noisy bus they always do.
    """
    odd = np.bool_(not based.rate) & (
        based.predicted & said.sure & (said.against == 0) & (said.value != based.prediction)
    ).any(axis=1)
    odd &= ~told.any(axis=1)
    beside = np.diff(granules) == 1
    lead, trail = np.argmax(told, axis=1), np.argmax(told[:, ::-1], axis=1)
    silent = based.state != CONTENT
    value = said.value
    goes_on = _run(value[1:] == value[:-1, -1:]) * (silent[:-1] & beside)
    comes_on = _run((value[:-1] == value[1:, :1])[:, ::-1]) * (silent[1:] & beside)
    lead[1:] = np.maximum(lead[1:], goes_on) + GRANULE * (odd[:-1] & beside)
    trail[:-1] = np.maximum(trail[:-1], comes_on) + GRANULE * (odd[1:] & beside)
    return lead, trail


def _run(alike: Bools) -> Index:
    """Return how many of a row's first cells are set, int64[n]."""
    run: Index = np.where(alike.all(axis=1), alike.shape[1], np.argmin(alike, axis=1))
    return run


def grow(ladder: Ladder, said: Consensus, based: Ground, bits: int, highest: int) -> Grown:
    """Grow blocks from granules.

    Args:
        ladder: the evidence at every block size.
        said: what the readings say.
        based: what each granule holds.
        bits: lines of the bus.
        highest: log2 of the largest size to try.
    """
    evidence, (again, other) = ladder.at(GRANULE_LINES)
    told = based.told(said)
    content = based.state == CONTENT
    filled = content | ((based.state == STRUCTURED) & told.any(axis=1))
    restless, heard = based.state == VOLATILE, based.state != UNSEEN
    edges = _edges(told, said, based, evidence.blocks)
    hollow = _hollow(said, based)
    rungs = [_rung(ladder, filled, restless | hollow, size) for size in range(GRANULE_LINES + 1, highest + 1)]
    whole = _whole(rungs, again, filled, padding(said, based))
    level = np.where(content, GRANULE_LINES, 0).astype(np.int64)
    cap = np.full(len(evidence.blocks), bits, np.int64)
    valid, fill = filled.copy(), _fill(evidence.blocks, filled, content, edges, GRANULE_LINES)
    below, at_below = evidence, np.arange(len(evidence.blocks))
    for rung in rungs:
        size, pooled, at = rung.size, rung.pooled, rung.at()
        closed = _closed(below, at_below, again, (rung.one & rung.tiled)[at] | (whole >= size), size - 1)
        cap = np.where(closed, np.minimum(cap, size - 1), cap)
        cap = np.minimum(cap, _lowest_repeat(pooled, rung.inside, rung.tiled)[at])
        belongs = filled & (cap >= size)
        foreign = np.bincount(at[content & ~belongs], minlength=len(pooled.blocks))
        fits = _halves_fit(pooled.blocks, below.blocks, valid, fill, size)
        whole_halves = valid | (fill.amount == 1 << (size - 1 - GRANULE_LINES))
        cut = _cut_off(
            pooled.blocks, below.blocks, whole_halves, np.bincount(at_below[heard], minlength=len(valid)) > 0
        )
        valid = rung.one & (foreign <= STRAY * pooled.granules) & fits
        fill = _fill(evidence.blocks, belongs, content, edges, size, at, len(pooled.blocks))
        level[belongs & valid[at] & (level > 0)] = size
        valid |= cut
        below, at_below = pooled, at
    return Grown(level, again, other, hollow)


@dataclass(frozen=True, slots=True, eq=False)
class _Rung:
    """The blocks of one size.

    Attributes:
        size: log2 of it.
        pooled: their evidence.
        wide: int32[B], granules that were seen of each.
        tiled: bool[B], those all of whose granules hold something.
        inside: for each line inside, where it repeats, and where something else stands across it.
        one: bool[B], those that behave as one thing.
    """

    size: int
    pooled: Pairs
    wide: npt.NDArray[np.int32]
    tiled: Bools
    inside: list[tuple[Bools, Bools]]
    one: Bools

    def at(self) -> Index:
        """Return in which of the blocks each granule lies, int64[G]: too much to be kept for every size."""
        return np.repeat(np.arange(len(self.wide)), self.wide)


def _rung(ladder: Ladder, filled: Bools, odd: Bools, size: int) -> _Rung:
    """Look at the blocks of one size.

    One with many granules that no ROM holds (`odd`) is not one thing, and of one most of which was not read nothing is
    known.
    """
    pooled, below = ladder.at(size)[0], ladder.at(size - 1)[0]
    at = np.searchsorted(pooled.blocks, ladder.at(GRANULE_LINES)[0].blocks >> (size - GRANULE_LINES))
    wide, blocks = 1 << (size - GRANULE_LINES), len(pooled.blocks)
    tiled = np.bincount(at[filled], minlength=blocks) == wide
    spoilt = np.bincount(at[odd], minlength=blocks) > STRAY * wide
    spoilt |= np.bincount(at, minlength=blocks) * 2 < wide
    fought = np.zeros(blocks, np.bool_)
    fought[np.searchsorted(pooled.blocks, below.blocks[below.pulled(size - 1 - GRANULE_LINES)] >> 1)] = True
    inside = [pooled.across(row) for row in range(size - GRANULE_LINES)]
    held = np.bincount(at, minlength=blocks).astype(np.int32)
    return _Rung(size, pooled, held, tiled, inside, _one_thing(pooled, inside, tiled, size) & ~spoilt & ~fought)


def _whole(rungs: list[_Rung], again: Masks, filled: Bools, blank: Bools) -> Index:
    """Return for each granule log2 of the largest block around it that is one ROM with a pattern in it, int64[G].

    All of such a block is driven, all of it answers alike above, and little of it repeats inside; what repeats there is
    a table or padding, not a smaller memory with its mirrors.
    """
    whole = np.zeros(len(again), np.int64)
    for rung in rungs:
        repeats = filled & ~blank & (again & ((1 << rung.size) - 1) != 0)
        at = rung.at()
        speaking = np.bincount(at[filled & ~blank], minlength=len(rung.tiled))
        patterned = np.bincount(at[repeats], minlength=len(rung.tiled)) > PATTERNED * speaking
        whole[(rung.one & rung.tiled & ~patterned)[at]] = rung.size
    return whole


def _hollow(said: Consensus, based: Ground) -> Bools:
    """Return the granules that are as regular as a bus, but not as unused bytes of a ROM are, bool[G].

    Those hold one value, the same in most of them unless it is the usual one. Where the rule of the bus is known and
    says that value too, it must be the usual one. A byte or two may stand among them.
    """
    rule = based.model is None or bool(based.model.sources)
    steady = (based.prediction == based.prediction[:, :1]).all(axis=1)
    padded = steady & (is_filling(said, based.prediction[:, 0]) if rule else True)
    unlike = np.count_nonzero(said.sure & (said.value != based.prediction), axis=1)
    hollow: Bools = (based.state == BUS) & based.predicted.all(axis=1) & ~padded & (unlike * 2 <= GRANULE)
    blank = np.count_nonzero(said.sure & is_filling(said, said.value), axis=1) >= GRANULE - LOOSE
    other = (based.state == STRUCTURED) & ~padding(said, based) & ~blank
    commonest = np.bincount(said.value[other, 0], minlength=256).argmax()
    alike = other & (~said.sure | (said.value == commonest)).all(axis=1)
    hollow |= other & ~alike if np.count_nonzero(alike) * 2 > np.count_nonzero(other) else other
    return hollow


def _closed(below: Pairs, at: Index, again: Masks, whole: Bools, line: int) -> Bools:
    """Return the granules whose blocks are complete: across the next line the same bytes stand again, bool[G].

    A granule that repeats by itself closes nothing where its whole block differs a little across that line (two halves
    of one ROM that are nearly alike), or where it lies in a larger block that is one thing (`whole`).
    """
    row = line - GRANULE_LINES
    block_again, _ = below.across(row)
    alone = (again >> line & 1).astype(np.bool_) & ~below.near(row)[at]
    closed: Bools = (alone | (block_again | below.pulled(row))[at]) & ~whole
    return closed


def _lowest_repeat(pooled: Pairs, inside: list[tuple[Bools, Bools]], tiled: Bools) -> Index:
    """Return for each block the lowest line inside it across which all of its content stands again, int64[B].

    What stands there is no larger than up to that line. Where none does, or all of the block is driven, that is a line
    above any bus.
    """
    lowest = np.full(len(pooled.blocks), NO_LINE, np.int64)
    for row, (again, _) in reversed(list(enumerate(inside))):
        lowest[again & ~tiled & (pooled.telling[row] >= MIRRORED)] = row + GRANULE_LINES
    return lowest


def _fill(
    granules: Index,
    belongs: Bools,
    content: Bools,
    edges: tuple[Index, Index],
    size: int,
    at: Index | None = None,
    blocks: int = 0,
) -> _Fill:
    lead, trail = edges
    if at is None:
        at, blocks = np.arange(len(granules)), len(granules)
    chosen = np.flatnonzero(belongs)
    amount = np.bincount(at[chosen], minlength=blocks)
    speaking = np.bincount(at[belongs & content], minlength=blocks) > 0
    first = np.full(blocks, -1, np.int64)
    last = np.full(blocks, -1, np.int64)
    first[at[chosen[::-1]]] = chosen[::-1]
    last[at[chosen]] = chosen
    has = amount > 0
    inside = (1 << (size - GRANULE_LINES)) - 1
    low = granules[first] & inside
    run = granules[last] - granules[first] + 1
    neat = has & (run == amount) & (run & (run - 1) == 0) & (low % np.maximum(run, 1) == 0)
    neat &= (lead[first] < 2) & (trail[last] < 2)
    return _Fill(amount, np.where(has, low, -1), np.where(has, granules[last] & inside, -1), neat, speaking)


def _one_thing(pooled: Pairs, inside: list[tuple[Bools, Bools]], tiled: Bools, size: int) -> Bools:
    """Tell which blocks behave as one thing.

    Above them every granule answers alike; inside, no line repeats all of it, and each line has something to say at
    both levels. Where all of a block is driven (`tiled`), parts of it may be alike.
    """
    inner = size - GRANULE_LINES
    amount = pooled.granules.astype(np.int64)
    one: Bools = amount > 0
    for row in range(len(pooled.telling)):
        repeating, differing = pooled.repeating[row].astype(np.int64), pooled.differing[row].astype(np.int64)
        if row >= inner:
            few = np.where(repeating < differing, np.maximum(1, FEW * differing), STRAY * repeating)
            one &= (np.minimum(repeating, differing) <= few) | (tiled & pooled.near(row))
            continue
        again, other = inside[row]
        upper = pooled.upper[row]
        one &= ~again & ((repeating <= STRAY * amount) | (other & (differing * MOSTLY > repeating)) | tiled)
        one &= (upper >= 2) & (pooled.content - upper >= 2)
    return one


def _cut_off(blocks: Index, halves: Index, valid: Bools, heard: Bools) -> Bools:
    """Tell of which blocks one half was not read while the other may be a part of something larger, bool[B]."""
    sides = []
    for side in (0, 1):
        at = np.minimum(np.searchsorted(halves, blocks * 2 + side), len(halves) - 1)
        there = halves[at] == blocks * 2 + side
        sides.append((there & heard[at], there & valid[at]))
    (low, low_valid), (high, high_valid) = sides
    cut: Bools = (low & ~high & low_valid) | (high & ~low & high_valid)
    return cut


def _halves_fit(blocks: Index, halves: Index, valid: Bools, fill: _Fill, size: int) -> Bools:
    """Tell in which blocks both halves can be parts of one thing."""
    half = 1 << (size - 1 - GRANULE_LINES)
    fits = np.ones(len(blocks), np.bool_)
    sides = []
    for side in (0, 1):
        at = np.minimum(np.searchsorted(halves, blocks * 2 + side), len(halves) - 1)
        there = halves[at] == blocks * 2 + side
        sides.append((at, there & ~fill.empty[at]))
    for side in (0, 1):
        at, there = sides[side]
        other_at, other_there = sides[1 - side]
        whole = there & (valid[at] | (fill.amount[at] == half))
        contiguous = fill.amount[at] == fill.last[at] - fill.first[at] + 1
        if side:
            touches = (fill.first[at] == 0) & (fill.last[other_at] == half - 1)
            suffix = fill.first[at] >= max(1, half - SUFFIX)
        else:
            touches = (fill.last[at] == half - 1) & (fill.first[other_at] == 0)
            suffix = np.zeros(len(blocks), np.bool_)
        sparse = fill.amount[at] * 8 < half
        neat = fill.neat[at] & ~(touches & (fill.amount[at] > LARGEST_NEAT))
        ragged = ~neat & ((~sparse & fill.speaking[at]) | (touches & contiguous))
        stands = other_there & (valid[other_at] | (fill.amount[other_at] == half))
        tail = touches & ((fill.amount[at] <= SMALL_TAIL) | ~stands)
        fits &= there & other_there & (whole | ragged | tail | (suffix & ~neat))
    return fits
