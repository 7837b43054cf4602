"""Readings of two specimens in one docket: two groups of readings, each of which agrees with itself.

Where the two differ in an address line's level alone, it is one specimen with an open line, and named so.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

import numpy as np

from romassay.address import Range
from romassay.diagnose.address_lines import dead_lines
from romassay.diagnose.evidence import Evidence, Observed
from romassay.diagnose.reads import best_sense
from romassay.diagnose.usual import FILLINGS, LARGEST, RAM
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.survey import survey
from romassay.survey.cubes import contents
from romassay.survey.model import Copy, Function, Survey
from romassay.survey.stack import GRANULE, Bools, counted

MIRRORS = 2
"""Copies that must say the same within a reading."""

PIECE = 64
"""Addresses over which the registers of a combination chip repeat, or its RAM reaches (6530: data sheet)."""

CLUSTER = 12
"""Bytes that two groups of readings must differ in before they are of two specimens."""

SEVERAL_BITS = 3.4
"""Nats by which a byte that changed in both digits speaks for another specimen, and not for a cell: common practice, no
source."""

SELDOM = 3.0
"""Nats against two specimens before anything is read; as many for each byte that parts the readings otherwise."""

SAYS = 2.0
"""Nats from which few bytes are those of another specimen."""

FEW = 2
"""Bytes in which two specimens must differ: one is a cell's."""

NESTED = 0.85
"""Share of the bytes that differ in which one is the other with bits at one level, from which bits were lost."""

LOST = 16
"""Bytes that differ in several bits, from which that tells."""

BOTH_DIGITS = 0.3
"""Share of the bytes that differ in both of their hexadecimal digits; a noisy line garbles one."""

MOST_GRANULES = 1 << 18
"""Granules of the widest window, 4 MiB of it, in which one reading is surveyed alone: in a wider one it takes long."""

TOGETHER = 4096
"""Bytes of a stretch in which so many of them stand together."""

UNLIKE = 0.6
"""Share of the bytes from which two planes have nothing in common: then both must be code."""

BLOCK = 64
"""Bytes of the blocks that are looked at where two planes differ."""

SIDES = 0.85
"""Share of the bytes that differ where both sides of an open address line must say the same two; the rest is noise."""

SENSIBLE = 0.2
"""Nats a byte from which bytes may be code."""


def mixed(evidence: Evidence) -> tuple[Finding | None, int, int]:
    """Return the finding where the readings of a ROM fall into two groups, each of which agrees with itself.

    They are of two specimens, or of one with an address line that had another level each time.

    With it comes in how many bytes the groups differ, and of how many.
    """
    if len(evidence.chosen) < 2:
        return None, 0, 0
    for function, doubted in _candidates(evidence):
        observed = evidence.observed(function)
        rows = [int(row) for row in np.unique(observed.reading)]
        names = [(evidence.chosen[r].source.name, evidence.chosen[r].conditions.session) for r in rows]
        found = _groups(
            names,
            [_majority(observed, row) for row in rows],
            np.stack([_copies(observed, row) for row in rows]),
            doubted=doubted,
            digits=all(evidence.chosen[r].unit == "hex-digit" for r in rows),
        )
        if found and not (doubted and _one_piece(observed)):
            return *found, function.size
    return None, 0, 0


def _one_piece(observed: Observed) -> bool:
    """Tell whether most of what differs stands in one piece as small as RAM or registers are: a timer runs there."""
    differ = np.flatnonzero(
        (((observed.value ^ observed.value[0]) & observed.known & observed.known[0]) != 0).any(axis=0)
    )
    pieces = np.bincount(differ // PIECE)
    return bool(pieces.max(initial=0) * 2 > pieces.sum())


def _candidates(evidence: Evidence) -> Iterator[tuple[Function, bool]]:
    """Yield the ROMs found, then, where more than these differs between readings, what the first reading shows.

    True stands beside what may be no memory, for another ROM was found.
    """
    for image in evidence.images[:2]:
        yield evidence.found.functions[image.function], False
    unlike = not evidence.images or any(i.flipped for i in evidence.images[:2]) or _elsewhere(evidence)
    if unlike and len(evidence.stacked.granules) <= MOST_GRANULES and _dense(evidence):
        yield from ((function, bool(evidence.images)) for function in _alone(evidence))


def _elsewhere(evidence: Evidence) -> bool:
    """Tell whether the readings differ in bytes that belong to no memory found: two specimens may be cut in pieces."""
    stacked = evidence.stacked
    moving = np.bitwise_or.reduce(stacked.value ^ stacked.value[0], axis=0) & np.bitwise_and.reduce(
        stacked.known, axis=0
    )
    return int(np.count_nonzero(moving[~stacked.answered(evidence.found.functions)])) >= CLUSTER


def _dense(evidence: Evidence) -> bool:
    """Tell whether somewhere so many bytes stand together that differ in both digits as two specimens have."""
    stacked = evidence.stacked
    place = stacked.granules // (TOGETHER // GRANULE)
    for value, known in zip(stacked.value[1:], stacked.known[1:], strict=True):
        changed = (value ^ stacked.value[0]) & known & stacked.known[0]
        there = np.flatnonzero(changed.any(axis=1))
        several = counted((changed[there] & 0x0F != 0) & (changed[there] & 0xF0 != 0))
        _, at = np.unique(place[there], return_inverse=True)
        if np.bincount(at, several).max(initial=0) >= BOTH_DIGITS * CLUSTER:
            return True
    return False


def _alone(evidence: Evidence) -> list[Function]:
    """Return the ROM that some readings alone show, and all together do not."""
    known = {(f.size, f.copies[0].first) for f in _roms(evidence.found)}
    some = replace(evidence.readings, readings=tuple(evidence.chosen[row] for row in _likest(evidence)))
    found = survey(some, part=evidence.part, size=None if evidence.part else evidence.size)
    return [f for f in _roms(found) if (f.size, f.copies[0].first) not in known][:1]


def _roms(found: Survey) -> Iterator[Function]:
    return (function for function in found.functions if function.kind == "rom")


def _likest(evidence: Evidence) -> tuple[int, ...]:
    """Return the two readings that agree best, where there are more than two; else the first."""
    value = evidence.stacked.value
    if len(value) < 3:
        return (0,)
    return max(combinations(range(len(value)), 2), key=lambda pair: float(np.mean(value[pair[0]] == value[pair[1]])))


def _sensible(planes: list[tuple[Bytes, Bools]]) -> bool:
    """Tell whether every plane may be code where they differ; of two that are not, either may be a floating bus."""
    values = np.stack([value for value, _ in planes])
    blocks = values.reshape(len(planes), -1, min(BLOCK, values.shape[1]))
    differ = (blocks != blocks[0]).any(axis=(0, 2))
    return min(best_sense(plane[differ].ravel()).nats for plane in blocks) >= SENSIBLE


def _majority(observed: Observed, row: int) -> tuple[Bytes, Bools]:
    """Return what one reading says of every byte, and where all its copies agree."""
    mine = observed.reading == row
    value, known = observed.value[mine], observed.known[mine]
    whole = known == known.max(initial=0)
    first = np.argmax(whole, axis=0)
    chosen = value[first, np.arange(value.shape[1])]
    agree = whole.any(axis=0) & (((value ^ chosen) & known) == 0).all(axis=0)
    return chosen, agree


def _copies(observed: Observed, row: int) -> Index:
    """Return how often one reading says every byte whole, int64[n]."""
    known = observed.known[observed.reading == row]
    count: Index = np.count_nonzero((known == known.max(initial=0)) & (known != 0), axis=0)
    return count


def _groups(
    names: list[tuple[str, str | None]],
    planes: list[tuple[Bytes, Bools]],
    copies: Index,
    *,
    doubted: bool,
    digits: bool,
) -> tuple[Finding, int] | None:
    """Return the finding where planes, one a reading, fall into two groups that each agree with themselves.

    Args:
        names: file and session of each reading.
        planes: what each says, and where that is sure.
        copies: int64[R, n], how often each reading says each byte.
        doubted: True where this may be no memory at all.
        digits: True where an error of the line hits one hexadecimal digit.
    """
    differ = np.zeros((len(planes), len(planes)))
    several = np.zeros_like(differ)
    for a, b in combinations(range(len(planes)), 2):
        sure = planes[a][1] & planes[b][1]
        changed = (planes[a][0] ^ planes[b][0])[sure]
        differ[a, b] = differ[b, a] = np.count_nonzero(changed)
        several[a, b] = several[b, a] = np.count_nonzero((changed & 0x0F != 0) & (changed & 0xF0 != 0))
    few = None if doubted or _lost(planes) else _few(names, planes, copies, digits=digits)
    mirrored = bool((copies > 1).any())
    group = several[0] * 4 < max(1.0, several[0].max())
    if group.all() or differ[0].max() < CLUSTER or _lost(planes):
        return few
    unlike = max(float(np.count_nonzero(~sure)) for _, sure in planes)
    inside = max(several[np.ix_(group, group)].max(initial=0), several[np.ix_(~group, ~group)].max(initial=0))
    across, apart = differ[np.ix_(group, ~group)], several[np.ix_(group, ~group)]
    if inside * 6 > apart.min() or unlike > across.min() or across.min() < CLUSTER:
        return few
    if apart.sum() < BOTH_DIGITS * across.sum():
        return few
    if (doubted or across.min() >= UNLIKE * len(planes[0][0])) and not _sensible(planes):
        return None
    line, within = _switched(planes), True
    if line is None:
        line, within = _either_side(planes), False
    if line is not None:
        return _levels(line, int(across.min()), len(planes[0][0]), within=within), int(across.min())
    sizes = (int(group.sum()), int((~group).sum()))
    probability = 0.95 if max(sizes) > 1 or (mirrored and unlike * 8 < across.min()) else 0.8
    differing = int(across.min())
    return _two(names, group, differing, "most in both digits", probability), differing


def _two(names: list[tuple[str, str | None]], group: Bools, differing: int, how: str, probability: float) -> Finding:
    cycled = len({session for _, session in names}) > 1
    other = [name for (name, _), first in zip(names, group, strict=True) if not first]
    return Finding(
        "mixed-specimens",
        blocks=True,
        probability=round(probability - 0.05 * cycled, 3),
        evidence=f"{', '.join(dict.fromkeys(other[:4]))} differ from the other readings in {differing} bytes, {how}, "
        "and each group agrees with itself",
        advice="see which specimen each log is of, by label and session, and give each specimen a docket of its own"
        + ("; if it was the same one, this is RAM that lost its content" if cycled else ""),
    )


def _lost(planes: list[tuple[Bytes, Bools]]) -> bool:
    """Tell whether one of two bytes is mostly the other with bits lost, as a late or a sagging output leaves it."""
    nested, tried = 0, 0
    for (one, sure), (two, also) in combinations(planes, 2):
        differ = sure & also & (np.bitwise_count(one ^ two) > 1)
        a, b = one[differ], two[differ]
        tried += len(a)
        nested += int(np.count_nonzero(((a & b) == a) | ((a & b) == b)))
    return tried >= LOST and nested >= NESTED * tried


def _in_place(values: Bytes, places: Index) -> Bools:
    """Tell which bytes that differ are no line of a log that shifted or came elsewhere: then most of sixteen differ."""
    _, back, count = np.unique(places // GRANULE, return_inverse=True, return_counts=True)
    beside = np.zeros(len(places), np.bool_)
    for step in (-1, 1):
        there = np.clip(places + step, 0, values.shape[1] - 1)
        beside |= (values[:, places] == values[0, there]).any(axis=0) & (values[:, there] == values[0, places]).any(
            axis=0
        )
        beside |= ((values[:, places] != values[0, places]) & (values[:, places] == values[0, there])).any(axis=0)
    shifted = np.bincount(back.ravel(), beside, len(count)) * 2 >= count
    good: Bools = ((count <= GRANULE // 2) & ~(shifted & (count > 1)))[back.ravel()]
    return good


def _few(
    names: list[tuple[str, str | None]], planes: list[tuple[Bytes, Bools]], copies: Index, *, digits: bool
) -> tuple[Finding, int] | None:
    """Return the finding where few bytes differ, but all part the readings in the same two groups.

    Weak cells change one bit, each in readings of its own; a line spoils one digit of one reading. Where each reading
    says a byte several times, or two readings stand against two, it is no line.
    """
    sure = np.logical_and.reduce([whole for _, whole in planes])
    values = np.stack([value for value, _ in planes])
    places = np.flatnonzero(sure & (values != values[0]).any(axis=0))
    if not FEW <= len(places) < CLUSTER * 4:
        return None
    away = values[:, places] != values[0, places]
    other = values[np.argmax(away, axis=0), places]
    changed = other ^ values[0, places]
    both = (changed & 0x0F != 0) & (changed & 0xF0 != 0)
    two_valued = (~away | (values[:, places] == other)).all(axis=0)
    fewer = np.minimum(away.sum(axis=0), (~away).sum(axis=0))
    mirrored = np.where(away, copies[:, places], MIRRORS).min(axis=0) >= MIRRORS
    told = two_valued & (mirrored | (fewer > 1) | (both & digits & _in_place(values, places)))
    keys, back = np.unique(away[:, told], axis=1, return_inverse=True)
    if not keys.shape[1]:
        return None
    back = back.ravel()
    best = int(np.bincount(back).argmax())
    mine = back == best
    count, against = int(mine.sum()), int(told.sum() - mine.sum())
    nats = SEVERAL_BITS * float(both[told][mine].sum()) + (count - 1) * float(np.log((1 << len(planes) - 1) - 1))
    if count < FEW or nats - SELDOM * (1 + against) < SAYS:
        return None
    how = "the same ones in each"
    return _two(names, ~keys[:, best], count, how, 0.8), count


def _switched(planes: list[tuple[Bytes, Bools]]) -> int | None:
    """Return the address line across which every plane repeats: it has one level in one reading, another in others."""
    dead = set.intersection(*(set(dead_lines(value, sure)) for value, sure in planes))
    return dead.pop() if len(dead) == 1 else None


def _either_side(planes: list[tuple[Bytes, Bools]]) -> int | None:
    """Return the address line across which all planes say the same two bytes, wherever they differ; else None.

    An open input that keeps a level over a stretch of each reading does so; two specimens say four bytes there.
    """
    value = np.stack([plane for plane, _ in planes])
    sure = np.logical_and.reduce([known for _, known in planes])
    places = np.arange(value.shape[1])
    for line in range(len(places).bit_length() - 1):
        there = places ^ 1 << line
        at = np.flatnonzero((value != value[0]).any(axis=0) & sure & sure[there])
        said = np.sort(np.concatenate([value[:, at], value[:, there[at]]]), axis=0)
        if len(at) >= CLUSTER and float(np.mean(np.count_nonzero(np.diff(said, axis=0), axis=0) <= 1)) >= SIDES:
            return line
    return None


def _levels(line: int, differ: int, size: int, *, within: bool) -> Finding:
    shows = (
        f"A{line} makes no difference within a reading, but {differ} of {size} bytes differ between readings"
        if within
        else f"in {differ} of {size} bytes the readings differ, and each says what stands on one side of A{line} or "
        "the other, over whole stretches"
    )
    return Finding(
        "address-line-open",
        blocks=True,
        lines=(f"A{line}",),
        probability=0.93,
        evidence=f"{shows}: it had one level in some of them and the other in the others",
        advice=f"power off, then check the wire of A{line} to the specimen's pin: an open input keeps any level",
    )


def beside(evidence: Evidence) -> Iterator[Finding]:
    """Yield the finding where what stands beside the ROM, at the same selects, is another in each reading.

    Where no size is declared, two revisions leave the piece on which they agree for a smaller ROM. Every copy of a
    reading says the same there, which no line noise and no running timer does; one copy alone does not tell.
    """
    if evidence.size or not evidence.images or len(evidence.chosen) < 2:
        return
    function = evidence.found.functions[evidence.images[0].function]
    for level in range(function.size.bit_length() - 1, min(LARGEST, evidence.readings.address_bits)):
        firsts = dict.fromkeys((copy.first >> level ^ 1) << level for copy in function.copies if not copy.contended)
        if len(firsts) < MIRRORS:
            return
        other = replace(function, size=1 << level, copies=tuple(Copy(first, 0, 1.0) for first in firsts))
        differ = _differing(evidence, other)
        if differ:
            where = ", ".join(f"{first:04X}" for first in list(firsts)[:4])
            yield Finding(
                "mixed-specimens",
                blocks=True,
                probability=0.5,
                where=tuple(Range(first, first + (1 << level) - 1) for first in firsts),
                evidence=f"{differ} bytes beside the ROM, in the {1 << level} at {where}, differ from reading to "
                "reading, the same at every mirror: the ROM may be larger, and the readings of two versions of it",
                advice="declare the part or the size, and see which specimen each log is of",
            )
            return


def _stays(value: Bytes) -> Bools:
    """Tell which bytes but the first are the one before and no filling: a bus that keeps its charge."""
    stays: Bools = (value[1:] == value[:-1]) & ~np.isin(value[1:], FILLINGS)
    return stays


def _differing(evidence: Evidence, beside: Function) -> int:
    """Return how many bytes of a place differ between readings, most in both digits; 0 where too few to tell.

    What belongs to other memory is left out, and what only keeps the byte before it; after a power cycle also what RAM
    may have woken up with.
    """
    observed = evidence.observed(beside)
    cycled = len({reading.conditions.session for reading in evidence.chosen}) > 1
    planes = [_majority(observed, int(row)) for row in np.unique(observed.reading)]
    if len(planes) < 2:
        return 0
    free = ~np.repeat(evidence.stacked.answered(evidence.found.functions), GRANULE)
    level = beside.size.bit_length() - 1
    firsts = np.array([copy.first >> level for copy in beside.copies])
    owned = contents(evidence.stacked, free.astype(np.uint8).reshape(-1, GRANULE), level, firsts)
    most = 0
    for (one, sure), (two, also) in combinations(planes, 2):
        held = np.r_[False, _stays(one) | _stays(two)]
        changed = np.where(sure & also & ~held & owned.all(axis=0), one ^ two, np.uint8(0))
        several = np.count_nonzero((changed & 0x0F != 0) & (changed & 0xF0 != 0))
        pairs = np.unique(np.stack([one, two])[:, changed != 0], axis=1).shape[1]
        count = int(np.count_nonzero(changed))
        pieces = np.unique(np.flatnonzero(changed) // RAM)
        if cycled and len(pieces) == 1:
            continue
        if count >= CLUSTER and pairs >= CLUSTER // 2 and several >= BOTH_DIGITS * count:
            most = max(most, count)
    return most
