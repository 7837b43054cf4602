"""Numbers that count from line to line, as addresses do: what tells how the lines of a log belong together."""

from __future__ import annotations

import re
import string
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

LEAST_LINES = 6
MOSTLY = 0.6
"""Share of the lines with numbers that must have a habit."""
_MOST_STEP = 64
_PLACES = (0, 1, 2, 3, -1)
"""Numbers of a line among which its address may be: the first few, and the last."""
_BASES = (16, 10)
NUMBER = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX]|\$)?([0-9A-Fa-f]{1,8})[hH]?(?![0-9A-Za-z])")


WORD = re.compile(rb"[0-9A-Za-z]+")
HEX_WORD = re.compile(rb"(?:0[xX])?([0-9A-Fa-f]+)")
DIGIT = re.compile(rb"[0-9]")


def numbers_alone(line: bytes, word: re.Pattern[bytes] = WORD, number: re.Pattern[bytes] = HEX_WORD) -> list[bytes]:
    """Return the digits of the numbers of a line that holds no other words, or none.

    Args:
        line: cleaned.
        word: what is taken for a word.
        number: a word that is a number, its digits as the first group.
    """
    matches = [number.fullmatch(text) for text in word.findall(line)]
    numbers = [match[1] for match in matches if match]
    return numbers if len(numbers) == len(matches) else []


def whole_lines(text: bytes, size: int) -> list[bytes]:
    """Return the lines among the first `size` bytes of a text that end there and are not blank."""
    return [line for line in text[:size].split(b"\n")[:-1] if line.strip()]


def steady(values: Sequence[int | None], *, most: int = _MOST_STEP) -> tuple[int, float]:
    """Return the step by which most of some numbers grow from line to line, and the share that do; (0, 0) for none.

    Args:
        values: a number of each line, or None where it has none.
        most: the longest step; one below 0 where they fall.
    """
    steps = [b - a for a, b in pairwise(values) if a is not None and b is not None]
    if len(steps) < LEAST_LINES - 1:
        return 0, 0.0
    step, number = Counter(steps).most_common(1)[0]
    return (step, number / len(values)) if 0 < abs(step) <= most and number >= MOSTLY * len(values) else (0, 0.0)


@dataclass(frozen=True, slots=True)
class Count:
    """A number of each line that counts from line to line.

    Attributes:
        step: by which it grows, below 0 where it falls.
        share: of the lines on which it does.
        place: which number of a line it is, -1 for the last.
        base: it is printed in.
    """

    step: int
    share: float
    place: int
    base: int

    def value(self, line: bytes) -> int | None:
        """Return the number that stands in that place of a line, or None."""
        return _value(NUMBER.findall(line), self.place, self.base)

    def end(self, line: bytes) -> int:
        """Return where that number ends; the end of a line that has none."""
        found = list(NUMBER.finditer(line))
        return found[self.place].end() if found and self.place < len(found) else len(line)


def count_of(lines: Sequence[bytes], *, most: int = _MOST_STEP) -> Count | None:
    """Return which number of most of some lines counts, or None."""
    numbers = [found for line in lines if (found := NUMBER.findall(line))]
    for place in _PLACES:
        counts = []
        for base in _BASES:
            step, share = steady([_value(found, place, base) for found in numbers], most=most)
            counts += [Count(step, share, place, base)] if step else []
        if counts:
            return max(counts, key=lambda count: count.share)
    return None


def _value(numbers: Sequence[bytes], place: int, base: int) -> int | None:
    """Return the number in a place, or None where there is none in that base."""
    if not numbers or place >= len(numbers):
        return None
    return as_number(numbers[place], base)


def as_number(digits: bytes, base: int) -> int | None:
    """Return what some hex digits say in a base, or None where they are none of that base."""
    fits = base == 16 or not digits.translate(None, string.digits[:base].encode())
    return int(digits, base) if fits else None
