"""How large a function is: blocks grown from granules as long as the larger block still behaves as one thing.

A block is one thing when its granules answer alike to every line above it, no line inside it repeats it, and every line
inside it has something to say at both levels. A small neat block beside a large one (RAM or registers beside a ROM) is
not taken for its tail: code ends raggedly, memories end on a power of two.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from romassay.reading import Index
from romassay.survey.pairs import Ladder, Masks, Pairs
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Consensus
from romassay.survey.states import CONTENT, STRUCTURED, VOLATILE, Ground

STRAY = 0.1
"""Share of a block's granules that may behave otherwise: line noise in one granule must not break a ROM."""

FEW = 0.03
"""Share of granules that may repeat where the rest does not: chance makes few alike."""

MIRRORED = 32
"""Bytes that must stand again across a line inside a block before that line is believed to be none of a function's
own: the registers of a combination chip, twice."""

NO_LINE = 63

LARGEST_NEAT = 8
"""Granules of RAM that may stand neatly beside a ROM and touch it: the 128 bytes of a combination chip (6532: data
sheet). More than that which touches it is its own."""

SMALL_TAIL = 2
"""Granules that may follow on a half without raggedness: less than any RAM of a combination chip."""

SUFFIX = 4
"""Granules at the end of a block that may stand alone after a blank stretch: vectors, a jump table."""


@dataclass(frozen=True, slots=True, eq=False)
class Grown:
    """For each granule the largest block that is one thing.

    Attributes:
        level: int8[G], log2 of that block's size; 0 where the granule holds nothing of a function.
        again: int64[G], bus lines across which the granule repeats.
        other: int64[G], bus lines across which something else stands.
    """

    level: Index
    again: Masks
    other: Masks


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

    That is how many of its first or last bytes say nothing, or that a byte or two stand in the granule beside it; on a
    noisy bus they always do.
    """
    odd = np.bool_(not based.rate) & (
        based.predicted & said.sure & (said.against == 0) & (said.value != based.prediction)
    ).any(axis=1)
    odd &= ~told.any(axis=1)
    beside = np.diff(granules) == 1
    lead, trail = np.argmax(told, axis=1), np.argmax(told[:, ::-1], axis=1)
    lead[1:] += GRANULE * (odd[:-1] & beside)
    trail[:-1] += GRANULE * (odd[1:] & beside)
    return lead, trail


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
    restless = based.state == VOLATILE
    edges = _edges(told, said, based, evidence.blocks)
    level = np.where(content, GRANULE_LINES, 0).astype(np.int64)
    cap = np.full(len(evidence.blocks), bits, np.int64)
    valid, fill = filled.copy(), _fill(evidence.blocks, filled, content, edges, GRANULE_LINES)
    below, at_below = evidence, np.arange(len(evidence.blocks))
    for size in range(GRANULE_LINES + 1, highest + 1):
        pooled, _ = ladder.at(size)
        at = np.searchsorted(pooled.blocks, evidence.blocks >> (size - GRANULE_LINES))
        tiled = np.bincount(at[filled], minlength=len(pooled.blocks)) == 1 << (size - GRANULE_LINES)
        unsteady = np.bincount(at[restless], minlength=len(pooled.blocks)) > STRAY * (1 << (size - GRANULE_LINES))
        fought = np.zeros(len(pooled.blocks), np.bool_)
        fought[at[below.pulled(size - 1 - GRANULE_LINES)[at_below]]] = True
        inside = [pooled.across(row) for row in range(size - GRANULE_LINES)]
        one = _one_thing(pooled, inside, tiled, size) & ~unsteady & ~fought
        cap = np.where(_closed(below, at_below, again, one & tiled, at, size - 1), np.minimum(cap, size - 1), cap)
        cap = np.minimum(cap, _lowest_repeat(pooled, inside, tiled)[at])
        belongs = filled & (cap >= size)
        foreign = np.bincount(at[content & ~belongs], minlength=len(pooled.blocks))
        fits = _halves_fit(pooled.blocks, below.blocks, valid, fill, size)
        valid = one & (foreign <= STRAY * pooled.granules) & fits
        fill = _fill(evidence.blocks, belongs, content, edges, size, at, len(pooled.blocks))
        level[belongs & valid[at] & (level > 0)] = size
        below, at_below = pooled, at
    return Grown(level, again, other)


def _closed(below: Pairs, at: Index, again: Masks, tiled: Bools, at_above: Index, line: int) -> Bools:
    """Return the granules whose blocks are complete: across the next line the same bytes stand again, bool[G].

    A granule that repeats by itself closes nothing where its whole block differs a little across that line (two halves
    of one ROM that are nearly alike), or where all around it is driven and answers alike above.
    """
    row = line - GRANULE_LINES
    block_again, _ = below.across(row)
    block_again = block_again | below.pulled(row)
    near = below.near(row)
    alone = (again >> line & 1).astype(np.bool_) & ~near[at] & ~tiled[at_above]
    closed: Bools = alone | block_again[at]
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
        one &= ~again & ((repeating <= STRAY * amount) | other | tiled)
        one &= (upper >= 2) & (pooled.content - upper >= 2)
    return one


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
