"""A function's decode as a drawing and as an equation: which bus lines it looks at, and at which level it answers.

The gate is drawn by the rectangular symbols of IEC 60617-12 (an AND is a box with '&', a small circle at an input turns
the level over); this use of them is from memory.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from romassay.report.svg import drawing, element, label, rect, wire
from romassay.report.words import FUNCTIONS, plural, size
from romassay.survey.model import Function, Level

_STEP = 24
_IDLE_STEP = 20
_LEFT = 70
_GATE = 260
_BLOCK = 430
_WORDS: dict[Level, str] = {
    "1": "must be 1",
    "0": "must be 0",
    "any": "don't care",
    "unknown": "not exercised",
}


def equation(function: Function, name: str) -> str:
    """Return the decode as one product of lines: 'ROM = A12 and A10 and not A9'."""
    terms = [
        line if level == "1" else f"not {line}"
        for line, level in reversed(function.decode.items())
        if level in ("0", "1")
    ]
    return f"{name} = {' and '.join(terms) if terms else 'always'}"


def decode_drawing(function: Function, pins_on: Mapping[str, Sequence[str]] | None = None) -> str:
    """Return the decode as SVG: lines from the left, the gate, and the function with its own lines.

    Args:
        function: what answers.
        pins_on: the specimen's pins on each bus line, where a rig tells; they are named at the line's end.
    """
    pins_on = pins_on or {}
    levels = list(reversed(function.decode.items()))
    looked = [(line, level) for line, level in levels if level in ("0", "1")]
    idle = [(line, level) for line, level in levels if level not in ("0", "1")]
    gate_height = max(2, len(looked)) * _STEP
    block_height = max(76, gate_height)
    middle = 10 + gate_height / 2
    parts = [*_gate(looked, gate_height, pins_on), *_answering(function, middle, block_height)]
    top = max(10 + gate_height, middle + block_height / 2) + 24
    shift = max(0.0, block_height / 2 - middle + 4)
    body = element("g", parts, transform=f"translate(0 {shift:g})") if shift else "".join(parts)
    rest = [part for row, item in enumerate(idle) for part in _idle(*item, top + shift + row * _IDLE_STEP, pins_on)]
    says = f"{equation(function, FUNCTIONS[function.kind])}; {plural(len(idle), 'line')} not part of it"
    if function.pins:
        says += "; in the specimen's pins: " + ", ".join(f"{pin} {_WORDS[level]}" for pin, level in function.pins)
    height = top + shift + len(idle) * _IDLE_STEP + 6
    return drawing([body, *rest], _BLOCK + 200, height, says, class_="decode")


def _gate(looked: Sequence[tuple[str, Level]], height: float, pins_on: Mapping[str, Sequence[str]]) -> list[str]:
    """Return the gate with the lines that it looks at."""
    parts = [rect(_GATE, 10, 56, height, class_="box"), label("&", _GATE + 28, 32, class_="gate")]
    offset = 10 + (height - len(looked) * _STEP) / 2 + _STEP / 2
    for number, (line, level) in enumerate(looked):
        y = offset + number * _STEP
        end = _GATE - 10 if level == "0" else _GATE
        parts += [
            label(line, _LEFT - 8, y + 4, class_="line", text_anchor="end"),
            wire((_LEFT, y), (end, y), class_="wire"),
            label(_WORDS[level], _LEFT + 12, y - 5, class_="small"),
        ]
        if line in pins_on:
            parts.append(label(", ".join(pins_on[line]), _GATE - 13, y - 5, class_="pin", text_anchor="end"))
        if level == "0":
            parts.append(element("circle", cx=_GATE - 5, cy=y, r=5, class_="bubble"))
    if not looked:
        parts.append(label("always", _GATE - 10, 10 + height / 2 + 4, class_="small", text_anchor="end"))
    return parts


def _answering(function: Function, middle: float, height: float) -> list[str]:
    """Return the function as a block, and the line from the gate to it."""
    what = f"{FUNCTIONS[function.kind]}, {size(function.size)}"
    own = f"{function.own_lines[0]} to {function.own_lines[-1]}" if function.own_lines else "none"
    return [
        wire((_GATE + 56, middle), (_BLOCK, middle), class_="wire"),
        label("answers", (_GATE + 56 + _BLOCK) / 2, middle - 6, class_="small", text_anchor="middle"),
        rect(_BLOCK, middle - height / 2, 190, height, class_="box"),
        label(what, _BLOCK + 95, middle - 8, class_="what", text_anchor="middle"),
        label(f"own lines {own}", _BLOCK + 95, middle + 14, class_="small", text_anchor="middle"),
        label(f"drives {_data_lines(function)}", _BLOCK + 95, middle + 30, class_="small", text_anchor="middle"),
    ]


def _idle(line: str, level: Level, y: float, pins_on: Mapping[str, Sequence[str]]) -> list[str]:
    """Return a line that is no part of the decode, or of which nothing is known."""
    parts = [
        label(line, _LEFT - 8, y + 4, class_="line", text_anchor="end"),
        wire((_LEFT, y), (_LEFT + 60, y), class_="wire idle" if level == "any" else "wire unsure"),
        label("x" if level == "any" else "?", _LEFT + 70, y + 4, class_="sign"),
        label(_WORDS[level], _LEFT + 86, y + 4, class_="small"),
    ]
    if line in pins_on:
        parts.append(label(", ".join(pins_on[line]), _LEFT + 184, y + 4, class_="pin"))
    return parts


def _data_lines(function: Function) -> str:
    lines = [f"D{i}" for i in range(8) if function.driven >> i & 1]
    if not lines:
        return "no data line"
    whole = len(lines) == int(lines[-1][1:]) - int(lines[0][1:]) + 1
    return f"{lines[0]} to {lines[-1]}" if whole and len(lines) > 1 else ", ".join(lines)
