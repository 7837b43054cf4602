"""What the differences between readings follow: a late bit, a sagging supply, an open line, or the serial line.

Every byte that one reading has otherwise than the others is weighed under each cause: how likely that cause is to make
just this change at just this place. A few changes always come from elsewhere (a garbled digit, a weak cell, a running
timer), so that each cause is weighed as a mixture with these, its share fitted. What a cause gains over the mixture
without it decides, against what such a fault is likely to be before anything is read. The models are textbook
likelihoods (mixture fitted by expectation and maximisation); shares and priors are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from math import exp, log
from typing import Literal

import numpy as np
import numpy.typing as npt

from romassay.cpus.likeness import SCALE, adjacent_weights
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.reads import likely_cpus
from romassay.reading import Bytes, Index
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Stack

Name = Literal["timing", "sag", "data-open", "address-open"]

RATES = (0.02, 0.1, 0.3, 0.6, 0.95)
"""Chances that a bit which may fail does."""

PRIOR = log(0.02)
"""Natural logarithm of the odds of each cause before anything is read."""

TEMPER = 0.5
"""The changes count as independent, which they are not quite: so much of the gain counts as evidence."""

LEAST = 8
"""Changes that a cause must explain before it is named."""

ROUNDS = 12
"""Rounds in which the shares of a mixture are fitted."""

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

SHARE = 0.25
"""Share of the changes that a cause must explain."""

MIRRORED = 0.13
"""Share of the bits in which two blocks of sixteen may differ and still be mirrors of each other."""

STRIPED = 8
"""One in so many blocks of sixteen that are like their neighbours, from which all is: memory woke up in stripes."""

BELIEVED = 0.7
"""So much of the evidence of its neighbours is believed about a byte: not all is code."""

RARELY = 0.12
"""Share of the places at which a line turns, at least, to be late; code turns each in more than a fifth."""

NEAR = 0.6
"""Share of the gain of a higher address line from which a lower one is the open one: mirrors show the same choice."""

STRAYS = 0.1
"""Share of what is read on both sides of an open address line that may be neither of the two bytes there."""

HITS = 0.1
"""Share of the changes that must be what stands on the other side of an address line, for that line to be open."""

ALIKE = 0.5
"""Share of the places that read alike on both sides of an address line, from which that line hardly counts."""

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


@dataclass(frozen=True, slots=True, eq=False)
class Cause:
    """A cause of the changes.

    Attributes:
        name: what it is.
        lines: data lines, or the address line, that it is about; none where it is about all.
        gain: nats by which it explains the changes better than noise alone.
        explained: changes that it explains.
        total: changes in all.
        addresses: int64, where they are.
    """

    name: Name
    lines: tuple[int, ...]
    gain: float
    explained: float
    total: int
    addresses: Index


def changes(evidence: Evidence) -> Changes | None:
    """Return what differs between the readings and between mirrors, or None where nothing does.

    Granules of one value are left out, as a floating bus has them, and registers; so is what every reading has alike
    at one address, for two drivers on one bus read the same each time.
    """
    stacked = evidence.stacked
    if not stacked.value.size:
        return None
    known = (stacked.known == 0xFF).all(axis=0)
    usual = np.sort(stacked.value, axis=2)[:, :, GRANULE // 2, None]
    lively = (stacked.value == usual).mean(axis=(0, 2)) < FLAT
    holding, floating = _holding(stacked.value)
    use = lively & ~floating & ~_apart(evidence) & (known.sum(axis=1) * 2 >= GRANULE)
    rows = np.flatnonzero(use)
    if not len(rows):
        return None
    part = replace(stacked, granules=stacked.granules[rows], value=stacked.value[:, rows], known=stacked.known[:, rows])
    home = _mirrors(part, evidence.readings.address_bits)
    settled, votes, told = _settled(part.value, home)
    told &= holding[rows, None]
    address = (part.granules[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    lasting = _lasting(part.value, home).reshape(len(part.value), -1)
    value, whole = part.value.reshape(len(part.value), -1), known[rows].ravel() & ~lasting
    own = (home[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    return _changes(value, whole, address, own, settled.ravel(), np.repeat(votes, GRANULE), told.ravel())


def _holding(value: Bytes) -> tuple[Bools, Bools]:
    """Return which granules hold something that comes again in the next reading, and which only float; bool[G] each.

    What deviates from the usual level of its line, deviates in both of two readings where a memory holds it; on a bus
    that leans to a level it does so by chance.
    """
    count = value.shape[1]
    if len(value) < 2:
        return np.ones(count, np.bool_), np.zeros(count, np.bool_)
    again, ever, lean = np.zeros(count), np.zeros(count), np.zeros(count)
    for bit in range(8):
        level = value >> bit & 1
        mean = level.mean(axis=(0, 2))
        away = level != (mean > 0.5)[None, :, None]
        again += (away[1:] & away[:-1]).sum(axis=(0, 2))
        ever += (away[1:] | away[:-1]).sum(axis=(0, 2))
        lean += np.abs(mean - 0.5) / 8
    holding = again >= AGAIN * ever
    return holding, ~holding & (lean >= LEANS)


def _apart(evidence: Evidence) -> Bools:
    """Return which granules two drivers fight over, or are registers, bool[G].

    Registers are what the survey says so, and what reads much as the granules across A4 and A5.

    Where the survey finds many different ones, it is a ROM that does not read the same each time.
    """
    stacked = evidence.stacked
    out = np.ones(len(stacked.granules), np.bool_)
    for line in (GRANULE_LINES, GRANULE_LINES + 1):
        there = stacked.partners(line)
        same = (stacked.value == stacked.value[:, there]).mean(axis=(0, 2))
        out &= (there >= 0) & (same >= PORTS)
    if sum(function.kind == "registers" for function in evidence.found.functions) <= FEW:
        out[evidence.addresses_of("registers")] = True
    out[evidence.addresses_of("contended")] = True
    return out


def _mirrors(stacked: Stack, lines: int) -> Index:
    """Return for each granule the first of those that read like it across bus lines, int64[G]."""
    home = np.arange(len(stacked.granules))
    for line in range(GRANULE_LINES, lines):
        there = stacked.partners(line)
        apart = np.bitwise_count(stacked.value ^ stacked.value[:, there]).mean(axis=(0, 2))
        alike = (there >= 0) & (apart <= MIRRORED * 8)
        if line == GRANULE_LINES and np.count_nonzero(alike) * STRIPED > len(alike):
            break  # all is alike, as memory is that woke up in stripes
        home[alike] = np.minimum(home[alike], home[there[alike]])
    return home[home]


def _lasting(value: Bytes, home: Index) -> Bools:
    """Return what all mirrors of a reading say alike, bool[R, G, 16]: it is so in that reading, and no chance."""
    several = np.bincount(home, minlength=len(home))[home] > 1
    alike = np.ones(value.shape, np.bool_)
    for row, same in zip(value, alike, strict=True):
        np.logical_and.at(same, home, row == row[home])
        same[:] = same[home]
    lasting: Bools = alike & several[:, None]
    return lasting


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
    differs = (value != settled) & whole & (votes > 1)
    differs &= (value != value[0]).any(axis=0) if len(value) > 1 else votes > 2
    row, place = np.nonzero(differs)
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
    weights = adjacent_weights(likely_cpus(settled, 1)[0]).astype(np.float64) / SCALE
    gain = weights[before, right] + weights[right, after] - weights[before, read] - weights[read, after]
    return 1 / (1 + np.exp(-np.clip(BELIEVED * gain, -4, 4)))


def causes(evidence: Evidence, lines: int) -> list[Cause]:
    """Return the causes that explain what differs between the readings, the likeliest first.

    Args:
        evidence: readings, survey and images.
        lines: address lines that may count inside the ROM.
    """
    seen = changes(evidence)
    if seen is None or len(seen) < LEAST:
        return []
    everything, steady = (seen, _usual(seen)), (_told(seen), _usual(_told(seen)))
    found: dict[Name, Cause] = {}
    for name, about, chances in (*_models(steady[0]), *_address_open(seen, lines)):
        own, usual = everything if name == "address-open" else steady
        likely, share = _fitted(usual, chances, own.weight)
        gain = likely - _fitted(usual, None, own.weight)[0]
        cause = Cause(name, about, gain, float(share.sum()), len(own), _where(own, share))
        known = found.get(name)
        if known is None or gain - _choices(about) > _beaten(known) - _choices(known.lines):
            found[name] = cause
    named = [c for c in found.values() if c.explained >= max(LEAST, SHARE * c.total) and odds(c) > 0]
    return sorted(named, key=lambda c: -odds(c))


def _beaten(known: Cause) -> float:
    """Return the gain that another cause of the same name must have; of address lines a lower one was tried before."""
    return known.gain / NEAR if known.name == "address-open" else known.gain


def _told(seen: Changes) -> Changes:
    """Return the changes in bytes on which most agree."""
    kept = seen.told
    return replace(
        seen,
        place=seen.place[kept],
        right=seen.right[kept],
        read=seen.read[kept],
        before=seen.before[kept],
        told=seen.told[kept],
        weight=seen.weight[kept],
    )


def odds(cause: Cause) -> float:
    """Return the natural logarithm of the odds of a cause against there being none."""
    return PRIOR + TEMPER * cause.gain - 0.5 * log(max(1, cause.total)) - _choices(cause.lines)


def probability(cause: Cause, others: list[Cause]) -> float:
    """Return how likely a cause is, against all others and none."""
    own = odds(cause)
    rest = [0.0, *(odds(other) for other in others if other is not cause)]
    return round(min(0.98, 1 / (1 + sum(exp(max(-50.0, min(50.0, other - own))) for other in rest))), 3)


def _choices(lines: tuple[int, ...]) -> float:
    return log(8) * len(lines)


def _where(seen: Changes, share: Numbers) -> Index:
    return np.unique(seen.address[seen.place[: len(share)][share > 0.5]])


def _usual(seen: Changes) -> Numbers:
    """Return how likely each change is as a garbled digit, as a weak cell, and as anything, float64[3, m]."""
    mask = seen.right ^ seen.read
    ones = np.bitwise_count(mask)
    digit = ((mask & 0x0F) == 0) | ((mask & 0xF0) == 0)
    return np.stack(
        [np.where(digit, 1 / 30, 0.01 / 225), np.where(ones == 1, 1 / 8, 1e-6), np.full(len(mask), 1 / 255)]
    )


def _fitted(usual: Numbers, chances: Numbers | None, weight: Numbers) -> tuple[float, Numbers]:
    """Return the logarithm of the likelihood of a mixture with its shares fitted, and what falls to the cause."""
    parts = usual if chances is None else np.vstack([usual, chances])
    parts = parts * weight
    parts = parts[:, : parts.shape[1] // 2] + parts[:, parts.shape[1] // 2 :]
    share = np.full(len(parts), 1 / len(parts))
    for _ in range(ROUNDS):
        each = share[:, None] * parts
        share = np.maximum((each / each.sum(axis=0)).mean(axis=1), 1e-4)
        share /= share.sum()
    total = (share[:, None] * parts).sum(axis=0)
    return float(np.log(total).sum()), share[-1] * parts[-1] / total


def _models(seen: Changes) -> Iterator[tuple[Name, tuple[int, ...], Numbers]]:
    if len(seen) < LEAST:
        return
    mask = seen.right ^ seen.read
    often = _often(mask)
    for about in {(), often if len(often) <= 4 else ()}:
        for rate in RATES:
            for edge in (0x00, 0xFF, None):
                yield "timing", about, _timing(seen, mask, rate, about, edge)
    for rate in RATES:
        yield from (("sag", (), chances) for chances in _sag(seen, mask, rate))
    for count in range(1, min(3, len(often)) + 1):
        chosen = tuple(sorted(often[:count]))
        only = np.uint8(sum(1 << bit for bit in chosen))
        yield "data-open", chosen, np.where(mask & ~only == 0, 1 / ((1 << count) - 1), 0.0)


def _address_open(seen: Changes, lines: int) -> Iterator[tuple[Name, tuple[int, ...], Numbers]]:
    for line in range(lines):
        partner = _partner(seen, line)
        if partner is not None:
            yield "address-open", (line,), partner


def _often(mask: Bytes) -> tuple[int, ...]:
    """Return the data lines in which most changes are, the commonest first."""
    counts = [int(np.count_nonzero(mask >> bit & 1)) for bit in range(8)]
    most = max(counts)
    return tuple(bit for bit in sorted(range(8), key=lambda b: -counts[b]) if counts[bit] * 4 >= most)


def _timing(seen: Changes, mask: Bytes, rate: float, about: tuple[int, ...], edge: int | None) -> Numbers:
    """Return how likely each change is where a bit that turns comes too late, at this place of all.

    Args:
        seen: the changes.
        mask: the bits that changed.
        rate: chance that a bit which turns is late.
        about: data lines that are slow; none where all may be.
        edge: 00 or FF where only bits that should fall to it, or rise to it, are slow; None where either may be.
    """
    ends = np.uint8(0xFF) if edge is None else ~seen.settled ^ np.uint8(edge)
    turns = np.where(seen.earlier >= 0, (seen.settled ^ seen.earlier.astype(np.uint8)) & ends, 0).astype(np.uint8)
    toward = np.uint8(0xFF) if edge is None else ~seen.right ^ np.uint8(edge)
    lively = [bit for bit in about or range(8) if float((turns >> bit & 1).mean()) >= RARELY]
    slow = np.uint8(sum(1 << bit for bit in lively))
    usual = float((1 - (1 - rate) ** np.bitwise_count((turns & slow).astype(np.uint8))).mean())
    failed, chances = np.bitwise_count(mask).astype(float), np.zeros(len(mask))
    for before in (seen.before, seen.earlier[seen.place]):
        turned = np.where(before >= 0, (seen.right ^ before.astype(np.uint8)) & slow & toward, 0).astype(np.uint8)
        could = np.bitwise_count(turned).astype(float)
        just = rate**failed * (1 - rate) ** np.maximum(0, could - failed) / max(usual, 1e-9)
        chances += np.where(mask & ~turned == 0, just, 0.0) / 2
    return chances


def _sag(seen: Changes, mask: Bytes, rate: float) -> Iterator[Numbers]:
    """Yield how likely each change is where bytes of many ones fail to one side."""
    ones = np.bitwise_count(seen.settled)
    for lost in (True, False):
        may = seen.right if lost else ~seen.right
        could, failed = np.bitwise_count(may).astype(float), np.bitwise_count(mask).astype(float)
        just = rate**failed * (1 - rate) ** np.maximum(0, could - failed) / np.maximum(1e-9, 1 - (1 - rate) ** could)
        just = np.where(mask & ~may == 0, just, 0.0)
        for grows in (
            *((np.arange(9) >= least) + 0.02 for least in (3, 4, 5, 6, 7)),
            np.arange(9.0),
            np.arange(9.0) ** 2,
        ):
            mean = float(grows[ones].mean())
            if mean > 0:
                yield just * grows[np.bitwise_count(seen.right)] / mean


def _partner(seen: Changes, line: int) -> Numbers | None:
    """Return how likely each change is where an address line now and then has the other level.

    The byte is then what stands on the other side of that line. Where the line mostly has one level, what stands on
    the other side is hardly ever seen, but both sides read alike.
    """
    wanted = seen.address ^ (1 << line)
    at = np.minimum(np.searchsorted(seen.address, wanted), len(seen.address) - 1)
    there = seen.address[at] == wanted
    place, partner = seen.place, at[seen.place]
    said = np.concatenate([seen.values[:, place], seen.values[:, partner]])
    others = np.count_nonzero((said != seen.right) & (said != seen.read), axis=0)
    over_there = seen.values[:, partner] == seen.read
    hit = there[place] & over_there.any(axis=0) & ~over_there.all(axis=0) & (others <= STRAYS * len(said))
    alike = float(np.mean(seen.settled[there] == seen.settled[at[there]])) if there.any() else 0.0
    if np.count_nonzero(hit) < max(LEAST, HITS * len(hit)):
        return None
    return np.where(hit, 0.9 / len(seen.values), 1 / 100 if alike >= ALIKE else 0.0)
