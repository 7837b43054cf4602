"""Lines whose numbers take as many columns as they have digits, many at once.

What a loop in an interpreter prints has no fixed columns. But its digits stand in runs: a line is as the layout says
where it has as many runs as numbers, and between them just the literal text. All else is left to the strict reader.
"""

from __future__ import annotations

import string
from dataclasses import dataclass

import numpy as np

from romassay.formats.layout import Layout, Number, pattern_parts
from romassay.formats.lines.fixed_columns import bytes_of_numbers
from romassay.reading import Bytes, Index, Mask

_BLANK = ord(" ")
_HEX_DIGITS = frozenset(string.hexdigits)
_MOST_CELL_DIGITS = {2: 8, 8: 6, 10: 5, 16: 4}
_MOST_ADDRESS_DIGITS = 11


@dataclass(frozen=True, slots=True)
class RunLines:
    """How to read such lines: literal texts and numbers in turn.

    Attributes:
        layout: of the lines.
        lead: what stands before the first number.
        numbers: the address, if there is one, and the cells.
        gaps: what stands between one and the next.
        end: what stands behind the last.
    """

    layout: Layout
    lead: bytes
    numbers: tuple[Number, ...]
    gaps: tuple[bytes, ...]
    end: bytes

    def read(self, raw: Bytes, classes: Bytes, starts: Index, ends: Index) -> tuple[Mask, Index | None, Bytes]:
        """Return which lines are just as they should be, their printed addresses int64[n] and bytes uint8[n, bytes].

        Args:
            raw: characters of a text.
            classes: theirs, from `columns.CLASSES`.
            starts: of the lines, int64[lines].
            ends: theirs, the line end not included.
        """
        first, last, good = self._runs(classes, starts, ends)
        starts, ends = starts[good], ends[good]
        fits = self._literals_fit(raw, starts, ends, first, last)
        values = np.zeros(first.shape, np.int64)
        for i, number in enumerate(self.numbers):
            fits &= _width_fits(number, last[:, i] - first[:, i], is_address=self._has_address and i == 0)
            values[:, i] = _value(classes, first[:, i], last[:, i], number.base)
        cells = values[:, 1:] if self._has_address else values
        fits &= (cells >> 8 * self.layout.size == 0).all(axis=1)
        good[np.flatnonzero(good)[~fits]] = False
        data = bytes_of_numbers(cells[fits], self.layout.size, self.layout.order)
        return good, values[fits, 0] if self._has_address else None, data

    @property
    def _has_address(self) -> bool:
        return len(self.numbers) > self.layout.cells

    def _runs(self, classes: Bytes, starts: Index, ends: Index) -> tuple[Index, Index, Mask]:
        """Return where each run of digits starts and ends, int64[lines, numbers], in lines with the right count."""
        digit = np.concatenate([[False], classes < self.numbers[-1].base, [False]])
        edges = np.flatnonzero(digit[1:] != digit[:-1])
        first, last = edges[0::2], edges[1::2]
        before = np.searchsorted(first, starts)
        good = np.searchsorted(first, ends) - before == len(self.numbers)
        which = before[good][:, None] + np.arange(len(self.numbers))
        return first[which], last[which], good

    def _literals_fit(self, raw: Bytes, starts: Index, ends: Index, first: Index, last: Index) -> Mask:
        """Tell in which lines the text around the numbers is as it should be: bool[lines]."""
        lead_ends = starts + len(self.lead)
        pad = self.numbers[0]
        fits: Mask = first[:, 0] == lead_ends
        if pad.pad == "right":
            fits = last[:, 0] - lead_ends == pad.width
            for column in range(pad.width - 1):
                at = lead_ends + column
                fits &= (at >= first[:, 0]) | (raw[np.minimum(at, len(raw) - 1)] == _BLANK)
        fits &= ends - last[:, -1] == len(self.end)
        for i, gap in enumerate(self.gaps):
            fits &= first[:, i + 1] - last[:, i] == len(gap)
        places = [(starts, self.lead), *((last[:, i], gap) for i, gap in enumerate(self.gaps)), (last[:, -1], self.end)]
        for at, text in places:
            for i, character in enumerate(text):
                fits &= raw[np.minimum(at + i, len(raw) - 1)] == character
        return fits


def run_lines(layout: Layout) -> RunLines | None:
    """Return how to read a layout's lines by runs of digits; None where that does not tell numbers from text."""
    if layout.gaps is None or layout.sum is not None or layout.gutter is not None or layout.tail:
        return None
    has_address = layout.address is not None and layout.where == "line"
    if not has_address and layout.where != "none":
        return None
    lead, after = _literal(layout.lead if has_address else layout.rest), _literal(layout.after)
    gaps = (*((after or "",) if has_address else ()), *layout.gaps)
    address = (layout.address,) if has_address and layout.address is not None else ()
    cell_by_runs = layout.cell.pad == "none" or (layout.cell.pad == "left" and layout.cells == 1 and not layout.end)
    if lead is None or after is None or not all(gaps) or not cell_by_runs:
        return None
    if any(number.pad == "left" or number.base != layout.cell.base for number in address):
        return None
    if any(_HEX_DIGITS.intersection(text) for text in (lead, layout.end, *gaps)):
        return None
    lead_bytes, end, *between = (text.encode("latin-1") for text in (lead, layout.end, *gaps))
    return RunLines(layout, lead_bytes, (*address, *(layout.cell,) * layout.cells), tuple(between), end)


def _literal(pattern: str) -> str | None:
    """Return the text that alone matches a pattern; None where there are others."""
    parts = pattern_parts(pattern)
    return None if any(kind for kind, _ in parts) else "".join(character for _, character in parts)


def _width_fits(number: Number, digits: Index, *, is_address: bool) -> Mask:
    """Tell which runs have a number of digits that the number may have."""
    if number.pad == "zeros":
        return np.equal(digits, number.width)
    most = number.width or (_MOST_ADDRESS_DIGITS if is_address else _MOST_CELL_DIGITS[number.base])
    return np.less_equal(digits, most)


def _value(classes: Bytes, first: Index, last: Index, base: int) -> Index:
    """Return the values of runs of digits, int64[runs]; of too long ones those of the first digits."""
    values = np.zeros(len(first), np.int64)
    longest = min(_MOST_ADDRESS_DIGITS, int((last - first).max(initial=0)))
    for column in range(longest):
        at = first + column
        inside = at < last
        values = np.where(inside, values * base + classes[np.minimum(at, len(classes) - 1)], values)
    return values
