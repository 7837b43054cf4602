"""How the cells of lines that read alike are printed, and what stands between them."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from romassay.formats.layout import Number
from romassay.formats.learning.patterns import AGREE, as_text
from romassay.formats.learning.sample import Cells, Found, nearly_all, usual


@dataclass(frozen=True, slots=True)
class _Column:
    """Where the digits of one cell begin and end in each line."""

    firsts: tuple[int, ...]
    ends: tuple[int, ...]

    @property
    def widths(self) -> list[int]:
        return [e - f for f, e in zip(self.firsts, self.ends, strict=True)]


def _columns(found: Sequence[Found], cells: Cells) -> list[_Column]:
    spans = [[f.line.tokens[f.first + j] for j in range(cells.runs)] for f in found]
    return [_Column(tuple(s[j][0] for s in spans), tuple(s[j][1] for s in spans)) for j in range(cells.runs)]


def cell_form(found: Sequence[Found], cells: Cells) -> tuple[Number, tuple[str, ...] | None]:
    """Return how the cells are printed and what stands between them."""
    between = [[f.line.between(f.first + j) for f in found] for j in range(cells.runs - 1)]
    usually = [usual(texts) for texts in between]
    if cells.widths:
        gaps = tuple(as_text(text) for text, _ in usually)
        if cells.runs != cells.count:
            return Number(cells.base, cells.digits, "zeros"), spread_gaps(gaps, cells)
        return Number(cells.base, cells.widths[0], "zeros" if _may_be_padded(found, cells) else "right"), gaps
    columns = _columns(found, cells)
    width = max(max(c.widths) for c in columns)
    if any(not nearly_all(c.widths) for c in columns) or len({max(c.widths) for c in columns}) > 1:
        sides: tuple[Literal["right", "left"], ...] = ("right", "left")
        for pad in sides:
            aligned = _aligned_gaps(columns, between, width, pad, found)
            if aligned is not None:
                return Number(cells.base, width, pad), aligned
    if all(share >= AGREE for _, share in usually):
        return Number(cells.base), tuple(as_text(text) for text, _ in usually)
    return Number(cells.base), None


def _may_be_padded(found: Sequence[Found], cells: Cells) -> bool:
    """Tell whether bytes of two hex digits are so by zeros in front, not because all of them are large."""
    if cells.base != 16 or set(cells.widths) != {2}:
        return True
    return any(f.line.token(f.first + j).startswith(b"0") for f in found for j in range(cells.runs))


def _aligned_gaps(
    columns: list[_Column],
    between: list[list[bytes]],
    width: int,
    pad: Literal["right", "left"],
    found: Sequence[Found],
) -> tuple[str, ...] | None:
    """Return the gaps between numbers that are aligned to one side in fields of a width, or None if they are not."""
    places = [c.ends if pad == "right" else c.firsts for c in columns]
    if len(columns) == 1:
        starts = [0 if f.address is None else f.line.tokens[f.address][1] for f in found]
        return () if nearly_all([p - s for p, s in zip(places[0], starts, strict=True)]) else None
    gaps = []
    for (one, other), texts in zip(pairwise(places), between, strict=True):
        steps = [b - a for a, b in zip(one, other, strict=True)]
        length = Counter(steps).most_common(1)[0][0] - width
        if not nearly_all(steps) or length < 0:
            return None
        gaps.append(as_text(usual([t[:length] if pad == "right" else t[len(t) - length :] for t in texts])[0]))
    return tuple(gaps)


def spread_gaps(gaps: tuple[str, ...], cells: Cells) -> tuple[str, ...]:
    """Spread the gaps between runs of several cells over all cells."""
    spread: list[str] = []
    for width, gap in zip(cells.widths, (*gaps, None), strict=True):
        spread += [""] * (width // cells.digits - 1)
        if gap is not None:
            spread.append(gap)
    return tuple(spread)
