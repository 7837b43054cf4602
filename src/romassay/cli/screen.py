"""Printing: styled lines to whoever looks, in colour only where a terminal takes it, as wide as the screen."""

from __future__ import annotations

import os
import shutil
import sys
from collections.abc import Iterable

from romassay.report.text import Line, clean, render

_WIDTH = 80
_WIDEST = 100
"""Longer lines are hard to read, however wide the screen is."""


def width() -> int:
    """Return the columns to write in: those of the screen, 80 where there is none."""
    return min(_WIDEST, shutil.get_terminal_size((_WIDTH, 24)).columns) if sys.stdout.isatty() else _WIDTH


def takes_colour() -> bool:
    """Tell whether standard output is a terminal that shows colour, and nobody said no."""
    return sys.stdout.isatty() and not os.environ.get("NO_COLOR") and os.environ.get("TERM") != "dumb"


def show(lines: Iterable[Line]) -> None:
    """Print styled lines on standard output."""
    sys.stdout.write(render(lines, colour=takes_colour()))


def note(text: str) -> None:
    """Print one line on standard error, safe to show."""
    sys.stderr.write(f"romassay: {clean(text)}\n")
