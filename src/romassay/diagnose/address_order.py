"""The order of the address lines under which neighbouring bytes of an image follow each other best.

The score of a line depends only on the set of lines below it, so that the best order of n lines is found exactly in
2**n steps; of many lines a wide beam is followed.
"""

from __future__ import annotations

from functools import cache

import numpy as np

from romassay.cpus.model import Name
from romassay.diagnose.as_read import following, padding_of
from romassay.diagnose.hidden import Hidden
from romassay.reading import Bytes, Index

BEAM = 150
"""Sets of address lines of each size that are followed up."""


def address_order(value: Bytes, name: Name, hidden: Hidden | None = None) -> tuple[int, ...]:
    """Return the order of the address lines under which neighbouring bytes score best, of all that a wide beam reaches.

    Where the lines below one are known as a set, so are the pairs of bytes across it: from all of them high and it low,
    to all of them low and it high. So the best order of a set is the best order of the set without its highest line.
    """
    lines = len(value).bit_length() - 1
    weights = following(name, padding_of(value), hidden)
    wide = value.astype(np.int64)
    offset = np.arange(len(value))
    every = (1 << lines) - 1
    sets: dict[int, tuple[int, tuple[int, ...]]] = {0: (0, ())}
    for _ in range(lines):
        grown: dict[int, tuple[int, tuple[int, ...]]] = {}
        for below in sorted(sets, key=lambda known: -sets[known][0])[:BEAM]:
            so_far, order = sets[below]
            free = np.array([line for line in range(lines) if not below >> line & 1])
            rest = offset[offset & below == 0][lows(len(free))]
            pairs = wide[rest | below] << 8 | wide[rest | (1 << free)[:, None]]
            scores = weights[pairs].sum(axis=1)
            for line, score in zip(free, scores, strict=True):
                known = below | 1 << int(line)
                if known not in grown or grown[known][0] < so_far + int(score):
                    grown[known] = so_far + int(score), (*order, int(line))
        sets = grown
    return sets[every][1]


@cache
def lows(count: int) -> Index:
    """Return, for each of so many lines, the numbers over them in which it is low, int64[count, 2**(count - 1)]."""
    number = np.arange(1 << (count - 1))
    lines = np.arange(count)[:, None]
    low: Index = (number >> lines << lines + 1) | (number & ((1 << lines) - 1))
    return low
