"""Whether a line that could not be read was one of data: by its digits, its length, and what else stands on it."""

from __future__ import annotations

import re
import string

from romassay.formats.layout import Layout
from romassay.formats.text.headings import numbers_columns

_FEWEST_DIGITS = 0.4
"""Share of a line's digits that damage leaves at the least, and of its cells."""
_FEW_CELLS = 4
_DIGITS = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Fa-f]+)(?=[hH]?(?![0-9A-Za-z]))")
_COMMAND = re.compile(rb"\W{0,8}[A-Za-z]{1,8}\s(?!\s\s)")
_NO_DIGITS = bytes(c for c in range(256) if chr(c) not in string.hexdigits)


def is_long(text: bytes, layout: Layout) -> bool:
    """Tell whether a line is long enough, and has digits enough, to have been one of data."""
    expected = layout.cells * (layout.cell.width or 1)
    digits = len(text.translate(None, _NO_DIGITS))
    return 2 * len(text) >= expected and digits >= _FEWEST_DIGITS * expected and not numbers_columns(text)


def is_data_like(text: bytes, layout: Layout) -> bool:
    """Tell whether a line has about as many digits and other characters as a line of data, however damaged."""
    if numbers_columns(text) or _is_command(text, layout):
        return False
    expected = layout.cells * (layout.cell.width or 2)
    digits = len(text.translate(None, _NO_DIGITS))
    if digits < _FEWEST_DIGITS * expected or _cells_in(text, layout) < _FEWEST_DIGITS * layout.cells:
        return False
    others = len(text) - digits - text.count(b" ")
    return layout.gutter is not None or layout.tail or others <= digits + _literal_characters(layout)


def _is_command(text: bytes, layout: Layout) -> bool:
    """Tell whether a line begins with a word, where lines are short and do not."""
    return layout.cells <= _FEW_CELLS and _COMMAND.match(text) is not None and not layout.lead[:1].isalpha()


def _cells_in(text: bytes, layout: Layout) -> float:
    """Return how many cells the numbers of a line may be."""
    width = layout.cell.width
    runs = [len(run) for run in _DIGITS.findall(text)]
    if layout.gaps is not None and "" in layout.gaps:
        return sum(runs) / max(1, width)
    return sum(run == width or not width for run in runs)


def _literal_characters(layout: Layout) -> int:
    """Return how many characters that are no digits of numbers stand on a line, blanks between cells apart."""
    return sum(len(gap.replace(" ", "")) for gap in layout.gaps or ()) + len(layout.lead + layout.after)
