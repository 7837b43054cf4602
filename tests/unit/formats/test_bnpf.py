"""BNPF: words of letters, with and without addresses, whole and broken."""

from __future__ import annotations

import random

import pytest

from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions

IMAGE = random.Random(82).randbytes(100)


def word(byte: int, bits: int = 8) -> str:
    return "B" + f"{byte:0{bits}b}".replace("0", "N").replace("1", "P") + "F"


def write(pieces: list[Piece], options: WriteOptions | None = None) -> list[str]:
    form = FORMATS["bnpf"]
    assert form.write is not None
    return form.write(pieces, options or WriteOptions()).decode().splitlines()


def parsed(text: str | list[str], hints: Hints | None = None) -> Parsed:
    joined = text if isinstance(text, str) else "\n".join(text)
    return FORMATS["bnpf"].read(joined.encode(), hints or Hints())


def runs(found: Parsed) -> list[tuple[int, bytes]]:
    (reading,) = found.readings
    return [(first, reading.value[at : at + n].tobytes()) for first, at, n, _ in reading.runs.tolist()]


def test_plain_words_from_0_or_from_the_base() -> None:
    text = "".join(word(byte) for byte in IMAGE)
    assert runs(parsed(text)) == [(0, IMAGE)]
    assert runs(parsed(text.lower(), Hints(base=0xD000))) == [(0xD000, IMAGE)]


def test_without_gaps_no_addresses_are_written() -> None:
    lines = write([Piece(0, IMAGE)])
    assert len(lines) == 13
    assert lines[0] == " ".join(word(byte) for byte in IMAGE[:8])


def test_with_gaps_each_line_has_its_address() -> None:
    lines = write([Piece(16, b"\x01"), Piece(300, b"\xff\x00")])
    assert lines == ["DECIMAL ADDRESSES", f"16 {word(1)}", f"300 {word(255)} {word(0)}"]
    assert runs(parsed(lines)) == [(16, b"\x01"), (300, b"\xff\x00")]


@pytest.mark.parametrize(
    ("numbers", "first"),
    [
        ([0, 2, 4], 0),
        ([64, 66, 68], 64),
        ([64, 66, 90], 64),
        ([10, 20, 30], 0),
        ([1, 2, 3], 0),
        ([100, 50, 0], 0),
    ],
)
def test_numbers_are_addresses_where_they_agree_with_the_words(numbers: list[int], first: int) -> None:
    found = parsed([f"{n}: {word(n & 255)} {word(7)}" for n in numbers])
    assert runs(found)[0][0] == first
    assert len(found.readings[0]) == 6


def test_a_wrong_letter_is_a_hole_of_one_byte() -> None:
    found = parsed(f"{word(1)} BNNXNNNNNF {word(3)}")
    assert runs(found) == [(0, b"\1"), (2, b"\3")]
    assert [(h.first, h.last) for h in found.readings[0].holes] == [(1, 1)]


@pytest.mark.parametrize("broken", ["BNNNNNNNF", "BNNNNNNNNNF", "NNNNNNNNF", "BNNNNNNNN", "BNNN"])
def test_behind_a_broken_word_no_address_is_certain(broken: str) -> None:
    found = parsed(f"{word(1)} {word(2)} {broken} {word(3)}\n{word(4)} tea")
    assert runs(found) == [(0, b"\1\2")]
    assert [h.line for h in found.readings[0].holes] == [1]


def test_the_next_address_ends_the_doubt() -> None:
    found = parsed([f"0 {word(1)} {word(2)}", f"2 {word(3)} BNNF", f"4 {word(5)} {word(6)}"])
    assert runs(found) == [(0, b"\1\2"), (2, b"\3"), (4, b"\5\6")]


def test_a_line_with_a_word_less_than_all_others() -> None:
    lines = write([Piece(0, IMAGE)])
    lines[4] = lines[4][11:]
    found = parsed(lines)
    assert b"".join(data for _, data in runs(found)) == IMAGE[:32]


def test_comments_are_told() -> None:
    found = parsed(f"RAM TEST, 1976\n{word(9)} of that\n")
    assert [(left.line, left.text, left.damage) for left in found.left] == [(1, "RAM TEST, 1976", False)]
    assert runs(found) == [(0, b"\x09")]


def test_a_pass_that_begins_anew() -> None:
    lines = write([Piece(16, IMAGE)])
    assert len(parsed(lines + lines).readings) == 2
