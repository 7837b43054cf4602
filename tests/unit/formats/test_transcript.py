from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range
from romassay.errors import BadInput
from romassay.formats import read
from romassay.formats.answers import heard_in_dump
from romassay.formats.layout import parse_layout
from romassay.formats.transcript import FIRST_LINE, Record, ask_line, escaped, line_of, received, records, unescaped

LAYOUT = 'address=hex4 after="  " cells=8 cell=hex2 gap=" "'
HEADER = FIRST_LINE + line_of(Record(0, "begin", b'{"layout":"' + LAYOUT.replace('"', '\\"').encode() + b'"}'))


def answer(first: int, last: int, number: int, text: bytes) -> bytes:
    return (
        ask_line(1, Range(first, last), number)
        + line_of(Record(1, ">", b"D"))
        + line_of(Record(1, "<", b"D"))
        + line_of(Record(1, "answer"))
        + line_of(Record(1, "<", text))
        + line_of(Record(2, "done", b"the prompt came"))
    )


def row(address: int, *cells: int) -> bytes:
    return b"%04X  " % address + b" ".join(b"%02X" % cell for cell in cells) + b"\r\n"


@given(st.binary(max_size=200))
def test_any_bytes_come_back_as_they_were(data: bytes) -> None:
    text = escaped(data)
    assert b"\n" not in text
    assert text.isascii()
    assert unescaped(text) == data


@given(st.lists(st.tuples(st.sampled_from("<>"), st.binary(min_size=1, max_size=50)), max_size=10))
def test_a_transcript_keeps_both_ways_byte_for_byte_and_one_that_breaks_off_keeps_what_came_before(
    said: list[tuple[str, bytes]],
) -> None:
    lines = [line_of(Record(0.5, kind, data)) for kind, data in said]
    whole = HEADER + b"".join(lines)
    assert [(r.kind, r.data) for r in records(whole)][1:] == said
    assert received(whole) == b"".join(data for kind, data in said if kind == "<")
    if lines:
        assert [(r.kind, r.data) for r in records(whole[:-1])][1:] == said[:-1]


def test_a_pass_is_a_reading_and_what_did_not_come_is_a_hole() -> None:
    text = row(0x4000, *range(8)) + row(0x4010, *range(16, 24))
    data = HEADER + answer(0x4000, 0x4017, 1, text) + answer(0x4000, 0x4017, 2, text)
    loaded = read(data, "a.transcript")
    assert loaded.format == "transcript"
    assert [r.source.pass_number for r in loaded.readings] == [1, 2]
    one = loaded.readings[0]
    assert one.unit == "hex-digit"
    assert one.addresses().tolist() == [*range(0x4000, 0x4008), *range(0x4010, 0x4018)]
    assert one.value.tolist() == [*range(8), *range(16, 24)]
    assert [(h.first, h.last) for h in one.holes] == [(0x4008, 0x400F)]


def test_a_byte_heard_twice_in_one_pass_is_two_observations() -> None:
    data = HEADER + answer(0x4000, 0x4007, 1, row(0x4000, *range(8))) + answer(0x4000, 0x4007, 1, row(0x4000, *[9] * 8))
    one, two = read(data, "a.transcript").readings
    assert (one.value.tolist(), two.value.tolist()) == (list(range(8)), [9] * 8)


def test_intel_hex_answers_are_checked_records() -> None:
    header = FIRST_LINE + line_of(Record(0, "begin", b'{"format":"intel-hex"}'))
    text = b":0400000001020304F2\r\n:0400040001020304FF\r\n:00000001FF\r\n"  # the second sum is wrong
    (one,) = read(header + answer(0, 7, 1, text), "a.transcript").readings
    assert one.unit == "record-checked"
    assert one.value.tolist() == [1, 2, 3, 4]


@pytest.mark.parametrize("data", [FIRST_LINE, HEADER, HEADER + answer(0, 7, 1, b"?\r\n*"), FIRST_LINE + b"\xff\xfe"])
def test_a_transcript_without_an_answer_is_refused_in_one_line(data: bytes) -> None:
    with pytest.raises(BadInput, match=r"a\.transcript"):
        read(data, "a.transcript")


def test_a_line_proves_its_place_by_the_range_that_was_asked_for() -> None:
    layout = parse_layout(LAYOUT)
    text = row(0x4000, *range(8)) + row(0x4018, *[9] * 8) + row(0x4010, *range(16, 24)) + row(0x4018, *range(24, 32))
    found = heard_in_dump(text, Range(0x4000, 0x401F), layout)
    assert [piece.first for piece in found] == [0x4000, 0x4010]  # two lines claim 4018: neither counts
    assert heard_in_dump(row(0x5000, *range(8)), Range(0x4000, 0x4007), layout) == ()
    (cut,) = heard_in_dump(row(0x4000, *range(8)), Range(0x4002, 0x4005), layout)
    assert (cut.first, cut.values) == (0x4002, bytes([2, 3, 4, 5]))


@given(st.binary(max_size=400))
def test_rubbish_for_an_answer_is_no_error(text: bytes) -> None:
    for piece in heard_in_dump(text, Range(0x4000, 0x40FF), parse_layout(LAYOUT)):
        assert 0x4000 <= piece.first <= 0x40FF
        assert np.all(np.frombuffer(piece.values, np.uint8) >= 0)
