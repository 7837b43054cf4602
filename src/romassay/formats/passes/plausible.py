"""Whether what a layout found in a text is a dump at all, and not numbers that happen to stand in prose.

A dump's addresses go on from line to line by just as many bytes as each line holds; a dump without addresses is little
else than bytes.
"""

from __future__ import annotations

import re

import numpy as np

from romassay.formats.layout import ANY, NUMBER, RUN, Layout, Number, pattern_parts
from romassay.formats.lines.rows import CLEAN, CUT, DAMAGED, MARK, NO_ADDRESS, SHORT, UNSURE_ADDRESS, Rows
from romassay.formats.text.tables import is_table

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

_MOST_DIGITS = 11
"""Digits of an address before other text: those of 64-bit machines stand in tables of other programs."""

_ODD = 2
"""Characters of a layout's literal text that no keyboard has."""

_NARROW = 2
_WIDE = 4
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
    data = _has_state(rows, CLEAN, SHORT, DAMAGED) & (rows.count > 0)
    if int(rows.count[data].sum()) < _LEAST_BYTES:
        return False
    literal = (*layout.lead, *layout.after, *layout.rest, *set(layout.end))
    if sum(not " " <= c <= "~" and c != "\t" for c in literal) > _ODD:
        return False
    if layout.tail and layout.address is not None and layout.address.width > _MOST_DIGITS:
        return False
    if _is_of_words(layout) or _is_list(rows, data, layout):
        return False
    share = _share(rows, data)
    if layout.where in ("none", "alone"):
        return share >= _ALONE and not (layout.where == "none" and layout.tail)
    going, printed, run = _going_on(rows, layout)
    if layout.address is not None and 0 < _digits(rows, layout.address) < _LEAST_DIGITS:
        counted = layout.line_bytes >= _WIDE and run >= _NARROW_RUN and share >= _ALONE
        if layout.address.pad == "zeros" or not counted:
            return False
    if _counts_in_tens(rows, layout):
        return False
    tail = layout.tail and layout.cell.base != _BINARY
    if layout.line_bytes <= _NARROW and (tail or _is_open(layout) or run < _needed(layout) or share < _ALONE):
        return False
    if printed <= _RUN or (layout.where == "some" and len(_printed(rows)) <= _RUN):
        return going >= len(_printed(rows)) - 1 and share >= _SPARSE
    return going >= _GO_ON * (printed - 1) and (run >= _RUN or share >= _SPARSE)


def _has_state(rows: Rows, *states: int) -> np.ndarray:
    """Tell which rows have one of some states, CLEAN among them: bool[n]; nearly always all are clean."""
    return np.isin(rows.state, states) if rows.state.any() else np.ones(len(rows), np.bool_)


def _digits(rows: Rows, address: Number) -> int:
    """Return how many digits addresses have, the longest of them where their width is not fixed."""
    if address.width:
        return address.width
    highest = int(rows.address.max(initial=0))
    return next(n for n in range(1, 64) if highest < address.base**n)


_BINARY = 2
"""Base of cells whose digits are so many and so plain that anything may stand behind them: a picture of the bits."""
_IN_WORD = re.compile(r"[A-Za-z]{2}$")
_LAST_LETTER = re.compile(r"(?<![0'])[GI-WYZgi-wyz]$")
"""One right before a cell that says no base."""
_PREFIXES = ("0x", "0X", "&h", "&H")
_GROUPS = re.compile(r"(?:[0-9A-Fa-f]{2,4}[:.-]){2}$")
_MOST_OPEN = 24
"""Open columns before an address: a clock with a date has no more."""


def _is_of_words(layout: Layout) -> bool:
    """Tell whether an address or a cell begins inside a word or a chain of numbers, or behind much other text."""
    open_columns = sum(kind == ANY for kind, _ in pattern_parts(layout.lead))
    before = (layout.lead, layout.after, layout.rest)
    in_word = any(_IN_WORD.search(text) and not text.endswith(_PREFIXES) for text in before)
    in_word |= _LAST_LETTER.search(layout.after) is not None
    return in_word or open_columns > _MOST_OPEN or _GROUPS.search(layout.lead) is not None


_BUS = 16
"""Address lines of most hosts: behind the last address comes 0 again."""

_ENOUGH = 12
"""Addresses that show how they are counted."""


def _counts_in_tens(rows: Rows, layout: Layout) -> bool:
    """Tell whether addresses that are read as hex are decimal: all their steps are alike only if they are read so."""
    if layout.address is None or layout.address.base != 16 or layout.where != "line":
        return False
    texts = [f"{address:x}" for address in rows.address[: _ENOUGH * 8].tolist() if address >= 0]
    if len(texts) < _ENOUGH or not all(text.isdecimal() for text in texts):
        return False
    return _alike([int(text) for text in texts]) > _alike([int(text, 16) for text in texts])


def _alike(numbers: list[int]) -> float:
    """Return the share of the most frequent step between numbers."""
    steps = np.unique(np.diff(numbers), return_counts=True)[1]
    return float(steps.max() / steps.sum())


_DIGESTS = (16, 20, 28, 32, 48, 64)
"""Bytes of the usual message digests: FIPS 180-4, and RFC 1321."""
_UNIFORM = 400.0
"""Chi-square of bytes against all alike, with 255 degrees of freedom, that chance passes once in 10^8."""


def _is_list(rows: Rows, data: np.ndarray, layout: Layout) -> bool:
    """Tell whether lines are a list of digests, a key, a table of characters or a table of two columns."""
    if layout.where == "none":
        if _is_chain(rows, data, layout) or _is_table(rows, data, layout):
            return True
        dense = layout.gaps is not None and not any(layout.gaps)
        if dense and layout.line_bytes in _DIGESTS and (rows.count[data] == layout.line_bytes).all():
            return _is_uniform(rows.value)
        return layout.end == ":"
    if layout.cells > 2 or layout.address is None:
        return False
    address = rows.address[data]
    if layout.unit == "words" and layout.address.base == layout.cell.base == 10:
        return True
    alike = layout.line_bytes == 1 and np.array_equal(rows.value[rows.start[data]], address)
    return bool(alike and address.max() < 1 << 8)


_CHAINS = (6, 16, 20, 32)
"""Bytes of the usual addresses of network cards, and of fingerprints."""
_WORDS_OF_ADDRESS = 8


def _is_chain(rows: Rows, data: np.ndarray, layout: Layout) -> bool:
    """Tell whether lines without an address are network addresses or fingerprints: numbers with colons between them."""
    if set(layout.gaps or ()) != {":"} or layout.cell.base != 16:
        return False
    if layout.size == 2:
        return layout.cells == _WORDS_OF_ADDRESS
    whole = bool((rows.count[data] == layout.line_bytes).all())
    return layout.cells in _CHAINS and whole and _is_uniform(rows.value)


def _is_table(rows: Rows, data: np.ndarray, layout: Layout) -> bool:
    """Tell whether lines without an address are a table of dates or times."""
    if layout.size != 1 or layout.cell.base != 16:
        return False
    first = np.flatnonzero(data)[:_TABLE_ROWS]
    lines = [
        rows.value[rows.start[i] : rows.start[i] + rows.count[i]].tobytes().hex(" ").encode() for i in first.tolist()
    ]
    full = len(lines[0]) if lines else 0
    return is_table([line for line in lines if len(line) == full])


_TABLE_ROWS = 512


def _is_uniform(value: np.ndarray) -> bool:
    """Tell whether all values of a byte are about equally frequent, as in random numbers."""
    expected = len(value) / 256
    return float(((np.bincount(value, minlength=256) - expected) ** 2).sum() / max(expected, 1e-9)) < _UNIFORM


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


def _printed(rows: Rows) -> np.ndarray:
    """Return the different addresses that stand in a text: passes over the same range begin with the same one."""
    addresses: np.ndarray = np.unique(rows.address[rows.address >= 0])
    return addresses


def _sent_again(rows: Rows) -> np.ndarray:
    """Tell which rows but the first say just what the row before says: bool[n - 1]."""
    again: np.ndarray = (rows.address[1:] >= 0) & (rows.address[1:] == rows.address[:-1])
    again &= (rows.count[1:] == rows.count[:-1]) & (rows.count[1:] > 0)
    for i in np.flatnonzero(again).tolist():
        one, other = (rows.value[rows.start[k] : rows.start[k] + rows.count[k]] for k in (i, i + 1))
        again[i] = np.array_equal(one, other)
    return again


def _going_on(rows: Rows, layout: Layout) -> tuple[int, int, int]:
    """Return how many addresses go on from the one before, how many there are, and the longest run of the former."""
    good = _has_state(rows, CLEAN, SHORT, MARK, DAMAGED, CUT)
    good[1:] &= ~_sent_again(rows)
    address, count = (rows.address, rows.count) if good.all() else (rows.address[good], rows.count[good])
    before = np.concatenate([[0], np.cumsum(count)])[:-1]
    printed = (address != NO_ADDRESS) & (address != UNSURE_ADDRESS)
    step = np.diff((address - before)[printed])
    lost = (step > 0) & (step <= _MOST_LOST * layout.line_bytes) & (step % layout.line_bytes == 0)
    follows = (step == 0) | (step == -(layout.scale << _BUS)) | lost
    breaks = np.flatnonzero(np.concatenate([[True], ~follows, [True]]))
    return int(np.count_nonzero(follows)), int(np.count_nonzero(printed)), int(np.diff(breaks).max() - 1)
