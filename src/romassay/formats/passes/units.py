"""Rows that one printed address counts for: a line, or an address with the lines after it that have none."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from romassay.formats.layout import HEX, Layout
from romassay.formats.lines.rows import CLEAN, CUT, DAMAGED, MARK, SHORT, Rows
from romassay.reading import Index, Mask

BUS = 16
"""Address lines of most hosts."""
NEAR = 4
"""Lines that a host may send again in one go."""
_FEW_ADDRESSES = 2
"""So many of them can't tell whether text among the lines stands in the place of one."""


@dataclass(slots=True)
class Units:
    """What an address is printed for: a line, or an address with the lines after it that have none.

    Attributes:
        first: index of its first row.
        rows: how many rows.
        address: byte address, below 0 where there is none that can be read.
        total: bytes.
        full: bytes if its lines were all full ones; differs from `total` where the last line is short.
        sound: False where a row of it is damaged or short in the middle.
    """

    first: Index
    rows: Index
    address: Index
    total: Index
    full: Index
    sound: Mask


def units_of(rows: Rows, layout: Layout, base: int | None) -> Units:
    """Return what each printed address counts for; `base` is that of the first byte where there are none."""
    if layout.where == "line":
        n = len(rows)
        full = np.where(rows.state == MARK, 0, np.maximum(rows.count, layout.line_bytes))
        sound = (rows.state == CLEAN) | (rows.state == SHORT) | (rows.state == MARK)
        return Units(np.arange(n), np.ones(n, np.int64), rows.address, rows.count, full, sound)
    return _grouped(rows, layout, base)


def _grouped(rows: Rows, layout: Layout, base: int | None) -> Units:
    """Put lines without an address to the address before them."""
    starts = rows.address != -1
    starts[:1] = True
    first = np.flatnonzero(starts)
    count = np.diff(np.append(first, len(rows)))
    total = np.add.reduceat(rows.count, first) if len(first) else np.zeros(0, np.int64)
    address = rows.address[first].copy()
    unsound = (rows.state == DAMAGED) | (rows.state == CUT)
    inner_short = (rows.state == SHORT) & ~np.append(starts[1:], True) & ~rounding_rows(rows, layout)
    after = np.searchsorted(suspects_of(rows), rows.line)
    inner_lost = ~starts & (np.diff(after, prepend=after[:1]) > 0)
    sound = ~np.logical_or.reduceat(unsound | inner_short | inner_lost, first) if len(first) else np.zeros(0, np.bool_)
    if len(first) and address[0] == -1:
        if layout.where == "none":
            address[0] = base or 0
        elif len(first) > 1 and address[1] >= total[0] and sound[0]:
            address[0] = address[1] - total[0]
        else:
            address[0] = -2
    last = first + count - 1
    lacking = np.where(rows.state[last] == SHORT, layout.line_bytes - rows.count[last], 0)
    return Units(first, count, address, total, total + lacking, sound)


def rounding_rows(rows: Rows, layout: Layout) -> Mask:
    """Tell which rows are short only to end where a full line would: the first behind an uneven address. bool[n]."""
    before = np.concatenate([[-1], rows.address[:-1]])
    marked = np.concatenate([[False], rows.state[:-1] == MARK])
    address = np.where(marked, before, rows.address)
    end = address + rows.count
    rounds: Mask = (address >= 0) & (end % layout.line_bytes == 0) & (rows.count < layout.line_bytes)
    return rounds


def suspects_of(rows: Rows) -> Index:
    """Return the lines that may have been data: the damaged ones, and other text as long where addresses tell."""
    few = np.count_nonzero(rows.address != -1) <= _FEW_ADDRESSES
    return rows.damaged if few else np.union1d(rows.damaged, rows.suspect)


def space_of(rows: Rows, layout: Layout) -> int | None:
    """Return behind which address the bus begins at 0 again; None where printed addresses may be longer than its own.

    Four hex digits or fewer say so themselves. Where others stay within 16 lines, the bus has so many.
    """
    number = layout.address
    if number is None:
        return None
    fixed = number.base == HEX and number.pad == "zeros"
    if fixed and number.width > BUS // 4:
        return None
    space = layout.scale << (4 * number.width if fixed else BUS)
    return space if (rows.address < space).all() else None


def row_breaks(rows: Rows) -> Mask:
    """Tell before which rows a line of other text stands: bool[n]."""
    before = np.searchsorted(rows.foreign, rows.line)
    return np.concatenate([[True], np.diff(before) > 0]) if len(before) else np.zeros(0, np.bool_)
