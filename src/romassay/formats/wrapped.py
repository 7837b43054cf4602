"""Lines that a terminal of 40 or 80 columns, or a printer, broke in two: put together again.

They are known by their length: most lines, or every other, are just as long as the longest, and only with what follows
on the next line put behind them do the addresses count from line to line. The numbers of the lines stay: a blank line
takes the place of what was put behind another. Common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from romassay.formats.counting import LEAST_LINES, Count, count_of
from romassay.formats.mended import DIGITS_ALIKE

_SAMPLE = 1 << 13
_LEAST_WIDTH = 20
_MOST_WIDTH = 256
_OFTEN = 0.25
"""Share of the lines that must be as long as the longest."""
_SCREENS = (32, 40, 64, 72, 80, 132)
_FEWEST = 2
"""Columns of the usual screens and printers, at whose edge a few lines must end."""
_LONGER = 0.02
"""Share of the lines that noise may have made longer."""
_MOSTLY_BROKEN = 0.5
"""Share of the lines at the edge that go on on the next: others are just as long as the screen is wide."""
_NOISE = 2
"""Characters that noise adds to a line, or takes from it, and it is broken off all the same."""
_MOST_BYTES = 256
_FRONT = 10
"""First characters of a line by which one that has columns of its own is known, text columns apart."""
_LAST_DIGITS = re.compile(rb"[0-9A-Fa-f]*$")
_FIRST_DIGITS = re.compile(rb"[0-9A-Fa-f]*")
_RUN = re.compile(rb"(?:0[xX])?([0-9A-Fa-f]+)")
_NUMBER = re.compile(rb"(?<![0-9A-Za-z])[0-9A-Fa-f]+(?![0-9A-Za-z])")


def unwrapped(text: bytes) -> bytes:
    """Return a cleaned text with its broken lines whole, where most of it is such lines; else the text as it is."""
    lines = [line for line in text[:_SAMPLE].split(b"\n")[:-1] if line.strip()]
    width = _width(lines)
    if not width:
        return text
    room = _room(lines, width)
    before = count_of(lines, most=_MOST_BYTES)
    whole = [line for line in _joined(lines, width, room, before) if line]
    at_edge = sum(abs(len(line) - width) <= room for line in lines)
    if len(lines) - len(whole) < _MOSTLY_BROKEN * at_edge or not _goes_on(lines, width):
        return text
    count = count_of(whole, most=_MOST_BYTES)
    if count is None or not _gained(before, len(lines), count, len(whole)):
        return text
    return b"\n".join(_joined(text.split(b"\n"), width, room, count))


def _gained(before: Count | None, lines: int, after: Count, whole: int) -> bool:
    """Tell whether most of the lines put together let one more address count on: a long banner lets none."""
    if before is None:
        return True
    return after.share * whole - before.share * lines >= _MOSTLY_BROKEN * (lines - whole)


def _width(lines: Sequence[bytes]) -> int:
    """Return the width of the screen, if enough lines reach its edge and hardly any goes beyond; else 0."""
    lengths = Counter(map(len, lines))
    often = max(LEAST_LINES, _OFTEN * len(lines))
    wide = [n for n, number in lengths.items() if number >= often or (number >= _FEWEST and n in _SCREENS)]
    width = max(wide, default=0)
    beyond = sum(number for length, number in lengths.items() if length > width + _NOISE)
    return width if _LEAST_WIDTH <= width <= _MOST_WIDTH and beyond <= _LONGER * len(lines) else 0


def _room(lines: Sequence[bytes], width: int) -> int:
    """Return by how much a broken line may be longer or shorter than the screen: not at all where others nearly are."""
    near = sum(0 < abs(len(line) - width) <= 2 * _NOISE for line in lines)
    return _NOISE if near <= _MOSTLY_BROKEN * sum(len(line) == width for line in lines) else 0


def _joined(lines: Sequence[bytes], width: int, room: int, count: Count | None) -> list[bytes]:
    """Return lines with the next one behind each that reaches the edge, and a blank line in its place.

    A line whose address counts on from the one before is none of its parts.
    """
    whole: list[bytes] = []
    open_at: int | None = None
    for i, line in enumerate(lines):
        if open_at is not None and count is not None and _counts_on(lines[i - 1], line, count):
            open_at = None
        if open_at is None:
            whole.append(line)
        else:
            whole[open_at] += line
            whole.append(b"")
        if abs(len(line) - width) > room:
            open_at = None
        elif open_at is None:
            open_at = i
    return whole


def _counts_on(line: bytes, following: bytes, count: Count) -> bool:
    value = count.value(line)
    return value is not None and count.value(following) == value + count.step


def _goes_on(lines: Sequence[bytes], width: int) -> bool:
    """Tell whether lines are broken as a screen does it: not behind a whole number, with another one right after it.

    Nor do just an address, or text, stand on the lines behind the broken ones, or digits in the very same columns.
    """
    usual = Counter(len(run) for line in lines for run in _RUN.findall(line)).most_common(1)[0][0]
    joints = [(a, b) for a, b in pairwise(lines) if len(a) == width]
    apart = few = alike = 0
    for before, behind in joints:
        one, other = _LAST_DIGITS.search(before), _FIRST_DIGITS.match(behind)
        apart += one is not None and other is not None and len(one[0]) == len(other[0]) == usual
        few += len(_NUMBER.findall(behind)) < _FEWEST and other is not None and not other[0].isdigit()
        alike += before[:_FRONT].translate(DIGITS_ALIKE) == behind[:_FRONT].translate(DIGITS_ALIKE)
    return 2 * max(apart, few, alike) <= len(joints)
