"""The address map as a drawing: every address of the window at its place, told apart by pattern and letter.

A row holds a power of two of addresses, so that a bus line is a step to the side or down, and mirrors stand under each
other. Rows in which nothing was read are left out, with a mark.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from romassay.report.picture import name_of
from romassay.report.svg import drawing, element, label, rect
from romassay.report.words import REGIONS, digits, plural, size
from romassay.survey.model import Region, RegionKind, Survey

WIDTH = 1024
"""Units across a row."""

_MARGIN = 84
_TOP = 24
_MOST_ROWS = 64
_MOST_MARKS = 6000
_NARROWEST_LETTER = 16

LETTERS: dict[RegionKind, str] = {
    "rom": "R",
    "ram": "m",
    "registers": "i",
    "open-bus": "",
    "host": "h",
    "contended": "!",
    "unknown": "?",
}


@dataclass(frozen=True, slots=True)
class Piece:
    """A part of a region that lies in one row: where it starts in the row and how many addresses it has."""

    region: Region
    row: int
    start: int
    count: int


def row_size(regions: Sequence[Region]) -> int:
    """Return how many addresses a row holds: at least 256, and so many that the rows are no more than 64."""
    per_row = 256
    while len(rows_of(regions, per_row)) > _MOST_ROWS:
        per_row *= 2
    return per_row


def rows_of(regions: Sequence[Region], per_row: int) -> list[int]:
    """Return the numbers of the rows in which anything was read, lowest first."""
    rows: list[int] = []
    for region in regions:
        first = region.first // per_row
        if rows and first <= rows[-1]:
            first = rows[-1] + 1
        last = region.last // per_row
        if last - first > 2 * _MOST_ROWS:  # enough to know that the rows are too many
            return list(range(first, first + 2 * _MOST_ROWS))
        rows += range(first, last + 1)
    return rows


def pieces(regions: Sequence[Region], per_row: int) -> Iterator[Piece]:
    """Yield the regions cut at the ends of rows."""
    for region in regions:
        for row in range(region.first // per_row, region.last // per_row + 1):
            first = max(region.first, row * per_row)
            last = min(region.last, (row + 1) * per_row - 1)
            yield Piece(region, row, first - row * per_row, last - first + 1)


def map_drawing(survey: Survey) -> str:
    """Return the address map as SVG; regions without end are drawn by the first few thousand of their pieces."""
    per_row = row_size(survey.regions)
    rows = rows_of(survey.regions, per_row)
    height = max(8, min(22, 640 // max(1, len(rows))))
    place = {row: _TOP + n * (height + 2) for n, row in enumerate(rows)}
    wide = digits(survey.address_bits)
    parts = [_ruler(per_row, wide)]
    for number, piece in enumerate(pieces(survey.regions, per_row)):
        if number >= _MOST_MARKS:
            break
        parts.append(_mark(survey, piece, per_row, place[piece.row], height))
    previous = None
    for row in rows:
        y = place[row]
        text = f"{row * per_row:0{wide}X}"
        parts.append(label(text, _MARGIN - 8, y + height - max(1, (height - 11) / 2), class_="axis", text_anchor="end"))
        if previous is not None and row != previous + 1:
            parts.append(element("line", x1=_MARGIN - 60, x2=_MARGIN + WIDTH, y1=y - 1, y2=y - 1, class_="gap"))
        previous = row
    total = _TOP + len(rows) * (height + 2) + 4
    says = f"Address map, {plural(len(rows), 'row')} of {size(per_row)}"
    return drawing(parts, _MARGIN + WIDTH + 4, total, says, class_="map")


def _ruler(per_row: int, wide: int) -> str:
    """Return the steps across a row, as what is to be added to the row's address."""
    parts = []
    for eighth in range(8):
        x = _MARGIN + eighth * WIDTH / 8
        parts.append(label(f"+{eighth * per_row // 8:0{min(wide, 4)}X}", x + 2, _TOP - 8, class_="axis"))
        parts.append(element("line", x1=x, x2=x, y1=_TOP - 20, y2=_TOP - 2, class_="tick"))
    return "".join(parts)


def _mark(survey: Survey, piece: Piece, per_row: int, y: float, height: float) -> str:
    region = piece.region
    x, width = _MARGIN + piece.start * WIDTH / per_row, piece.count * WIDTH / per_row
    parts = [
        rect(
            x,
            y,
            width,
            height,
            class_=f"k-{region.kind}{' mirror' if is_mirror(survey, region) else ''}",
            says=", ".join(says_of(survey, region)),
        )
    ]
    letter = letter_of(survey, region)
    begins = piece.row == region.first // per_row
    if letter and begins and width >= _NARROWEST_LETTER:
        style = "on-dark" if region.kind == "rom" else "on-light"
        size_ = min(12.0, height + 1)
        parts.append(
            label(
                letter,
                x + width / 2,
                y + height / 2 + size_ * 0.36,
                class_=style,
                text_anchor="middle",
                style=f"font-size:{size_:g}px",
            )
        )
    return "".join(parts)


def is_mirror(survey: Survey, region: Region) -> bool:
    """Tell whether a region shows a ROM again that was seen at a lower address."""
    if region.function is None or region.kind != "rom":
        return False
    return region.first > min((copy.first for copy in survey.functions[region.function].copies), default=region.first)


def letter_of(survey: Survey, region: Region) -> str:
    """Return the letter by which a region is known in the drawing: several ROMs by their numbers."""
    if region.kind == "rom" and region.function is not None:
        number = name_of(survey, region.function).removeprefix("ROM").strip()
        return f"R{number}"
    return LETTERS[region.kind]


def says_of(survey: Survey, region: Region) -> tuple[str, str]:
    """Return a region in words: its range, and what answers there."""
    wide = digits(survey.address_bits)
    what = what_of(survey, region)
    if region.kind == "contended" and region.function is not None:
        what = f"{name_of(survey, region.function)}, {what}"
    return f"{region.first:0{wide}X}-{region.last:0{wide}X}", what


def what_of(survey: Survey, region: Region) -> str:
    """Return what answers in a region, in words; where two answer at once, that they do."""
    if region.function is None or region.kind == "contended":
        return REGIONS[region.kind]
    return name_of(survey, region.function)


def legend(survey: Survey) -> list[tuple[RegionKind, str, str]]:
    """Return what the drawing holds, as (kind, letter, words), each once."""
    seen: dict[tuple[RegionKind, str], str] = {}
    for region in survey.regions:
        words = what_of(survey, region) if region.kind == "rom" else REGIONS[region.kind]
        seen.setdefault((region.kind, letter_of(survey, region)), words)
    return [(kind, letter, words) for (kind, letter), words in sorted(seen.items(), key=lambda item: _rank(*item[0]))]


def _rank(kind: RegionKind, letter: str) -> tuple[int, int, str]:
    """Return the order of a legend: ROMs by number, then the others as in `LETTERS`."""
    return list(LETTERS).index(kind), len(letter), letter
