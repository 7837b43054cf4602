"""Where a pass over the same addresses ends and another begins, and which lines were only sent again."""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.rows import Rows
from romassay.formats.passes.places import FEW_MISSING, Placed
from romassay.formats.passes.units import NEAR


@dataclass(slots=True)
class Part:
    """The rows of one pass, as indices into `Placed`, and those among them that were sent again."""

    first: int
    last: int
    resent: set[int]


class _Seen:
    """Addresses that a pass has shown, as few stretches; small gaps are closed."""

    def __init__(self, slack: int) -> None:
        self._first: list[int] = []
        self._end: list[int] = []
        self._slack = slack

    def overlap(self, first: int, end: int) -> int:
        """Return how many addresses of a stretch were seen before."""
        a, b = bisect_right(self._end, first), bisect_left(self._first, end)
        return sum(min(end, self._end[i]) - max(first, self._first[i]) for i in range(a, b))

    def add(self, first: int, end: int) -> None:
        """Note a stretch."""
        a, b = bisect_left(self._end, first - self._slack), bisect_right(self._first, end + self._slack)
        self._first[a:b] = [min([first, *self._first[a : a + 1]]) if a < b else first]
        self._end[a:b] = [max([end, *self._end[b - 1 : b]]) if a < b else end]


def split_at_repeats(placed: Placed, rows: Rows, layout: Layout) -> list[Part]:
    """Split the rows into passes at repeated runs, and find lines that were sent again."""
    if not len(placed.row):
        return []
    end = placed.address + rows.count[placed.row]
    gap = placed.address[1:] - end[:-1]
    forward = (gap >= 0) & (gap <= FEW_MISSING * layout.line_bytes)
    edges = [0, *(np.flatnonzero(~forward) + 1).tolist(), len(placed.row)]
    slack = NEAR * layout.line_bytes
    parts = [Part(0, 0, set())]
    seen = _Seen(slack)
    reached = pass_first = int(placed.address[0])
    for k, (a, b) in enumerate(pairwise(edges)):
        first, last = int(placed.address[a]), int(end[b - 1])
        if seen.overlap(first, last):
            goes_on = k + 2 < len(edges) and 0 <= int(placed.address[edges[k + 1]]) - reached <= slack
            if _is_again(first, last, reached, pass_first, bool(placed.breaks[a]), b - a, slack, goes_on):
                parts[-1].resent |= {i for i in range(a, b) if placed.address[i] < reached}
                reached = max(reached, last)
                seen.add(first, last)
                continue
            parts[-1].last = a
            parts.append(Part(a, a, set()))
            seen = _Seen(slack)
            pass_first = first
        seen.add(first, last)
        reached = last
    parts[-1].last = len(placed.row)
    return parts


def _is_again(
    first: int, last: int, reached: int, pass_first: int, after_text: bool, lines: int, slack: int, goes_on: bool
) -> bool:
    """Tell whether a stretch that overlaps the pass so far was sent again, rather than read again."""
    if after_text or (first == pass_first and last == reached and lines > 1):
        return False
    near = 0 < reached - first <= slack and (last >= reached or goes_on or lines == 1)
    return near or (goes_on and lines <= NEAR)
