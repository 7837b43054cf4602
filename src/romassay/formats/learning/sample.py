"""Sample lines of a dump as runs of digits: what the learner of layouts works on. Values only."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

from romassay.formats.layout import Base

_TOKEN = re.compile(rb"(?:0[xX](?=[0-9A-Fa-f]))?([0-9A-Fa-f]+)")
_DIGITS = {10: re.compile(rb"[0-9]+"), 8: re.compile(rb"[0-7]+"), 2: re.compile(rb"[01]+")}
_MAX_TOKENS = 160
FIRST_TOKENS = 8
"""Numbers at the start of a line among which its address, or its first cell, is looked for."""
_MOST_DIGITS = 64
_ADDRESS_DIGITS = {16: 8, 10: 10, 8: 11}


@dataclass(frozen=True, slots=True)
class Line:
    """A sample line and its runs of digits.

    Attributes:
        text: the line.
        tokens: its runs of digits, as (first, end).
        number: counts the lines of its stretch.
        widths: digits of each run.
        gaps: what stands between them.
    """

    text: bytes
    tokens: tuple[tuple[int, int], ...]
    number: int
    widths: tuple[int, ...]
    gaps: tuple[bytes, ...]

    def token(self, i: int) -> bytes:
        """Return the digits of a run."""
        first, end = self.tokens[i]
        return self.text[first:end]

    def value(self, i: int, base: int) -> int | None:
        """Return a run as an address, or None where it is none in that base."""
        text = self.token(i)
        if len(text) > _ADDRESS_DIGITS[base] or not fits(text, base):
            return None
        return int(text, base)

    def between(self, i: int) -> bytes:
        """Return what stands between a run and the next."""
        return self.gaps[i]


def fits(text: bytes, base: int) -> bool:
    """Tell whether hex digits are digits of a lower base."""
    return base == 16 or _DIGITS[base].fullmatch(text) is not None


def line_of(text: bytes, number: int = 0) -> Line:
    """Return a line with its runs of digits."""
    spans = []
    for match in _TOKEN.finditer(text):
        spans.append(match.span(1))
        if len(spans) == _MAX_TOKENS:
            break
    gaps = tuple(text[end:first] for (_, end), (first, _) in pairwise(spans))
    return Line(text, tuple(spans), number, tuple(end - first for first, end in spans), gaps)


@lru_cache(maxsize=1 << 14)
def number_of(text: bytes, base: int) -> int | None:
    """Return hex digits as a number in some base, or None where they are none in it, or too many for any cell."""
    return int(text, base) if len(text) <= _MOST_DIGITS and fits(text, base) else None


FULL_WIDTH = {(10, 1): 3, (10, 2): 5, (8, 1): 3, (8, 2): 6, (2, 1): 8}
"""Digits of the largest number in a cell, by base and size."""


@dataclass(frozen=True, slots=True)
class Cells:
    """How runs of digits may be read as data.

    Attributes:
        base: of the numbers.
        size: bytes in each.
        count: of numbers.
        skip: runs between the address and the first of them.
        widths: digits of each run, where they are fixed; empty where numbers have as many digits as they need.
        words: True where the address counts numbers rather than bytes.
        gaps: what must stand between the runs; None for anything.
        half: True where a number is one hex digit, all that a memory four bits wide holds at an address.
    """

    base: Base
    size: int
    count: int
    skip: int = 0
    widths: tuple[int, ...] = ()
    words: bool = False
    gaps: tuple[bytes, ...] | None = None
    half: bool = False

    @property
    def runs(self) -> int:
        """Runs of digits that hold the data."""
        return len(self.widths) or self.count

    @property
    def bytes(self) -> int:
        """Bytes that they hold."""
        return self.count * self.size

    @property
    def digits(self) -> int:
        """Digits of a number of fixed width."""
        if self.half:
            return 1
        return 2 * self.size if self.base == 16 else FULL_WIDTH[self.base, self.size]

    def read(self, line: Line, first: int) -> bool:
        """Tell whether a line's runs from `first` on can be read so."""
        runs = self.runs
        spans = line.tokens[first : first + runs]
        if len(spans) < runs:
            return False
        if self.widths and line.widths[first : first + runs] != self.widths:
            return False
        if self.gaps is not None and line.gaps[first : first + len(self.gaps)] != self.gaps:
            return False
        if self.base == 16 and self.widths:
            return True
        limit = 1 << 8 * self.size
        if self.widths and self.runs != self.count:
            return all(fits(n, self.base) and int(n, self.base) < limit for n in numbers_of(self, line, first))
        most = 2 * self.size if self.base == 16 else FULL_WIDTH[self.base, self.size]
        for start, end in spans:
            number = number_of(line.text[start:end], self.base) if end - start <= most else None
            if number is None or number >= limit:
                return False
        return True


def numbers_of(cells: Cells, line: Line, first: int) -> list[bytes]:
    """Return the digits of each number in a line's runs from `first` on; those that run together are cut apart."""
    texts = [line.token(first + i) for i in range(cells.runs)]
    if cells.base == 16 or cells.runs == cells.count:
        return texts
    digits = b"".join(texts)
    width = len(digits) // cells.count
    return [digits[i : i + width] for i in range(0, len(digits), width)]


@dataclass(frozen=True, slots=True)
class Found:
    """A line of data: which run is its address, or None, and which its first cell."""

    line: Line
    address: int | None
    first: int


def usual(values: Sequence[bytes]) -> tuple[bytes, float]:
    """Return the most frequent of some texts, and its share."""
    value, number = Counter(values).most_common(1)[0]
    return value, number / len(values)


def nearly_all(values: Sequence[int]) -> bool:
    """Tell whether nine in ten numbers are the same."""
    return Counter(values).most_common(1)[0][1] >= 0.9 * len(values)
