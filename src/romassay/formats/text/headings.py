"""Headings above a dump that number its columns."""

from __future__ import annotations

import re
from itertools import pairwise

_LONG_NUMBER = re.compile(rb"\b(?:0[xX])?(?=[A-Fa-f]*[0-9])[0-9A-Fa-f]{3,}[hH]?\b")


_HEADING = re.compile(rb"\b[0-9A-Fa-f]{1,2}\b")


def numbers_columns(text: bytes) -> bool:
    """Tell whether a line is a heading that counts the columns: 0 1 2 3 and so on, or from 1; without an address."""
    first = _HEADING.search(text)
    if not first or int(first[0], 16) > 1 or _LONG_NUMBER.search(text):
        return False
    numbers = [int(digits, 16) for digits in _HEADING.findall(text)]
    step = numbers[1] - numbers[0] if len(numbers) >= 4 and numbers[0] <= 1 else 0
    return step > 0 and all(b - a == step or (a, b) == (9, 16) for a, b in pairwise(numbers))
