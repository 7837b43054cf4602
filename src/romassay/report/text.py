"""Text for a terminal: styled lines as values, made safe to show, wrapped, and rendered with or without colour."""

from __future__ import annotations

import textwrap
from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

Style = Literal["plain", "strong", "faint", "good", "care", "bad"]

_SGR: dict[Style, str] = {"strong": "1", "faint": "2", "good": "1;32", "care": "1;33", "bad": "1;31"}


LEAST_ROOM = 20
"""Columns that a wrapped text gets at least, whatever stands before it."""


@dataclass(frozen=True, slots=True)
class Segment:
    """A piece of a line in one style. Colour never says what the words do not."""

    text: str
    style: Style = "plain"


Line = tuple[Segment, ...]


def clean(text: str) -> str:
    """Return the text with every character that could steer a terminal or turn the writing round shown as an escape."""
    return text if text.isprintable() else "".join(c if c.isprintable() else _escape(c) for c in text)


def _escape(character: str) -> str:
    code = ord(character)
    return f"\\x{code:02x}" if code < 0x100 else f"\\u{code:04x}" if code < 0x10000 else f"\\U{code:08x}"


def render(lines: Iterable[Line], *, colour: bool) -> str:
    """Return the lines as one text, each ended with a line feed."""
    return "".join("".join(_segment(s, colour=colour) for s in line).rstrip() + "\n" for line in lines)


def _segment(segment: Segment, *, colour: bool) -> str:
    text = clean(segment.text)
    code = _SGR.get(segment.style) if colour else None
    return f"\x1b[{code}m{text}\x1b[0m" if code and text else text


def width_of(line: Line) -> int:
    """Return how many columns a line takes without its trailing blanks."""
    return len(clean("".join(s.text for s in line)).rstrip())


def paragraph(text: str, *, width: int, first: str = "", rest: str | None = None, style: Style = "plain") -> list[Line]:
    """Return a text wrapped to a width, in lines that begin with `first` and then with `rest`.

    Blanks inside the text are kept where no line ends; nothing is cut, so a long word makes a long line.
    """
    indent = " " * len(first) if rest is None else rest
    room = max(LEAST_ROOM, width - max(len(first), len(indent)))
    pieces = textwrap.wrap(clean(text), room, break_long_words=False, break_on_hyphens=False) or [""]
    return [(Segment(first if number == 0 else indent), Segment(piece, style)) for number, piece in enumerate(pieces)]
