"""Motorola S-records beyond their printed block: counts, types that no checksum covers, what is written."""

from __future__ import annotations

import random

import pytest

from romassay.errors import BadValue
from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions

IMAGE = random.Random(19).randbytes(64)


def write(pieces: list[Piece], options: WriteOptions | None = None) -> list[str]:
    form = FORMATS["s-record"]
    assert form.write is not None
    return form.write(pieces, options or WriteOptions()).decode().splitlines()


def parsed(lines: list[str]) -> Parsed:
    return FORMATS["s-record"].read("\n".join(lines).encode(), Hints())


def test_records_missing_without_a_trace_are_counted() -> None:
    lines = write([Piece(0, IMAGE)])
    assert lines[-2] == "S5030004F8"
    del lines[2]
    (reading,) = parsed(lines).readings
    reason = "1 of 4 records are missing without a trace, by the count record"
    assert [(h.first, h.line, h.reason) for h in reading.holes] == [(None, 5, reason)]


def test_damaged_records_count_as_sent() -> None:
    lines = write([Piece(0, IMAGE)])
    lines[2] = lines[2][:-1] + "?"
    (reading,) = parsed(lines).readings
    assert [(h.first, h.last) for h in reading.holes] == [(16, 31)]


def test_counting_starts_anew_in_each_pass() -> None:
    lines = write([Piece(0, IMAGE)])
    found = parsed(lines + lines)
    assert [reading.holes for reading in found.readings] == [(), ()]


@pytest.mark.parametrize("kind", "0234")
def test_a_wrong_type_digit_is_seen_though_no_checksum_covers_it(kind: str) -> None:
    lines = write([Piece(0x20, IMAGE)])
    lines[3] = f"S{kind}{lines[3][2:]}"
    (reading,) = parsed(lines).readings
    assert reading.value.tobytes() == IMAGE[:32] + IMAGE[48:]
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(0x40, 0x4F, 4)]


def test_types_may_be_mixed() -> None:
    low, high = write([Piece(0x20, IMAGE[:16])]), write([Piece(0x123456, IMAGE[:16])])
    (reading,) = parsed([low[1], high[1]]).readings
    assert reading.runs[:, 0].tolist() == [0x20, 0x123456]
    assert reading.holes == ()


@pytest.mark.parametrize(("first", "data", "end"), [(0xFFF0, "S1", "S9"), (0xFFF1, "S2", "S8"), (0xFFFFF1, "S3", "S7")])
def test_the_address_has_as_many_bytes_as_the_last_one_needs(first: int, data: str, end: str) -> None:
    lines = write([Piece(first, bytes(16))])
    assert (lines[1][:2], lines[-1][:2]) == (data, end)


def test_header_and_start_address() -> None:
    lines = write([Piece(0, b"\0")], WriteOptions(header="HDR", start=0x1234))
    assert (lines[0], lines[-1]) == ("S00600004844521B", "S9031234B6")
    found = parsed(lines)
    assert [left.reason for left in found.left] == ["a start address, 1234: no part of the bytes"]


def test_a_record_beyond_32_bits_is_damage() -> None:
    (reading,) = parsed(["S1040000AA51", "S307FFFFFFFF0102F9"]).readings
    assert [h.reason for h in reading.holes] == ["a record that the format does not know"]


def test_records_longer_than_the_count_can_say_are_shortened() -> None:
    assert max(len(line) for line in write([Piece(0x1000000, bytes(600))], WriteOptions(record=255))) == 4 + 510
    with pytest.raises(BadValue, match="256 bytes in a record"):
        FORMATS["intel-hex"].write([Piece(0, bytes(600))], WriteOptions(record=256))  # type: ignore[misc]
