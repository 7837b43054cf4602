"""Tables of decimal numbers that look like a dump without addresses: dates, clock times, timetables, seconds.

They hold no digit above 9, and some of their columns stay or go on by one from line to line. Common practice, no
source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import pairwise

_LEAST_LINES = 8
_MOST_COLUMNS = 12
_NEARLY_ALL = 0.9
_FEW = 2
"""Columns that must count or stay, where there are several."""
_VARIED = 8
"""Different numbers at the least: a blank memory holds fewer."""
_LONG = 8
"""Digits of seconds since some year."""


def is_table(lines: Sequence[bytes]) -> bool:
    """Tell whether lines of numbers are a table of dates or times rather than bytes.

    Args:
        lines: those that hold numbers and nothing else.
    """
    rows = [line.split() for line in lines]
    if len(rows) < _LEAST_LINES or len({len(row) for row in rows}) > 1 or not 0 < len(rows[0]) <= _MOST_COLUMNS:
        return False
    words = {word for row in rows for word in row}
    if len(words) < _VARIED or any(not word.isdigit() for word in words):
        return False
    columns = [[int(row[i]) for row in rows] for i in range(len(rows[0]))]
    if len(columns) == 1:
        return len(rows[0][0]) >= _LONG and _share(columns[0], lambda step: step >= 0) >= _NEARLY_ALL
    steady = sum(_share(column, lambda step: step in (0, 1)) >= _NEARLY_ALL for column in columns)
    return steady >= _FEW


def _share(column: Sequence[int], wanted: Callable[[int], bool]) -> float:
    """Return the share of the steps from line to line that are as wanted."""
    steps = [b - a for a, b in pairwise(column)]
    return sum(map(wanted, steps)) / len(steps)
