"""Passes, records that were sent again, and holes whose addresses are certain."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.tracks import Lost, Track, parsed_from
from romassay.reading import Index

IMAGE = random.Random(6532).randbytes(128)
END = ":00000001FF"


def records(data: bytes = IMAGE, first: int = 0x400) -> list[str]:
    write = FORMATS["intel-hex"].write
    assert write is not None
    return write([Piece(first, data)], WriteOptions()).decode().splitlines()[:-1]


def parsed(lines: list[str]) -> Parsed:
    return FORMATS["intel-hex"].read("\n".join(lines).encode(), Hints())


def spans(found: Parsed) -> list[tuple[int, int]]:
    return [reading.source.lines for reading in found.readings]


def test_the_same_addresses_behind_an_end_are_a_new_pass() -> None:
    found = parsed([*records(), END, "again", *records(), END])
    assert spans(found) == [(1, 8), (11, 18)]
    assert [reading.source.pass_number for reading in found.readings] == [1, 2]
    assert [len(reading.resent) for reading in found.readings] == [0, 0]


def test_other_addresses_behind_an_end_are_the_same_pass() -> None:
    found = parsed([*records(), END, *records(first=0x800), END])
    assert spans(found) == [(1, 17)]


def test_a_pass_that_begins_anew_without_an_end() -> None:
    assert spans(parsed(records() * 3)) == [(1, 8), (9, 16), (17, 24)]


def test_a_pass_whose_first_record_is_lost() -> None:
    found = parsed([*records(), *records()[1:]])
    assert spans(found) == [(1, 8), (9, 15)]


def test_wrap_to_a_lower_address_is_no_new_pass() -> None:
    assert spans(parsed([*records(first=0x400), *records(first=0x200)])) == [(1, 16)]


def test_one_record_sent_again_is_resent() -> None:
    lines = records()
    found = parsed([*lines[:4], lines[3], *lines[4:]])
    (reading,) = found.readings
    assert reading.resent.tolist() == [4]
    (first,) = parsed([lines[0], lines[0], *lines[1:]]).readings
    assert first.resent.tolist() == [1]


def test_a_few_records_sent_again_are_resent() -> None:
    lines = records()
    (reading,) = parsed([*lines[:4], *lines[2:]]).readings
    assert reading.resent.tolist() == [4, 5]


def test_a_record_sent_again_with_other_bytes_is_an_observation() -> None:
    lines = records()
    other = records(bytes(16), 0x430)[0]
    (reading,) = parsed([*lines, other, other]).readings
    assert reading.resent.tolist() == [9]


def test_a_record_sent_again_whole_leaves_no_hole() -> None:
    lines = records()
    bad = lines[3][:-1] + ("0" if lines[3][-1] != "0" else "1")
    (reading,) = parsed([*lines[:3], bad, *lines[3:]]).readings
    assert reading.holes == ()
    assert reading.source.bad_lines == 1


def broken(line: str) -> str:
    return line[:20] + ("?" if line[20] != "?" else "!") + line[21:]


@pytest.mark.parametrize("gone", [[0], [3], [7], [3, 4], [0, 1], [6, 7], list(range(1, 7))])
def test_records_with_wrong_data_leave_holes_with_addresses(gone: list[int]) -> None:
    """Their own address and length fit between their good neighbours without a gap."""
    lines = records()
    for i in gone:
        right = lines[i]
        lines[i] = right[:9] + ("F" if right[9] != "F" else "0") + right[10:]
    (reading,) = parsed(lines).readings
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(0x400 + 16 * i, 0x40F + 16 * i, i + 1) for i in gone]


def test_a_record_with_a_wrong_address_between_neighbours_that_leave_its_room() -> None:
    lines = records()
    lines[3] = lines[3][:4] + "F" + lines[3][5:]
    (reading,) = parsed(lines).readings
    assert [(h.first, h.last) for h in reading.holes] == [(0x430, 0x43F)]


def test_no_address_where_none_is_certain() -> None:
    lines = records()
    lines[3], lines[4] = lines[3][:4] + "F" + lines[3][5:], broken(lines[4])
    (reading,) = parsed(lines).readings
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(None, None, 4), (None, None, 5)]


def test_holes_go_to_their_pass() -> None:
    lines = records()
    found = parsed([*lines[:7], lines[7][:-3], END, broken(lines[0]), *lines[1:], END])
    assert [[h.line for h in reading.holes] for reading in found.readings] == [[8], [10]]


def track(first: list[int], ends: list[int]) -> Track:
    n = len(first)
    ones: Index = np.ones(n, np.int64)
    return Track(
        first=np.array(first, np.int64),
        count=ones,
        line=np.arange(1, n + 1),
        value=np.zeros(n, np.uint8),
        ends=np.array(sorted(ends), np.int64),
        end_lines=np.array(sorted(ends), np.int64),
        lost=(Lost(n, n, "torn", None),),
    )


@given(
    st.lists(st.integers(0, 6), min_size=1, max_size=60).flatmap(
        lambda first: st.tuples(st.just(first), st.lists(st.integers(0, len(first)), max_size=5))
    )
)
def test_no_record_is_lost_or_doubled_whatever_the_order(drawn: tuple[list[int], list[int]]) -> None:
    first, ends = drawn
    found = parsed_from(track(first, ends), Hints(), "record")
    assert [a for reading in found.readings for a in reading.runs[:, 0].tolist()] == first
    assert sum(len(reading.holes) for reading in found.readings) == 1
    for reading in found.readings:
        assert reading.runs[:, 1].tolist() == list(range(len(reading.runs)))
        fresh = np.delete(reading.runs[:, 0], reading.resent)
        assert len(set(fresh.tolist())) == len(fresh), "all bytes are equal, so every repetition is resent"


def test_very_many_passes_stay_readable() -> None:
    found = parsed_from(track([0, 1] * 5000, []), Hints(), "record")
    assert len(found.readings) == 1000
    assert sum(len(reading) for reading in found.readings) == 10_000
