"""Lines of a dump with fixed columns, many at once: which lines print back just as they stand, and what they hold.

Text is first mapped to classes: a hex digit to its value, any other character to itself with bit 7 set. A template says
for every column which digit or which character stands there; a block of lines is then compared as a whole.
"""

from __future__ import annotations

import string
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np

from romassay.formats.layout import ANY, NUMBER, Layout, Number, pattern_parts
from romassay.reading import Bytes, Index, Mask

CLASSES = bytes(int(chr(c), 16) if chr(c) in string.hexdigits else c & 0x7F | 0x80 for c in range(256))
BLANK = 0xA0


@dataclass(frozen=True, slots=True)
class Field:
    """The columns of one number: from `first` on, printed as `number` says."""

    first: int
    number: Number

    @property
    def end(self) -> int:
        """The column after the last."""
        return self.first + self.number.width


@dataclass(frozen=True, slots=True, eq=False)
class Template:
    """What stands in each column of a full line.

    Attributes:
        width: columns from the start of the line to the end of what is checked.
        exact: True where nothing may follow them.
        literal: uint8[width], the literal character; 0 elsewhere.
        expected: uint8[width], its class; 0 elsewhere.
        mask: uint8[width], bits of the class that must be as expected: all for a literal, those above a digit for one.
        digit: bool[width], True where a digit stands, or a blank in front of or behind a padded number.
        optional: bool[width], True where a blank is allowed in place of the digit.
        base: uint8[width], the base of the digit; 0 where there is none.
        address: its columns, or None.
        cells: theirs.
        sum: its columns, or None.
        text: the first column of the bytes as text, or None.
    """

    width: int
    exact: bool
    literal: Bytes
    expected: Bytes
    mask: Bytes
    digit: Mask
    optional: Mask
    base: Bytes
    address: Field | None
    cells: tuple[Field, ...]
    sum: Field | None
    text: int | None


class _Columns:
    """Gathers columns from left to right."""

    def __init__(self) -> None:
        self.literal: list[int] = []
        self.mask: list[int] = []
        self.optional: list[bool] = []
        self.base: list[int] = []

    def _add(self, literal: int, mask: int, base: int = 0, optional: bool = False) -> None:
        self.literal.append(literal)
        self.mask.append(mask)
        self.base.append(base)
        self.optional.append(optional)

    def text(self, text: str) -> None:
        for character in text:
            self._add(ord(character), 0xFF)

    def any(self, count: int = 1) -> None:
        for _ in range(count):
            self._add(0, 0)

    def pattern(self, pattern: str, number_width: int) -> bool:
        """Add a pattern, its numbers as so many digits; tell whether its columns are fixed then."""
        for kind, character in pattern_parts(pattern):
            if not kind:
                self.text(character)
            elif kind == ANY:
                self.any()
            elif kind == NUMBER and number_width:
                self.number(Number(10, number_width, "zeros"))
            else:
                return False
        return True

    def number(self, number: Number) -> Field:
        field = Field(len(self.mask), number)
        above = {2: 0xFE, 8: 0xF8, 10: 0xF0, 16: 0xF0}[number.base]
        for i in range(number.width):
            fixed = number.pad == "zeros" or (i == number.width - 1 if number.pad == "right" else i == 0)
            self._add(0, above if fixed else 0, number.base, not fixed)
        return field


def template_of(
    layout: Layout, address_width: int = 0, *, number_width: int = 0, rest: bool = False
) -> Template | None:
    """Return the columns of a full line, or None where they are not fixed.

    Args:
        layout: of the line.
        address_width: digits of the address, where the layout does not fix them.
        number_width: digits of a number in what stands before the address.
        rest: for lines without an address.
    """
    if layout.gaps is None or not layout.cell.width:
        return None
    columns = _Columns()
    address = front = None
    if rest or layout.address is None or layout.where in ("alone", "none"):
        if not columns.pattern(layout.rest, number_width):
            return None
    else:
        number = layout.address if layout.address.width else Number(layout.address.base, address_width, "zeros")
        if address_width and layout.address.pad == "zeros":
            number = Number(number.base, address_width, "zeros")
        if not number.width or not columns.pattern(layout.lead, number_width):
            return None
        address = columns.number(number)
        if layout.sum is not None and layout.sum.place == "front":
            columns.text(layout.sum.before)
            front = columns.number(layout.sum.number)
        if not columns.pattern(layout.after, number_width):
            return None
    cells = [columns.number(layout.cell)]
    for gap in layout.gaps:
        columns.text(gap)
        cells.append(columns.number(layout.cell))
    total = front
    if layout.sum is not None and layout.sum.place == "cells":
        columns.text(layout.sum.before)
        total = columns.number(layout.sum.number)
    text = None
    if layout.gutter is not None:
        columns.text(layout.gutter)
        text = len(columns.mask)
    at_end = layout.sum is not None and layout.sum.place == "end"
    if layout.sum is not None and at_end:
        if layout.gutter is not None:
            columns.any(layout.line_bytes)
        columns.text(layout.sum.before)
        total = columns.number(layout.sum.number)
    if layout.gutter is None or at_end:
        columns.text(layout.end)
    if layout.sum is not None and (total is None or not total.number.width):
        return None
    exact = not layout.tail and (layout.gutter is None or at_end)
    return _template(columns, address, tuple(cells), total, text, exact)


def _template(
    columns: _Columns,
    address: Field | None,
    cells: tuple[Field, ...],
    total: Field | None,
    text: int | None,
    exact: bool,
) -> Template:
    base = np.array(columns.base, np.uint8)
    literal, mask = np.array(columns.literal, np.uint8), np.array(columns.mask, np.uint8)
    return Template(
        width=len(base),
        exact=exact,
        literal=literal,
        expected=np.where(mask == 0xFF, np.frombuffer(CLASSES, np.uint8)[literal], np.uint8(0)),
        mask=mask,
        digit=base > 0,
        optional=np.array(columns.optional, np.bool_),
        base=base,
        address=address,
        cells=cells,
        sum=total,
        text=text,
    )


def misfits(grid: Bytes, template: Template) -> Mask:
    """Tell which lines do not fit the template: bool[lines], from classes uint8[lines, width]."""
    wrong = grid ^ template.expected
    wrong &= template.mask
    decimal = (template.base == 10) & ~template.optional
    if decimal.any():
        wrong[:, decimal] |= grid[:, decimal] > 9
    for first in np.flatnonzero(template.optional):
        wrong[:, first] |= _misfit_optional(grid, template, int(first))
    if not wrong.any():
        return np.zeros(len(grid), np.bool_)
    found: Mask = np.any(wrong, axis=1)
    return found


def _misfit_optional(grid: Bytes, template: Template, column: int) -> Mask:
    """Tell which lines have neither a digit nor a rightful blank in a column that may be blank."""
    is_blank = grid[:, column] == BLANK
    wrong: Mask = ~is_blank & (grid[:, column] >= template.base[column])
    before = column - 1
    if before >= 0 and template.digit[before] and template.optional[before] and template.base[before]:
        right_aligned = not _is_left(template, column)
        if right_aligned:
            wrong |= is_blank & (grid[:, before] < 16)
    if _is_left(template, column) and template.optional[before]:
        wrong |= ~is_blank & (grid[:, before] == BLANK)
    return wrong


def _is_left(template: Template, column: int) -> bool:
    fields = [*template.cells, *(f for f in (template.address, template.sum) if f is not None)]
    return any(f.first <= column < f.end and f.number.pad == "left" for f in fields)


def numbers(grid: Bytes, fields: tuple[Field, ...]) -> Index:
    """Return the values of fields of one form, int64[lines, fields], from lines that fit."""
    number = fields[0].number
    firsts = np.array([f.first for f in fields])
    values = np.zeros((len(grid), len(fields)), np.int64)
    for i in range(number.width):
        digit = take_columns(grid, firsts + i)
        if number.pad == "zeros":
            values = values * number.base + digit
        else:
            values = np.where(digit == BLANK, values, values * number.base + digit)
    return values


def byte_columns(layout: Layout, template: Template) -> Index | None:
    """Return the column of each byte's first hex digit, in the order of addresses; None for other bases and widths."""
    if layout.cell.base != 16 or layout.cell.pad != "zeros" or layout.cell.width != 2 * layout.size:
        return None
    within = np.arange(layout.size) * 2
    if layout.order == "little":
        within = within[::-1]
    return (np.array([f.first for f in template.cells])[:, None] + within).ravel()


def take_columns(grid: Bytes, columns: Index) -> Bytes:
    """Return columns of a grid, in any order; fast where they are evenly spaced in some way."""
    out = np.empty((len(grid), len(columns)), np.uint8)
    for target, source in strides_of(columns):
        out[:, target] = grid[:, source]
    return out


def strides_of(columns: Index) -> tuple[tuple[slice, slice], ...]:
    """Return evenly spaced parts of a list of columns, as (where they go, where they come from)."""
    return _strides(tuple(columns.tolist()))


@lru_cache(maxsize=256)
def _strides(columns: tuple[int, ...]) -> tuple[tuple[slice, slice], ...]:
    count = len(columns)
    for period in (1, 2, 4, 8):
        parts = [columns[i::period] for i in range(period)]
        if all(part and _is_even(part) for part in parts):
            return tuple((slice(i, count, period), _slice(part)) for i, part in enumerate(parts))
    half = count // 2
    behind = ((slice(to.start + half, to.stop + half, to.step), source) for to, source in _strides(columns[half:]))
    return (*_strides(columns[:half]), *behind)


def _is_even(columns: tuple[int, ...]) -> bool:
    return len({b - a for a, b in pairwise(columns)}) <= 1


def _slice(columns: tuple[int, ...]) -> slice:
    first, step = columns[0], columns[1] - columns[0] if len(columns) > 1 else 1
    stop = first + step * len(columns)
    return slice(first, stop if stop >= 0 else None, step)


def bytes_of_numbers(values: Index, size: int, order: str) -> Bytes:
    """Return the bytes of cell values, uint8[lines, cells * size], in the order of addresses."""
    shifts = np.arange(size) * 8
    if order == "big":
        shifts = shifts[::-1]
    return (values[:, :, None] >> shifts & 0xFF).astype(np.uint8).reshape(len(values), values.shape[1] * size)


def data_of(grid: Bytes, layout: Layout, template: Template) -> tuple[Bytes, Mask]:
    """Return the bytes, uint8[lines, n], of lines that fit, and which lines hold a number too large for its cell."""
    high = byte_columns(layout, template)
    if high is not None:
        data = take_columns(grid, high)
        data <<= 4
        data |= take_columns(grid, high + 1)
        return data, np.zeros(len(grid), np.bool_)
    values = numbers(grid, template.cells)
    too_large: Mask = np.any(values >> 8 * layout.size, axis=1)
    return bytes_of_numbers(values, layout.size, layout.order), too_large


def text_in(table: Bytes, template: Template, count: int) -> Bytes | None:
    """Return the text column of lines of one length, uint8[lines, count], blanks where they end before it does."""
    if template.text is None:
        return None
    shown = table[:, template.text : template.text + count]
    return (
        shown if shown.shape[1] == count else np.pad(shown, ((0, 0), (0, count - shown.shape[1])), constant_values=32)
    )


def text_beside(
    chunk: bytes, starts: Index, ends: Index, template: Template, count: int, shift: Index | None = None
) -> Bytes | None:
    """Return the text column of lines, uint8[lines, count], blanks where they end before it does; None without one.

    Args:
        chunk: text.
        starts: of the lines.
        ends: theirs.
        template: theirs.
        count: bytes of a line.
        shift: characters by which the text stands further right.
    """
    if template.text is None:
        return None
    first = starts + template.text + (0 if shift is None else shift)
    at = first[:, None] + np.arange(count)
    raw = np.frombuffer(chunk, np.uint8)
    return np.where(at < ends[:, None], raw[np.minimum(at, len(raw) - 1)], np.uint8(32))
