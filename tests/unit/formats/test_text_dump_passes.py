"""Passes of a text dump: what is a new reading, what was sent again, what is missing, and which address is certain."""

from __future__ import annotations

import random

import pytest

from romassay.formats import Hints, read
from romassay.reading import Reading

IMAGE = random.Random(6502).randbytes(512)


def line(address: int, data: bytes | None = None) -> str:
    shown = IMAGE[address & 0x1FF :][:16] if data is None else data
    return f"{address:04X}: " + " ".join(f"{v:02X}" for v in shown)


def lines(first: int = 0x400, count: int = 32) -> list[str]:
    return [line(first + 16 * i & 0xFFFF) for i in range(count)]


def load(text: list[str], **hints: str) -> tuple[Reading, ...]:
    return read("\r\n".join([*text, ""]).encode(), "a.log", Hints(**hints)).readings  # type: ignore[arg-type]


def one(text: list[str]) -> Reading:
    (reading,) = load(text)
    return reading


def bytes_of(reading: Reading) -> dict[int, int]:
    return dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


def assert_right(reading: Reading) -> None:
    assert all(IMAGE[a & 0x1FF] == v for a, v in bytes_of(reading).items())


def test_a_plain_pass() -> None:
    reading = one(["READY", "*D 0400", *lines(), "*"])
    assert bytes(reading.value) == IMAGE
    assert reading.runs[0].tolist() == [0x400, 0, 16, 3]
    assert reading.source.lines == (3, 34)
    assert (reading.holes, reading.unit, reading.address_bits) == ((), "hex-digit", 16)
    assert reading.known is None


@pytest.mark.parametrize("between", [[], ["*D 0400"], ["", "*"]])
def test_a_repeated_run_is_a_new_reading_with_or_without_an_echoed_command(between: list[str]) -> None:
    readings = load([*lines(), *between, *lines(), *between, *lines()])
    assert [len(reading) for reading in readings] == [512, 512, 512]
    assert [reading.source.pass_number for reading in readings] == [1, 2, 3]
    assert all(bytes(reading.value) == IMAGE for reading in readings)


def test_a_run_begun_again_near_the_beginning_is_a_new_reading() -> None:
    readings = load([*lines(), "*D 0410", *lines()[1:]])
    assert [len(reading) for reading in readings] == [512, 496]


def test_a_wrap_at_the_top_of_memory_is_none() -> None:
    reading = one(lines(0xFF00))
    assert bytes(reading.value) == IMAGE[0x100:] + IMAGE[:0x100]
    assert [(r.first, r.last) for r in reading.spans()] == [(0, 0xFF), (0xFF00, 0xFFFF)]


def test_a_jump_to_a_lower_range_is_none() -> None:
    reading = one([*lines(0x4000), "*D 1000", *lines(0x1000)])
    assert len(reading) == 1024
    assert_right(reading)


def test_a_line_sent_again_is_marked_and_not_independent() -> None:
    text = lines()
    reading = one([*text[:9], text[8], *text[9:]])
    assert reading.resent.tolist() == [9]
    assert len(reading) == 528


def test_a_few_lines_sent_again_are_marked() -> None:
    text = lines()
    reading = one([*text[:9], *text[6:]])
    assert reading.resent.tolist() == [9, 10, 11]


def test_a_missing_line_is_a_hole_without_a_line_number() -> None:
    text = lines()
    reading = one([*text[:5], *text[6:]])
    assert [(h.first, h.last, h.line, h.reason) for h in reading.holes] == [(0x450, 0x45F, 0, "a line is missing")]
    assert_right(reading)


def test_a_digit_wrong_in_an_address_puts_no_byte_anywhere() -> None:
    text = lines()
    text[5] = "8" + text[5][1:]
    reading = one(text)
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(0x450, 0x45F, 6)]
    assert reading.holes[0].reason == "the address is out of step"
    assert max(bytes_of(reading)) == 0x5FF
    assert_right(reading)


def test_an_address_that_looks_like_that_of_the_line_before() -> None:
    text = lines()
    text[5] = line(0x440, IMAGE[0x50:0x60])
    reading = one(text)
    assert [(h.first, h.line) for h in reading.holes] == [(0x450, 6)]
    assert_right(reading)


@pytest.mark.parametrize("bad", [0, 31])
def test_the_first_or_last_address_is_wrong(bad: int) -> None:
    text = lines()
    text[bad] = "9" + text[bad][1:]
    reading = one(text)
    assert len(reading) == 496
    assert [h.line for h in reading.holes] == [bad + 1]
    assert_right(reading)


def test_a_character_that_is_no_digit_costs_one_nibble() -> None:
    text = lines()
    text[5] = text[5][:9] + "?" + text[5][10:]
    reading = one(text)
    at = reading.addresses().tolist().index(0x451)
    assert reading.known_bits()[at] == 0x0F
    assert int(reading.value[at]) & 0x0F == IMAGE[0x51] & 0x0F
    assert_right_known(reading)


def assert_right_known(reading: Reading) -> None:
    for a, v, k in zip(
        reading.addresses().tolist(), reading.value.tolist(), reading.known_bits().tolist(), strict=True
    ):
        assert (IMAGE[a & 0x1FF] ^ v) & k == 0


def test_a_lost_character_costs_the_cell_it_was_in() -> None:
    text = lines()
    text[5] = text[5][:10] + text[5][11:]
    reading = one(text)
    assert [(h.first, h.last, h.line, h.reason) for h in reading.holes] == [
        (0x451, 0x451, 6, "characters are missing or too many")
    ]
    assert_right(reading)


def test_a_lost_cell_leaves_nothing_certain_in_its_line() -> None:
    text = lines()
    text[5] = text[5][:9] + text[5][12:]
    reading = one(text)
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(0x450, 0x45F, 6)]
    assert_right(reading)


def test_a_doubled_character_costs_the_cell_it_is_in() -> None:
    text = lines()
    text[5] = text[5][:10] + text[5][9:]
    reading = one(text)
    assert all(h.line == 6 for h in reading.holes)
    assert len(reading) >= 510
    assert_right(reading)


def test_a_short_last_line_is_whole() -> None:
    reading = one([*lines(count=31), line(0x5F0, IMAGE[0x1F0:0x1F5])])
    assert (len(reading), reading.holes) == (501, ())


def test_a_short_line_in_the_middle_is_a_hole() -> None:
    text = lines()
    text[5] = line(0x450, IMAGE[0x50:0x5C])
    reading = one(text)
    assert [(h.first, h.last, h.line, h.reason) for h in reading.holes] == [(0x450, 0x45F, 6, "the line is too short")]


def test_a_log_that_breaks_off_in_mid_line() -> None:
    text = "\n".join(lines())[:-11]
    (reading,) = read(text.encode(), "a.log").readings
    assert len(reading) == 508
    assert_right(reading)


def test_a_log_that_starts_in_mid_line() -> None:
    text = "\n".join(lines())[20:]
    (reading,) = read(text.encode(), "a.log").readings
    assert len(reading) == 496
    assert_right(reading)


def test_lines_run_together_by_a_lost_line_end() -> None:
    text = "\n".join(lines()).split("\n")
    joined = [*text[:5], text[5] + text[6], *text[7:]]
    reading = one(joined)
    assert all(h.line in (0, 6) for h in reading.holes)
    assert len(reading) >= 480
    assert_right(reading)


def test_a_wrong_sum_makes_the_whole_line_a_hole() -> None:
    text = [f"{item} {sum(IMAGE[16 * i : 16 * i + 16]) & 0xFF:02X}" for i, item in enumerate(lines())]
    text[5] = text[5].replace(text[5][6:8], "00" if text[5][6:8] != "00" else "01", 1)
    reading = one(text)
    assert reading.unit == "record-checked"
    assert [(h.first, h.last, h.line, h.reason) for h in reading.holes] == [
        (0x450, 0x45F, 6, "the sum of the line is wrong")
    ]
    assert_right(reading)


def test_single_lines_asked_for_one_by_one_are_taken() -> None:
    text = [item for a in (0xC000, 0x1230, 0xFFF0, 0x0800, 0x4440, 0x0100) for item in (f"*D {a:04X}", line(a))]
    assert sum(len(reading) for reading in load([*lines(), *text])) == 512 + 96


def test_a_column_heading_is_no_data() -> None:
    heading = "      " + " ".join(f"{i:02X}" for i in range(16))
    reading = one([heading, *lines()[:16], "", heading, *lines()[16:]])
    assert bytes(reading.value) == IMAGE
    assert reading.holes == ()


def test_an_asterisk_stands_for_lines_like_the_one_before() -> None:
    zeros = bytes(16)
    text = [*lines(count=4), line(0x440, zeros), "*", line(0x4A0, zeros), *lines(0x4B0, 8)]
    reading = one(text)
    found = bytes_of(reading)
    assert [found[a] for a in range(0x440, 0x4B0)] == [0] * 0x70
    assert reading.holes == ()


def test_an_asterisk_before_a_damaged_address_is_not_filled() -> None:
    zeros = bytes(16)
    text = [*lines(count=4), line(0x440, zeros), "*", "9" + line(0x4A0, zeros)[1:], *lines(0x4B0, 8)]
    reading = one(text)
    assert max(bytes_of(reading)) < 0x600
    assert 0x460 not in bytes_of(reading)


@pytest.mark.parametrize(
    ("form", "bits"),
    [("{:03X}", 12), ("{:04X}", 16), ("{:05X}", 20), ("{:06X}", 24), ("{:07X}", 16), ("{:08X}", 16), ("{:06o}", 16)],
)
def test_address_bits_follow_the_printed_digits(form: str, bits: int) -> None:
    text = [form.format(0x100 + 16 * i) + ": " + line(16 * i)[6:] for i in range(32)]
    assert one(text).address_bits == bits


def test_address_bits_given_by_the_person() -> None:
    (reading,) = read("\n".join(lines()).encode(), "a.log", Hints(address_bits=20)).readings
    assert reading.address_bits == 20
