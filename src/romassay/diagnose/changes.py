"""What differs between the readings, and between mirrors: which byte came otherwise, where, and what it should be.

Left out is what tells nothing: a bus that floats, registers and timers, memory that woke up in stripes, and what every
reading has alike at one address, where two drivers fight. `causes` weighs what the rest follows.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from romassay.cpus.likeness import SCALE, adjacent_weights
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.reads import likely_cpus
from romassay.reading import Bytes, Index
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Stack, counted

MOST = 60_000
"""Changes that are weighed, at most."""

AGAIN = 0.45
"""Share of what deviates in one reading that must do so in the next, from which it is held; a third does by chance."""

LEANS = 0.25
"""Mean distance of the lines' levels from one half, from which a bus floats to a level."""

FEW = 3
"""Blocks of registers that one chip has, at most. Common practice, no source."""

PORTS = 0.3
"""Share of the bytes of sixteen that are alike across A4 and A5, from which they are registers and ports."""

EACH = 3
"""Changes of one byte that are weighed, over all its mirrors: a timer, or a weak cell, changes ever again."""

FLAT = 0.7
"""Share of the bytes of sixteen that are alike, from which they are filling or a floating bus."""

RANDOM = 0.2
"""Share of the bits that are not as most say, from which a byte is no memory's; of two random ones it is a quarter."""

SEVERAL = 5
"""Observations of a byte from which it is told by itself; else by the sixteen that it stands among."""

MIRRORED = 0.13
"""Share of the bits in which two blocks of sixteen may differ and still be mirrors of each other."""

STRIPED = 8
"""One in so many blocks of sixteen that are like their neighbours, from which all is: memory woke up in stripes."""

ENOUGH_CODE = 1 << 18
"""Bytes that are looked at to tell whose code they are likely to be."""

BELIEVED = 0.7
"""So much of the evidence of its neighbours is believed about a byte: not all is code."""

Numbers = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True, eq=False)
class Changes:
    """Bytes that a reading has otherwise than it should.

    Where only two have seen a byte, either may be right: the second half of the columns tells each change from the
    other side, in the order of the first half. Where more have seen it, both halves are the same.

    Attributes:
        place: int64[2m], index into the laid-over bytes.
        right: uint8[2m], what it should be as far as the others say.
        read: uint8[2m], what was read.
        before: int64[2m], the byte read just before in the same reading, or -1.
        settled: uint8[n], what all readings and mirrors say of every place.
        earlier: int64[n], what all say of the place before, or -1.
        address: int64[n], ascending.
        values: uint8[R, n], what was read.
        told: bool[2m], where most readings and mirrors agree; elsewhere only an open address line explains anything.
        weight: float64[2m], how likely it is that `right` is right; both halves add up to one.
    """

    place: Index
    right: Bytes
    read: Bytes
    before: Index
    settled: Bytes
    earlier: Index
    address: Index
    values: Bytes
    told: Bools
    weight: Numbers

    def __len__(self) -> int:
        return len(self.place) // 2


def changes(evidence: Evidence) -> Changes | None:
    """Return what differs between the readings and between mirrors, or None where nothing does.

    Granules of one value are left out, as a floating bus has them, and registers; so is what every reading has alike
    at one address, for two drivers on one bus read the same each time.
    """
    stacked = evidence.stacked
    if not stacked.value.size:
        return None
    known = np.bitwise_and.reduce(stacked.known, axis=0) == 0xFF
    holding, floating = _holding(stacked.value)
    use = _lively(stacked.value) & ~floating & ~_apart(evidence) & (counted(known) * 2 >= GRANULE)
    rows = np.flatnonzero(use)
    if not len(rows):
        return None
    part = replace(stacked, granules=stacked.granules[rows], value=stacked.value[:, rows])
    home = _mirrors(part, evidence.readings.address_bits)
    settled, votes, told = _settled(part.value, home)
    told &= holding[rows, None]
    address = (part.granules[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    value, whole = part.value.reshape(len(part.value), -1), _passing(part.value, home).reshape(len(part.value), -1)
    whole &= known[rows].ravel()
    own = (home[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    return _changes(value, whole, address, own, settled.ravel(), np.repeat(votes, GRANULE), told.ravel())


def _lively(value: Bytes) -> Bools:
    """Tell which granules hold more than one value with strays, bool[G]."""
    alike = np.zeros(value.shape[1], np.int64)
    for plane in value:
        alike += counted(plane == np.sort(plane, axis=1)[:, GRANULE // 2, None])
    lively: Bools = alike / (len(value) * GRANULE) < FLAT
    return lively


def _holding(value: Bytes) -> tuple[Bools, Bools]:
    """Return which granules hold something that comes again in the next reading, and which only float; bool[G] each.

    What deviates from the usual level of its line, deviates in both of two readings where a memory holds it; on a bus
    that leans to a level it does so by chance.
    """
    count = value.shape[1]
    if len(value) < 2:
        return np.ones(count, np.bool_), np.zeros(count, np.bool_)
    usual, lean = np.zeros(count, np.uint8), np.zeros(count)
    for bit in range(8):
        ones = sum((counted((plane >> bit & 1).view(np.bool_)) for plane in value), np.zeros(count, np.int64))
        mean = ones / (len(value) * GRANULE)
        usual |= (mean > 0.5).astype(np.uint8) << bit
        lean += np.abs(mean - 0.5) / 8
    again, ever = np.zeros(count, np.int64), np.zeros(count, np.int64)
    for one, other in pairwise(value):
        away, next_away = one ^ usual[:, None], other ^ usual[:, None]
        again += _ones(away & next_away)
        ever += _ones(away | next_away)
    holding = again >= AGAIN * ever
    return holding, ~holding & (lean >= LEANS)


def _ones(value: Bytes) -> Index:
    """Return how many bits of each granule are set, int64[n], from uint8[n, 16]."""
    words = np.bitwise_count(value.view(np.uint64))
    return (words[:, 0] + words[:, 1]).astype(np.int64)


def _apart(evidence: Evidence) -> Bools:
    """Return which granules two drivers fight over, or are registers, bool[G].

    Registers are what the survey says so, and what reads much as the granules across A4 and A5.

    Where the survey finds many different ones, it is a ROM that does not read the same each time.
    """
    stacked = evidence.stacked
    out = np.ones(len(stacked.granules), np.bool_)
    for line in (GRANULE_LINES, GRANULE_LINES + 1):
        there = stacked.partners(line)
        same = sum((counted(plane == plane[there]) for plane in stacked.value), np.zeros(len(there), np.int64))
        out &= (there >= 0) & (same >= PORTS * len(stacked.value) * GRANULE)
    if sum(function.kind == "registers" for function in evidence.found.functions) <= FEW:
        out[evidence.addresses_of("registers")] = True
    out[evidence.addresses_of("contended")] = True
    return out


def _mirrors(stacked: Stack, lines: int) -> Index:
    """Return for each granule the first of those that read like it across bus lines, int64[G]."""
    home = np.arange(len(stacked.granules))
    for line in range(GRANULE_LINES, lines):
        there = stacked.partners(line)
        apart = sum((_ones(plane ^ plane[there]) for plane in stacked.value), np.zeros(len(there), np.int64))
        alike = (there >= 0) & (apart <= MIRRORED * 8 * len(stacked.value) * GRANULE)
        if line == GRANULE_LINES and np.count_nonzero(alike) * STRIPED > len(alike):
            break  # all is alike, as memory is that woke up in stripes
        home[alike] = np.minimum(home[alike], home[there[alike]])
    return home[home]


def _passing(value: Bytes, home: Index) -> Bools:
    """Return what not all mirrors of a reading say alike, bool[R, G, 16]: else it is so in that reading, no chance."""
    several = np.bincount(home, minlength=len(home))[home] > 1
    passing = np.empty(value.shape, np.bool_)
    for row, here in zip(value, passing, strict=True):
        alike = np.ones(row.shape, np.bool_)
        np.logical_and.at(alike, home, row == row[home])
        here[:] = ~(alike[home] & several[:, None])
    return passing


def _settled(value: Bytes, home: Index) -> tuple[Bytes, Index, Bools]:
    """Return what most say of each byte, uint8[G, 16], how many do, int64[G], and where most agree, bool[G, 16].

    Where they do not, a timer runs, or a bus floats, or memory woke up with other bytes.
    """
    votes = np.bincount(home, minlength=len(home)) * len(value)
    out, apart = np.zeros(value.shape[1:], np.uint8), np.zeros(value.shape[1:])
    for bit in range(8):
        ones = np.zeros(value.shape[1:], np.int64)
        np.add.at(ones, home, (value >> bit & 1).sum(axis=0, dtype=np.int64))
        level = np.where(ones * 2 == votes[:, None], value[0] >> bit & 1, ones * 2 > votes[:, None])
        out |= (level.astype(np.uint8) << bit).astype(np.uint8)
        apart += np.minimum(ones, votes[:, None] - ones)
    apart /= 8 * np.maximum(1, votes[:, None])
    told = np.where(votes[:, None] >= SEVERAL, apart, apart.mean(axis=1, keepdims=True)) < RANDOM
    return out[home], votes[home], told[home]


def _changes(
    value: Bytes, whole: Bools, address: Index, own: Index, settled: Bytes, votes: Index, told: Bools
) -> Changes | None:
    """Return the changes among readings.

    Args:
        value: uint8[R, n].
        whole: bool[R, n], where all is known and may have changed by chance.
        address: int64[n], ascending.
        own: int64[n], the first place of those that are mirrors of each other.
        settled: uint8[n], what all say.
        votes: int64[n], how many say it.
        told: bool[n], where most agree.
    """
    asked = (votes > 1) & (_moving(value) if len(value) > 1 else votes > 2)
    places = [np.flatnonzero((plane != settled) & free & asked) for plane, free in zip(value, whole, strict=True)]
    row, place = np.repeat(np.arange(len(value)), [len(each) for each in places]), np.concatenate(places)
    if len(value) == 1:
        once = _alone(own[place] << 8 | value[row, place])
        row, place = row[once], place[once]
    few = _first_of_each(own[place], EACH)
    row, place = row[few], place[few]
    if not len(place):
        return None
    thin = slice(None, None, 1 + len(place) // MOST)
    row, place = row[thin], place[thin]
    either = (votes[place] == 2) & (len(value) == 2)
    other = np.where(either, 1 - row, row)
    read = np.r_[value[row, place], np.where(either, settled[place], value[row, place])]
    right = np.r_[settled[place], np.where(either, value[row, place], settled[place])]
    follows = np.r_[False, np.diff(address) == 1]
    row, place = np.r_[row, other], np.r_[place, place]
    at = np.maximum(place - 1, 0)
    before = np.where(follows[place], value[row, at].astype(np.int64), -1)
    earlier = np.where(follows, np.r_[settled[:1], settled[:-1]].astype(np.int64), -1)
    later = np.r_[settled[1:], settled[-1:]]
    likely = _weights(settled, settled[at], later[place], right, read)
    weight = np.where(np.r_[either, either], likely / np.tile(sum(np.split(likely, 2)), 2), 0.5)
    return Changes(place, right, read, before, settled, earlier, address, value, told[place], weight)


def _moving(value: Bytes) -> Bools:
    """Tell which bytes do not read the same each time, bool[n], from uint8[R, n]."""
    moving = np.zeros(value.shape[1], np.bool_)
    for plane in value[1:]:
        moving |= plane != value[0]
    return moving


def _alone(keys: Index) -> Bools:
    """Return which keys stand there once, bool[m]."""
    _, back, count = np.unique(keys, return_inverse=True, return_counts=True)
    alone: Bools = count[back] == 1
    return alone


def _first_of_each(keys: Index, count: int) -> Index:
    """Return where the first few of each key stand, ascending."""
    order = np.argsort(keys, kind="stable")
    ordered = keys[order]
    rank = np.arange(len(keys)) - np.searchsorted(ordered, ordered)
    return np.sort(order[rank < count])


def _weights(settled: Bytes, before: Bytes, after: Bytes, right: Bytes, read: Bytes) -> Numbers:
    """Return how likely each byte is to be the right one of two, float64[2m], as its neighbours are in code."""
    weights = adjacent_weights(likely_cpus(settled[:ENOUGH_CODE], 1)[0]).astype(np.float64) / SCALE
    gain = weights[before, right] + weights[right, after] - weights[before, read] - weights[read, after]
    return 1 / (1 + np.exp(-np.clip(BELIEVED * gain, -4, 4)))
