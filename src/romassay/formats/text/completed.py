"""Numbers of any width that the edge of a screen broke: lines made whole again, each borne out by itself.

A line is put together with what stands below it only where it then holds just the bytes that its address counts: a
number that broke is one number then, and blanks that a log lost at the ends of its lines are in their place. So it is
safe where few lines reach the edge. The numbers of the lines stay: a blank line takes the place of what was put behind
another. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from romassay.formats.text.counting import LEAST_LINES, as_number, numbers_alone, steady, whole_lines

_SAMPLE = 1 << 14
SCREENS = (32, 40, 64, 72, 80, 132)
"""Columns of the usual screens and printers."""
_LEAST_WIDTH = 20
_LOST_BLANKS = 4
"""Blanks at the end of a line that a log may have lost: as many as stand between two numbers in columns."""
_LEAST_JOINED = 2
"""Lines put together that tell of an edge where the width is that of no usual screen."""
_LEAST_STEP = 2
_NEARLY_ALL = 0.9
"""Share of the lines that must hold what their addresses count in the end."""
_MOST_BYTES = 64
_MOST_PARTS = 8
_BYTE = 255


@dataclass(frozen=True, slots=True)
class _Screen:
    """A screen that breaks lines.

    Attributes:
        width: its columns.
        step: bytes that an address counts.
        base: of all numbers.
    """

    width: int
    step: int
    base: int


def completed(text: bytes) -> bytes:
    """Return a cleaned text with such lines whole, where nearly all of it then is; else the text as it is."""
    screen = _screen_of(whole_lines(text, _SAMPLE))
    if screen is None:
        return text
    lines = text.split(b"\n")
    whole = _whole(lines, screen)
    joined = sum(len(after) > len(before) for before, after in zip(lines, whole, strict=True))
    return b"\n".join(whole) if joined >= (1 if screen.width in SCREENS else _LEAST_JOINED) else text


def _screen_of(lines: Sequence[bytes]) -> _Screen | None:
    """Return the screen at whose edge some lines may be broken, or None."""
    base = _base_of(lines)
    numbers = [_numbers_in(line, base) for line in lines]
    addressed = [(line, some) for line, some in zip(lines, numbers, strict=True) if _has_address(some)]
    if len(addressed) < LEAST_LINES:
        return None
    step, _ = steady([some[0] for _, some in addressed], most=_MOST_BYTES)
    longest = max(len(line) for line, _ in addressed)
    width = next((each for each in SCREENS if longest <= each <= longest + _LOST_BLANKS), longest)
    if step < _LEAST_STEP or width < _LEAST_WIDTH:
        return None
    screen = _Screen(width, step, base)
    whole = _whole(lines, screen)
    good = sum(_is_complete(_numbers_in(line, base), step) for line in whole)
    return screen if good >= _NEARLY_ALL * len(addressed) else None


def _base_of(lines: Sequence[bytes]) -> int:
    """Return the base of numbers that have as many digits as they need; 0 where they all have as many."""
    behind = [number for line in lines for number in numbers_alone(line)[1:]]
    lengths = {len(number) for number in behind}
    if {1, 2, 3} <= lengths and b"".join(behind).isdigit():
        return 10
    return 16 if {1, 2} <= lengths else 0


def _whole(lines: Sequence[bytes], screen: _Screen) -> list[bytes]:
    """Return lines with the rest of each behind it, and blank lines in place of what was put there."""
    whole = list(lines)
    at = 0
    while at < len(whole):
        numbers = _numbers_in(whole[at], screen.base) if len(whole[at]) >= screen.width - _LOST_BLANKS else []
        parts = _parts_of(whole, at, numbers[0], screen) if numbers else 1
        if parts > 1:
            whole[at] = _joined(whole[at : at + parts], screen)
            whole[at + 1 : at + parts] = [b""] * (parts - 1)
        at += parts
    return whole


def _parts_of(lines: Sequence[bytes], first: int, address: int, screen: _Screen) -> int:
    """Return how many lines hold the bytes of an address, 1 where those below it make no whole of it."""
    found = 1
    for count in range(2, _MOST_PARTS + 1):
        if first + count > len(lines):
            break
        above, below = lines[first + count - 2], _numbers_in(lines[first + count - 1], screen.base)
        at_edge = screen.width - _LOST_BLANKS <= len(above) <= screen.width
        if not at_edge or not below or _has_address(below) or below[0] == address + screen.step:
            break
        if _is_complete(_numbers_in(_joined(lines[first : first + count], screen), screen.base), screen.step):
            found = count
    return found


def _joined(parts: Sequence[bytes], screen: _Screen) -> bytes:
    """Return the parts of a line behind each other, each but the last as wide as the screen."""
    return b"".join(part.ljust(screen.width) for part in parts[:-1]) + parts[-1]


def _has_address(numbers: Sequence[int]) -> bool:
    """Tell whether a line begins with a number that is no byte."""
    return bool(numbers) and numbers[0] > _BYTE


def _is_complete(numbers: Sequence[int], step: int) -> bool:
    """Tell whether just so many bytes stand behind an address."""
    return len(numbers) == step + 1 and max(numbers[1:]) <= _BYTE


def _numbers_in(line: bytes, base: int) -> list[int]:
    """Return the numbers of a line that holds nothing else, or none."""
    digits = numbers_alone(line) if base else []
    values = [value for some in digits if (value := as_number(some, base)) is not None]
    return values if len(values) == len(digits) else []
