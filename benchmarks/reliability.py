"""The reliability diagram: how often an answer is right, by the probability it was given."""

from __future__ import annotations

from romassay.report.svg import drawing, label, rect, wire


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
