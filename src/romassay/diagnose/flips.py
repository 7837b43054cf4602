"""Faults that make readings differ: an open line, timing at its limit, a supply that sags, two specimens.

Where the readings agree everywhere nothing here speaks. Where they differ, the question is what the differences follow:
one data line, one address line, the byte before, the number of ones, or the reading itself. A cell that is weak follows
none of these, and neither does a noisy serial line.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import combinations
from math import exp, log

import numpy as np

from romassay.diagnose.evidence import Evidence, Observed
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.settle.model import Image
from romassay.survey import survey
from romassay.survey.model import Function
from romassay.survey.stack import GRANULE, Bools

LEAST_PLACES = 8
"""Different bits that failed before what they follow is asked: one weak cell fails often and follows anything."""

RIVAL = 0.9
"""Share of the failures that a cause explains where it is the cause; the rest is other noise."""

SURE = 6.0
"""Natural logarithm of the odds from which a cause is named."""


@dataclass(frozen=True, slots=True, eq=False)
class _Flips:
    """Bits that were read otherwise than settled, each once.

    Attributes:
        offset: int64[m].
        bit: int64[m].
        became: uint8[m], the level that was read.
        before: uint8[m], the level of that line in the byte before; 2 where it was not seen.
    """

    offset: Index
    bit: Index
    became: Bytes
    before: Bytes

    def __len__(self) -> int:
        return len(self.offset)


def flips(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return what the differences between the observations of one image follow."""
    function = evidence.found.functions[image.function]
    observed = evidence.observed(function)
    if len(observed.value) < 2 or not (image.flipped or image.link_errors):
        return
    seen = _flips(observed, image)
    if len(seen) < LEAST_PLACES:
        return
    candidates = [_timing(image, seen), _sag(image, seen)]
    named = sorted((c for c in candidates if c[0] >= SURE), key=lambda c: -c[0])
    for odds, finding in named[:1]:
        rest = named[1][0] if len(named) > 1 else 0.0
        yield replace(finding, probability=round(min(0.97, 1 / (1 + exp(min(50.0, SURE - 3 + rest - odds)))), 3))


def _flips(observed: Observed, image: Image) -> _Flips:
    differs = (observed.value ^ image.value) & observed.known & _restless_bits(observed)
    row, offset = np.nonzero(differs)
    bits = differs[row, offset]
    parts = []
    for bit in range(8):
        hit = bits >> bit & 1 == 1
        rows, places = row[hit], offset[hit]
        became = observed.value[rows, places] >> bit & 1
        earlier = np.maximum(places - 1, 0)
        before = np.where(
            (places > 0) & (observed.known[rows, earlier] >> bit & 1 == 1), observed.value[rows, earlier] >> bit & 1, 2
        )
        parts.append(np.stack([places, np.full(len(places), bit), became, before]))
    joined = np.concatenate(parts, axis=1)
    _, once = np.unique(joined[0] * 8 + joined[1], return_index=True)
    return _Flips(*(column[once].astype(np.int64) for column in joined))


def _restless_bits(observed: Observed) -> Bytes:
    """Return the bits of each observation that another reading of the same copy has otherwise, uint8[n, size].

    Where there is one reading only, copies stand for readings.
    """
    if len(np.unique(observed.reading)) < 2:
        return np.full(observed.value.shape, 0xFF, np.uint8)
    out = np.zeros(observed.value.shape, np.uint8)
    for first in np.unique(observed.first):
        mine = np.flatnonzero(observed.first == first)
        value, known = observed.value[mine], observed.known[mine]
        high = np.bitwise_or.reduce(value & known, axis=0)
        low = np.bitwise_or.reduce(~value & known, axis=0)
        out[mine] = high & low
    return out


def _odds(hits: int, total: int, chance: float) -> float:
    """Return the log odds of a cause that explains `RIVAL` of the failures, against one that does so by chance."""
    chance = min(max(chance, 0.01), 0.99)
    if hits <= chance * total:
        return 0.0
    return hits * log(RIVAL / chance) + (total - hits) * log((1 - RIVAL) / (1 - chance))


def _timing(image: Image, seen: _Flips) -> tuple[float, Finding]:
    """Weigh that a bit comes too late: it then still has the level of the byte before."""
    known = seen.before < 2
    hits = int(np.count_nonzero((seen.before == seen.became) & known))
    before = np.r_[image.value[:1], image.value[:-1]]
    changes = [float(np.mean((image.value ^ before) >> bit & 1)) for bit in range(8)]
    chance = float(np.mean([changes[int(bit)] for bit in seen.bit]))
    total = int(np.count_nonzero(known))
    finding = Finding(
        "marginal-timing",
        blocks=True,
        function=image.function,
        offsets=_offsets(seen),
        evidence=f"{hits} of the {total} bits that failed had the level of the byte before; by chance it would "
        f"be {chance * total:.0f}",
        advice="read slower, or lengthen the access: the outputs were still on their way; check the clock and the "
        "enable at the specimen with an oscilloscope",
    )
    return _odds(hits, total, chance), finding


def _sag(image: Image, seen: _Flips) -> tuple[float, Finding]:
    """Weigh that bytes with many ones fail, and fail to one side."""
    ones = np.bitwise_count(image.value).astype(np.float64)
    places = np.unique(seen.offset)
    mean, spread = float(ones.mean()), float(ones.std()) or 1.0
    lean = (float(ones[places].mean()) - mean) / (spread / len(places) ** 0.5)
    low = int(np.count_nonzero(seen.became == 0))
    side = max(low, len(seen) - low)
    expected = mean / 8 if side == low else 1 - mean / 8
    one_sided = _odds(side, len(seen), expected)
    # A normal deviate of the mean number of ones: its logarithm of odds is about half its square.
    lean = lean if side == low else -lean
    odds = min(one_sided, lean * lean / 2) + one_sided / 4 if lean > 2 else 0.0
    finding = Finding(
        "supply-sag",
        blocks=True,
        function=image.function,
        offsets=_offsets(seen),
        evidence=f"the bytes that failed have {ones[places].mean():.1f} ones on average, all bytes {mean:.1f}; {side} "
        f"of {len(seen)} bits failed to {'0' if side == low else '1'}",
        advice="measure the supply at the specimen's own pins while it is read, with an oscilloscope; add a capacitor "
        "of 100 nF across them and shorten the wires",
    )
    return odds, finding


def _offsets(seen: _Flips) -> tuple[int, ...]:
    return tuple(int(i) for i in np.unique(seen.offset))


MOVING = 0.1
"""Share of such pairs that must differ within a reading; across the line of a mirror they never do."""

TWO_VALUES = 0.7
"""Share of the pairs across an open line that say no more than two values; a running timer says others."""

LEAST_PAIRS = 32
"""Pairs of addresses that must differ before an address line is weighed."""

CLUSTER = 12
"""Bytes that two groups of readings must differ in before they are of two specimens."""


def mixed(evidence: Evidence) -> Finding | None:
    """Return the finding where the readings of a ROM fall into two groups, each of which agrees with itself."""
    if len(evidence.chosen) < 2:
        return None
    for function in _candidates(evidence):
        observed = evidence.observed(function)
        rows = [int(row) for row in np.unique(observed.reading)]
        names = [(evidence.chosen[r].source.name, evidence.chosen[r].conditions.session) for r in rows]
        found = _groups(names, [_majority(observed, row) for row in rows])
        if found:
            return found
    return None


def _candidates(evidence: Evidence) -> Iterator[Function]:
    """Yield the ROMs found, then, where more than these differs between readings, what the first reading shows."""
    for image in evidence.images[:2]:
        yield evidence.found.functions[image.function]
    if not evidence.images or any(i.flipped for i in evidence.images[:2]) or _elsewhere(evidence):
        yield from _alone(evidence)


def _elsewhere(evidence: Evidence) -> bool:
    """Tell whether the readings differ in more bytes than the first ROM has."""
    stacked = evidence.stacked
    moving = np.bitwise_or.reduce(stacked.value ^ stacked.value[0], axis=0) & np.bitwise_and.reduce(
        stacked.known, axis=0
    )
    return bool(np.count_nonzero(moving) > len(evidence.images[0]))


def _alone(evidence: Evidence) -> list[Function]:
    """Return the ROM that the first reading alone shows, where all together show none."""
    one = replace(evidence.readings, readings=evidence.chosen[:1])
    found = survey(one, part=evidence.part, size=None if evidence.part else evidence.size)
    return [function for function in found.functions if function.kind == "rom"][:1]


def _majority(observed: Observed, row: int) -> tuple[Bytes, Bools]:
    """Return what one reading says of every byte, and where all its copies agree."""
    mine = observed.reading == row
    value, known = observed.value[mine], observed.known[mine]
    whole = known == known.max(initial=0)
    first = np.argmax(whole, axis=0)
    chosen = value[first, np.arange(value.shape[1])]
    agree = whole.any(axis=0) & (((value ^ chosen) & known) == 0).all(axis=0)
    return chosen, agree


def _groups(names: list[tuple[str, str | None]], planes: list[tuple[Bytes, Bools]]) -> Finding | None:
    """Return the finding where planes, one a reading, fall into two groups that each agree with themselves.

    Args:
        names: file and session of each reading.
        planes: what each says, and where that is sure.
    """
    differ = np.zeros((len(planes), len(planes)))
    several = np.zeros_like(differ)
    for a, b in combinations(range(len(planes)), 2):
        sure = planes[a][1] & planes[b][1]
        changed = (planes[a][0] ^ planes[b][0])[sure]
        differ[a, b] = differ[b, a] = np.count_nonzero(changed)
        several[a, b] = several[b, a] = np.count_nonzero(np.bitwise_count(changed) >= 2)
    group = differ[0] * 4 < max(1.0, differ[0].max())
    if group.all() or differ[0].max() < CLUSTER:
        return None
    unlike = max(float(np.count_nonzero(~sure)) for _, sure in planes)
    inside = max(unlike / 2, differ[np.ix_(group, group)].max(initial=0), differ[np.ix_(~group, ~group)].max(initial=0))
    across = differ[np.ix_(group, ~group)]
    many = several[np.ix_(group, ~group)].sum() / max(1.0, across.sum())
    if inside * 6 > across.min() or across.min() < CLUSTER or many < 0.4:
        return None
    sizes = (int(group.sum()), int((~group).sum()))
    cycled = len({session for _, session in names}) > 1
    probability = 0.95 if max(sizes) > 1 else 0.8
    other = [name for (name, _), first in zip(names, group, strict=True) if not first]
    return Finding(
        "mixed-specimens",
        blocks=True,
        probability=0.7 if cycled else probability,
        evidence=f"{', '.join(other[:4])} differ from the other readings in {int(across.min())} bytes, most in several "
        "bits, and each group agrees with itself",
        advice="see which specimen each log is of, and give each specimen a docket of its own"
        + ("; if it was the same one, this is RAM that lost its content" if cycled else ""),
    )


def restless(evidence: Evidence) -> Finding | None:
    """Return an open data or address line that shows where the readings differ almost everywhere."""
    stacked = evidence.stacked
    if len(stacked.value) < 2:
        return None
    known = np.bitwise_and.reduce(stacked.known, axis=0)
    moving = np.bitwise_or.reduce(stacked.value ^ stacked.value[0], axis=0) & known
    if np.count_nonzero(moving) < 2 * GRANULE:
        return None
    return _open_data(evidence, moving) or _open_address(evidence, moving)


def _open_data(evidence: Evidence, moving: Bytes) -> Finding | None:
    """Return the data lines that alone move, in granules whose other lines hold a memory's bytes."""
    rows = np.flatnonzero((moving != 0).sum(axis=1) >= GRANULE // 8)
    masks = np.bitwise_or.reduce(moving[rows], axis=1)
    everywhere = np.zeros(len(moving), np.uint8)
    everywhere[rows] = masks
    varied = _varied(evidence.stacked.value[0] & ~everywhere[:, None])
    masks = masks[varied[rows] & (np.bitwise_count(masks) <= 3)]
    if len(masks) < 8 or len(masks) * 4 < np.count_nonzero(varied):
        return None
    lines = [bit for bit in range(8) if np.count_nonzero(masks >> bit & 1) * 4 >= len(masks)]
    mask = sum(1 << bit for bit in lines)
    if not lines or np.count_nonzero(masks & ~np.uint8(mask)) * 20 > len(masks):
        return None
    names = tuple(f"D{bit}" for bit in lines)
    return Finding(
        "data-line-open",
        blocks=True,
        lines=names,
        probability=0.93,
        evidence=f"{', '.join(names)} {'moves' if len(names) == 1 else 'move'} from reading to reading all over "
        f"{len(masks) * GRANULE} bytes, the other lines stand still",
        advice=f"power off, then check the {'wire' if len(names) == 1 else 'wires'} of {', '.join(names)} from the "
        "specimen's pin to the bus with a continuity tester",
    )


def _varied(value: Bytes) -> Bools:
    """Return the granules of many different bytes, as code has them, bool[G]."""
    ordered = np.sort(value, axis=1)
    varied: Bools = np.count_nonzero(np.diff(ordered, axis=1), axis=1) >= GRANULE // 3
    return varied


def _open_address(evidence: Evidence, moving: Bytes) -> Finding | None:
    """Return the address line of which the readings say now the one side, now the other.

    Where a line is open, the bytes at two addresses that differ in it are drawn from the same two; where it is not, two
    readings of both say three different bytes, or four. A mirror's line does the same, but lies above the ROM's own.
    """
    stacked = evidence.stacked
    address = (stacked.granules[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    flat, several = stacked.value.reshape(len(stacked.value), -1), np.bitwise_count(moving).ravel() >= 2
    shares: dict[int, tuple[float, int]] = {}
    for line in range(_reach(evidence)):
        low = np.flatnonzero(address >> line & 1 == 0)
        partner = np.minimum(np.searchsorted(address, address[low] | 1 << line), len(address) - 1)
        paired = (address[partner] == address[low] | 1 << line) & (several[low] | several[partner])
        here, there = low[paired], partner[paired]
        if len(here) < LEAST_PAIRS or np.mean(flat[:, here] != flat[:, there]) < MOVING:
            continue
        both = np.concatenate([flat[:, here], flat[:, there]])
        both.sort(axis=0)
        distinct = 1 + np.count_nonzero(np.diff(both.astype(np.int64), axis=0), axis=0)
        shares[line] = float(np.mean(distinct <= 2)), len(here)
    usual = float(np.median([share for share, _ in shares.values()])) if shares else 1.0
    for line, (share, count) in shares.items():
        if share >= TWO_VALUES and share > 2 * usual:
            return _address_open(line, share, count)
    return None


def _address_open(line: int, share: float, count: int) -> Finding:
    return Finding(
        "address-line-open",
        blocks=True,
        lines=(f"A{line}",),
        probability=0.95,
        evidence=f"where the readings differ, they say what stands on one side of A{line} or on the other: in "
        f"{share:.0%} of {count} places",
        advice=f"power off, then check the wire of A{line} to the specimen's pin: an open input follows what is near",
    )


def _reach(evidence: Evidence) -> int:
    """Return the lines that may count inside a ROM: those of the one found, else of the window, 64 KiB at most."""
    sizes = [evidence.found.functions[image.function].size for image in evidence.images]
    if sizes or evidence.size:
        return (evidence.size or max(sizes)).bit_length() - 1
    spans = [span for reading in evidence.chosen for span in reading.spans()]
    widest = max((span.size for span in spans), default=1)
    return min(16, evidence.readings.address_bits, max(4, (widest - 1).bit_length()))
