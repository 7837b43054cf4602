"""Numbers that run together, grow into their columns, or stand under the only address of a log."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from romassay.formats import read
from romassay.formats.model import Loaded

DATA = bytes(np.random.default_rng(23).integers(0, 256, 1024, dtype=np.uint8))
FIRST = 0x1800


def loaded(lines: list[str]) -> Loaded:
    return read(("\r\n".join(lines) + "\r\n").encode(), "evening.log")


def rows(wide: int, first: int = FIRST) -> list[tuple[int, bytes]]:
    return [(first + at, DATA[at : at + wide]) for at in range(0, len(DATA), wide)]


def words(row: bytes) -> list[int]:
    return [int.from_bytes(row[i : i + 2], "big") for i in range(0, len(row), 2)]


FORMS: dict[str, tuple[int, Callable[[int, bytes], str]]] = {
    "octal bytes run together": (8, lambda at, row: f"{at:06o} = " + "".join(f"{b:03o}" for b in row)),
    "octal bytes in pairs": (
        8,
        lambda at, row: f"{at:06o}  " + "  ".join(f"{a:03o}{b:03o}" for a, b in zip(row[::2], row[1::2], strict=True)),
    ),
    "decimal bytes run together": (8, lambda at, row: f"{at:04X}: " + "".join(f"{b:03d}" for b in row)),
    "two bytes under one address in eight": (
        2,
        lambda at, row: (f"{at:04X} " if at % 16 == 0 else "     ") + " ".join(f"{b:02X}" for b in row),
    ),
}


@pytest.mark.parametrize("form", FORMS)
def test_every_byte_is_read_where_it_stands(form: str) -> None:
    wide, line = FORMS[form]
    result = loaded([line(at, row) for at, row in rows(wide)])
    (reading,) = result.readings
    assert reading.addresses().tolist() == list(range(FIRST, FIRST + len(DATA)))
    assert bytes(reading.value) == DATA


def test_octal_words_without_a_text_column_leave_their_order_open() -> None:
    result = loaded([f"{at:06o}/ " + " ".join(f"{w:06o}" for w in words(row)) for at, row in rows(16)])
    assert result.readings[0].source.unordered == 2


def test_decimal_addresses_grow_into_their_columns_behind_the_sample() -> None:
    lines = [f"@{at:5d}> " + "  ".join(f"{b:3d}" for b in row) for at, row in rows(4, 0)]
    many = [f"@{at:5d}> " + "  ".join(f"{b:3d}" for b in DATA[at % 512 : at % 512 + 4]) for at in range(1024, 1200, 4)]
    (reading,) = loaded([*lines[: 960 // 4], *lines[960 // 4 :], *many]).readings
    assert reading.addresses().tolist() == list(range(1200))


@pytest.mark.parametrize("text", ["FROM 1800H", "DUMP $1800", "D 1800"])
def test_octal_bytes_under_the_only_address(text: str) -> None:
    (reading,) = loaded([text, *("> " + " ".join(f"{b:03o}" for b in row) for _, row in rows(8))]).readings
    assert reading.addresses().tolist() == list(range(FIRST, FIRST + len(DATA)))
    assert bytes(reading.value) == DATA


def test_octal_bytes_behind_an_at_sign_are_no_memory_file() -> None:
    result = loaded([f"@{at:06o} " + " ".join(f"{b:03o}" for b in row) for at, row in rows(8)])
    assert result.format == "text-dump"
    assert bytes(result.readings[0].value) == DATA


def test_addresses_on_lines_of_their_own_behind_words_with_hex_letters() -> None:
    lines = []
    for at, row in rows(10):
        lines += [f"BLOCK {at}", "; " + ", ".join(f"{b:03d}" for b in row) + f"-{sum(row) & 0xFF:03d}"]
    (reading,) = loaded(lines).readings
    assert reading.addresses().tolist() == list(range(FIRST, FIRST + len(DATA)))
    assert reading.unit == "record-checked"


def test_a_gutter_tells_the_order_of_a_single_word_though_most_bytes_are_alike() -> None:
    data = b"AA" * 200 + bytes(range(0x30, 0x70)) + b"BB" * 200
    lines = [
        f"{FIRST + at:04X} {data[at + 1]:02X}{data[at]:02X} [{data[at : at + 2].decode()}]"
        for at in range(0, len(data), 2)
    ]
    (reading,) = loaded(lines).readings
    assert bytes(reading.value) == data


def test_a_word_that_repeats_the_one_before_it_is_no_sum() -> None:
    lines = [f"{0x6800 + i:04X} : {40000 + i // 2:06o} {40000 + i // 2:06o}" for i in range(0, 64, 2)]
    assert loaded(lines).readings[0].unit != "record-checked"


def test_octal_numbers_with_blanks_in_front() -> None:
    lines = [f"@{at:06o}-" + " ".join(f"{b:>3o}" for b in row) + f"={-sum(row) & 0xFF:03o}" for at, row in rows(4)]
    (reading,) = loaded(lines).readings
    assert bytes(reading.value) == DATA
    assert reading.unit == "record-checked"


def test_decimal_addresses_with_room_before_them() -> None:
    lines = [f" {at:>5d}  {DATA[at % 1024]} " for at in range(512, 1400)]
    (reading,) = loaded(lines).readings
    assert reading.addresses().tolist() == list(range(512, 1400))


def test_headings_of_pages_do_not_break_the_count_from_the_only_address() -> None:
    lines = ["ORG 1800"]
    for i, (_, row) in enumerate(rows(8)):
        if i % 20 == 0:
            lines += ["PAGE 3", "   0  1  2  3  4  5  6  7", "-" * 40]
        if i % 17 == 16:
            lines.append("Press any key")
        lines.append("  " + " ".join(f"{b:02X}" for b in row))
    (reading,) = loaded(lines).readings
    assert reading.addresses().tolist() == list(range(FIRST, FIRST + len(DATA)))


def test_a_line_of_data_that_counts_is_no_heading() -> None:
    data = DATA[:256] + bytes(range(8)) * 16
    lines = ["ORG 1800H"]
    for at in range(0, len(data), 8):
        row = data[at : at + 8]
        lines += [*(["PAGE"] if at % 64 == 0 else []), ",".join(str(b) for b in row) + f" CS={sum(row) & 0xFF}"]
    (reading,) = loaded(lines).readings
    assert bytes(reading.value) == data


def test_words_under_addresses_that_count_words() -> None:
    lines = []
    for at, row in rows(16):
        text = "".join(chr(b) if 32 <= b < 127 else "." for b in row)
        lines += [f"BLOCK {at // 2:04X}", "  " + " ".join(f"{w:04X}" for w in words(row)) + "  " + text]
    (reading,) = loaded(lines).readings
    assert reading.addresses().tolist() == list(range(FIRST, FIRST + len(DATA)))
    assert bytes(reading.value) == DATA


@pytest.mark.parametrize("last", ["CA", "C", "CAFE CA"])
def test_a_word_that_the_end_of_the_log_cuts_is_not_taken(last: str) -> None:
    whole = [f"{at:04X} = " + " ".join(f"{w:04X}" for w in words(row)) for at, row in rows(16)]
    text = "\n".join(whole) + f"\n{FIRST + len(DATA):04X} = 1234 {last}"
    (reading,) = read(text.encode(), "cut.log").readings
    assert bytes(reading.value) == DATA + (b"\x12\x34\xca\xfe" if " " in last else b"\x12\x34")


@pytest.mark.parametrize(("text", "first"), [("ADDR 53248", 53248), ("ADDR 0D000", 0xD000), ("ADDR 10000", 0x10000)])
def test_the_only_address_of_five_digits_is_decimal_where_it_is_rounder_so(text: str, first: int) -> None:
    (reading,) = loaded([text, *(" ".join(f"{b:02X}" for b in row) for _, row in rows(16))]).readings
    assert reading.addresses().tolist() == list(range(first, first + len(DATA)))


def test_an_address_of_two_parts_behind_a_word() -> None:
    (reading,) = loaded([f"M 0D00:{at:04X} " + " ".join(f"{b:02X}" for b in row) for at, row in rows(16, 0)]).readings
    assert reading.addresses().tolist() == list(range(0xD000, 0xD000 + len(DATA)))
