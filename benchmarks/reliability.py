"""How often an answer is right, by the probability it was given: by tenths, as one number, and as a diagram."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from romassay.report.svg import drawing, label, rect, wire


def tenths(pairs: Iterable[tuple[float, bool]]) -> list[tuple[float, float, int]]:
    """Return (mean probability, share of right ones, number) for each tenth of the probability that has any."""
    stated, right = np.array(list(pairs), float).reshape(-1, 2).T
    tenth = np.minimum((stated * 10).astype(int), 9)
    which = [tenth == n for n in range(10) if (tenth == n).any()]
    return [(float(stated[some].mean()), float(right[some].mean()), int(some.sum())) for some in which]


def error(bins: Iterable[tuple[float, float, int]]) -> float:
    """Return the expected calibration error (Naeini and others, AAAI 2015, equation 3)."""
    gaps, counts = zip(*((abs(said - right) * count, count) for said, right, count in bins), strict=True)
    return sum(gaps) / sum(counts)


def draw(bins: list[tuple[float, float, int]]) -> str:
    """Return the diagram as SVG; each bin is (mean probability, share of right ones, number)."""
    side, left, top = 240, 40, 20
    parts = [rect(left, top, side, side, fill="#fff", stroke="#889")]
    parts.append(wire((left, top + side), (left + side, top), stroke="#aab", fill="none"))
    places = [(left + said * side, top + side - right * side) for said, right, _ in bins]
    parts.append(wire(*places, stroke="#2f6690", fill="none", stroke_width=2))
    for (x, y), (said, right, count) in zip(places, bins, strict=True):
        parts.append(
            rect(x - 3, y - 3, 6, 6, fill="#2f6690", says=f"{count} answers: said {said:.0%}, right {right:.0%}")
        )
        parts.append(label(str(count), x + 5, y + 12, font_size=9, font_family="sans-serif"))
    for step in (0, 0.5, 1):
        parts.append(
            label(f"{step:.0%}", left + step * side - 8, top + side + 14, font_size=10, font_family="sans-serif")
        )
        parts.append(label(f"{step:.0%}", 8, top + side - step * side + 4, font_size=10, font_family="sans-serif"))
    parts.append(label("said", left + side / 2 - 12, top + side + 30, font_size=11, font_family="sans-serif"))
    parts.append(label("right", 4, top - 6, font_size=11, font_family="sans-serif"))
    return drawing(
        parts, left + side + 30, top + side + 40, "How often an answer is right, by the probability it was given"
    )
