"""Intel HEX beyond its printed records: bases that damage takes away, and what is written."""

from __future__ import annotations

import random

import pytest

from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions
from romassay.reading import Reading

IMAGE = random.Random(68).randbytes(0x10080)


def write(pieces: list[Piece], options: WriteOptions | None = None) -> list[str]:
    form = FORMATS["intel-hex"]
    assert form.write is not None
    return form.write(pieces, options or WriteOptions()).decode().splitlines()


def parsed(lines: list[str]) -> Parsed:
    return FORMATS["intel-hex"].read("\n".join(lines).encode(), Hints())


def taken(reading: Reading) -> set[int]:
    return set(reading.addresses().tolist())


BASE = ":020000040001F9"


@pytest.mark.parametrize(
    "damaged",
    [
        ":020000040001F8",
        ":020000040002F9",
        ":02000004000",
        ":0200000400",
        ":02000?040001F9",
        "020000040001F9",
        ":020?00040001F9",
        ":020000",
        ":",
        ":02000004\n0001F9",
        ":020000040001F9FF",
        "rom> ",
    ],
)
def test_what_follows_a_damaged_base_record_has_no_address(damaged: str) -> None:
    lines = write([Piece(0xFFC0, IMAGE[:0x100])])
    lines[lines.index(BASE)] = damaged
    (reading,) = parsed(lines).readings
    assert taken(reading) == set(range(0xFFC0, 0x10000))
    reasons = {h.reason for h in reading.holes}
    assert "records without a certain address, behind a damaged base record" in reasons
    assert all(h.first is None for h in reading.holes)


def test_the_next_base_record_ends_the_doubt() -> None:
    lines = write([Piece(0xFFC0, IMAGE[:0x10080])])
    lines[lines.index(BASE)] = ":020000040001F8"
    (reading,) = parsed(lines).readings
    assert taken(reading) == {*range(0xFFC0, 0x10000), *range(0x20000, 0x20040)}


def test_a_base_record_lost_without_a_trace_shows_at_the_64_kib_border() -> None:
    lines = write([Piece(0xFFC0, IMAGE[:0x100])])
    lines.remove(BASE)
    lines.insert(0, ":020000040000FA")
    (reading,) = parsed(lines).readings
    assert max(taken(reading)) == 0xFFFF
    assert len(reading.holes) == 1


def test_damaged_data_records_do_not_make_the_base_doubtful() -> None:
    lines = write([Piece(0x10000, IMAGE[:0x100])])
    for i in (2, 5, 6):
        lines[i] = lines[i][:12] + "?" + lines[i][13:]
    lines[9] = lines[9][:4] + ":" + lines[9][5:]
    (reading,) = parsed(lines).readings
    gone = {0x10010, 0x10040, 0x10050, 0x10080}
    assert taken(reading) == {a for a in range(0x10000, 0x10100) if a & ~15 not in gone}


def test_an_end_record_takes_the_base_back() -> None:
    lines = [*write([Piece(0x10000, IMAGE[:16])]), *write([Piece(0x20, IMAGE[:16])])]
    (reading,) = parsed(lines).readings
    assert reading.runs[:, 0].tolist() == [0x10000, 0x20]


def test_records_of_no_bytes_are_no_data() -> None:
    (reading,) = parsed([":0000000000", ":0300300002337A1E", ":00FFFF0002"]).readings
    assert reading.runs.tolist() == [[0x30, 0, 3, 2]]


def test_written_records_stay_within_64_kib() -> None:
    lines = write([Piece(0xFFFA, bytes(12))])
    assert lines == [
        ":020000040000FA",
        ":06FFFA00000000000000" + "01",
        ":020000040001F9",
        ":06000000000000000000FA",
        ":00000001FF",
    ]


def test_a_start_address_is_written() -> None:
    lines = write([Piece(0, b"\0")], WriteOptions(start=0xCD2A))
    assert lines[-2:] == [":04000005" + "0000CD2A" + "00", ":00000001FF"]


def test_no_base_record_below_64_kib() -> None:
    assert not any(line.startswith(":02000004") for line in write([Piece(0, IMAGE[:0x10000])]))
