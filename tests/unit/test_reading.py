"""Readings as columns: addresses that repeat, spans, and what lies beyond the bus."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range
from romassay.reading import Reading, reading_of, within

PIECES = st.lists(st.tuples(st.integers(0, 0x2FFFF), st.binary(min_size=1, max_size=40)), min_size=1, max_size=8)


@given(PIECES)
def test_addresses_and_spans_are_those_of_the_pieces(pieces: list[tuple[int, bytes]]) -> None:
    reading = reading_of(pieces, address_bits=20)
    wanted = [first + i for first, data in pieces for i in range(len(data))]
    assert reading.addresses().tolist() == wanted
    assert {a for span in reading.spans() for a in range(span.first, span.last + 1)} == set(wanted)
    assert bytes(reading.value) == b"".join(data for _, data in pieces)


@given(PIECES)
def test_what_lies_beyond_the_bus_becomes_a_hole_and_nothing_else_moves(pieces: list[tuple[int, bytes]]) -> None:
    reading = reading_of(pieces, address_bits=20)
    cut = within(replace(reading, resent=np.arange(len(pieces))), 16)
    kept = [(first, data) for first, data in pieces if first + len(data) <= 1 << 16]
    assert cut.addresses().tolist() == [first + i for first, data in kept for i in range(len(data))]
    assert bytes(cut.value) == b"".join(data for _, data in kept)
    assert len(cut.holes) == len(pieces) - len(kept)
    assert cut.resent.tolist() == list(range(len(kept)))
    assert bytes(reading.value) == b"".join(data for _, data in pieces)


def test_columns_cannot_be_written_to() -> None:
    reading = reading_of([(0, b"abc")])
    with pytest.raises(ValueError, match="read-only"):
        reading.value[0] = 1
    with pytest.raises(ValueError, match="runs must be"):
        Reading(np.zeros((1, 3), np.int64), np.zeros(1, np.uint8), None, 16, "raw")
    with pytest.raises(ValueError, match="differ in length"):
        Reading(np.zeros((1, 4), np.int64), np.zeros(1, np.uint8), np.zeros(2, np.uint8), 16, "raw")


def test_equality_is_by_content() -> None:
    one = reading_of([(0, b"abc"), (16, b"d")])
    assert one == reading_of([(0, b"abc"), (16, b"d")])
    assert one != reading_of([(0, b"abc"), (16, b"e")])
    assert one != reading_of([(0, b"abc"), (17, b"d")])
    assert one.spans() == (Range(0, 2), Range(16, 16))
    assert one != "abcd"
