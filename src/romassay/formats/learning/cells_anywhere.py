"""Runs of equal numbers on lines that need not have an address: what may be data there, and where it begins."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from romassay.formats.learning.cells_behind_address import hex_reading
from romassay.formats.learning.sample import FIRST_TOKENS, FULL_WIDTH, Cells, Line, fits, number_of

_WIDE = 4
"""Bytes of a line that tell of a dump by themselves; shorter ones need addresses that count them."""
_MOST_NARROW = 3


def run_forms(lines: list[Line]) -> list[Cells]:
    """Return the runs of equal numbers that lines hold, those that explain most first; also without a sum behind."""
    votes: Counter[Cells] = Counter()
    for line in lines:
        votes.update(dict.fromkeys(_equal_runs(line), 1))
    ranked = sorted(votes.items(), key=lambda item: -item[1] * item[0].bytes)
    often = [cells for cells, number in ranked if number >= 2]
    wide = [c for c in often if c.bytes >= _WIDE][:6]
    forms = [*wide, *[c for c in often if c.bytes < _WIDE and c.count > 1][: _MOST_NARROW - len(wide) // 2]]
    shorter = [
        replace(c, count=c.count - 1, widths=c.widths[:-1], gaps=c.gaps and c.gaps[:-1])
        for c in forms
        if c.count > 2 and c.runs == c.count
    ]
    return list(dict.fromkeys([*forms, *shorter]))


def _equal_runs(line: Line) -> Iterator[Cells]:
    """Yield the longest runs of numbers of one form from each of the first few numbers of a line on."""
    widths = line.widths
    for first in range(min(FIRST_TOKENS, len(widths))):
        if first and widths[first - 1] == widths[first]:
            continue
        width = widths[first]
        count = next((i for i in range(first, len(widths)) if widths[i] != width), len(widths)) - first
        if width % 2 == 0:
            last = widths[first + count] if first + count < len(widths) else 0
            if width > last > 2 and last % 2 == 0:
                yield hex_reading((*(width,) * count, last))
            yield hex_reading((width,) * count)
            if count == 1 and width > 2:
                yield Cells(16, 1, width // 2, 0, (width,))
        yield from _octal_run(line, first, count, width)
        if width % 2 == 0:
            yield from _evenly_spaced(line, first, count)
        texts = [line.token(i) for i in range(first, first + count)]
        for base, size in ((8, 1), (10, 1), (8, 2), (10, 2)):
            form = Cells(base, size, count, 0, (FULL_WIDTH[base, size],) * count)  # type: ignore[arg-type]
            if width == FULL_WIDTH[base, size] and all(fits(t, base) and int(t, base) < 1 << 8 * size for t in texts):
                yield form
    small = [(number := number_of(line.token(i), 10)) is not None and number < 256 for i in range(len(widths))]
    for first in range(min(FIRST_TOKENS, len(widths))):
        count = next((i for i in range(first, len(small)) if not small[i]), len(small)) - first
        if count >= 4 and any(w == 3 for w in widths[first : first + count]):
            yield Cells(10, 1, count)


def _octal_run(line: Line, first: int, count: int, width: int) -> Iterator[Cells]:
    """Read runs as octal bytes that run together, each with its three digits."""
    if width % _OCTAL_DIGITS == 0 and width > _OCTAL_DIGITS:
        cells = Cells(8, 1, count * width // _OCTAL_DIGITS, 0, (width,) * count)
        if cells.read(line, first):
            yield cells


_OCTAL_DIGITS = 3


def _evenly_spaced(line: Line, first: int, count: int) -> Iterator[Cells]:
    """Yield the longest parts of a run of numbers in which what stands between them repeats, as it does in groups."""
    gaps = line.gaps[first : first + count - 1]
    width = len(line.token(first))
    for period in (1, 2, 4):
        best = _longest_repeating(gaps, period)
        if 3 < best.stop - best.start + 1 < count:
            part = gaps[best]
            yield replace(hex_reading((width,) * (len(part) + 1)), gaps=part)


@lru_cache(maxsize=1 << 10)
def _longest_repeating(gaps: tuple[bytes, ...], period: int) -> slice:
    """Return the longest part of a list in which each item is the same as that one period before."""
    best = slice(0, 0)
    start = 0
    for i in range(len(gaps)):
        if i - start >= period and gaps[i] != gaps[i - period]:
            start = next((k for k in range(i - period + 1, i + 1) if _repeats(gaps[k : i + 1], period)), i)
        if i + 1 - start > best.stop - best.start:
            best = slice(start, i + 1)
    return best


def _repeats(gaps: tuple[bytes, ...], period: int) -> bool:
    return all(a == b for a, b in zip(gaps, gaps[period:], strict=False))


def leads_of(lines: list[Line], cells: Cells) -> list[int]:
    """Return how many numbers may stand before the cells of a line without an address."""
    votes: Counter[int] = Counter()
    for line in lines:
        first = next((i for i in range(FIRST_TOKENS) if cells.read(line, i)), None)
        if first is not None:
            votes[first] += 1
    total = sum(votes.values())
    return [first for first, number in sorted(votes.items()) if number >= 0.15 * total][:2]
