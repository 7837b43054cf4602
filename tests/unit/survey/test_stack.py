"""Readings laid over each other: granules, what is known of them, and the part that is asked for."""

from __future__ import annotations

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from romassay.reading import reading_of
from romassay.survey.stack import GRANULE, counted, granules_seen, stack

PIECES = st.lists(st.tuples(st.integers(0, 9), st.integers(1, 40)), min_size=1, max_size=5)
"""Addresses left out before each piece, and bytes of it."""


@given(PIECES, st.integers(0, 12), st.integers(1, 12))
def test_a_part_of_the_granules_is_that_part_of_the_whole(gaps: list[tuple[int, int]], first: int, count: int) -> None:
    pieces, at = [], 3
    for gap, length in gaps:
        at += gap
        pieces.append((at, bytes((at + i) * 37 & 0xFF for i in range(length))))
        at += length
    reading = reading_of(pieces)
    seen = granules_seen([reading])
    wanted = seen[first : first + count]
    whole, part = stack([reading], 16), stack([reading], 16, granules=wanted)
    assert np.array_equal(part.value, whole.value[:, first : first + count])
    assert np.array_equal(part.known, whole.known[:, first : first + count])


def test_granules_that_nothing_saw_are_not_known() -> None:
    laid = stack([reading_of([(0x20, bytes(range(32)))])], 16, granules=np.arange(6))
    assert laid.known[0].any(axis=1).tolist() == [False, False, True, True, False, False]
    assert laid.value[0, 2:4].ravel().tolist() == list(range(32))


@given(st.lists(st.integers(0, (1 << GRANULE) - 1), max_size=20))
def test_marks_are_counted_in_every_granule(words: list[int]) -> None:
    flags = np.array([[word >> bit & 1 for bit in range(GRANULE)] for word in words], np.bool_).reshape(-1, GRANULE)
    assert counted(flags).tolist() == [word.bit_count() for word in words]
