"""TI-TXT and Verilog memory files: what damage does where lines have neither address nor checksum."""

from __future__ import annotations

import random

import pytest

from romassay.errors import BadInput, BadValue
from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions

DICE = random.Random(27)
IMAGE = DICE.randbytes(320)


def write(name: str, pieces: list[Piece], options: WriteOptions | None = None) -> list[str]:
    form = FORMATS[name]
    assert form.write is not None
    return form.write(pieces, options or WriteOptions()).decode().splitlines()


def parsed(name: str, text: str | list[str], hints: Hints | None = None) -> Parsed:
    joined = text if isinstance(text, str) else "\n".join(text)
    return FORMATS[name].read(joined.encode(), hints or Hints())


def runs(found: Parsed) -> list[tuple[int, bytes]]:
    (reading,) = found.readings
    return [(first, reading.value[at : at + n].tobytes()) for first, at, n, _ in reading.runs.tolist()]


@pytest.mark.parametrize("name", ["ti-txt", "verilog-memory"])
def test_a_wrong_character_is_a_hole_of_one_byte(name: str) -> None:
    found = parsed(name, "@F000\n00 01 0? 03\n04 05 06 07\nq\n" if name == "ti-txt" else "@F000\n00 01 0? 03\n04 05")
    (reading,) = found.readings
    if name == "ti-txt":
        assert [(h.first, h.last, h.line) for h in reading.holes] == [(0xF002, 0xF002, 2)]
        assert runs(found) == [(0xF000, b"\0\1"), (0xF003, b"\3"), (0xF004, b"\4\5\6\7")]
    else:
        assert reading.known_bits().tolist() == [0xFF, 0xFF, 0xF0, 0xFF, 0xFF, 0xFF]


@pytest.mark.parametrize("token", ["1", "123", "1234", ""])
def test_a_broken_number_leaves_all_to_the_next_address_without_one(token: str) -> None:
    lines = write("ti-txt", [Piece(0xF000, IMAGE), Piece(0xFF00, b"end")])
    lines[3] = f"{lines[3][:6]}{token} {lines[3][9:]}" if token else lines[3][:6] + lines[3][9:]
    found = parsed("ti-txt", lines)
    assert runs(found)[:2] == [(0xF000, IMAGE[:16]), (0xF010, IMAGE[16:32])]
    assert runs(found)[-1] == (0xFF00, b"end")
    assert [h.line for h in found.readings[0].holes] == [4]
    assert all(first in (0xF000, 0xF010, 0xF020, 0xFF00) for first, _ in runs(found))


@pytest.mark.parametrize("line", [".F100", "@F1O0", "F100", "@", "@F100 00", "@F100@"])
def test_a_broken_address_leaves_what_follows_without_one(line: str) -> None:
    lines = write("ti-txt", [Piece(0xF000, IMAGE[:16]), Piece(0xF100, IMAGE[:16]), Piece(0xF200, b"end")])
    lines[lines.index("@F100")] = line
    found = parsed("ti-txt", lines)
    assert runs(found) == [(0xF000, IMAGE[:16]), (0xF200, b"end")]


def test_prompts_and_banners_are_passed_over() -> None:
    lines = write("ti-txt", [Piece(0xF000, IMAGE[:32])])
    found = parsed("ti-txt", ["monitor 2.1 ready", "> dump it", *lines, "> "])
    assert runs(found) == [(0xF000, IMAGE[:16]), (0xF010, IMAGE[16:32])]
    assert [(left.line, left.damage) for left in found.left] == [(1, False), (2, False), (7, False)]


def test_an_end_that_is_missing_is_told() -> None:
    found = parsed("ti-txt", write("ti-txt", [Piece(0xF000, IMAGE)])[:-1])
    assert found.left[-1].reason == "no 'q' at the end: the log may stop early"


def test_passes_behind_the_end() -> None:
    lines = write("ti-txt", [Piece(0xF000, IMAGE)])
    assert len(parsed("ti-txt", lines + lines).readings) == 2


def test_an_address_beyond_32_bits() -> None:
    found = parsed("ti-txt", "@F000\n00 01\n@123456789\n02 03\n@F010\n04\nq")
    assert runs(found) == [(0xF000, b"\0\1"), (0xF010, b"\4")]
    found = parsed("verilog-memory", "@FFFFFFFF 01 02 03")
    assert (runs(found), found.left_total) == ([(0xFFFFFFFF, b"\1")], 1)


@pytest.mark.parametrize("word", [1, 2, 4])
def test_words_by_the_digits_of_nearly_all_numbers(word: int) -> None:
    text = [line.lower() for line in write("verilog-memory", [Piece(0x1000, IMAGE)], WriteOptions(word=word))]
    assert parsed("verilog-memory", text).layout == f"{8 * word}-bit words"
    assert b"".join(data for _, data in runs(parsed("verilog-memory", text))) == IMAGE


def test_numbers_without_leading_zeros() -> None:
    image = bytes(range(256)) * 4
    text = "\n".join(f"{byte:x}" for byte in image)
    assert b"".join(data for _, data in runs(parsed("verilog-memory", text))) == image


def test_a_short_number_among_padded_ones_is_broken() -> None:
    text = " ".join(f"{byte:02x}" for byte in range(32))
    found = parsed("verilog-memory", text.replace(" 11 ", " 1 "))
    assert runs(found) == [(0, bytes(range(17)))]


def test_words_of_4_and_12_bits() -> None:
    found = parsed("verilog-memory", "@2 F 0 A")
    assert (runs(found), found.readings[0].known_bits().tolist()) == ([(2, b"\x0f\x00\x0a")], [15] * 3)
    wide = parsed("verilog-memory", "123 456")
    assert (runs(wide), wide.readings[0].known_bits().tolist()) == ([(0, b"\x01\x23\x04\x56")], [15, 255] * 2)


def test_without_an_address_the_base_is_told() -> None:
    assert runs(parsed("verilog-memory", "12 34", Hints(base=0xD000))) == [(0xD000, b"\x12\x34")]
    assert runs(parsed("verilog-memory", "1234 5678", Hints(base=0xD000))) == [(0xD000, b"\x12\x34\x56\x78")]


def test_no_numbers() -> None:
    with pytest.raises(BadInput, match="holds no numbers of hex digits"):
        parsed("verilog-memory", "// nothing\n")


def test_words_that_no_file_has() -> None:
    with pytest.raises(BadValue, match="words of 3 bytes cannot be written; give 1, 2, 4, 8 or 16"):
        write("verilog-memory", [Piece(0, IMAGE)], WriteOptions(word=3))
