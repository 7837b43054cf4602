"""Damaged lines with fixed columns: what is certain of their bytes, by the template that costs them least."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines import fixed_columns as fixed
from romassay.formats.lines.alignment import LOST, MAX_COST_SHARE, MAX_UNSURE_SHARE, Alignment, align, digits_of
from romassay.formats.lines.fixed_columns import text_beside
from romassay.formats.lines.rows import (
    CODES,
    DAMAGED,
    LOST_COLUMNS,
    NO_ADDRESS,
    NO_SUM,
    NO_TEXT,
    NOT_A_DIGIT,
    UNSURE_ADDRESS,
    WRONG_SUM,
    Block,
    joined,
)
from romassay.formats.model import ADDRESS_SPACE
from romassay.formats.sums import KINDS
from romassay.reading import Bytes, Index, Mask


@dataclass(frozen=True, slots=True, eq=False)
class Certain:
    """What is certain of some lines by one template, and what their alignment costs; too much where it is beyond hope.

    Attributes:
        lines: all of them.
        cost: int64[lines].
        values, known: uint8[lines, n].
    """

    lines: Block
    cost: Index
    values: Bytes
    known: Bytes


_BEYOND_HOPE = 1 << 30
_FEW_LOST = 3
"""Characters that may be lost or too many in a line without an address: more are an address, or another line's."""


def best_of(found: list[Certain]) -> Block:
    """Return of each line what the template says that costs least, the earlier one on a tie."""
    costs = np.stack([one.cost for one in found])
    which = costs.argmin(axis=0)
    good = costs.min(axis=0) < _BEYOND_HOPE
    blocks = [_chosen(one, np.flatnonzero(good & (which == i))) for i, one in enumerate(found)]
    return joined([block for block in blocks if len(block)] or blocks[:1])


def _chosen(found: Certain, rows: Index) -> Block:
    """Return some of the lines."""
    known = found.known[rows].ravel()
    lines = found.lines
    shown = None if lines.shown is None else lines.shown.reshape(found.values.shape)[rows].ravel()
    return replace(
        lines,
        shown=shown,
        value=found.values[rows].ravel(),
        known=None if (known == 0xFF).all() else known,
        **{name: getattr(lines, name)[rows] for name in ("line", "address", "length", "checked", "edits", "reason")},
    )


def certain_of(lines: list[tuple[int, bytes]], template: fixed.Template, layout: Layout) -> Certain:
    """Return what is certain of damaged lines."""
    alignment = align([text for _, text in lines], template)
    offset = 1 if template.address else 0
    count = len(lines)
    sure, printed = _number(alignment, 0, template.address) if template.address else (np.ones(count, np.bool_), None)
    values, known, bad_digit, large = _cells(alignment, offset, template, layout)
    lost = (alignment.shift[:, offset : offset + len(template.cells)] == LOST).any(axis=1)
    reason = np.where(lost, CODES[LOST_COLUMNS], np.where(bad_digit, CODES[NOT_A_DIGIT], 0))
    most = np.where(sure, MAX_COST_SHARE, MAX_UNSURE_SHARE) * template.width
    hopeless = (alignment.cost > most) | ~known.any(axis=1)
    if template.address is None and template.exact:
        length = np.array([len(text) for _, text in lines], np.int64)
        hopeless |= np.abs(length - template.width) > _FEW_LOST
    checked = np.zeros(count, np.bool_)
    if layout.sum is not None:
        total = _number(alignment, offset + len(template.cells), template.sum) if template.sum else None
        problem = _sum_problems(layout, printed, values, known, total)
        problem[~sure] = CODES[NO_SUM]
        checked = problem == 0
        known[~checked] = 0
        reason = np.where(reason == 0, problem, reason)
    address = np.full(count, NO_ADDRESS, np.int64) if printed is None else printed * layout.scale
    address[~sure | (address >= ADDRESS_SPACE)] = UNSURE_ADDRESS
    shown = _text_of_damaged(lines, template, alignment, values.shape[1])
    block = Block(
        line=np.array([line for line, _ in lines], np.int64),
        address=address,
        count=values.shape[1],
        value=values.ravel(),
        known=known.ravel(),
        length=np.array([len(text) for _, text in lines], np.int32),
        state=DAMAGED,
        checked=checked,
        edits=alignment.cost + large,
        reason=reason.astype(np.uint8),
        shown=None if shown is None else shown.ravel(),
    )
    return Certain(block, np.where(hopeless, _BEYOND_HOPE, alignment.cost), values, known)


def _text_of_damaged(
    lines: list[tuple[int, bytes]], template: fixed.Template, alignment: Alignment, count: int
) -> Bytes | None:
    """Return the text beside damaged lines, uint8[lines, count], where their last cell tells where it stands."""
    if template.text is None:
        return None
    last = alignment.shift[:, (1 if template.address else 0) + len(template.cells) - 1]
    length = np.array([len(text) for _, text in lines], np.int64)
    ends = np.cumsum(length)
    shift = np.where(last == LOST, 0, last)
    shown = text_beside(b"".join(text for _, text in lines), ends - length, ends, template, count, shift)
    return None if shown is None else np.where((last == LOST)[:, None], np.uint8(NO_TEXT), shown)


def _number(alignment: Alignment, which: int, field: fixed.Field) -> tuple[Mask, Index]:
    """Return which lines have a number for certain, and it."""
    digits, certain = digits_of(alignment, which, field)
    blank = (digits == fixed.BLANK) & (field.number.pad not in ("zeros", "none"))
    certain &= ((digits < field.number.base) | blank).all(axis=1)
    values = np.zeros(len(digits), np.int64)
    for column, is_blank in zip(digits.T, blank.T, strict=True):
        values = np.where(is_blank | ~certain, values, values * field.number.base + column)
    return certain, values


def _cells(
    alignment: Alignment, offset: int, template: fixed.Template, layout: Layout
) -> tuple[Bytes, Bytes, Mask, Index]:
    """Return bytes, the bits known of them, which lines have a bad digit in a certain cell, and numbers too large."""
    lines = len(alignment.cost)
    values = np.zeros((lines, len(template.cells), layout.size), np.uint8)
    known = np.zeros_like(values)
    bad_digit = np.zeros(lines, np.bool_)
    large = np.zeros(lines, np.int64)
    nibbles = fixed.byte_columns(layout, template) is not None
    for i, field in enumerate(template.cells):
        digits, certain = digits_of(alignment, offset + i, field)
        if nibbles:
            good = (digits < 16) & certain[:, None]
            bad_digit |= certain & ~good.all(axis=1)
            part = np.where(good, digits, 0)
            bits = np.where(good, 0xF, 0).astype(np.uint8)
            values[:, i] = part[:, 0::2] << 4 | part[:, 1::2]
            known[:, i] = bits[:, 0::2] << 4 | bits[:, 1::2]
        else:
            sure, numbers = _number(alignment, offset + i, field)
            large += sure & (numbers >= 1 << 8 * layout.size)
            sure &= numbers < 1 << 8 * layout.size
            bad_digit |= certain & ~sure
            values[:, i] = fixed.bytes_of_numbers(np.where(sure, numbers, 0)[:, None], layout.size, "big")
            known[:, i] = np.where(sure, 0xFF, 0)[:, None]
    if layout.order == "little":
        values, known = values[:, :, ::-1], known[:, :, ::-1]
    return (
        np.ascontiguousarray(values).reshape(lines, -1),
        np.ascontiguousarray(known).reshape(lines, -1),
        bad_digit,
        large,
    )


def _sum_problems(
    layout: Layout,
    printed: Index | None,
    values: Bytes,
    known: Bytes,
    total: tuple[Mask, Index] | None,
) -> Index:
    """Return what is wrong with the sums of damaged lines, as codes; 0 where nothing is."""
    problem = np.full(len(values), CODES[NO_SUM], np.int64)
    if total is None or layout.sum is None:
        return problem
    whole = np.flatnonzero(total[0] & (known == 0xFF).all(axis=1))
    at = np.zeros(len(whole), np.int64) if printed is None else printed[whole]
    right = KINDS[layout.sum.kind].of(at, values[whole]) == total[1][whole]
    problem[whole] = np.where(right, 0, CODES[WRONG_SUM])
    return problem
