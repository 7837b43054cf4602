"""Rows that say no more than others, or stand for others: commands, headings, fill, asterisks."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.fixed_columns import bytes_of_numbers
from romassay.formats.lines.rows import CLEAN, MARK, SHORT, STAR, Rows, subset
from romassay.formats.passes.units import rounding_rows, row_breaks
from romassay.reading import Index

_MOST_SQUEEZED = 1 << 26
_TELLING = 3
"""Numbers that count up before they may be a heading."""


def without_end(rows: Rows, layout: Layout) -> Rows:
    """Return rows without the address behind the last byte that some printers end with, where it is just that."""
    if len(rows) < 2 or layout.size > 1 or rows.state[-1] != MARK:
        return rows
    if rows.address[-1] != rows.address[-2] + rows.count[-2]:
        return rows
    keep = np.ones(len(rows), np.bool_)
    keep[-1] = False
    return subset(rows, keep)


def without_commands(rows: Rows, layout: Layout) -> Rows:
    """Drop echoed commands that read like the beginning of a line: a few cells, and the next line has the address."""
    if len(rows) < 2 or layout.line_bytes < 2:
        return rows
    few = (rows.state == SHORT) & (rows.count <= 2 * layout.size) & (rows.count < layout.line_bytes)
    few &= rows.address >= 0
    again = np.append(rows.address[1:] == rows.address[:-1], False) & np.append(rows.count[1:] > rows.count[:-1], False)
    keep = ~(few & again)
    return rows if keep.all() else subset(rows, keep)


def without_headings(rows: Rows, layout: Layout) -> Rows:
    """Drop lines without an address that number the columns, or hold next to nothing, where text stands before them.

    Those that number the columns go in any place, if in one of them the addresses say that the line is too many.
    """
    if layout.where == "line" or layout.line_bytes < 4:
        return rows
    if layout.gutter is not None and layout.gutter.strip():
        return rows
    after_text = row_breaks(rows)
    next_to_nothing = (rows.address == -1) & (rows.state == SHORT) & (rows.count <= layout.size)
    keep = ~(after_text & next_to_nothing & ~rounding_rows(rows, layout))
    alike = _counting(rows, layout)
    surplus = _surplus(alike, rows)
    drop = surplus != 0 if (surplus == rows.count[alike]).any() else (surplus != 0) & after_text[alike]
    keep[alike[drop]] = False
    return rows if keep.all() else subset(rows, keep)


def _counting(rows: Rows, layout: Layout) -> Index:
    """Return the rows without an address whose bytes or words count up as a heading of columns does."""
    found: list[int] = []
    whole = (rows.address == -1) & (rows.count == layout.line_bytes) & ~rows.checked
    for step in {1, layout.size} if layout.cells >= _TELLING else ():
        heading = bytes_of_numbers((np.arange(layout.cells) * step)[None], layout.size, layout.order).ravel()
        like = np.flatnonzero(whole)
        for i in range(2 * layout.size):
            like = like[rows.value[rows.start[like] + i] == heading[i]]
        found += [i for i in like.tolist() if np.array_equal(rows.value[rows.start[i] :][: len(heading)], heading)]
    return np.unique(np.array(found, np.int64))


def _surplus(which: Index, rows: Rows) -> Index:
    """Return how many bytes more than the addresses around say there are around some rows; -1 where none tell."""
    printed = np.flatnonzero(rows.address >= 0)
    before = np.concatenate([[0], np.cumsum(rows.count)])
    at = np.searchsorted(printed, which)
    told = (at > 0) & (at < len(printed))
    surplus = np.full(len(which), -1, np.int64)
    a, b = printed[at[told] - 1], printed[at[told]]
    surplus[told] = before[b] - before[a] - (rows.address[b] - rows.address[a])
    return surplus


def unsqueezed(rows: Rows, layout: Layout) -> Rows:
    """Give each asterisk the bytes of the lines that it stands for, where both ends are certain; drop the others."""
    stars = np.flatnonzero(rows.state == STAR)
    if not len(stars):
        return rows
    count, address = rows.count.copy(), rows.address.copy()
    start = rows.start.copy()
    pieces = [rows.value]
    size = len(rows.value)
    budget = _MOST_SQUEEZED
    for i in stars:
        length = _squeezed_length(rows, int(i), layout)
        if length is None or length > budget:
            continue
        budget -= length
        before = rows.value[rows.start[i - 1] : rows.start[i - 1] + rows.count[i - 1]]
        pieces.append(np.tile(before, length // len(before)))
        start[i], count[i], address[i] = size, length, rows.address[i - 1] + rows.count[i - 1]
        size += length
    known = (
        None if rows.known is None else np.concatenate([rows.known, np.full(size - len(rows.value), 0xFF, np.uint8)])
    )
    state = np.where((rows.state == STAR) & (count > 0), CLEAN, rows.state).astype(np.uint8)
    widened = replace(
        rows,
        address=address,
        start=start,
        count=count,
        state=state,
        value=np.concatenate(pieces),
        known=known,
        shown=None,
    )
    return subset(widened, state != STAR)


def _squeezed_length(rows: Rows, i: int, layout: Layout) -> int | None:
    """Return how many bytes an asterisk stands for, or None."""
    if not 0 < i < len(rows) - 1 or layout.where != "line":
        return None
    if rows.state[i - 1] != CLEAN or rows.count[i - 1] != layout.line_bytes or rows.address[i - 1] < 0:
        return None
    length = int(rows.address[i + 1] - rows.address[i - 1] - rows.count[i - 1])
    if rows.address[i + 1] < 0 or length <= 0 or length % layout.line_bytes:
        return None
    is_last = i + 2 >= len(rows)
    goes_on = is_last or rows.address[i + 2] == rows.address[i + 1] + rows.count[i + 1] or rows.state[i + 2] == STAR
    return length if goes_on else None


def without_fill(rows: Rows, layout: Layout) -> Rows:
    """Cut the fill off a last word that holds fewer bytes than the others: the address behind the dump tells."""
    if layout.size == 1 or len(rows) < 2:
        return rows
    room = rows.address[1:] - rows.address[:-1]
    over = rows.count[:-1] - room
    cut = (rows.state[1:] == MARK) & (rows.address[:-1] >= 0) & (room > 0) & (over > 0) & (over < layout.size)
    count = rows.count.copy()
    count[:-1][cut] = room[cut]
    return replace(rows, count=count)
