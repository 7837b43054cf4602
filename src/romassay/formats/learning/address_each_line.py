"""Layouts with an address on each line: a number that grows by just as many bytes as the line before holds."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from romassay.formats.layout import HEX, Base
from romassay.formats.learning.cells_behind_address import likeliest, readings_after
from romassay.formats.learning.fit import fit
from romassay.formats.learning.learnt import (
    BASES,
    MAX_STEP,
    MORE_CELLS,
    MOST_LINES,
    MOSTLY,
    TELLING,
    Learnt,
    clean_share,
    tidiness,
)
from romassay.formats.learning.line_sums import ends_as_it_goes_on
from romassay.formats.learning.sample import FIRST_TOKENS, Cells, Found, Line
from romassay.formats.text.mended import LEAST_ALIKE

_SPACE = 1 << 16
"""Addresses of most hosts: 0 comes behind the last."""
_LOOKAHEAD = 3
_MOST_FITS = 24
_WIDEST = 3
_OFTEN_HELD = 0.3
_STEADY = 0.8
"""Share of the addresses that must go on by one for each digit: others count bytes, and are not hex."""


def with_addresses(sample: list[list[Line]]) -> Iterator[Learnt]:
    """Yield layouts whose lines all have an address."""
    fits_left = _MOST_FITS
    for (which, base, step), lines in _address_steps(sample):
        if fits_left <= 0:
            return
        chosen = lines[:: -(-len(lines) // MOST_LINES)]
        for cells, number in likeliest(readings_after(chosen, which, base, step)):
            first = which + 1 + cells.skip
            found = [Found(line, which, first) for line in chosen if cells.read(line, first)]
            if cells.skip and found and not ends_as_it_goes_on(found, cells):
                continue
            if not found or not often_enough(len(lines) * number / len(chosen), which, cells, sample):
                continue
            if cells.half and len(lines) + len(sample) < _STEADY * _reading_so(first, cells, sample):
                continue
            if cells.half and cells.runs == cells.count and not _has_letters(found, cells):
                continue
            if cells.size > 1 and _holds_addresses(found, base, cells):
                continue
            if _goes_on_alike(found, cells) or _is_counted_data(found, cells):
                continue
            fits_left -= 1
            fitted = fit(found, base, cells, "line")
            if fitted.layout.tail and (cells.half or _says_nothing(found, cells)):
                continue
            share = number / len(chosen)
            score = len(lines) * share * cells.bytes * (1 - 0.02 * which - 0.05 * cells.skip)
            yield Learnt(fitted.layout, score * tidiness(fitted), fitted.notes)


def _says_nothing(found: list[Found], cells: Cells) -> bool:
    """Tell whether the cells are the same on all of several lines, as letters of a word are."""
    texts = {tuple(f.line.token(f.first + j) for j in range(cells.runs)) for f in found}
    return len(texts) == 1 and len(found) > LEAST_ALIKE


def _goes_on_alike(found: list[Found], cells: Cells) -> bool:
    """Tell whether in most lines several more numbers follow as the cells do: the address counts otherwise."""
    last = cells.runs - 1
    if not last or cells.widths:
        return False
    more = 0
    for f in found:
        end = f.first + last
        gap, spans = f.line.between(end - 1), f.line.tokens[end : end + MORE_CELLS + 1]
        widths = [b - a for a, b in spans]
        gaps = [f.line.text[a[1] : b[0]] for a, b in pairwise(spans)]
        more += len(gaps) == MORE_CELLS and all(g.strip() == gap.strip() for g in gaps) and max(widths) <= _WIDEST
    return more > MOSTLY * len(found)


def _holds_addresses(found: list[Found], base: Base, cells: Cells) -> bool:
    """Tell whether many lines have a word that is the address of the next byte: pairs of both stand side by side."""
    held = 0
    for f in found:
        first = f.line.value(f.address, base) if f.address is not None else None
        words = [f.line.value(f.first + j, base) for j in range(cells.runs)]
        held += first is not None and any(0 < word - first <= cells.runs for word in words if word is not None)
    return len(found) > LEAST_ALIKE and held > _OFTEN_HELD * len(found)


def _is_counted_data(found: list[Found], cells: Cells) -> bool:
    """Tell whether the address looks just like a cell of two digits: a bus may show the low byte of the address.

    One that has grown a digit is none, as all cells have two.
    """
    if cells.base != HEX or set(cells.widths) != {2} or cells.runs < TELLING:
        return False
    places = [(f.line, f.address) for f in found if f.address is not None]
    if sum(line.widths[i] != 2 for line, i in places) > 1:
        return False
    alike = sum(
        line.widths[i] == line.widths[i + 1] == 2 and line.between(i) == line.between(i + 1) for line, i in places
    )
    return alike > MOSTLY * len(found)


def often_enough(number: float, which: int, cells: Cells, sample: list[list[Line]]) -> bool:
    """Tell whether enough of the lines that are long enough read so."""
    wide = [line for stretch in sample for line in stretch if len(line.tokens) > which + cells.skip + cells.runs]
    return number >= clean_share(wide) * len(wide) * 0.5


def _has_letters(found: list[Found], cells: Cells) -> bool:
    """Tell whether some digits are letters: small decimal numbers have none."""
    return any(f.line.token(f.first + j).isalpha() for f in found for j in range(cells.runs))


def _reading_so(first: int, cells: Cells, sample: list[list[Line]]) -> int:
    """Return how many lines can be read so."""
    return sum(cells.read(line, first) for stretch in sample for line in stretch)


def _address_steps(sample: list[list[Line]]) -> list[tuple[tuple[int, Base, int], list[Line]]]:
    """Return (which run, base, step), with the lines that bear it out, those that explain most first."""
    votes: dict[tuple[int, Base, int], list[Line]] = {}
    for stretch in sample:
        for which in range(FIRST_TOKENS):
            for base in BASES:
                for line, step in _steps(stretch, which, base):
                    votes.setdefault((which, base, step), []).append(line)
    most = max((len(lines) for lines in votes.values()), default=0)
    often = [(key, lines) for key, lines in votes.items() if len(lines) >= max(1, 0.1 * most)]
    often = [(key, lines) for key, lines in often if not _ends_range(lines, *key)]
    often.sort(key=lambda item: (-len(item[1]), -item[0][2]))
    return often[:40]


def _ends_range(lines: list[Line], which: int, base: Base, step: int) -> bool:
    """Tell whether a number is the last address of each line, of which the first stands before it."""
    values = [(line.value(which, base) or 0, line.value(which - 1, base)) for line in lines] if which else []
    return sum(last - step + 1 == first for last, first in values) > MOSTLY * len(lines)


def _steps(stretch: list[Line], which: int, base: Base) -> Iterator[tuple[Line, int]]:
    """Yield lines and by how much a number grows from each to the next that has one; an echo may stand between them."""
    valued = [
        (line, value) for line in stretch if len(line.tokens) > which and (value := line.value(which, base)) is not None
    ]
    for i, (one, a) in enumerate(valued):
        near = ((b, other.number) for other, b in valued[i + 1 : i + 1 + _LOOKAHEAD])
        steps = (b - a + _SPACE if b < a else b - a for b, number in near if number - one.number <= _LOOKAHEAD)
        step = next((step for step in steps if 0 < step <= MAX_STEP), 0)
        if step:
            yield one, step
