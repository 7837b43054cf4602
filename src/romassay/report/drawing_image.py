"""The image as drawings: what stands behind each byte, how readings and copies agree, and the bits as dots."""

from __future__ import annotations

from base64 import b64encode

import numpy as np

from romassay.report.agreement import Agreement
from romassay.report.svg import drawing, element, label, rect, wire
from romassay.report.words import plural
from romassay.settle.model import Image

_CELL = 13
_WIDE = 832


def columns_of(count: int) -> int:
    """Return how many bytes stand in a row of a picture of an image: a power of two, about two squares wide."""
    columns = 16
    while columns * columns < 4 * count and columns < 1024:
        columns *= 2
    return columns


def evidence_drawing(image: Image) -> str:
    """Return every byte as a cell: plain where all agrees, marked where there is something to say."""
    columns = columns_of(len(image))
    rows = -(-len(image) // columns)
    cell = _WIDE / columns
    margin, top = 60, 20
    parts = [rect(margin, top, columns * cell, rows * cell, class_="cells")]
    parts += [
        label(f"{row * columns:04X}", margin - 6, top + row * cell + 11, class_="axis", text_anchor="end")
        for row in range(0, rows, max(1, round(14 / cell)))
    ]
    for kind, marked in marks_of(image).items():
        for offset in marked:
            x, y = margin + offset % columns * cell, top + offset // columns * cell
            parts.append(_cell(kind, offset, x, y, cell))
    says = f"Evidence for each of {plural(len(image), 'byte')}, {columns} in a row"
    return drawing(parts, margin + columns * cell + 4, top + rows * cell + 4, says, class_="evidence")


def marks_of(image: Image) -> dict[str, tuple[int, ...]]:
    """Return the offsets that are not plain, each once, by what there is to say: the weightiest counts."""
    unseen = tuple(int(i) for i in np.flatnonzero(image.seen == 0))
    groups = {
        "unseen": unseen,
        "doubt": tuple(doubt.offset for doubt in image.doubtful),
        "decided": tuple(decision.offset for decision in image.decided),
        "weak": image.flipped,
        "righted": image.link_errors,
    }
    taken: set[int] = set()
    result = {}
    for kind, offsets in groups.items():
        result[kind] = tuple(offset for offset in offsets if offset not in taken)
        taken |= set(offsets)
    return result


MARKS = {
    "righted": "differed on the line, put right by repetition",
    "weak": "a cell that did not read the same each time",
    "doubt": "in doubt",
    "decided": "decided by hand",
    "unseen": "never seen",
}


def _cell(kind: str, offset: int, x: float, y: float, cell: float) -> str:
    says = f"offset {offset:04X}: {MARKS[kind]}"
    middle = cell / 2
    shapes = {
        "righted": lambda: element("circle", cx=x + middle, cy=y + middle, r=cell / 5, class_="m-righted"),
        "weak": lambda: element(
            "path",
            d=f"M{x + 1:g} {y + cell - 1:g}L{x + middle:g} {y + 1:g}L{x + cell - 1:g} {y + cell - 1:g}Z",
            class_="m-weak",
        ),
        "doubt": lambda: rect(x + 1, y + 1, cell - 2, cell - 2, class_="m-doubt"),
        "decided": lambda: rect(x + 1, y + 1, cell - 2, cell - 2, class_="m-decided", rx=cell / 2),
        "unseen": lambda: (
            wire((x + 1, y + 1), (x + cell - 1, y + cell - 1), class_="m-unseen")
            + wire((x + 1, y + cell - 1), (x + cell - 1, y + 1), class_="m-unseen")
        ),
    }
    back = rect(x, y, cell, cell, says=says, class_="m-back")
    return back + shapes[kind]()


def mark_sample(kind: str) -> str:
    """Return a mark alone, for a legend."""
    return drawing([_cell(kind, 0, 1, 1, _CELL)], _CELL + 2, _CELL + 2, MARKS[kind], class_="sample evidence")


def agreement_drawing(table: Agreement, digits: int) -> str:
    """Return readings down and copies across: the fuller the cell, the more of its bytes are as in the image."""
    rows, columns = table.seen.shape
    cell = max(12.0, min(56.0, 900 / max(1, columns)))
    height, margin, top = 26, 44, 62 if columns else 20
    parts = []
    for column, first in enumerate(table.copies):
        x = margin + column * cell + cell / 2
        parts.append(
            label(f"{first:0{digits}X}", x, top - 6, class_="axis", transform=f"rotate(-60 {x:g} {top - 6:g})")
        )
    for row in range(rows):
        y = top + row * height
        parts.append(label(str(row + 1), margin - 8, y + 17, class_="axis", text_anchor="end"))
        for column in range(columns):
            seen, differing = int(table.seen[row, column]), int(table.differing[row, column])
            parts.append(_agreement_cell(margin + column * cell, y, cell, height, seen, differing))
    says = f"Agreement of {plural(rows, 'reading')} with the image at {plural(columns, 'place')}"
    return drawing(parts, margin + columns * cell + 40, top + rows * height + 4, says, class_="agreement")


def _agreement_cell(x: float, y: float, width: float, height: float, seen: int, differing: int) -> str:
    if not seen:
        words = "not seen"
        return rect(x + 1, y + 1, width - 2, height - 2, class_="a-none", says=words)
    words = f"{seen - differing} of {plural(seen, 'byte')} as in the image"
    kind = "a-all" if not differing else "a-most" if differing * 20 <= seen else "a-few"
    parts = [rect(x + 1, y + 1, width - 2, height - 2, class_=kind, says=words)]
    if differing:
        parts.append(label(str(differing), x + width / 2, y + height / 2 + 4, class_="count", text_anchor="middle"))
    return "".join(parts)


def data_address(content: bytes, kind: str) -> str:
    """Return bytes as an address that a page can hold in itself (RFC 2397)."""
    return f"data:{kind};base64,{b64encode(content).decode()}"
