"""Bytes held against the text column beside them: a digit that has become another digit shows there.

How a host prints each kind of byte as text is learnt from the log itself, and nothing is done where that is not borne
out. Where one changed digit would explain what stands in the text column, that digit is no longer taken as read; it may
be the text that is damaged, so the byte is not put right. Where no one digit explains it, the text is.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from romassay.formats.lines.rows import CODES, CONTRADICTED, NO_TEXT, Rows
from romassay.reading import Bytes, Index, Mask

_BORNE_OUT = 0.85
"""Share of the bytes that print, and of each other kind, that must stand as they are expected to."""
_LEAST_PRINTING, _LEAST = 16, 8
_SAMPLE = 1 << 18
_MOST_ODD, _ODD_SHARE = 2, 0.15
"""Characters of one line that may contradict its bytes: where there are more, its text has lost its columns."""
_ALL = np.arange(256)
_LOW = _ALL & 0x7F


def _between(first: int, last: int) -> Mask:
    """Return which values of a byte lie between two, both included: bool[256]."""
    chosen = np.zeros(256, np.bool_)
    chosen[first : last + 1] = True
    return chosen


_CAPITALS, _SMALL = _between(0x21, 0x5A), _between(0x61, 0x7A)
_UNPRINTING = _between(0x00, 0x1F) | _between(0x7F, 0xFF)
_KINDS = (
    *(_between(0x20, 0x20), _CAPITALS, _between(0x5B, 0x5F), _between(0x60, 0x60), _SMALL),
    *(_between(c, c) for c in b"{|}~"),
    _between(0x00, 0x1F) | _between(0x7F, 0x7F),
    *(_between(0xA1, 0xFE), _between(0xA0, 0xA0), _between(0x80, 0x9F), _between(0xFF, 0xFF)),
)
"""Bytes that hosts print alike: blanks, capitals and digits, rarer signs, small letters, controls, with bit 7 set."""


def held_against_text(rows: Rows) -> Rows:
    """Return rows without the digits that the text column contradicts, where the log bears out its text column."""
    if rows.shown is None:
        return rows
    expected = expected_text(*_told(rows, rows.shown))
    if expected is None:
        return rows
    odd = np.flatnonzero(expected.astype(np.uint8)[rows.value] != rows.shown)
    odd = odd[(rows.shown[odd] != NO_TEXT) & (expected[rows.value[odd]] >= 0)]
    if rows.known is not None:
        odd = odd[rows.known[odd] == 0xFF]
    row = _row_of(odd, rows)
    odd, row = odd[row >= 0], row[row >= 0]
    each = np.bincount(row, minlength=len(rows))
    few = each <= np.maximum(_MOST_ODD, _ODD_SHARE * rows.count)
    odd, row = odd[few[row]], row[few[row]]
    bits = _still_known(expected)[rows.value[odd], rows.shown[odd]]
    known = np.full(len(rows.value), 0xFF, np.uint8) if rows.known is None else rows.known.copy()
    known[odd] &= bits
    reason = rows.reason.copy()
    lost = row[bits == 0]
    reason[lost] = np.where(reason[lost] == 0, CODES[CONTRADICTED], reason[lost])
    return replace(rows, known=known, reason=reason) if (bits != 0xFF).any() else rows


def _told(rows: Rows, shown: Bytes) -> tuple[Bytes, Bytes]:
    """Return bytes that were read whole, from all over a log, and the characters beside them."""
    step = -(-len(shown) // _SAMPLE) or 1
    value, shown = rows.value[::step], shown[::step]
    told = shown != NO_TEXT
    if rows.known is not None:
        told &= rows.known[::step] == 0xFF
    return value[told], shown[told]


def _row_of(at: Index, rows: Rows) -> Index:
    """Return which row each of some bytes belongs to, -1 for those of none."""
    order = np.argsort(rows.start, kind="stable")
    before = np.searchsorted(rows.start[order], at, "right") - 1
    found: Index = np.where(before >= 0, order[before], -1)
    inside = (found >= 0) & (at < rows.start[found] + rows.count[found])
    return np.where(inside, found, -1)


def expected_text(value: Bytes, shown: Bytes) -> npt.NDArray[np.int16] | None:
    """Return the character as which each value of a byte is shown, int16[256], -1 where the log does not tell; or None.

    None where bytes that print do not stand as themselves: then the column may be anything.
    """
    expected = np.full(256, -1, np.int16)
    counts = np.bincount(value.astype(np.int64) << 8 | shown, minlength=1 << 16).reshape(256, 256)
    unprinting = counts[_UNPRINTING].sum(axis=0)
    dot = int(unprinting.argmax()) if unprinting.any() else ord(".")
    ways = [_ALL, np.full(256, dot), _LOW, np.full(256, ord(" ")), np.where(_SMALL, _ALL - 0x20, _ALL)]
    for kind in _KINDS:
        total = int(counts[kind].sum())
        right = [int(counts[kind][np.arange(kind.sum()), way[kind]].sum()) for way in ways]
        best = int(np.argmax(right))
        if right[best] >= max(1, _BORNE_OUT * total):
            expected[kind] = ways[best][kind]
        elif total < _LEAST:
            expected[kind] = dot
    printing = int(counts[_CAPITALS].sum())
    is_text = printing >= _LEAST_PRINTING and (expected[_CAPITALS] == _ALL[_CAPITALS]).all()
    return expected if is_text else None


def _still_known(expected: npt.NDArray[np.int16]) -> Bytes:
    """Return the bits that stay known of each byte beside each character: uint8[256, 256].

    Those of a digit go where another one in its place would be shown so.
    """
    known = np.full((256, 256), 0xFF, np.uint8)
    high = _ALL[:, None] & 0x0F | np.arange(16)[None] << 4
    low = _ALL[:, None] & 0xF0 | np.arange(16)[None]
    for others, bits in ((high, 0x0F), (low, 0xF0)):
        shown = expected[others]
        value = np.repeat(_ALL, 16)
        tells = shown.ravel() >= 0
        mask = np.full((256, 256), 0xFF, np.uint8)
        mask[value[tells], shown.ravel()[tells]] = bits
        known &= mask
    return known
