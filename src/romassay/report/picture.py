"""Pictures in plain characters: the decode as a line pattern, and the address map."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from romassay.report.text import Line, Segment, Style, paragraph, width_of
from romassay.report.words import FUNCTIONS, REGIONS, SIGNS, digits, size
from romassay.survey.model import Function, Region, RegionKind, Survey

INSIDE = "."
"""The sign of a line that counts inside the function."""


def pattern(function: Function) -> tuple[str, str]:
    """Return the decode as two lines of equal columns: names of lines, and one sign for each, A0 last.

    '1' and '0' must be so, 'x' is a don't-care, '?' was not exercised, '.' lies inside the function.
    """
    lines = function.cube.bits
    signs = [INSIDE if function.own >> i & 1 else SIGNS[function.level(i)] for i in reversed(range(lines))]
    lead = lines % 4 or 4
    groups = [signs[:lead], *(signs[i : i + 4] for i in range(lead, lines, 4))]
    tops = [lines - 1, *range(lines - lead - 1, -1, -4)]
    names = "".join(f"{f'A{top}':<{max(len(group) + 1, 4)}}" for top, group in zip(tops, groups, strict=True))
    row = "".join(f"{''.join(group):<{max(len(group) + 1, 4)}}" for group in groups)
    return names.rstrip(), row.rstrip()


def name_of(survey: Survey, index: int) -> str:
    """Return what people call a function: 'ROM', or 'ROM 2' where there are several."""
    kind = survey.functions[index].kind
    same = [i for i, function in enumerate(survey.functions) if function.kind == kind]
    return FUNCTIONS[kind] if len(same) == 1 else f"{FUNCTIONS[kind]} {same.index(index) + 1}"


_STYLES: dict[RegionKind, Style] = {"rom": "good", "contended": "bad", "unknown": "care", "open-bus": "faint"}
_LISTED = 10
"""So many regions are listed one a line; more of them become a strip."""


def address_map(survey: Survey, room: int = 80) -> list[Line]:
    """Return who answers where, in `room` columns: one region a line, or a strip of signs where there are many."""
    if len(survey.regions) <= _LISTED:
        extents = [size(region.last - region.first + 1) for region in survey.regions]
        across = max(map(len, extents), default=0)
        pairs = zip(survey.regions, extents, strict=True)
        lines = [_region_line(survey, region, f"{extent:>{across}}") for region, extent in pairs]
        return [piece for line in lines for piece in ([line] if width_of(line) <= room else _in_two(line))]
    return _strip(survey, room)


def _region_line(survey: Survey, region: Region, extent: str) -> Line:
    wide = digits(survey.address_bits)
    place = f"{region.first:0{wide}X}-{region.last:0{wide}X}"
    style = _STYLES.get(region.kind, "plain")
    return (Segment(f"{place}  {extent}  "), Segment(_region_words(survey, region), style))


def _in_two(line: Line) -> list[Line]:
    """Return a region's line in two: where it is, and below it what answers."""
    *place, words = line
    return [tuple(place), (Segment("  "), words)]


def _region_words(survey: Survey, region: Region) -> str:
    if region.function is None:
        return REGIONS[region.kind]
    name = name_of(survey, region.function)
    copies = survey.functions[region.function].copies
    first = min((copy.first for copy in copies), default=region.first)
    mirror = ", mirror" if first < region.first and len(copies) > 1 else ""
    conflict = ", bus conflict" if region.kind == "contended" else ""
    return f"{name}{mirror}{conflict}"


_CELLS = (64, 32, 16)
"""Signs in a row: the most for which there is room."""
_MOST_CELLS = 512
_GROUP = 16
_IMPORTANCE: tuple[RegionKind, ...] = ("contended", "rom", "ram", "registers", "unknown", "host", "open-bus")
_STRIP_SIGNS: dict[RegionKind, str] = {
    "ram": "m",
    "registers": "i",
    "open-bus": "-",
    "host": "h",
    "contended": "!",
    "unknown": "?",
}


@dataclass(frozen=True, slots=True)
class _Sign:
    text: str
    style: Style
    words: str


def _strip(survey: Survey, room: int) -> list[Line]:
    wide = digits(survey.address_bits)
    across = next((cells for cells in _CELLS if room >= wide + 2 + cells + cells // _GROUP - 1), _CELLS[-1])
    cell = _cell_size(survey.regions, across)
    signs = _signs(survey, cell)
    lines = paragraph(f"each sign stands for {size(cell)}", width=room, style="faint")
    for row in sorted({at // across for at in signs}):
        cells = [signs.get(row * across + i, _Sign(" ", "plain", "")) for i in range(across)]
        lines.append((Segment(f"{row * across * cell:0{wide}X}  "), *_joined(cells)))
    legend = {sign.text: sign.words for sign in signs.values()}
    key = ", ".join(f"{sign} = {words}" for sign, words in sorted(legend.items()))
    return [*lines, *paragraph(key, width=room, style="faint")]


def _cell_size(regions: Sequence[Region], across: int) -> int:
    """Return the smallest power of two that shows the smallest region, or more where the rows would not do."""
    smallest = min(region.last - region.first + 1 for region in regions)
    cell = 1 << (smallest.bit_length() - 1)
    while not _fits(regions, cell * across, _MOST_CELLS // across):
        cell *= 2
    return cell


def _fits(regions: Sequence[Region], row: int, most: int) -> bool:
    """Tell whether the regions touch so few rows of so many addresses; they are sorted and don't overlap."""
    count, shown = 0, -1
    for region in regions:
        count += max(0, region.last // row - max(region.first // row, shown + 1) + 1)
        shown = max(shown, region.last // row)
        if count > most:
            return False
    return True


def _signs(survey: Survey, cell: int) -> dict[int, _Sign]:
    """Return the sign of each cell: of what matters most in its addresses."""
    best: dict[int, tuple[int, Region]] = {}
    for region in survey.regions:
        rank = _IMPORTANCE.index(region.kind)
        for at in range(region.first // cell, region.last // cell + 1):
            if at not in best or rank < best[at][0]:
                best[at] = rank, region
    return {at: _sign(survey, region) for at, (_, region) in best.items()}


def _sign(survey: Survey, region: Region) -> _Sign:
    style = _STYLES.get(region.kind, "plain")
    if region.kind == "rom" and region.function is not None:
        name = name_of(survey, region.function)
        number = name.removeprefix("ROM").strip()
        return _Sign(number or "R", style, name) if len(number) < 2 else _Sign("+", style, "further ROMs")
    return _Sign(_STRIP_SIGNS.get(region.kind, "R"), style, REGIONS[region.kind])


def _joined(cells: Sequence[_Sign]) -> list[Segment]:
    """Join cells of one style, with a gap after each sixteen."""
    segments: list[Segment] = []
    for number, sign in enumerate(cells, 1):
        text = sign.text + (" " if number % _GROUP == 0 and number < len(cells) else "")
        if segments and segments[-1].style == sign.style:
            segments[-1] = Segment(segments[-1].text + text, sign.style)
        else:
            segments.append(Segment(text, sign.style))
    return segments
