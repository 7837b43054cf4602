"""Marked records in a terminal's log: found among other text, and told from it."""

from __future__ import annotations

import pytest

from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions
from romassay.formats.text.plain import plain

GOOD = ":0300300002337A1E"
IMAGE = bytes(range(64))


def parsed(text: str | bytes, name: str = "intel-hex") -> Parsed:
    return FORMATS[name].read(text.encode() if isinstance(text, str) else text, Hints())


def image(name: str = "intel-hex") -> bytes:
    write = FORMATS[name].write
    assert write is not None
    return write([Piece(0x100, IMAGE)], WriteOptions())


def lines_of(found: Parsed) -> list[int]:
    (reading,) = found.readings
    return [int(line) for line in reading.runs[:, 3]]


@pytest.mark.parametrize(
    "log",
    [
        image(),
        image().replace(b"\n", b"\r\n"),
        image().replace(b"\n", b"\r"),
        image().replace(b"\n", b"\r\n\0\0\0\0"),
        bytes(byte | 0x80 for byte in image()),
        bytes(byte | (byte.bit_count() & 1) << 7 for byte in image().replace(b"\n", b"\r\n")),
        b"\xef\xbb\xbf" + image(),
        image().decode().encode("utf-16"),
        image().lower().replace(b"\n", b"  \t\n"),
        b"\x13" + image().replace(b":", b"\x11:"),
        image().replace(b":", b"\x1b[0m:") + b"\x7f",
        image().replace(b"10", b"1x\x080\x1b[1m"),
    ],
)
def test_line_ends_parity_nuls_and_encodings(log: bytes) -> None:
    found = parsed(log)
    assert found.readings[0].value.tobytes() == IMAGE
    assert lines_of(found) == [1, 2, 3, 4]
    assert found.readings[0].holes == ()


def test_line_numbers_are_those_that_an_editor_shows() -> None:
    assert lines_of(parsed(f"\n\r\n{GOOD}\r{GOOD[:3]}\r\n:03003300020003C5\n")) == [3, 4]


def test_text_of_a_terminal_is_passed_over_and_told() -> None:
    found = parsed(
        f"login: rom\n> dump 30\n{GOOD}\n12:30:45 tea\n>{GOOD.replace('30', '40', 1)[:0]}\n>:0300330002337A1B ok\n"
    )
    assert lines_of(found) == [3, 6]
    assert [(left.line, left.text, left.reason, left.damage) for left in found.left] == [
        (1, "login: rom", "no record", False),
        (2, "> dump 30", "no record", False),
        (4, "12:30:45 tea", "no record", False),
        (5, ">", "no record", False),
        (6, ">:0300330002337A1B ok", "other text beside the record", False),
    ]
    assert found.left_total == 5
    assert found.readings[0].holes == ()


@pytest.mark.parametrize(
    ("line", "reason"),
    [
        (":0300300002337A1F", "wrong checksum"),
        (":0300300002337A", "record ends before its time"),
        (":030030000233", "record ends before its time"),
        (":03", "record ends before its time"),
        (":0300300002337A1E00", "record is longer than it says"),
        (":0300300002?37A1E", "record ends before its time"),
        (":0300300602337A18", "a record that the format does not know"),
        ("0300300002337A1E", "record without its mark"),
        (";0300300002337A1E", "record without its mark"),
    ],
)
def test_what_is_damaged_is_told_and_never_taken(line: str, reason: str) -> None:
    found = parsed(f"{GOOD}\n{line}\n")
    (reading,) = found.readings
    assert reading.value.tobytes() == b"\x023z"
    assert [(hole.line, hole.reason, hole.first) for hole in reading.holes] == [(2, reason, None)]
    assert [(left.line, left.reason, left.damage) for left in found.left] == [(2, reason, True)]
    assert (reading.source.bad_lines, reading.source.lines) == (1, (1, 2))


def test_records_in_one_line() -> None:
    """Line ends that got lost: each whole record is taken, the broken one between them is not."""
    text = image().decode().splitlines()
    found = parsed(text[0] + text[1][:20] + text[2] + text[3] + "\n" + text[4])
    (reading,) = found.readings
    assert reading.runs[:, [0, 2, 3]].tolist() == [[0x100, 16, 1], [0x120, 16, 1], [0x130, 16, 1]]
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(0x110, 0x11F, 1)]


def test_records_of_all_lengths_keep_their_order() -> None:
    write = FORMATS["intel-hex"].write
    assert write is not None
    pieces = [Piece(0x100 * i, bytes([i]) * (1 + i * 7 % 60)) for i in range(200)]
    text = b"".join(write([p], WriteOptions(record=1 + i % 40)).split(b":00")[0] for i, p in enumerate(pieces))
    (reading,) = parsed(text).readings
    assert reading.value.tobytes() == b"".join(p.data for p in pieces)
    assert reading.runs[:, 3].tolist() == list(range(1, len(reading.runs) + 1))


def test_left_lines_are_bounded_and_counted() -> None:
    found = parsed("tea\n" * 3000 + GOOD + "\n" + "x" * 500)
    assert (len(found.left), found.left_total) == (1000, 3001)
    assert len(found.left[0].text) <= 100


def test_plain_keeps_characters_of_utf_8_apart_from_parity() -> None:
    assert plain("Übung:\n".encode()) == b"?bung:\n"
    assert plain(b"\xc1\xc2\xc3\n") == b"ABC\n"
