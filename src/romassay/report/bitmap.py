"""The bits of an image as a picture, in cells of so many bytes: character generators and drawings show at once."""

from __future__ import annotations

from typing import Literal

from romassay.report.png import png
from romassay.report.svg import drawing, label, rect

_ACROSS = 16
_GAP = 1
_DOT = 3
_MARGIN = 44
_TOP = 22
_PALETTE = ((255, 255, 255), (25, 40, 60), (225, 230, 236))
_BITS = 8

Side = Literal["left", "right", "top", "bottom"]
Dots = list[bytes]
"""A cell: its lines of dots, each 0 or 1."""


def bitmap(data: bytes, stride: int, kind: str, high: Side = "left") -> bytes:
    """Return the picture: 16 cells a row, each of `stride` bytes.

    Args:
        data: the bytes.
        stride: bytes of one cell.
        kind: 'svg' or 'png'.
        high: where a byte's highest bit stands: a byte is a line of its cell, or at 'top' and 'bottom' a column.
    """
    cells = [_dots(data[at : at + stride], high) for at in range(0, len(data), stride)]
    lines = [cells[at : at + _ACROSS] for at in range(0, len(cells), _ACROSS)]
    size = (_BITS, stride) if high in ("left", "right") else (stride, _BITS)
    return _png(lines, *size) if kind == "png" else _svg(lines, stride, *size).encode()


def _dots(cell: bytes, high: Side) -> Dots:
    """Return the lines of dots of a cell's bytes."""
    falling = range(_BITS - 1, -1, -1) if high in ("left", "top") else range(_BITS)
    if high in ("left", "right"):
        return [bytes(byte >> bit & 1 for bit in falling) for byte in cell]
    return [bytes(byte >> bit & 1 for byte in cell) for bit in falling]


def _png(lines: list[list[Dots]], wide: int, high: int) -> bytes:
    width = _ACROSS * (wide + _GAP) + _GAP
    rows = [bytes([2]) * width]
    for cells in lines:
        for y in range(high):
            row = bytearray([2]) * width
            for x, cell in enumerate(cells):
                if y < len(cell):
                    at = _GAP + x * (wide + _GAP)
                    row[at : at + len(cell[y])] = cell[y]
            rows.append(bytes(row))
        rows.append(bytes([2]) * width)
    scaled = [bytes(dot for dot in row for _ in range(_DOT)) for row in rows for _ in range(_DOT)]
    return png(scaled, _PALETTE)


def _svg(lines: list[list[Dots]], stride: int, wide: int, high: int) -> str:
    cell_width, cell_height = (wide + _GAP) * _DOT, (high + _GAP) * _DOT
    width = _MARGIN + _ACROSS * cell_width + _DOT
    height = _TOP + len(lines) * cell_height + _DOT
    parts = [rect(0, 0, width, height, fill="#e1e6ec")]
    parts += [
        label(f"+{x * stride:X}", _MARGIN + x * cell_width, _TOP - 8, font_size=9, font_family="monospace")
        for x in range(0, _ACROSS, 2)
    ]
    for number, cells in enumerate(lines):
        top = _TOP + number * cell_height
        text = f"{number * _ACROSS * stride:04X}"
        parts.append(label(text, 4, top + 10, font_size=11, font_family="monospace"))
        for x, cell in enumerate(cells):
            left = _MARGIN + x * cell_width
            parts.append(rect(left, top, len(cell[0]) * _DOT, len(cell) * _DOT, fill="#fff"))
            parts += [
                rect(left + at * _DOT, top + y * _DOT, count * _DOT, _DOT, fill="#19283c")
                for y, at, count in _runs(cell)
            ]
    return drawing(parts, width, height, f"{len(lines)} rows of cells of {stride} bytes, drawn bit by bit")


def _runs(cell: Dots) -> list[tuple[int, int, int]]:
    """Return the runs of set dots in a cell, as (line, first column, length)."""
    found = []
    for y, line in enumerate(cell):
        at = 0
        while at < len(line):
            count = 0
            while at + count < len(line) and line[at + count]:
                count += 1
            if count:
                found.append((y, at, count))
            at += max(1, count)
    return found
