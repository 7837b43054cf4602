"""The bits of an image as a picture, in cells of so many bytes: character generators and drawings show at once."""

from __future__ import annotations

from typing import Literal

from romassay.report.dot_letters import write
from romassay.report.png import png
from romassay.report.svg import drawing, label, rect

_ACROSS = 16
_GAP = 1
_DOT = 3
_MARGIN = 44
_TOP = 22
_WIDEST = 1200
"""Pixels of a picture from which its dots are drawn smaller."""
_PALETTE = ((255, 255, 255), (25, 40, 60), (225, 230, 236))
_INK, _GROUND = 1, 2
_BITS = 8
_ROOM_FOR_A_LABEL = 34
"""Pixels of a column's offset."""

Side = Literal["left", "right", "top", "bottom"]
Dots = list[bytes]
"""A cell: its lines of dots, each 0 or 1."""


def bitmap(data: bytes, stride: int, kind: str, high: Side = "left", wide: int = 1) -> bytes:
    """Return the picture: 16 cells a row, or as many as there is room for, each of `stride` bytes, with their offsets.

    Args:
        data: the bytes.
        stride: bytes of one cell, a multiple of `wide`.
        kind: 'svg' or 'png'.
        high: where a byte's highest bit stands: a byte is part of a line of its cell, or at 'top' and 'bottom' of a
            column.
        wide: bytes side by side in one line, or below each other in one column.
    """
    cells = [_dots(data[at : at + stride], high, wide) for at in range(0, len(data), stride)]
    count = -(-stride // wide)
    size = (_BITS * wide, count) if high in ("left", "right") else (count, _BITS * wide)
    room = _ACROSS if size[0] <= 4 * _BITS else max(1, _ACROSS * _BITS // size[0])
    across = max(1, min(room, len(cells)))
    lines = [cells[at : at + across] for at in range(0, len(cells), across)]
    dot = max(1, min(_DOT, _WIDEST // (across * size[0])))
    return (
        _png(lines, stride, across, dot, *size) if kind == "png" else _svg(lines, stride, across, dot, *size).encode()
    )


def _dots(cell: bytes, high: Side, wide: int) -> Dots:
    """Return the lines of dots of a cell's bytes."""
    falling = range(_BITS - 1, -1, -1) if high in ("left", "top") else range(_BITS)
    groups = [cell[at : at + wide] for at in range(0, len(cell), wide)]
    if high in ("left", "right"):
        return [bytes(byte >> bit & 1 for byte in group for bit in falling) for group in groups]
    full = [group for group in groups if len(group) == wide]
    return [bytes(group[part] >> bit & 1 for group in full) for part in range(wide) for bit in falling]


def _labels(across: int, stride: int, step: int) -> list[tuple[int, str]]:
    """Return the columns whose offset is told above them, as far as there is room, and what is told."""
    every = next(n for n in (1, 2, 4, 8, 16) if n * step >= _ROOM_FOR_A_LABEL or n >= across)
    return [(x, f"+{x * stride:X}") for x in range(0, across, every)] if across > 1 else []


def _png(lines: list[list[Dots]], stride: int, across: int, dot: int, wide: int, high: int) -> bytes:
    step, down = (wide + _GAP) * dot, (high + _GAP) * dot
    width = _MARGIN + across * step + _GAP * dot
    rows = [bytearray([_GROUND]) * width for _ in range(_TOP + max(_TOP, len(lines) * down))]
    for x, text in _labels(across, stride, step):
        write(rows, text, _MARGIN + x * step, _TOP - 14, _INK)
    for number, cells in enumerate(lines):
        top = _TOP + number * down
        write(rows, f"{number * across * stride:04X}", 4, top + 1, _INK)
        for x, cell in enumerate(cells):
            left = _MARGIN + x * step
            for y, line in enumerate(cell):
                drawn = bytes(one for one in line for _ in range(dot))
                for row in rows[top + y * dot : top + (y + 1) * dot]:
                    row[left : left + len(drawn)] = drawn
    return png([bytes(row) for row in rows], _PALETTE)


def _svg(lines: list[list[Dots]], stride: int, across: int, dot: int, wide: int, high: int) -> str:
    step, down = (wide + _GAP) * dot, (high + _GAP) * dot
    width = _MARGIN + across * step + dot
    height = _TOP + len(lines) * down + dot
    parts = [rect(0, 0, width, height, fill="#e1e6ec")]
    parts += [
        label(text, _MARGIN + x * step, _TOP - 8, font_size=9, font_family="monospace")
        for x, text in _labels(across, stride, step)
    ]
    for number, cells in enumerate(lines):
        top = _TOP + number * down
        text = f"{number * across * stride:04X}"
        parts.append(label(text, 4, top + 10, font_size=11, font_family="monospace"))
        for x, cell in enumerate(cells):
            left = _MARGIN + x * step
            parts.append(rect(left, top, len(cell[0]) * dot if cell else 0, len(cell) * dot, fill="#fff"))
            parts += [
                rect(left + at * dot, top + y * dot, count * dot, dot, fill="#19283c") for y, at, count in _runs(cell)
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
