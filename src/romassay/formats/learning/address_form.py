"""How addresses are printed: with zeros or blanks in front, blanks behind, or as many digits as they need."""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from romassay.formats.layout import Base, Number
from romassay.formats.learning.patterns import common_pattern
from romassay.formats.learning.sample import fits, nearly_all, usual

_LEAST_ADDRESS_DIGITS, _MOST_ADDRESS_DIGITS = 3, 6
"""Columns from which and up to which right-aligned addresses of a sample may still grow: line numbers have fewer."""
_FEW_ODD = 0.15


def address_form(
    texts: Sequence[bytes], before: Sequence[bytes], base: Base, after: Sequence[bytes] = ()
) -> tuple[Number, str]:
    """Return how addresses are printed, and the pattern of what stands before them.

    Args:
        texts: their digits.
        before: the lines up to them.
        base: of the digits.
        after: what stands between them and the first cell, where that may be blanks that fill a column.
    """
    widths = Counter(len(t) for t in texts)
    width, number = widths.most_common(1)[0]
    leading = sum(t.startswith(b"0") and len(t) == width for t in texts) if width > 1 else 0
    damaged = _only_damaged([len(t) for t in texts], width) and not _has_grown(texts, width, base)
    padded = damaged or leading > sum(n for w, n in widths.items() if w < width)
    if padded or (min(widths) == width and number >= 0.9 * len(texts) and base != 10 and width >= 3):
        return Number(base, width, "zeros"), common_pattern(before)
    if len(widths) > 1:
        width = max(len(t) for t in texts)
        ends = [len(b) + len(t) for b, t in zip(before, texts, strict=True)]
        room = [b.endswith(b" " * (width - len(t))) for b, t in zip(before, texts, strict=True)]
        if nearly_all(ends) and nearly_all(room) and room[0]:
            leads = [b[: end - width] for b, end in zip(before, ends, strict=True)]
            lead = common_pattern(leads)
            room_left = max(0, _MOST_ADDRESS_DIGITS - width) if width >= _LEAST_ADDRESS_DIGITS else 0
            more = min(len(lead) - len(lead.rstrip(" ")), room_left)
            return Number(base, width + more, "right"), lead[: len(lead) - more]
        if nearly_all([len(b) for b in before]) and _fills_column(texts, after):
            column = Counter(len(a) + len(t) for a, t in zip(after, texts, strict=True)).most_common(1)[0][0]
            room_left = column - width - 1
            more = min(room_left, max(0, _MOST_ADDRESS_DIGITS - width))
            return Number(base, width + more, "left"), common_pattern(before)
    return Number(base), common_pattern(before)


def _only_damaged(widths: Sequence[int], usual_width: int) -> bool:
    """Tell whether numbers of another width stand singly among others, as lost characters leave them.

    Those that have grown a digit stand together.
    """
    odd = [w != usual_width for w in widths]
    changes = sum(a != b for a, b in pairwise(odd))
    return 0 < sum(odd) <= _FEW_ODD * len(widths) and changes > 1.5 * sum(odd)


def _fills_column(texts: Sequence[bytes], after: Sequence[bytes]) -> bool:
    """Tell whether blanks fill a column behind numbers of any width: all of them and some more."""
    columns = [len(t) + len(a) for t, a in zip(texts, after, strict=False)]
    if not columns or not nearly_all(columns) or not nearly_all([len(a.strip()) for a in after]):
        return False
    return not usual([a.strip() for a in after])[0] and Counter(columns).most_common(1)[0][0] > max(map(len, texts))


def _has_grown(texts: Sequence[bytes], width: int, base: Base) -> bool:
    """Tell whether numbers of fewer digits go on, in about a step, into those of so many, as addresses do from 0."""
    texts = [text for text in texts if fits(text, base)]
    values = [int(text, base) for text in texts]
    short = [value for text, value in zip(texts, values, strict=True) if len(text) < width]
    steps = Counter(b - a for a, b in pairwise(values) if b > a)
    if not short or not steps:
        return False
    step = steps.most_common(1)[0][0]
    least: int = base ** (width - 1)
    return 0 <= least - max(short) <= 2 * step
