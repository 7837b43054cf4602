"""The layout of one log lent to the next: files of one evening were mostly printed by one program.

A layout is lent only where it says all by itself what it means, and taken only where most lines print back under it and
their addresses go on from each other: then learning could find nothing else.
"""

from __future__ import annotations

import numpy as np

from romassay.formats.layout import Layout, Number
from romassay.formats.lines.reader import read_rows
from romassay.formats.lines.rows import CLEAN, DAMAGED, Rows

_LEAST_LINES = 8
_CLEAN = 0.4
"""Share of the lines of data that must print back."""
_LINKED = 0.95
"""Share of the clean lines behind a clean one whose address goes on from it."""
_FOREIGN = 0.2
"""Lines that are none of the dump for each that is, at the most."""


def is_plain(layout: Layout) -> bool:
    """Tell whether a layout means the same whatever else a log holds: a hex address before hex cells on each line."""
    number = layout.address
    fixed = number is not None and number.base == 16 and number.pad == "zeros" and layout.where == "line"
    return fixed and layout.cell == Number(16, 2 * layout.size, "zeros") and bool(layout.gaps) and not layout.tail


def lendable(layout: Layout) -> bool:
    """Tell whether a layout can be mistaken for no other: no words, whose bytes have either order."""
    return is_plain(layout) and layout.size == 1 and all(layout.gaps or ())


def rows_if_sure(text: bytes, layout: Layout, least: float = _CLEAN) -> Rows | None:
    """Return the rows of a cleaned text under a layout; None where it is not sure that the text has it.

    Args:
        text: cleaned.
        layout: tried.
        least: share of the lines of data that must print back.
    """
    rows = read_rows(text, layout)
    clean = rows.state == CLEAN
    data = int(np.count_nonzero(clean | (rows.state == DAMAGED))) + len(rows.damaged)
    if clean.sum() < max(_LEAST_LINES, least * data) or len(rows.foreign) > _FOREIGN * data or len(rows.suspect):
        return None
    both = clean[1:] & clean[:-1]
    linked = both & (rows.address[1:] == rows.address[:-1] + rows.count[:-1])
    near = both & (np.diff(rows.line) == 1)
    return rows if linked.sum() >= max(_LEAST_LINES // 2, _LINKED * near.sum()) else None
