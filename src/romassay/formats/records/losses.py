"""From a scan to a track: where damaged records stood, and what count records say is missing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from romassay.formats.records.model import MAX_DAMAGED, REASONS, Damaged, Scan
from romassay.formats.records.tracks import Lost, Track
from romassay.reading import Index, Mask


def track_of(found: Scan, is_data: Mask, is_end: Mask, claim: Callable[[Damaged], tuple[int, int] | None]) -> Track:
    """Return the data records of a scan in which the address field is the whole address.

    `claim` gives the first and last address of a damaged record by its own word.
    """
    before = np.r_[0, np.cumsum(is_data)]
    lost = losses(found, before, claim)
    return Track(
        first=found.address[is_data],
        count=found.count[is_data],
        line=found.line[is_data],
        value=found.value,
        ends=before[:-1][is_end],
        end_lines=found.line[is_end],
        lost=lost,
    )


def losses(found: Scan, before: Index, claim: Callable[[Damaged], tuple[int, int] | None]) -> tuple[Lost, ...]:
    """Return what the damaged records of a scan lost; `before` counts the data runs before each good record."""
    lost = [Lost(int(before[d.after]), d.line, REASONS[d.verdict], claim(d)) for d in found.damaged]
    more = found.damaged_total - len(found.damaged)
    if more:
        last = found.damaged[-1]
        lost.append(Lost(int(before[last.after]), last.line, f"{more} more damaged records behind this one"))
    return tuple(lost)


def count_losses(found: Scan, track: Track, counted: Mask, is_data: Mask, counts: Mask, fresh: Mask) -> Track:
    """Compare what count records say with what was read, and note records that are missing without a trace.

    Args:
        found: the scan.
        track: the track made of it.
        counted: records that a count record counts.
        is_data: records that are in the track.
        counts: the count records; `address` is the number that they give.
        fresh: records behind which counting starts anew.
    """
    rows = np.flatnonzero(counts)
    if not len(rows):
        return track
    so_far = np.cumsum(counted)
    behind = np.r_[False, (fresh | counts)[:-1]]
    base = np.maximum.accumulate(np.where(behind, so_far - counted, 0))
    damage = np.array([d.after for d in found.damaged], np.int64)
    before = np.cumsum(is_data)
    lost = list(track.lost)
    start = -1
    for i in rows[:MAX_DAMAGED].tolist():
        read = int(so_far[i] - base[i])
        said = int(found.address[i])
        damaged = int(np.searchsorted(damage, i, "right")) - int(np.searchsorted(damage, start, "right"))
        start = i
        if said > read + damaged:
            reason = f"{said - read - damaged} of {said} records are missing without a trace, by the count record"
            lost.append(Lost(int(before[i]), int(found.line[i]), reason))
    return replace(track, lost=tuple(sorted(lost, key=lambda item: (item.at, item.line))))


def without(found: Scan, rows: Mask, verdict: int, digits: Callable[[int], str]) -> Scan:
    """Return a scan in which some good records count as damaged; `digits` gives those of a record by its index."""
    keep = ~rows
    index = np.flatnonzero(rows)
    before = np.r_[0, np.cumsum(keep)]
    damaged = [replace(d, after=int(before[d.after])) for d in found.damaged]
    damaged += [
        Damaged(int(before[i]), int(found.line[i]), text, verdict, len(text) + 1)
        for i, text in ((i, digits(i)) for i in index[:MAX_DAMAGED].tolist())
    ]
    return replace(
        found,
        line=found.line[keep],
        kind=found.kind[keep],
        address=found.address[keep],
        count=found.count[keep],
        value=found.value[np.repeat(keep, found.count)],
        damaged=tuple(sorted(damaged, key=lambda d: d.line)),
        damaged_total=found.damaged_total + len(index),
    )
