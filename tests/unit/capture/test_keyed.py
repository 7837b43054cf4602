from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range
from romassay.capture.keyed import NUMBERS, differences, entry_of, lines_in, rendered, typed_bytes
from romassay.errors import BadValue
from romassay.formats import text_dump
from romassay.formats.model import Hints


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


def test_octal_and_decimal_bytes_are_typed_with_all_their_digits_or_apart() -> None:
    assert typed_bytes("077052 0 12 ???", 5, NUMBERS["octal"]) == (0o77, 0o52, 0, 0o12, None)
    assert typed_bytes("063 255000 7 ?", 5, NUMBERS["decimal"]) == (63, 255, 0, 7, None)


@pytest.mark.parametrize(
    ("text", "name", "says"),
    [
        ("400", "octal", "400 is no byte"),
        ("256", "decimal", "256 is no byte"),
        ("08", "octal", "not all octal digits; type 3 digits a byte"),
        ("1234", "decimal", "not all decimal digits"),
    ],
)
def test_what_is_no_byte_of_the_display_is_named(text: str, name: str, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        typed_bytes(text, 1, NUMBERS[name])


BYTES = st.lists(st.none() | st.integers(0, 255), min_size=8, max_size=8)


@given(
    st.dictionaries(st.integers(0, 0xFFF8).map(lambda a: a - a % 8), BYTES, max_size=20),
    st.sampled_from(sorted(NUMBERS)),
)
def test_an_entry_reads_back_as_it_was_written(rows: dict[int, list[int | None]], name: str) -> None:
    entry = {first + i: byte for first, data in rows.items() for i, byte in enumerate(data)}
    assert entry_of(rendered("entry, first", entry, NUMBERS[name]), NUMBERS[name]) == entry


@pytest.mark.parametrize("name", sorted(NUMBERS))
@pytest.mark.parametrize("place", range(8))
@pytest.mark.parametrize("lines", [1, 2, 4])
def test_an_entry_is_a_text_dump_of_its_layout_whatever_byte_could_not_be_made_out(
    name: str, place: int, lines: int
) -> None:
    entry: dict[int, int | None] = {0x1000 + i: (i * 77 + i * i * 5) % 256 for i in range(8 * lines)}
    entry[0x1000 + place] = None
    (reading,) = text_dump.read(rendered("entry", entry, NUMBERS[name]), Hints(layout=NUMBERS[name].layout)).readings
    assert reading.known is None  # what was not made out is left out, not half known
    seen: dict[int, int] = {}
    for first, start, count, _ in reading.runs.tolist():
        seen |= dict(enumerate(reading.value[start : start + count].tolist(), first))
    assert seen == {address: byte for address, byte in entry.items() if byte is not None}


def test_a_window_is_cut_at_multiples_of_a_line() -> None:
    cut = lines_in([Range(0x1003, 0x1011), Range(0x2000, 0x2000)])
    assert [(r.first, r.last) for r in cut] == [(0x1003, 0x1007), (0x1008, 0x100F), (0x1010, 0x1011), (0x2000, 0x2000)]


def test_differences_are_where_both_have_a_byte() -> None:
    assert differences({1: 5, 2: 6, 3: None}, {1: 5, 2: 7, 3: 8, 4: 9}) == [2]
