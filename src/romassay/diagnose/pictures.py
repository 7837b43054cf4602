"""Pictures: bytes that are rows of something drawn, as in a character generator. No code is like them.

What is drawn goes on from row to row, so that neighbouring bytes have more levels in common than by chance; whatever
the order of the data lines, and inverted too. Characters have a blank row between them.
"""

from __future__ import annotations

import numpy as np

from romassay.diagnose.usual import FILLINGS
from romassay.reading import Bytes

ROWS = (8, 10, 16)
"""Rows of a character in the ROM of a character generator. Common practice, no source."""

SPACED = 0.85
"""Share of the characters that have a blank row between them and the next."""

BLANK_ROWS = 0.6
"""Share of blank rows from which nothing tells a character's."""

LEAST_BYTES = 64
"""Bytes of the smallest picture."""

LEAST_PAIRS = 40
"""Neighbours, 00 and FF left out, from which it shows how much they have in common."""

ALIKE = 0.7
"""Differences between neighbours, of those that chance would give, up to which bytes are a picture. In 260 programs of
eleven CPUs it was 0.69 and more, 0.9 in nine of ten; in characters of open console fonts (Linux kbd) 0.41 to 0.73, and
in 256 bytes of these ANDed with code 0.71 and more."""

NOT_DRAWN = 0.95
"""The same, from which blank rows at equal distances are not those of characters."""


def is_picture(value: Bytes) -> bool:
    """Tell whether bytes, uint8[n], are a picture."""
    return is_font(value) or is_drawn(value)


def is_font(value: Bytes) -> bool:
    """Tell whether bytes are characters drawn in rows: in each, the same row is blank, and the others are not.

    Of a program whose address lines are in another order, what fills its end may lie so as well; but it is not drawn,
    and takes all data lines, which narrow characters do not.
    """
    if len(value) < LEAST_BYTES or np.mean(value == 0) > BLANK_ROWS:
        return False
    if not any(np.mean(value[row::rows] == 0) >= SPACED for rows in ROWS for row in range(rows)):
        return False
    one, other = _neighbours(value)
    return bool(np.bitwise_or.reduce(value) != 0xFF or not len(one) or _unlike(one, other) < NOT_DRAWN)


def is_drawn(value: Bytes) -> bool:
    """Tell whether neighbouring bytes have more levels in common than by chance."""
    one, other = _neighbours(value)
    return len(one) >= LEAST_PAIRS and _unlike(one, other) < ALIKE


def _neighbours(value: Bytes) -> tuple[Bytes, Bytes]:
    """Return the bytes that have a next one, and these; pairs with 00 or FF in them are left out."""
    told = ~np.isin(value, FILLINGS)
    both = told[1:] & told[:-1]
    return value[:-1][both], value[1:][both]


def _unlike(one: Bytes, other: Bytes) -> float:
    """Return how many levels differ between neighbours, of those that chance would give; 1 where it would give none."""
    ones = np.array([[np.mean(row >> bit & 1) for bit in range(8)] for row in (one, other)])
    by_chance = float((ones[0] * (1 - ones[1]) + ones[1] * (1 - ones[0])).sum()) * len(one)
    return float(np.bitwise_count(one ^ other).sum()) / by_chance if by_chance else 1.0
