"""Damaged lines with fixed columns: which of their characters can be given a column with certainty.

A line is aligned with the template of a full one at the least cost: one for each character that is lost, one for each
that is too many, one for each that stands in a column where it can't. A field is certain where every alignment in which
it is read otherwise costs at least one more. The alignment is that of Needleman and Wunsch, J. Mol. Biol. 48 (1970)
443-453, in a band, over many lines at once.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.formats.lines.fixed_columns import BLANK, CLASSES, Field, Template
from romassay.reading import Bytes, Index, Mask

Costs = npt.NDArray[np.int16]

BAND = 6
"""Characters by which a line may run ahead or behind."""
MAX_COST_SHARE = 0.3
"""Share of a line's characters that may be damaged before it is too damaged to read."""
MAX_UNSURE_SHARE = 0.16
"""The same where the address can't be read either: an echoed command should not pass for a line of data."""
_BATCH = 1024
_FAR = 10_000


@dataclass(frozen=True, slots=True, eq=False)
class Alignment:
    """What is certain in some lines.

    Attributes:
        cost: int64[lines], characters that had to be lost, added or changed.
        shift: int64[lines, fields], where a field's first character stands, relative to its column; `LOST` where the
            field is not certain. Fields: the address (if any), the cells, the sum (if any).
        text: uint8[lines, width + 2 * BAND], classes of the characters, the first at `BAND`; 0xFF beyond the ends.
    """

    cost: Index
    shift: Index
    text: Bytes


LOST = 99
_NOTHING = 0xFF


def fields_of(template: Template) -> tuple[Field, ...]:
    """Return the fields in the order in which an alignment gives them."""
    address = (template.address,) if template.address else ()
    total = (template.sum,) if template.sum else ()
    return (*address, *template.cells, *total)


def align(lines: list[bytes], template: Template) -> Alignment:
    """Align lines with a template."""
    parts = [_align_batch(lines[i : i + _BATCH], template) for i in range(0, len(lines), _BATCH)]
    return Alignment(
        np.concatenate([p.cost for p in parts]),
        np.concatenate([p.shift for p in parts]),
        np.concatenate([p.text for p in parts]),
    )


def _align_batch(lines: list[bytes], template: Template) -> Alignment:
    text, lengths = _padded(lines, template.width)
    wrong = _mismatches(text, template)
    behind = _forward(wrong)
    ahead = _backward(wrong, _end_costs(lengths, template))
    best = (behind[0] + ahead[0]).min(axis=0)
    spans = [(f.first, f.end) for f in fields_of(template)]
    shift = np.stack([_shift_of(first, end, wrong, behind, ahead, best) for first, end in spans], axis=1)
    return Alignment(best.astype(np.int64), shift, text)


def _padded(lines: list[bytes], width: int) -> tuple[Bytes, Index]:
    room = width + BAND
    text = np.full((len(lines), room + BAND), _NOTHING, np.uint8)
    for i, line in enumerate(lines):
        cut = line[:room].translate(CLASSES)
        text[i, BAND : BAND + len(cut)] = np.frombuffer(cut, np.uint8)
    return text, np.array([len(line) for line in lines], np.int64)


def _mismatches(text: Bytes, template: Template) -> Mask:
    """Return whether a character can't stand in a column: bool[shift, column, line]."""
    width = template.width
    shifts = 2 * BAND + 1
    out = np.empty((shifts, width, len(text)), np.bool_)
    limit = np.where(template.digit, template.base, 0)[None, :]
    for s in range(shifts):
        part = text[:, s : s + width]
        wrong = ((part ^ template.expected) & template.mask) != 0
        wrong |= template.digit & (part >= limit) & ~(template.optional & (part == BLANK))
        wrong |= part == _NOTHING
        out[s] = wrong.T
    return out


def _insertions(costs: Costs) -> Costs:
    """Let characters be too many: each moves the line one ahead, at a cost of one."""
    steps = np.arange(len(costs), dtype=np.int16)[:, None]
    return np.minimum.accumulate(costs - steps, axis=0) + steps


def _forward(wrong: Mask) -> Costs:
    """Return the least cost of everything left of a column: int16[column, shift, line]."""
    shifts, width, lines = wrong.shape
    costs = np.full((width + 1, shifts, lines), _FAR, np.int16)
    costs[0, BAND] = 0
    costs[0] = _insertions(costs[0])
    for column in range(width):
        step = costs[column] + wrong[:, column]
        np.minimum(step[:-1], costs[column, 1:] + 1, out=step[:-1])
        costs[column + 1] = _insertions(step)
    return costs


def _backward(wrong: Mask, end: Costs) -> Costs:
    """Return the least cost of everything from a column on: int16[column, shift, line]."""
    shifts, width, lines = wrong.shape
    costs = np.empty((width + 1, shifts, lines), np.int16)
    costs[width] = _insertions(end[::-1])[::-1]
    for column in range(width - 1, -1, -1):
        step = costs[column + 1] + wrong[:, column]
        np.minimum(step[1:], costs[column + 1, :-1] + 1, out=step[1:])
        costs[column] = _insertions(step[::-1])[::-1]
    return costs


def _end_costs(lengths: Index, template: Template) -> Costs:
    """Return what is left over at the end of the line, for each shift: int16[shift, line]."""
    shift = np.arange(-BAND, BAND + 1)[:, None]
    over = lengths[None, :] - (template.width + shift)
    if not template.exact:
        over = np.minimum(over, 0)
    costs: Costs = np.minimum(np.abs(over), _FAR).astype(np.int16)
    return costs


def _shift_of(first: int, end: int, wrong: Mask, behind: Costs, ahead: Costs, best: Costs) -> Index:
    """Return a field's shift where it is certain, else `LOST`."""
    whole = behind[first] + wrong[:, first:end].sum(axis=1, dtype=np.int16) + ahead[end]
    order = np.argsort(whole, axis=0)
    chosen = order[0]
    lines = np.arange(whole.shape[1])
    second = whole[order[1], lines]
    certain = (whole[chosen, lines] == best) & (second > best)
    certain &= _broken(first, end, wrong, behind[first], ahead[end]) > best
    return np.where(certain, chosen - BAND, LOST)


def _broken(first: int, end: int, wrong: Mask, before: Costs, after: Costs) -> Costs:
    """Return the least that an alignment can cost which loses or gains characters inside a field."""
    whole = before
    broken = np.full_like(before, _FAR)
    for column in range(first, end):
        if column > first:
            gained = np.minimum(whole[:-1], broken[:-1]) + 1
            broken[1:] = np.minimum(broken[1:], gained)
            broken = _insertions(broken)
        lost = np.minimum(whole[1:], broken[1:]) + 1
        broken = broken + wrong[:, column]
        broken[:-1] = np.minimum(broken[:-1], lost)
        whole = whole + wrong[:, column]
    least: Costs = (broken + after).min(axis=0)
    return least


def digits_of(alignment: Alignment, which: int, field: Field) -> tuple[Bytes, Mask]:
    """Return a field's characters as classes, uint8[lines, width], and which lines have it for certain."""
    shift = alignment.shift[:, which]
    certain = shift != LOST
    at = field.first + BAND + np.where(certain, shift, 0)
    columns = at[:, None] + np.arange(field.number.width)
    return np.take_along_axis(alignment.text, np.clip(columns, 0, alignment.text.shape[1] - 1), axis=1), certain
