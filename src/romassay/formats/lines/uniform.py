"""Blocks of a dump in which every line is as long as the next and prints back just as it stands.

The characters are looked at where they lie, as a table with one row a line; only digits are copied. A digit's value is
worked out and printed again, and what that gives is compared with what stands there: over a whole block that costs less
than looking each character up. One character out of place, and the block is not taken: slower readers look at it.
"""

from __future__ import annotations

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.fixed_columns import Field, Template, byte_columns, strides_of
from romassay.reading import Bytes, Index

_LINE_END = ord("\n")
_HEX_DIGITS = 16
_MOST_DIGITS = 15
"""That an int64 has room for."""
_EIGHT = 8


class UniformLines:
    """Reads blocks of lines of one template and one length.

    Args:
        layout: of the lines; its cells and all other numbers are hex digits, with zeros in front.
        template: theirs.
        pitch: characters of a line, its end included.
    """

    def __init__(self, layout: Layout, template: Template, pitch: int) -> None:
        high = byte_columns(layout, template)
        assert high is not None  # noqa: S101 - `uniform_lines` has asked
        self._bytes = len(high)
        self._high, self._low = strides_of(high), strides_of(high + 1)
        self._address, self._sum = template.address, template.sum
        literal = np.flatnonzero(template.mask == 0xFF)
        self._columns = np.append(literal, pitch - 1)
        self._characters = np.append(template.literal[literal], np.uint8(_LINE_END))
        self._open = bool((template.mask == 0).any()) or pitch - 1 > template.width
        self._buffers = [np.zeros((0, self._bytes), np.uint8) for _ in range(3)]

    def read(self, table: Bytes) -> tuple[Bytes, Index | None, Index | None] | None:
        """Return bytes uint8[lines, n], printed addresses and sums int64[lines]; None unless all lines print back.

        Args:
            table: characters, uint8[lines, pitch].
        """
        if (table[:, self._columns] != self._characters).any():
            return None
        if self._open and np.count_nonzero(table == _LINE_END) != len(table):
            return None
        data = self._data(table)
        if data is None:
            return None
        address = total = None
        if self._address is not None:
            address = _number(table, self._address)
            if address is None:
                return None
        if self._sum is not None:
            total = _number(table, self._sum)
            if total is None:
                return None
        return data, address, total

    def _data(self, table: Bytes) -> Bytes | None:
        lines = len(table)
        if len(self._buffers[0]) < lines:
            self._buffers = [np.empty((lines, self._bytes), np.uint8) for _ in self._buffers]
        digits, spare, data = (buffer[:lines] for buffer in self._buffers)
        for strides, is_high in ((self._high, True), (self._low, False)):
            for target, source in strides:
                digits[:, target] = table[:, source]
            if not _to_values(digits, spare):
                return None
            if is_high:
                np.left_shift(digits, 4, out=data)
        return data | digits


def uniform_lines(layout: Layout, template: Template, pitch: int) -> UniformLines | None:
    """Return a reader for lines of one length; None where not all of their numbers are hex digits, zeros in front."""
    numbers = [f for f in (template.address, template.sum) if f is not None]
    plain = all(
        f.number.base == _HEX_DIGITS and f.number.pad == "zeros" and f.number.width <= _MOST_DIGITS for f in numbers
    )
    fixed = (template.mask == 0xFF) | (template.mask == 0) | (template.base == _HEX_DIGITS)
    if not plain or not fixed.all() or template.optional.any() or byte_columns(layout, template) is None:
        return None
    return UniformLines(layout, template, pitch)


def _to_values(digits: Bytes, spare: Bytes) -> bool:
    """Turn the characters of hex digits into their values, in place; False where they don't print back to the same.

    Either all letters are capitals or none is.

    Args:
        digits: characters; afterwards values 0 to 15, or anything where they are no digits.
        spare: room of the same shape.
    """
    to_letter = np.uint8(39 if digits.max(initial=0) >= ord("a") else 7)
    np.right_shift(digits, 6, out=spare)
    np.multiply(spare, 9, out=spare)
    printed = digits.copy()
    np.bitwise_and(digits, 15, out=digits)
    np.add(digits, spare, out=digits)
    np.multiply(np.greater(digits, 9).view(np.uint8), to_letter, out=spare)
    np.add(spare, digits, out=spare)
    np.add(spare, ord("0"), out=spare)
    return bool(digits.max(initial=0) < _HEX_DIGITS and np.array_equal(spare, printed))


def _number(table: Bytes, field: Field) -> Index | None:
    """Return a hex number of each line, int64[lines]; None where a character is no digit."""
    room = _EIGHT if field.number.width <= _EIGHT else 2 * _EIGHT
    digits = np.full((len(table), room), ord("0"), np.uint8)
    digits[:, room - field.number.width :] = table[:, field.first : field.end]
    if not _to_values(digits, np.empty_like(digits)):
        return None
    pairs = digits[:, 0::2] << 4 | digits[:, 1::2]
    numbers: Index = pairs.view(f">u{room // 2}").ravel().astype(np.int64)
    return numbers
