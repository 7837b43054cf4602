"""Lines that a terminal of 40 or 80 columns, or a printer, broke in two: put together again.

They are known by their length: most lines, or every other, are just as long as the longest, and only with what follows
on the next line put behind them do the addresses count from line to line. The numbers of the lines stay: a blank line
takes the place of what was put behind another. Common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from romassay.formats.text.completed import SCREENS, completed
from romassay.formats.text.counting import (
    DIGIT,
    HEX_WORD,
    LEAST_LINES,
    WORD,
    Count,
    as_number,
    count_of,
    numbers_alone,
    whole_lines,
)
from romassay.formats.text.echoes import has_echoes
from romassay.formats.text.mended import DIGITS_ALIKE

_SAMPLE = 1 << 13
_LEAST_WIDTH = 20
_MOST_WIDTH = 256
_OFTEN = 0.25
"""Share of the lines that must be as long as the longest."""
_FEWEST = 2
"""Columns of the usual screens and printers, at whose edge a few lines must end."""
_LONGER = 0.02
"""Share of the lines that noise may have made longer."""
_BANNERS = 1
"""Lines that a terminal program may have put above a log, as long as it likes."""
_MOSTLY_BROKEN = 0.5
"""Share of the lines at the edge that go on on the next: others are just as long as the screen is wide."""
_MOSTLY_NUMBERS = 0.8
_NEARLY_ALL = 0.9
_LEAST_COMPLETED = 4
"""Lines whose bytes are as many as their addresses count only with what follows on the next: no chance does that."""
_BYTE = 255
_NOISE = 2
"""Characters that noise adds to a line, or takes from it, and it is broken off all the same."""
_MOST_BYTES = 256
_FRONT = 10
"""First characters of a line by which one that has columns of its own is known, text columns apart."""
_LAST_DIGITS = re.compile(rb"[0-9A-Fa-f]*$")
_FIRST_DIGITS = re.compile(rb"[0-9A-Fa-f]*")
_BYTES_IN = {2: 1, 3: 1, 4: 2, 6: 2, 8: 4}
"""Bytes of a cell by its digits: hex, octal and decimal ones."""
_NUMBER = re.compile(rb"(?<![0-9A-Za-z])[0-9A-Fa-f]+(?![0-9A-Za-z])")


def unwrapped(text: bytes) -> bytes:
    """Return a cleaned text with its broken lines whole, where most of it is such lines; else the text as it is."""
    if has_echoes(text):
        return text
    whole = completed(text)
    if whole is not text:
        return whole
    whole = _at_the_edge(text)
    return _between_numbers(text) if whole is text else whole


def _at_the_edge(text: bytes) -> bytes:
    """Put lines together that end where the screen does, in the middle of a number perhaps."""
    lines = whole_lines(text, _SAMPLE)
    width = _width(lines)
    if not width or _whole_at([line for line in lines if len(line) == width]):
        return text
    before = _count_in(lines)
    for room in dict.fromkeys((_room(lines, width), 0)):
        whole = [line for line in _joined(lines, width, room, before) if line]
        count = count_of(whole, most=_MOST_BYTES)
        if count is not None and (_completed(lines, whole, count) or _is_broken(lines, whole, width, room, count)):
            break
    else:
        return text
    whole = [line for line in _joined(lines, width, room, count) if line]
    byte_lines = sum(0 <= max(_numbers_in(line, count.base)[1:], default=-1) <= _BYTE for line in whole)
    numbers = byte_lines > _MOSTLY_NUMBERS * len(whole)
    return b"\n".join(_joined(text.split(b"\n"), width, room, count, numbers=numbers))


def _whole_at(edge: Sequence[bytes]) -> bool:
    """Tell whether nearly all lines that end at the edge hold what their addresses count, in numbers of one width."""
    count = count_of(edge, most=_MOST_BYTES)
    if count is None:
        return False
    words = [map(HEX_WORD.fullmatch, WORD.findall(line)) for line in edge]
    cells = [[word[1] for word in some if word][1:] for some in words]
    good = sum(len(set(map(len, some))) == 1 and count.step in _counted(some) for some in cells)
    return good >= _NEARLY_ALL * len(edge)


def _counted(cells: Sequence[bytes]) -> tuple[int, int]:
    """Return how many cells of one width stand on a line, and how many bytes they are."""
    return len(cells), len(cells) * _BYTES_IN.get(len(cells[0]), 1)


def _is_broken(lines: Sequence[bytes], whole: Sequence[bytes], width: int, room: int, count: Count) -> bool:
    """Tell whether most lines at the edge go on on the next, and the addresses count from line to line only so."""
    at_edge = sum(abs(len(line) - width) <= room for line in lines)
    if len(lines) - len(whole) < _MOSTLY_BROKEN * at_edge or not _goes_on(lines, width):
        return False
    return _gained(count_of(lines, most=_MOST_BYTES), lines, count, whole)


def _count_in(lines: Sequence[bytes]) -> Count | None:
    """Return which number of some lines counts; of those only that begin with more than a byte, if need be."""
    count = count_of(lines, most=_MOST_BYTES)
    if count is not None:
        return count
    return count_of([line for line in lines if max(_numbers_in(line, 10)[:1], default=0) > _BYTE], most=_MOST_BYTES)


def _gained(before: Count | None, lines: Sequence[bytes], after: Count, whole: Sequence[bytes]) -> bool:
    """Tell whether most of the lines put together let one more address count on: a long banner lets none.

    Only those tell that have numbers: a comma alone may be all that is left for the next line.
    """
    if before is None:
        return True
    printed, left = (sum(1 for line in some if DIGIT.search(line)) for some in (lines, whole))
    return after.share * left - before.share * printed >= _MOSTLY_BROKEN * (printed - left)


def _completed(lines: Sequence[bytes], whole: Sequence[bytes], count: Count) -> bool:
    """Tell whether nearly all lines that were put together hold just the bytes that their addresses count.

    Where numbers take as many columns as they need, most lines may end at the edge and yet be whole.
    """
    printed = set(lines)
    numbers = [_numbers_in(line, count.base)[1:] for line in whole if line not in printed]
    good = sum(len(some) == count.step and max(some) <= _BYTE for some in numbers)
    return good >= max(_LEAST_COMPLETED, _NEARLY_ALL * sum(map(bool, numbers)))


def _width(lines: Sequence[bytes]) -> int:
    """Return the width of the screen, if enough lines reach its edge and hardly any goes beyond; else 0."""
    lengths = Counter(map(len, lines))
    often = max(LEAST_LINES, _OFTEN * len(lines))
    wide = [n for n, number in lengths.items() if number >= often or (number >= _FEWEST and n in SCREENS)]
    width = max(wide, default=0)
    beyond = sum(number for length, number in lengths.items() if length > width + _NOISE)
    return width if _LEAST_WIDTH <= width <= _MOST_WIDTH and beyond <= max(_BANNERS, _LONGER * len(lines)) else 0


def _room(lines: Sequence[bytes], width: int) -> int:
    """Return by how much a broken line may be longer or shorter than the screen: not at all where others nearly are."""
    near = sum(0 < abs(len(line) - width) <= 2 * _NOISE for line in lines)
    return _NOISE if near <= _MOSTLY_BROKEN * sum(len(line) == width for line in lines) else 0


def _joined(
    lines: Sequence[bytes], width: int, room: int, count: Count | None, *, numbers: bool = False
) -> list[bytes]:
    """Return lines with the next one behind each that reaches the edge, and a blank line in its place.

    A line whose address counts on from theirs is none of its parts; blank lines may stand between these, and headings
    where all that is printed is numbers.
    """
    whole: list[bytes] = []
    open_at: int | None = None
    for line in lines:
        if numbers and open_at is not None and line and not _numbers_in(line, 16):
            whole.append(line)
            continue
        if open_at is not None and count is not None and _begins(whole[open_at], line, count, numbers=numbers):
            open_at = None
        if open_at is None:
            whole.append(line)
        else:
            whole[open_at] += line
            whole.append(b"")
        if not line:
            continue
        if abs(len(line) - width) > room:
            open_at = None
        elif open_at is None:
            open_at = len(whole) - 1
    return whole


def _begins(line: bytes, following: bytes, count: Count, *, numbers: bool) -> bool:
    """Tell whether a line has an address of its own: the next one, or among bytes any number that is too large."""
    value, other = count.value(line), count.value(following)
    return other is not None and ((value is not None and other == value + count.step) or (numbers and other > _BYTE))


def _goes_on(lines: Sequence[bytes], width: int) -> bool:
    """Tell whether lines are broken as a screen does it: not behind a whole number, with another one right after it.

    Nor do just an address, or text, stand on the lines behind the broken ones, or digits in the very same columns.
    """
    usual = Counter(len(run) for line in lines for run in HEX_WORD.findall(line)).most_common(1)[0][0]
    joints = [(a, b) for a, b in pairwise(lines) if len(a) == width]
    apart = few = alike = 0
    for before, behind in joints:
        one, other = _LAST_DIGITS.search(before), _FIRST_DIGITS.match(behind)
        apart += one is not None and other is not None and len(one[0]) == len(other[0]) == usual
        few += len(_NUMBER.findall(behind)) < _FEWEST and other is not None and not other[0].isdigit()
        alike += before[:_FRONT].translate(DIGITS_ALIKE) == behind[:_FRONT].translate(DIGITS_ALIKE)
    return 2 * max(apart, few, alike) <= len(joints)


# --- lines broken between two numbers -----------------------------------------------------------------------------

_MOST_PARTS = 8
_LEAST_ADDRESS = 0x100
_MOST_NUMBERS = 64


@dataclass(frozen=True, slots=True)
class _Broken:
    """Lines of an address and some bytes, broken between two of these.

    Attributes:
        base: of the addresses.
        cells: bytes behind each.
    """

    base: int
    cells: int


def _between_numbers(text: bytes) -> bytes:
    """Put lines together of which only the first has an address, which counts the numbers on all of them."""
    lines = whole_lines(text, _SAMPLE)
    broken = _broken_in(lines)
    return text if broken is None else b"\n".join(_with_parts(text.split(b"\n"), broken))


def _broken_in(lines: Sequence[bytes]) -> _Broken | None:
    """Return how most of some lines are broken; None where they are not, or into equal parts: so some are printed."""
    for base in (10, 16):
        numbers = [_numbers_in(line, base) for line in lines]
        found: Counter[int] = Counter()
        parts = whole = uneven = 0
        for i in range(len(lines)):
            count = _parts_from(numbers, i)
            if count > 1:
                found[sum(map(len, numbers[i : i + count])) - 1] += 1
                parts += count
                uneven += len(numbers[i]) - 1 != len(numbers[i + 1])
            whole += count == 1
        cells, often = found.most_common(1)[0] if found else (0, 0)
        if uneven < _OFTEN * sum(found.values()):
            continue
        mostly = parts > _MOSTLY_BROKEN * len(lines) and often > _MOSTLY_BROKEN * (sum(found.values()) + whole)
        if mostly and often >= LEAST_LINES and len({tuple(some[1:]) for some in numbers}) > LEAST_LINES:
            return _Broken(base, cells)
    return None


def _parts_from(numbers: Sequence[Sequence[int]], first: int) -> int:
    """Return how many lines hold the bytes between the address before some of them and the next; 0 where none do."""
    if len(numbers[first]) < _FEWEST or numbers[first][0] < _LEAST_ADDRESS:
        return 0
    total = 0
    for i in range(first, min(first + _MOST_PARTS, len(numbers) - 1)):
        total += len(numbers[i])
        if not numbers[i] or total > _MOST_NUMBERS:
            return 0
        if numbers[i + 1] and numbers[i + 1][0] == numbers[first][0] + total - 1:
            return i - first + 1
    return 0


def _with_parts(lines: Sequence[bytes], broken: _Broken) -> list[bytes]:
    """Return lines with their other parts behind them, and blank lines in place of these."""
    whole = list(lines)
    numbers = [_numbers_in(line, broken.base) for line in lines]
    at = 0
    while at < len(lines):
        end = _end_of(numbers, at, broken.cells)
        for i in (i for i in range(at + 1, end) if numbers[i]):
            gap = b"" if whole[at].endswith(b" ") or not lines[i][:1].isalnum() else b" "
            whole[at] += gap + lines[i]
            whole[i] = b""
        at = max(at + 1, end)
    return whole


def _end_of(numbers: Sequence[Sequence[int]], first: int, cells: int) -> int:
    """Return which line comes behind the last part of a line with an address."""
    if len(numbers[first]) < _FEWEST or numbers[first][0] < _LEAST_ADDRESS:
        return first
    count, at = len(numbers[first]) - 1, first + 1
    end = at
    while at < min(len(numbers), first + _MOST_PARTS) and count < cells:
        if numbers[at] and max(numbers[at]) >= _LEAST_ADDRESS:
            break
        count, at = count + len(numbers[at]), at + 1
        end = at if numbers[at - 1] else end
    return end if count <= cells else first


def _numbers_in(line: bytes, base: int) -> list[int]:
    """Return the numbers of a line that holds nothing else, or none."""
    digits = numbers_alone(line)
    values = [value for some in digits if (value := as_number(some, base)) is not None]
    return values if len(values) == len(digits) <= _MOST_NUMBERS else []
