"""The bits of an image as a picture, in cells of so many bytes: character generators and drawings show at once."""

from __future__ import annotations

from romassay.report.png import png
from romassay.report.svg import drawing, label, rect

_ACROSS = 16
_GAP = 1
_DOT = 3
_MARGIN = 44
_TOP = 22
_PALETTE = ((255, 255, 255), (25, 40, 60), (225, 230, 236))
_BITS = 8


def bitmap(data: bytes, stride: int, kind: str) -> bytes:
    """Return the picture: cells of 8 dots by `stride` bytes, 16 cells a row, the highest bit on the left.

    Args:
        data: the bytes.
        stride: bytes of one cell, from its top to its bottom.
        kind: 'svg' or 'png'.
    """
    cells = [data[at : at + stride] for at in range(0, len(data), stride)]
    lines = [cells[at : at + _ACROSS] for at in range(0, len(cells), _ACROSS)]
    return _png(lines, stride) if kind == "png" else _svg(lines, stride).encode()


def _png(lines: list[list[bytes]], stride: int) -> bytes:
    width = _ACROSS * (_BITS + _GAP) + _GAP
    rows = [bytes([2]) * width]
    for cells in lines:
        for y in range(stride):
            row = bytearray([2]) * width
            for x, cell in enumerate(cells):
                if y < len(cell):
                    at = _GAP + x * (_BITS + _GAP)
                    row[at : at + _BITS] = bytes(cell[y] >> (7 - bit) & 1 for bit in range(_BITS))
            rows.append(bytes(row))
        rows.append(bytes([2]) * width)
    scaled = [bytes(dot for dot in row for _ in range(_DOT)) for row in rows for _ in range(_DOT)]
    return png(scaled, _PALETTE)


def _svg(lines: list[list[bytes]], stride: int) -> str:
    cell_width, cell_height = (_BITS + _GAP) * _DOT, (stride + _GAP) * _DOT
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
            parts.append(rect(left, top, _BITS * _DOT, len(cell) * _DOT, fill="#fff"))
            parts += [
                rect(left + at * _DOT, top + y * _DOT, count * _DOT, _DOT, fill="#19283c")
                for y, at, count in _runs(cell)
            ]
    return drawing(parts, width, height, f"{len(lines)} rows of cells of {stride} bytes, drawn bit by bit")


def _runs(cell: bytes) -> list[tuple[int, int, int]]:
    """Return the runs of set bits in a cell, as (line, first column, length)."""
    found = []
    for y, byte in enumerate(cell):
        at = 0
        while at < _BITS:
            count = 0
            while at + count < _BITS and byte >> (7 - at - count) & 1:
                count += 1
            if count:
                found.append((y, at, count))
            at += max(1, count)
    return found
