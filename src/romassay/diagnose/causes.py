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

from romassay.diagnose.changes import Changes, Numbers, changes
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.usual import PRIOR
from romassay.reading import Bytes, Index
from romassay.survey.stack import Bools

Name = Literal["timing", "sag", "data-open", "address-open"]

RATES = (0.02, 0.1, 0.3, 0.6, 0.95)
"""Chances that a bit which may fail does."""

TEMPER = 0.5
"""The changes count as independent, which they are not quite: so much of the gain counts as evidence."""

LEAST = 8
"""Changes that a cause must explain before it is named."""

ROUNDS = 12
"""Rounds in which the shares of a mixture are fitted."""

SHARE = 0.25
"""Share of the changes that a cause must explain."""

MOST_PLACES = 1 << 18
"""Places that are looked at to tell how often lines turn, and what reads alike."""

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
            yield from (("sag", about, chances) for chances in _sag(seen, mask, rate, about))
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
    thin = slice(None, None, 1 + len(seen.settled) // MOST_PLACES)
    settled, earlier = seen.settled[thin], seen.earlier[thin]
    ends = np.uint8(0xFF) if edge is None else ~settled ^ np.uint8(edge)
    turns = np.where(earlier >= 0, (settled ^ earlier.astype(np.uint8)) & ends, 0).astype(np.uint8)
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


def _sag(seen: Changes, mask: Bytes, rate: float, about: tuple[int, ...]) -> Iterator[Numbers]:
    """Yield how likely each change is where bytes of many ones fail to one side, in some data lines or in all."""
    places = np.bincount(np.bitwise_count(seen.settled), minlength=9)
    weak = np.uint8(sum(1 << bit for bit in about or range(8)))
    for lost in (True, False):
        may = (seen.right if lost else ~seen.right) & weak
        could, failed = np.bitwise_count(may).astype(float), np.bitwise_count(mask).astype(float)
        just = rate**failed * (1 - rate) ** np.maximum(0, could - failed) / np.maximum(1e-9, 1 - (1 - rate) ** could)
        just = np.where(mask & ~may == 0, just, 0.0)
        for grows in (
            *((np.arange(9) >= least) + 0.02 for least in (3, 4, 5, 6, 7)),
            np.arange(9.0),
            np.arange(9.0) ** 2,
        ):
            mean = float(grows @ places) / len(seen.settled)
            if mean > 0:
                yield just * grows[np.bitwise_count(seen.right)] / mean


def _partner(seen: Changes, line: int) -> Numbers | None:
    """Return how likely each change is where an address line now and then has the other level.

    The byte is then what stands on the other side of that line. Where the line mostly has one level, what stands on
    the other side is hardly ever seen, but both sides read alike.
    """
    place = seen.place
    partner, there = _across(seen.address, seen.address[place], line)
    said = np.concatenate([seen.values[:, place], seen.values[:, partner]])
    others = np.count_nonzero((said != seen.right) & (said != seen.read), axis=0)
    over_there = seen.values[:, partner] == seen.read
    hit = there & over_there.any(axis=0) & ~over_there.all(axis=0) & (others <= STRAYS * len(said))
    if np.count_nonzero(hit) < max(LEAST, HITS * len(hit)):
        return None
    some = np.arange(0, len(seen.address), 1 + len(seen.address) // MOST_PLACES)
    other, both = _across(seen.address, seen.address[some], line)
    alike = float(np.mean(seen.settled[some[both]] == seen.settled[other[both]])) if both.any() else 0.0
    return np.where(hit, 0.9 / len(seen.values), 1 / 100 if alike >= ALIKE else 0.0)


def _across(addresses: Index, some: Index, line: int) -> tuple[Index, Bools]:
    """Return where the addresses stand that differ from some in one line, int64[m], and which of them do, bool[m]."""
    wanted = some ^ (1 << line)
    at = np.minimum(np.searchsorted(addresses, wanted), len(addresses) - 1)
    return at, addresses[at] == wanted
