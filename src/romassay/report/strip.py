"""The image as a strip: what is code, text, table of pointers, padding and other data, row by row of 256 bytes."""

from __future__ import annotations

from romassay.code.listing import Listing, Region, regions
from romassay.report.dot_letters import write
from romassay.report.png import png
from romassay.report.svg import drawing, label, rect

_ROW = 256
_HIGH = 14
_WIDE = 3
_LEFT = 52
_TOP = 34
_KINDS = ("code", "text", "pointers", "bytes", "padding")
_WORDS = {"code": "code", "text": "text", "pointers": "pointers", "bytes": "other data", "padding": "padding"}
_COLOURS = {"code": "#2f6690", "text": "#e0a030", "pointers": "#8a5a9e", "bytes": "#a9b8c4", "padding": "#eef1f4"}
_LETTERS = {"code": "C", "text": "T", "pointers": "P", "bytes": "D", "padding": ""}
_ROOM_FOR_A_LETTER = 6
_LEGEND = 136


def strip(shown: Listing, kind: str) -> bytes:
    """Return the strip as 'svg' or 'png'; letters repeat in the drawing what the colours say."""
    return _png(shown) if kind == "png" else _svg(shown).encode()


def _rows(shown: Listing) -> list[list[Region]]:
    """Return the runs cut into rows of 256 bytes."""
    rows: list[list[Region]] = [[] for _ in range((len(shown.data) + _ROW - 1) // _ROW)]
    for run in regions(shown):
        at = run.first
        while at < run.end:
            stop = min(run.end, (at // _ROW + 1) * _ROW)
            rows[at // _ROW].append(Region(at, stop, run.kind))
            at = stop
    return rows


def _svg(shown: Listing) -> str:
    rows = _rows(shown)
    width = _LEFT + _ROW * _WIDE + 8
    height = _TOP + len(rows) * (_HIGH + 2) + 8
    parts = [rect(0, 0, width, height, fill="#fff")]
    for number, kind in enumerate(_KINDS):
        x = _LEFT + number * _LEGEND
        parts.append(rect(x, 8, 14, 12, fill=_COLOURS[kind], stroke="#667"))
        words = f"{_LETTERS[kind]} {_WORDS[kind]}".strip()
        parts.append(label(words, x + 20, 18, font_size=11, font_family="sans-serif"))
    for number, row in enumerate(rows):
        top = _TOP + number * (_HIGH + 2)
        address = f"{shown.origin + number * _ROW:04X}"
        parts.append(label(address, 8, top + 11, font_size=11, font_family="monospace"))
        for run in row:
            left = _LEFT + run.first % _ROW * _WIDE
            size = run.end - run.first
            says = f"{shown.origin + run.first:04X}-{shown.origin + run.end - 1:04X}: {_WORDS[run.kind]}, {size} bytes"
            parts.append(rect(left, top, size * _WIDE, _HIGH, says=says, fill=_COLOURS[run.kind]))
            if size >= _ROOM_FOR_A_LETTER and _LETTERS[run.kind]:
                fill = "#fff" if run.kind in ("code", "pointers") else "#223"
                middle = left + size * _WIDE / 2
                parts.append(
                    label(
                        _LETTERS[run.kind],
                        middle,
                        top + 11,
                        font_size=10,
                        font_family="sans-serif",
                        fill=fill,
                        text_anchor="middle",
                    )
                )
    last = shown.origin + len(shown.data) - 1
    says = f"{len(shown.data)} bytes at {shown.origin:04X}-{last:04X}, {shown.code_bytes} of them {shown.cpu.name} code"
    return drawing(parts, width, height, says)


def _png(shown: Listing) -> bytes:
    rows = _rows(shown)
    palette = [(255, 255, 255), *(_rgb(_COLOURS[kind]) for kind in _KINDS), (0x22, 0x22, 0x33)]
    ink, white = len(palette) - 1, 0
    lines = [bytearray(_LEFT + _ROW * _WIDE + 8) for _ in range(_TOP + len(rows) * (_HIGH + 2) + 8)]
    for number, kind in enumerate(_KINDS):
        x = _LEFT + number * _LEGEND
        for line in lines[8:20]:
            line[x : x + 14] = bytes([_KINDS.index(kind) + 1]) * 14
        write(lines, f"{_LETTERS[kind]} {_WORDS[kind]}".strip().upper(), x + 20, 9, ink)
    for number, row in enumerate(rows):
        top = _TOP + number * (_HIGH + 2)
        write(lines, f"{shown.origin + number * _ROW:04X}", 8, top + 2, ink)
        for run in row:
            left, size = _LEFT + run.first % _ROW * _WIDE, (run.end - run.first) * _WIDE
            for line in lines[top : top + _HIGH]:
                line[left : left + size] = bytes([_KINDS.index(run.kind) + 1]) * size
            if size >= _ROOM_FOR_A_LETTER * _WIDE:
                colour = white if run.kind in ("code", "pointers") else ink
                write(lines, _LETTERS[run.kind], left + size // 2 - 3, top + 2, colour)
    return png([bytes(line) for line in lines], palette)


def _rgb(colour: str) -> tuple[int, int, int]:
    return int(colour[1:3], 16), int(colour[3:5], 16), int(colour[5:7], 16)
