from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range
from romassay.capture.keyed import differences, entry_of, lines_in, rendered, typed_bytes
from romassay.errors import BadValue


def test_a_line_is_typed_with_or_without_blanks() -> None:
    assert typed_bytes("3F2a 00 ?", 4) == typed_bytes("3f 2A 00??", 4) == (0x3F, 0x2A, 0, None)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("3F 2", "not all hex digits"),
        ("3F 2A", "these are 2 bytes, not 4"),
        ("3F 2A 00 11 22", "these are 5 bytes, not 4"),
        ("3F 2O 00 11", "not all hex digits"),
        ("", "these are 0 bytes, not 4"),
    ],
)
def test_a_slip_of_the_fingers_is_named(text: str, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        typed_bytes(text, 4)


@given(st.dictionaries(st.integers(0, 0xFFF8).map(lambda a: a - a % 8), st.binary(min_size=8, max_size=8), max_size=20))
def test_an_entry_reads_back_as_it_was_written(rows: dict[int, bytes]) -> None:
    entry = {first + i: byte for first, data in rows.items() for i, byte in enumerate(data)}
    assert entry_of(rendered("entry, first", entry)) == entry


def test_a_window_is_cut_at_multiples_of_a_line() -> None:
    cut = lines_in([Range(0x1003, 0x1011), Range(0x2000, 0x2000)])
    assert [(r.first, r.last) for r in cut] == [(0x1003, 0x1007), (0x1008, 0x100F), (0x1010, 0x1011), (0x2000, 0x2000)]


def test_differences_are_where_both_have_a_byte() -> None:
    assert differences({1: 5, 2: 6, 3: None}, {1: 5, 2: 7, 3: 8, 4: 9}) == [2]
