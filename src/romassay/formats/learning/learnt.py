"""What the learners of layouts have in common: a layout with what speaks for it, and how lines are counted."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from romassay.formats.layout import Base, Layout
from romassay.formats.learning.fit import Fitted
from romassay.formats.learning.sample import Found, Line

MOST_LINES = 120
MAX_STEP = 256
MOSTLY = 0.8
TELLING = 3
"""Lines that tell how a dump without addresses is printed."""
MORE_CELLS = 3
BASES: tuple[Base, ...] = (16, 10, 8)
_CLEAN_CHARACTER = 0.985
"""Share of characters that must have come through for a layout to be believed: noisier logs hold no certain line."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """A layout, and how much speaks for it.

    Attributes:
        layout: of the lines.
        score: at first the bytes of the sample that it explains; then the bits that it saves.
        notes: what was assumed for want of evidence, in words.
    """

    layout: Layout
    score: float
    notes: tuple[str, ...] = ()


def spread_over(found: list[Found]) -> list[Found]:
    """Return at most so many lines, from all over the sample: where a bus floats, bytes may look decimal for pages."""
    return found[:: -(-len(found) // MOST_LINES)] if found else found


def clean_share(lines: Sequence[Line]) -> float:
    """Return the share of lines that must read alike, given how long they are."""
    length = sum(len(line.text) for line in lines) / max(1, len(lines))
    return float(0.5 * _CLEAN_CHARACTER ** min(length, 300))


def tidiness(fitted: Fitted) -> float:
    """Return how well a layout accounts for all of a line: unexplained tails and leads speak against it."""
    layout = fitted.layout
    return (0.8 if layout.tail else 1.0) * (0.9 if "*" in layout.lead else 1.0) * (0.9 if "?" in layout.after else 1.0)
