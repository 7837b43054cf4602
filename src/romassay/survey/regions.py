"""The window cut into regions: everything that was read, sorted, with what answers there."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.address import Range, merge_ranges
from romassay.reading import ReadingSet
from romassay.survey.model import Function, Region, RegionKind
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE
from romassay.survey.states import BUS, CONTENDED, CONTENT, HOST, STRUCTURED, UNSEEN, VOLATILE

_STATE_KINDS: dict[int, RegionKind] = {
    BUS: "open-bus",
    STRUCTURED: "open-bus",
    VOLATILE: "open-bus",
    CONTENT: "unknown",
    HOST: "host",
    UNSEEN: "unknown",
    CONTENDED: "contended",
}


def regions(scene: Scene, functions: Sequence[Function], readings: ReadingSet) -> tuple[Region, ...]:
    """Cut everything that was read into regions."""
    granules = scene.stacked.granules
    owner = np.full(len(granules), -1, np.int64)
    seat = np.full(len(granules), -1, np.int64)
    fought = np.zeros(len(granules), np.bool_)
    for number, function in reversed(list(enumerate(functions))):
        level = function.size.bit_length() - 1
        for index, copy in enumerate(function.copies):
            at = scene.granules_of(level, (copy.first >> level,))
            at = at[scene.based.state[at] != HOST]
            owner[at], seat[at], fought[at] = number, index, copy.contended
    state = np.where(owner >= 0, 0, scene.based.state)
    alike = np.ones(max(0, len(granules) - 1), np.bool_)
    for column in (owner, seat, fought, state):
        alike &= column[1:] == column[:-1]
    new = np.flatnonzero(np.r_[True, ~alike | (np.diff(granules) != 1)])
    ends = np.r_[new[1:], len(granules)] - 1
    result = []
    for start, end in zip(new, ends, strict=True):
        first, last = int(granules[start]) * GRANULE, int(granules[end]) * GRANULE + GRANULE - 1
        if owner[start] < 0:
            result.append(Region(first, last, _STATE_KINDS[int(scene.based.state[start])]))
            continue
        kind: RegionKind = "contended" if fought[start] else functions[int(owner[start])].kind
        result.append(Region(first, last, kind, int(owner[start]), int(seat[start])))
    seen = merge_ranges(span for reading in readings.readings for span in reading.spans())
    return _clipped(result, seen, readings.excluded)


def _clipped(regions: list[Region], seen: Sequence[Range], excluded: Sequence[Range]) -> tuple[Region, ...]:
    """Cut regions to what was read, and give the excluded ranges to the host."""
    out: list[Region] = []
    hidden = merge_ranges(excluded)
    cursor = 0
    for region in regions:
        while cursor < len(seen) and seen[cursor].last < region.first:
            cursor += 1
        at = cursor
        while at < len(seen) and seen[at].first <= region.last:
            first, last = max(seen[at].first, region.first), min(seen[at].last, region.last)
            out += _without(Region(first, last, region.kind, region.function, region.copy), hidden)
            at += 1
    merged: list[Region] = []
    for item in out:
        before = merged[-1] if merged else None
        if before and before.last + 1 == item.first and _alike(before, item):
            merged[-1] = replace(before, last=item.last)
        else:
            merged.append(item)
    return tuple(merged)


def _alike(one: Region, other: Region) -> bool:
    return (one.kind, one.function, one.copy) == (other.kind, other.function, other.copy)


def _without(region: Region, hidden: Sequence[Range]) -> list[Region]:
    """Split a region where a hidden range lies in it; that part is the host's."""
    if not hidden:
        return [region]
    pieces = []
    at = region.first
    for item in hidden:
        inside = item.intersect(Range(region.first, region.last))
        if not inside:
            continue
        if inside.first > at:
            pieces.append(replace(region, first=at, last=inside.first - 1))
        pieces.append(Region(inside.first, inside.last, "host"))
        at = inside.last + 1
    if at <= region.last:
        pieces.append(replace(region, first=at))
    return pieces
