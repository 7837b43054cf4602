"""Whether what a layout found in a text is a dump at all, and not numbers that happen to stand in prose.

A dump's addresses go on from line to line by just as many bytes as each line holds; a dump without addresses is little
else than bytes.
"""

from __future__ import annotations

import numpy as np

from romassay.formats.layout import NUMBER, RUN, Layout, pattern_parts
from romassay.formats.rows import CLEAN, DAMAGED, MARK, NO_ADDRESS, SHORT, UNSURE_ADDRESS, Rows

_LEAST_BYTES = 8
_MOST_LOST = 64
"""Lines that may be missing between two that go on from each other."""

_GO_ON = 0.5
"""Share of the addresses that must go on from the one before."""

_RUN = 3
"""Addresses in a row that must do so, where there are as many."""

_ALONE = 0.6
"""Share of a text without addresses on its lines that must be bytes."""

_LEAST_DIGITS = 3
"""Digits of an address of fixed width: two are a minute or a month."""

_ODD = 2
"""Characters of a layout's literal text that no keyboard has."""

_NARROW = 2
_NARROW_RUN = 8
_WIDE_RUN = 5
"""Where a line holds a byte or two, so many in a row must go on: lists are numbered as well, but not in four digits."""

_SPARSE = 0.3
"""Share of a text that must be dump where hardly any address goes on."""


def is_dump(rows: Rows, layout: Layout) -> bool:
    """Tell whether the rows that a layout found in a text are a dump.

    Args:
        rows: what was found.
        layout: of the lines.
    """
    data = np.isin(rows.state, (CLEAN, SHORT, DAMAGED)) & (rows.count > 0)
    if int(rows.count[data].sum()) < _LEAST_BYTES:
        return False
    if sum(not " " <= c <= "~" and c != "\t" for c in layout.lead + layout.after + layout.rest + layout.end) > _ODD:
        return False
    share = _share(rows, data)
    if layout.where in ("none", "alone"):
        return share >= _ALONE and not (layout.where == "none" and layout.tail)
    if layout.address is not None and 0 < layout.address.width < _LEAST_DIGITS:
        return False
    going, printed, run = _going_on(rows, layout)
    if layout.line_bytes <= _NARROW and (layout.tail or _is_open(layout) or run < _needed(layout) or share < _ALONE):
        return False
    if printed <= _RUN:
        return going == max(0, printed - 1) and share >= _SPARSE
    return going >= _GO_ON * (printed - 1) and (run >= _RUN or share >= _SPARSE)


def _is_open(layout: Layout) -> bool:
    """Tell whether anything may stand before the address, or another number behind it: a table has such columns."""
    before = any(kind == RUN for kind, _ in pattern_parts(layout.lead))
    return before or any(kind in (RUN, NUMBER) for kind, _ in pattern_parts(layout.after))


def _needed(layout: Layout) -> int:
    """Return how many narrow lines must go on from each other: fewer where more than the address speaks for a dump."""
    wide = layout.address is not None and layout.address.width > _LEAST_DIGITS
    return _RUN if layout.sum is not None or layout.gutter is not None else _WIDE_RUN if wide else _NARROW_RUN


def _share(rows: Rows, data: np.ndarray) -> float:
    """Return the share of a text's characters that stand in lines of data, blanks apart."""
    return float(rows.length[data].sum() / max(1, rows.ink))


def _going_on(rows: Rows, layout: Layout) -> tuple[int, int, int]:
    """Return how many addresses go on from the one before, how many there are, and the longest run of the former."""
    good = np.isin(rows.state, (CLEAN, SHORT, MARK, DAMAGED))
    address, count = (rows.address, rows.count) if good.all() else (rows.address[good], rows.count[good])
    before = np.concatenate([[0], np.cumsum(count)])[:-1]
    printed = (address != NO_ADDRESS) & (address != UNSURE_ADDRESS)
    step = np.diff((address - before)[printed])
    lost = (step > 0) & (step <= _MOST_LOST * layout.line_bytes) & (step % layout.line_bytes == 0)
    follows = (step == 0) | lost
    breaks = np.flatnonzero(np.concatenate([[True], ~follows, [True]]))
    return int(np.count_nonzero(follows)), int(np.count_nonzero(printed)), int(np.diff(breaks).max() - 1)
