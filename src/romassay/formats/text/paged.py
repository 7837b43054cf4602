"""Dumps by pages: the upper byte of the addresses stands in a heading, the lower one before each line.

Written plainly, each line has the whole address. A heading counts only where the one before or after it is that of the
neighbouring page, or of the same one in another pass, or where it is the only one. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romassay.formats.text.counting import LEAST_LINES, MOSTLY
from romassay.formats.text.headings import numbers_columns

_SAMPLE = 1 << 14
_PAGE = 256
_UNKNOWN = b"xxxx"
_ROW = re.compile(
    rb"([^0-9A-Za-z]{0,8})([0-9A-Fa-f]{2})([^0-9A-Za-z]{1,4})([0-9A-Fa-f]{2}(?: {1,2}[0-9A-Fa-f]{2}){3,63})\b"
)
_NUMBER = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Fa-f]{2}|[0-9A-Fa-f]{2}00)[hH]?(?![0-9A-Za-z])")
_MOST_NUMBERS = 4
_MOST_HEADING = 80


@dataclass(frozen=True, slots=True)
class _Page:
    """Lines whose lower bytes grow.

    Attributes:
        first, last: their indices, the last included.
        numbers: upper bytes that the headings before them may tell.
    """

    first: int
    last: int
    numbers: tuple[int, ...]


def with_whole_addresses(text: bytes) -> bytes:
    """Return a cleaned text with the page before the lower byte of each address, where its lines tell only that."""
    sample = text[:_SAMPLE].split(b"\n")[:-1]
    if not _is_paged([line for line in sample if line.strip()]):
        return text
    lines = text.split(b"\n")
    pages = list(_pages_in(lines))
    for page, number in zip(pages, _numbers_of(pages), strict=True):
        for i in range(page.first, page.last + 1):
            match = _ROW.match(lines[i])
            if match:
                address = _UNKNOWN if number is None else b"%02X" % number + match[2]
                lines[i] = match[1] + address + lines[i][match.end(2) :]
    return b"\n".join(lines)


def _is_paged(lines: Sequence[bytes]) -> bool:
    """Tell whether most of some lines begin with the lower byte of an address that counts their bytes."""
    rows = [match for line in lines if (match := _ROW.match(line))]
    if len(rows) < max(LEAST_LINES, MOSTLY * len(lines)):
        return False
    at = [int(match[2], 16) for match in rows]
    good = sum((b - a) % _PAGE == len(match[4].split()) for a, b, match in zip(at, at[1:], rows, strict=False))
    others = [line for line in lines if not _ROW.match(line)]
    return good >= MOSTLY * len(rows) and any(_numbers_in(line) for line in others)


def _pages_in(lines: Sequence[bytes]) -> Iterator[_Page]:
    """Yield the lines of each page, with what the headings say that stand right before them."""
    heading: tuple[int, ...] = ()
    numbers: tuple[int, ...] = ()
    first = last = -1
    before = _PAGE
    for i, line in enumerate(lines):
        match = _ROW.match(line)
        if match:
            at = int(match[2], 16)
            if at <= before:
                if first >= 0:
                    yield _Page(first, last, numbers)
                first, numbers = i, heading
            last, before, heading = i, at, ()
        elif line.strip() and not numbers_columns(line):
            heading += _numbers_in(line)
    if first >= 0:
        yield _Page(first, last, numbers)


def _numbers_in(line: bytes) -> tuple[int, ...]:
    """Return the upper bytes of addresses that a heading may tell."""
    found = _NUMBER.findall(line) if len(line) <= _MOST_HEADING else []
    return tuple(int(digits[:2], 16) for digits in found) if len(found) <= _MOST_NUMBERS else ()


def _numbers_of(pages: Sequence[_Page]) -> Iterator[int | None]:
    """Yield the upper byte of the addresses of each page, or None where it is not certain."""
    for i, page in enumerate(pages):
        before = pages[i - 1].numbers if i else ()
        after = pages[i + 1].numbers if i + 1 < len(pages) else ()
        going = {n for n in page.numbers if (n - 1) % _PAGE in before or (n + 1) % _PAGE in after}
        again = {n for n in page.numbers if n in before or n in after}
        alone = set(page.numbers) if not before and not after else set()
        yield next((some.pop() for some in (going, again, alone) if len(some) == 1), None)
