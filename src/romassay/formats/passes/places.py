"""Where the bytes of rows belong, and what should have been between them and was not."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.rows import CUT, OVERLONG, SHORT, Rows
from romassay.formats.passes.units import BUS, NEAR, Units, rounding_rows, row_breaks, space_of, suspects_of
from romassay.formats.passes.verdicts import Verdicts
from romassay.reading import Hole, Index, Mask

TOO_SHORT = "the line is too short"
MISSING = "a line is missing"
TOO_DAMAGED = "the line is too damaged to read"
NO_PLACE = "nothing says where these bytes belong"
FEW_MISSING = 32
"""Lines that may be missing in one place before it is taken for a jump."""


@dataclass(slots=True)
class Placed:
    """Rows whose bytes have a certain address.

    Attributes:
        row: int64[n], indices of rows, in the order of lines.
        address: int64[n].
        breaks: bool[n], other text stands before it.
        holes: what should have been there and was not, each with the line at or after which that is.
    """

    row: Index
    address: Index
    breaks: Mask
    holes: list[tuple[int, Hole]]


def placed_rows(units: Units, verdicts: Verdicts, rows: Rows, layout: Layout) -> Placed:
    """Return the rows whose bytes have a certain address, and the holes between them."""
    holes: list[tuple[int, Hole]] = []
    for i, reason in verdicts.reason.items():
        first = int(verdicts.address[i])
        line = int(rows.line[units.first[i]])
        if reason:
            length = int(rows.count[units.first[i]]) if i in verdicts.proven else int(units.full[i])
            last = first + max(length, 1) - 1
            holes.append((line, Hole(first, last, line, reason) if first >= 0 else Hole(None, None, line, reason)))
    address = np.full(len(rows), -1, np.int64)
    proven = np.zeros(len(rows), np.bool_)
    if layout.where == "line":
        address[verdicts.taken] = units.address[verdicts.taken]
    else:
        _place_groups(units, verdicts, rows, layout, address, proven, holes)
    breaks = row_breaks(rows)
    _drop_short(rows, layout, address, breaks, proven, holes)
    row = np.flatnonzero((address >= 0) & (rows.count > 0))
    since = np.logical_or.reduceat(breaks, np.concatenate([[0], row[:-1] + 1])) if len(row) else np.zeros(0, np.bool_)
    placed = Placed(row, address[row], since, holes)
    _note_missing(placed, rows, layout)
    return placed


def _place_groups(
    units: Units,
    verdicts: Verdicts,
    rows: Rows,
    layout: Layout,
    address: Index,
    proven: Mask,
    holes: list[tuple[int, Hole]],
) -> None:
    """Count the addresses of lines without one: all of a unit where the next bears the count out, else while sound."""
    n = len(units.address)
    space = space_of(rows, layout)
    suspects, rounding = suspects_of(rows), rounding_rows(rows, layout)
    for i in verdicts.proven:
        span = slice(int(units.first[i]) + 1, int(units.first[i] + units.rows[i]))
        before = np.cumsum(rows.count[span]) - rows.count[span] + rows.count[span.start - 1]
        address[span] = verdicts.address[i] + before
    for i in np.flatnonzero(verdicts.taken).tolist():
        lead, count = int(units.first[i]), int(units.rows[i])
        span = slice(lead, lead + count)
        at = units.address[i] + np.cumsum(rows.count[span]) - rows.count[span]
        end = int(units.address[i] + units.total[i])
        beyond = end - (space or 1 << BUS)
        goes_on = i + 1 < n and units.address[i + 1] in (end, beyond if beyond >= 0 else end)
        at = at if space is None else at % space
        contradicted = not goes_on and _jumps(i, units, rows, layout.line_bytes)
        if goes_on or (units.sound[i] and not contradicted):
            address[span] = at
            proven[span] = rounding[span] | goes_on
            continue
        certain = 1 if contradicted else _sound_rows(rows, span, suspects, rounding)
        address[lead : lead + certain] = at[:certain]
        lines = [int(rows.line[k]) for k in range(lead + certain, lead + count)]
        holes += [(line, Hole(None, None, line, NO_PLACE)) for line in lines]


def _jumps(i: int, units: Units, rows: Rows, line_bytes: int) -> bool:
    """Tell whether the next address contradicts the count of bytes since this one: a line was lost, or is too many."""
    if i + 1 >= len(units.address) or units.address[i + 1] < 0 or units.rows[i] == 1:
        return False
    before, own = int(rows.line[units.first[i + 1] - 1]), int(rows.line[units.first[i + 1]])
    if ((rows.foreign > before) & (rows.foreign < own)).any():
        return False
    step, total = int(units.address[i + 1] - units.address[i]), int(units.total[i])
    return 0 < step < total or 0 < step - total <= NEAR * line_bytes


def _sound_rows(rows: Rows, span: slice, suspects: Index, rounding: Mask) -> int:
    """Return how many rows there are up to and with the first that may hide a lost line end."""
    unsound = np.isin(rows.state[span], (SHORT, CUT)) | (rows.edits[span] >= OVERLONG)
    unsound &= ~rounding[span]
    line = rows.line[span]
    unsound[:-1] |= np.searchsorted(suspects, line[1:]) > np.searchsorted(suspects, line[:-1])
    first = np.flatnonzero(unsound)
    return int(first[0]) + 1 if len(first) else len(line)


def _drop_short(
    rows: Rows, layout: Layout, address: Index, breaks: Mask, proven: Mask, holes: list[tuple[int, Hole]]
) -> None:
    """Turn lines that are too short into holes, unless the next line goes on from them or they end a stretch."""
    for i in np.flatnonzero(((rows.state == SHORT) | (rows.state == CUT)) & (address >= 0) & ~proven).tolist():
        last = i + 1 >= len(rows)
        if rows.count[i] and (last or (rows.state[i] == SHORT and not _is_cut(i, rows, layout, address, breaks))):
            continue
        first = int(address[i])
        line = int(rows.line[i])
        holes.append((line, Hole(first, first + layout.line_bytes - 1, line, TOO_SHORT)))
        address[i] = -1


def _is_cut(i: int, rows: Rows, layout: Layout, address: Index, breaks: Mask) -> bool:
    """Tell whether a line with few cells should have had more: what follows goes on as if it were a full one."""
    if breaks[i + 1] or rows.checked[i]:
        return False
    following = next((k for k in range(i + 1, min(i + 1 + NEAR, len(rows))) if rows.address[k] >= 0), None)
    if following is None:
        return True
    between = (following - i - 1) * layout.line_bytes
    step = int(rows.address[following] - address[i]) - between
    return step != rows.count[i] and 0 < step <= NEAR * layout.line_bytes


def _note_missing(placed: Placed, rows: Rows, layout: Layout) -> None:
    """Note small steps forward inside a block as missing lines."""
    end = placed.address + rows.count[placed.row]
    gap = placed.address[1:] - end[:-1]
    inside = (gap > 0) & (gap <= FEW_MISSING * layout.line_bytes) & ~placed.breaks[1:]
    covered = {(hole.line, hole.first) for _, hole in placed.holes}
    damaged = rows.damaged.tolist()
    for i in np.flatnonzero(inside).tolist():
        first, last = int(end[i]), int(placed.address[i + 1]) - 1
        before, after = int(rows.line[placed.row[i]]), int(rows.line[placed.row[i + 1]])
        if any((k, first) in covered for k in range(before + 1, after)):
            continue
        lines = damaged[bisect_right(damaged, before) : bisect_left(damaged, after)]
        line = lines[0] if len(lines) == 1 else 0
        placed.holes.append((line or before, Hole(first, last, line, TOO_DAMAGED if line else MISSING)))
