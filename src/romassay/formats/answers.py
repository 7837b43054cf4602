"""The answer of a host to one dump command: which bytes of what was asked are certain.

A dump in a log has to prove its addresses by itself. Here the range that was asked for is known, so that a single line
proves its place: it must lie on the raster of lines within the range, behind the line before it and before the next.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from romassay.address import Range
from romassay.errors import BadInput, RomassayError
from romassay.formats.layout import Layout, parse_layout
from romassay.formats.lines.reader import read_rows
from romassay.formats.lines.rows import DAMAGED, MARK, STAR, Rows
from romassay.formats.model import Hints
from romassay.formats.text.respelt import Habit, by_line, habit_of
from romassay.formats.text.terminal import clean
from romassay.reading import Index, Unit

_WHOLE = 0xFF
_TWO_LINES = 1.6
"""A line so many times as long as most is two, the end of the first lost."""
_SIGNS = 3
"""Characters of a line that is no more than the end of an echo."""


@dataclass(frozen=True, slots=True)
class Heard:
    """Consecutive bytes of an answer that are certain.

    Attributes:
        first: their first address.
        values: in the order of addresses.
    """

    first: int
    values: bytes


def damaged_lines(text: bytes, layout: Layout | None, habit: Habit | None = None) -> int:
    """Return how many lines of an answer are lines of a dump that the line has damaged."""
    if layout is None:
        return 0
    rows = read_rows(_plainly(text, habit), layout)
    return len(rows.damaged) + int(np.count_nonzero(rows.state == DAMAGED))


def _plainly(text: bytes, habit: Habit | None) -> bytes:
    """Return an answer as a text of lines, its numbers written plainly."""
    cleaned = clean(text)
    return by_line(cleaned, habit) if habit else cleaned


def heard_in_dump(text: bytes, asked: Range, layout: Layout, habit: Habit | None = None) -> tuple[Heard, ...]:
    """Return what a text dump says of the range that was asked for.

    Args:
        text: what the host sent after the return, as it came.
        asked: the range.
        layout: of the lines.
        habit: in which the host spells its numbers: an answer of a line or two does not show it.
    """
    plain = _plainly(text, habit)
    rows = read_rows(plain, layout)
    kept = _in_step(_candidates(rows, asked, layout, _strays(rows, plain)))
    result: list[Heard] = []
    for address, row in kept:
        start, count = int(rows.start[row]), int(rows.count[row])
        values = rows.value[start : start + count]
        known = None if rows.known is None else rows.known[start : start + count]
        result.extend(_certain(address, values.tobytes(), known, asked))
    return tuple(result)


def _strays(rows: Rows, text: bytes) -> Index:
    """Return the numbers of lines that are none of the dump and may have been: not blank, nor a sign or two."""
    lines = text.split(b"\n")
    numbers = np.union1d(rows.foreign, rows.damaged)
    return numbers[[len(lines[number - 1].strip()) > _SIGNS for number in numbers.tolist()]]


def _candidates(rows: Rows, asked: Range, layout: Layout, strays: Index) -> list[tuple[int, int]]:
    """Return (address, row) of the lines whose address lies on the raster of the range.

    A line without an address goes on from the line before only where that is sure: nothing stands between them, and the
    line before is a full one. The first line of all begins the range where nothing stands before it, or where there
    are just as many bytes as were asked for.
    """
    found: list[tuple[int, int]] = []
    width = layout.line_bytes
    before = np.searchsorted(strays, rows.line)
    usual = np.median(rows.length[rows.count > 0]) if (rows.count > 0).any() else 0
    overlong = rows.length > _TWO_LINES * usual
    begins = layout.where == "none" and len(rows) > 0 and _begins(rows, before, asked, width)
    following = asked.first if begins else None
    for row in range(len(rows)):
        if rows.state[row] in (STAR, MARK):
            following = int(rows.address[row]) if rows.state[row] == MARK else None
            continue
        address, count = int(rows.address[row]), int(rows.count[row])
        if address == -1 and following is not None:
            gap = row > 0 and before[row] > before[row - 1]
            uneven = count != width and following + count - 1 != asked.last
            address = -1 if gap or uneven or overlong[row] else following
        if address < 0:
            following = None
            continue
        following = address + count
        on_raster = address % width == 0 or (address - asked.first) % width == 0
        if on_raster and address <= asked.last and address + width > asked.first:
            found.append((address, row))
    return found


def _begins(rows: Rows, before: Index, asked: Range, width: int) -> bool:
    """Tell whether the first of lines without addresses begins what was asked for; too many of them prove nothing."""
    total = int(rows.count.sum())
    if total >= asked.size + width:
        return False
    return bool(before[0] == 0 or ((before == before[0]).all() and total == asked.size))


def _in_step(lines: Sequence[tuple[int, int]]) -> list[tuple[int, int]]:
    """Return the lines that lie in rising order, as many as can be; two of one address prove neither."""
    if all(a < b for (a, _), (b, _) in itertools.pairwise(lines)):
        return list(lines)
    best = _longest_rise([address for address, _ in lines])
    chosen = set(best)
    doubtful = {address for i, (address, _) in enumerate(lines) if i not in chosen}
    return [lines[i] for i in best if lines[i][0] not in doubtful]


def _longest_rise(numbers: Sequence[int]) -> list[int]:
    """Return the places of a longest strictly rising subsequence (patience sorting)."""
    from bisect import bisect_left

    tails: list[int] = []
    at: list[int] = []
    before: list[int] = []
    for place, number in enumerate(numbers):
        pile = bisect_left(tails, number)
        before.append(at[pile - 1] if pile else -1)
        if pile == len(tails):
            tails.append(number)
            at.append(place)
        else:
            tails[pile], at[pile] = number, place
    result: list[int] = []
    place = at[-1] if at else -1
    while place >= 0:
        result.append(place)
        place = before[place]
    return result[::-1]


def _certain(address: int, values: bytes, known: np.ndarray | None, asked: Range) -> list[Heard]:
    """Return the runs of bytes that were read wholly, cut to the range."""
    sure = np.ones(len(values), np.bool_) if known is None else known == _WHOLE
    place = address + np.arange(len(values))
    sure &= (place >= asked.first) & (place <= asked.last)
    edges = np.flatnonzero(np.diff(np.concatenate([[0], sure.astype(np.int8), [0]])))
    return [Heard(address + int(a), values[a:b]) for a, b in zip(edges[::2], edges[1::2], strict=True)]


def heard_in_format(text: bytes, asked: Range, name: str) -> tuple[Heard, ...]:
    """Return what an answer in one of the registered formats says of the range that was asked for."""
    from romassay.formats import FORMATS

    try:
        parsed = FORMATS[name].read(text, Hints(format=name, base=asked.first))
    except BadInput:
        return ()
    result: list[Heard] = []
    for reading in parsed.readings:
        known = None if reading.known is None else reading.known
        for first, start, count, _ in reading.runs.tolist():
            part = None if known is None else known[start : start + count]
            result.extend(_certain(first, reading.value[start : start + count].tobytes(), part, asked))
    return tuple(result)


def learnt_layout(text: bytes) -> Layout | None:
    """Return the layout of a host's lines from some of its answers; None where they do not show one."""
    from romassay.formats import text_dump

    try:
        return parse_layout(text_dump.read(text, Hints()).layout)
    except RomassayError:
        return None


def learnt_habit(text: bytes) -> Habit | None:
    """Return the habit in which a host spells its numbers, from some of its answers; None where they show none."""
    return habit_of(clean(text))


def heard(
    text: bytes, asked: Range, *, layout: Layout | None, format_name: str, habit: Habit | None = None
) -> tuple[Heard, ...]:
    """Return what an answer says of the range that was asked for; nothing where no layout is known."""
    if format_name:
        return heard_in_format(text, asked, format_name)
    return heard_in_dump(text, asked, layout, habit) if layout else ()


def unit_of(layout: Layout | None, format_name: str) -> Unit:
    """Return what an error on the line hits."""
    if format_name or layout is None:
        return "record-checked"
    return {16: "hex-digit", 8: "octal", 10: "decimal", 2: "octal"}[layout.cell.base]  # type: ignore[return-value]
