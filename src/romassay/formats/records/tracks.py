"""From records in the order of a log to readings: pass by pass, with what was sent twice and what is missing.

A log may hold several passes. A new pass begins where the same addresses come again behind an end record, or where the
log falls back to an address it has had and goes on from there as before. A record that comes again with the same bytes
within a pass is marked as resent: it confirms nothing. One that comes again with other bytes stays an observation.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field

import numpy as np

from romassay.errors import BadInput
from romassay.formats.model import Hints, Left, Parsed
from romassay.reading import Bytes, Hole, Index, Reading, Source, Unit

MAX_PASSES = 1000
"""Passes that are told apart; what follows stays in the last one."""


@dataclass(frozen=True, slots=True)
class Lost:
    """A stretch of the log that gave no bytes.

    Attributes:
        at: index of the first data record behind it.
        line: in the source, from 1.
        reason: in words.
        claim: first and last address by its own word, or None. It may be damaged, too: it counts only where it fits
            its neighbours without a gap.
    """

    at: int
    line: int
    reason: str
    claim: tuple[int, int] | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Track:
    """Data records in the order of the log.

    Attributes:
        first: int64[n], address of the first byte.
        count: int64[n], bytes.
        line: int64[n], line in the source.
        value: uint8[m], the bytes of all records in a row.
        known: uint8[m], bits that were seen, or None where all were.
        ends: int64[k], sorted: how many data records stand before each end record.
        end_lines: int64[k], the lines of the end records.
        lost: what was not taken.
    """

    first: Index
    count: Index
    line: Index
    value: Bytes
    known: Bytes | None = None
    ends: Index = field(default_factory=lambda: np.zeros(0, np.int64))
    end_lines: Index = field(default_factory=lambda: np.zeros(0, np.int64))
    lost: tuple[Lost, ...] = ()


def parsed_from(
    track: Track, hints: Hints, unit: Unit, *, left: Sequence[Left] = (), left_total: int = 0, layout: str = ""
) -> Parsed:
    """Return the readings of a log, one for each pass.

    Raises:
        BadInput: where no data record was taken.
    """
    if not len(track.value):
        raise _nothing(track)
    cuts = _passes(track)
    start_of = np.cumsum(track.count) - track.count
    readings = tuple(
        _reading(track, start_of, number, a, b, hints, unit)
        for number, (a, b) in enumerate(zip(cuts, [*cuts[1:], len(track.first)], strict=True), 1)
    )
    return Parsed(readings, tuple(left), max(left_total, len(left)), layout)


def _nothing(track: Track) -> BadInput:
    if not track.lost:
        return BadInput("holds no data records", advice="check that the log holds the dump itself")
    worst = track.lost[0]
    return BadInput(f"no record is whole: {worst.reason}", place=str(worst.line), advice="read the chip again")


def address_bits(last: int, hints: Hints) -> int:
    """Return the lines of the bus: as the person says, else 16, or as many as the last address needs."""
    return hints.address_bits or max(16, last.bit_length())


def _reading(track: Track, start_of: Index, number: int, a: int, b: int, hints: Hints, unit: Unit) -> Reading:
    first, count, line = track.first[a:b], track.count[a:b], track.line[a:b]
    base = int(start_of[a])
    size = int(count.sum())
    runs = np.empty((b - a, 4), np.int64)
    runs[:, 0], runs[:, 1], runs[:, 2], runs[:, 3] = first, start_of[a:b] - base, count, line
    value = track.value[base : base + size]
    known = None if track.known is None else track.known[base : base + size]
    if known is not None and bool((known == 0xFF).all()):
        known = None
    lost = [item for item in track.lost if _belongs(item, track, a, b)]
    lines = [int(line[0]), int(line[-1]), *(item.line for item in lost if item.line)]
    return Reading(
        runs=runs,
        value=value,
        known=known,
        address_bits=address_bits(int((first + count).max()) - 1, hints),
        unit=unit,
        holes=_holes(lost, track, a, b),
        resent=_resent(runs, value),
        role=hints.role,
        source=Source(pass_number=number, lines=(min(lines), max(lines)), bad_lines=len({i.line for i in lost})),
    )


def _belongs(item: Lost, track: Track, a: int, b: int) -> bool:
    """Tell whether something lost belongs to the pass of records a to b: between two passes, the end record decides."""
    if item.at == a and a > 0:
        return _is_behind_end(item, track)
    if item.at == b and b < len(track.first):
        return not _is_behind_end(item, track)
    return a <= item.at <= b


def _is_behind_end(item: Lost, track: Track) -> bool:
    i = int(np.searchsorted(track.ends, item.at))
    return i < len(track.ends) and int(track.ends[i]) == item.at and int(track.end_lines[i]) < item.line


def _repeats(first: Index) -> tuple[Index, Index]:
    """Return for each record the index of the one before it, and of the earliest one, with the same first address.

    -1 where there is none.
    """
    previous = np.full(len(first), -1, np.int64)
    earliest = previous.copy()
    if bool((first[1:] > first[:-1]).all()):
        return previous, earliest
    order = np.argsort(first, kind="stable")
    same = np.r_[False, first[order[1:]] == first[order[:-1]]]
    previous[order[same]] = order[np.flatnonzero(same) - 1]
    leader = np.maximum.accumulate(np.where(same, 0, np.arange(len(order))))
    earliest[order[same]] = order[leader[same]]
    return previous, earliest


def _passes(track: Track) -> list[int]:
    """Return the indices of the records with which the passes begin, lowest first."""
    first, n = track.first, len(track.first)
    previous, _ = _repeats(first)
    if int(previous.max()) < 0:
        return [0]
    behind_end = np.unique(track.ends[(track.ends > 0) & (track.ends < n)])
    latest = np.maximum.reduceat(previous, np.r_[0, behind_end])[1:] if len(behind_end) else behind_end
    comes_again = dict(zip(behind_end.tolist(), latest.tolist(), strict=True))
    falls = np.flatnonzero((previous[1:] >= 0) & (first[1:] < first[:-1])) + 1
    cuts = [0]
    new = np.flatnonzero(previous < 0)
    for at in np.union1d(behind_end, falls).tolist():
        start = cuts[-1]
        if comes_again.get(at, -1) >= start or (previous[at] >= start and _is_restart(first, new, start, at)):
            cuts.append(at)
            new = np.flatnonzero(previous < at)
        if len(cuts) == MAX_PASSES:
            break
    return cuts


def _is_restart(first: Index, new: Index, start: int, at: int) -> bool:
    """Tell a pass that begins anew from records that were sent again.

    The records from `at` on must repeat addresses of the pass and go up: two at least, to the end of the log; or three
    quarters of what the pass has had so far. Two are enough where they begin with the pass's own first one.
    `new` holds the indices of the records whose address the pass had not had, sorted.
    """
    i = int(np.searchsorted(new, at))
    stop = int(new[i]) if i < len(new) else len(first)
    repeated = stop - at
    if first[at] == first[start] and (repeated >= 2 or stop == len(first)):
        return at - start > 1
    goes_on = repeated >= 2 and first[at + 1] > first[at]
    return bool(goes_on and (stop == len(first) or 4 * repeated >= 3 * (at - start)))


def _resent(runs: Index, value: Bytes) -> Index:
    """Return the rows that repeat the row before, or the earliest one, with the same address, byte for byte."""
    previous, earliest = _repeats(runs[:, 0])
    again = np.flatnonzero(previous >= 0)
    if not len(again):
        return again
    equal = np.zeros(len(runs), bool)
    for other in (previous, earliest):
        rows = again[runs[again, 2] == runs[other[again], 2]]
        for width in np.unique(runs[rows, 2]).tolist():
            windows = np.lib.stride_tricks.sliding_window_view(value, width)
            for part in _parts(rows[runs[rows, 2] == width], width):
                equal[part] |= (windows[runs[part, 1]] == windows[runs[other[part], 1]]).all(axis=1)
    return np.flatnonzero(equal)


def _parts(rows: Index, width: int) -> Iterator[Index]:
    """Cut a list of rows so that the bytes of each part stay within a few megabytes."""
    step = max(1, (1 << 22) // width)
    for i in range(0, len(rows), step):
        yield rows[i : i + step]


def _holes(lost: Sequence[Lost], track: Track, a: int, b: int) -> tuple[Hole, ...]:
    holes: list[Hole] = []
    i = 0
    while i < len(lost):
        j = i + 1
        while j < len(lost) and lost[j].at == lost[i].at:
            j += 1
        holes += _group_of_holes(lost[i:j], track, a, b)
        i = j
    return tuple(holes)


def _group_of_holes(group: Sequence[Lost], track: Track, a: int, b: int) -> list[Hole]:
    """Return the holes that a run of damaged records leaves, with addresses only where these are certain.

    An address by the record's own word is certain where the good record before it ends just there, or the one behind
    it begins just there. The last one of a run is also certain where the good records on both sides leave just as much
    room as a record takes. One that was sent again at once leaves no hole.
    """
    at = group[0].at
    below = int(track.first[at - 1] + track.count[at - 1]) if a < at <= b else None
    above = int(track.first[at]) if a <= at < b else None
    usual = int(track.count[at - 1]) if below is not None else int(track.count[at]) if above is not None else 0
    if below is not None and below == above:
        resent = (below, below + int(track.count[at]) - 1)
        return [Hole(None, None, item.line, item.reason) for item in group if item.claim != resent]
    where: list[tuple[int, int] | None] = [None] * len(group)
    low, high = 0, len(group)
    while low < high and (claim := _fitting_above(group[low].claim, below, above)):
        where[low], below, low = claim, claim[1] + 1, low + 1
    while low < high and (claim := _fitting_below(group[high - 1].claim, below, above)):
        where[high - 1], above, high = claim, claim[0], high - 1
    if high - low == 1 and below is not None and above is not None and above - below == usual:
        where[low] = (below, above - 1)
    return [
        Hole(span[0] if span else None, span[1] if span else None, item.line, item.reason)
        for item, span in zip(group, where, strict=True)
    ]


def _fitting_above(claim: tuple[int, int] | None, below: int | None, above: int | None) -> tuple[int, int] | None:
    """Return a claim that begins where the record before it ends, and runs into nothing."""
    if claim is None or below is None or claim[0] != below:
        return None
    return claim if above is None or above <= below or claim[1] < above else None


def _fitting_below(claim: tuple[int, int] | None, below: int | None, above: int | None) -> tuple[int, int] | None:
    """Return a claim that ends where the record behind it begins, and runs into nothing."""
    if claim is None or above is None or claim[1] + 1 != above:
        return None
    return claim if below is None or below >= above or claim[0] >= below else None
