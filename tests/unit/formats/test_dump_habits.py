"""Logs of hosts and screens with habits of their own: broken lines, falling addresses, text that contradicts a byte."""

from __future__ import annotations

import random

import pytest

from romassay.formats import read
from romassay.formats.text.wrapped import unwrapped
from romassay.reading import Reading

FIRST = 0x1000
DATA = random.Random(7).randbytes(512)
TEXT = (b"FOG SIGNAL 2 STANDS BY. " * 22)[:512]


def rows(data: bytes, per: int = 16) -> list[tuple[int, bytes]]:
    return [(FIRST + at, data[at : at + per]) for at in range(0, len(data), per)]


def only(lines: list[str]) -> Reading:
    (reading,) = read("\n".join([*lines, ""]).encode("latin-1"), "x.log").readings
    return reading


def seen(reading: Reading) -> dict[int, int]:
    return dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


def truth(data: bytes) -> dict[int, int]:
    return dict(enumerate(data, FIRST))


def test_lines_broken_at_the_edge_of_a_screen_are_whole_again() -> None:
    lines = [f"{at:04X}: {row.hex(' ').upper()}" for at, row in rows(DATA)]
    broken = [line[i : i + 40] for line in lines for i in range(0, len(line), 40)]
    reading = only(broken)
    assert seen(reading) == truth(DATA)
    assert reading.runs[:3, 3].tolist() == [1, 3, 5]


def test_rows_under_an_address_of_their_own_are_not_joined() -> None:
    lines = []
    for at, row in rows(DATA, 64):
        lines += [f"{at:04X}:", *(row[i : i + 16].hex(" ").upper() for i in range(0, 64, 16))]
    assert seen(only(lines)) == truth(DATA)


def test_addresses_may_fall_and_the_order_is_that_of_the_log() -> None:
    reading = only([f"{at:04X}: {row.hex(' ').upper()}" for at, row in reversed(rows(DATA))])
    assert seen(reading) == truth(DATA)
    assert reading.runs[0].tolist() == [FIRST + 496, 0, 16, 1]


def test_addresses_may_stand_behind_their_bytes() -> None:
    lines = [f"0x{row.hex(' ').upper().replace(' ', ', 0x')}, // {at:04X}" for at, row in rows(DATA)]
    assert seen(only(lines)) == truth(DATA)


def test_addresses_in_columns_filled_with_blanks() -> None:
    lines = [f" {at:<9d}" + "".join(f" {byte:<9d}" for byte in DATA[at : at + 3]) for at in range(0, 510, 3)]
    reading = only(lines)
    assert seen(reading) == dict(enumerate(DATA[:510]))


def test_an_echo_may_stand_before_each_line() -> None:
    lines = [line for at, row in rows(TEXT, 8) for line in ("#D", f"{at:04X} {row.hex(' ').upper()}  {row.decode()}")]
    assert seen(only(lines)) == truth(TEXT)


def test_two_lines_whose_end_was_lost_are_both_read() -> None:
    lines = [f"{at:04X}: {row.hex(' ').upper()}" for at, row in rows(DATA)]
    lines[5:7] = [lines[5] + lines[6]]
    assert seen(only(lines)) == truth(DATA)


def with_text(data: bytes) -> list[str]:
    return [f"{at:04X} {row.hex(' ').upper()}  {row.decode('latin-1')}" for at, row in rows(data)]


def test_a_digit_that_the_text_contradicts_is_not_taken_as_read() -> None:
    lines = with_text(TEXT)
    assert lines[4][5:7] == f"{TEXT[64]:02X}"
    other = TEXT[64] ^ 0x03
    lines[4] = f"{lines[4][:5]}{other:02X}{lines[4][7:]}"
    reading = only(lines)
    assert reading.known is not None
    at = reading.addresses().tolist().index(FIRST + 64)
    assert reading.known[at] == 0xF0
    assert reading.value[at] & 0xF0 == TEXT[64] & 0xF0
    assert (reading.known == 0xFF).sum() == len(TEXT) - 1


def test_text_that_no_changed_digit_explains_is_itself_damaged() -> None:
    lines = with_text(TEXT)
    lines[4] = lines[4][:-1] + chr(ord(lines[4][-1]) ^ 0x55 if ord(lines[4][-1]) ^ 0x55 > 32 else 0x7E)
    reading = only(lines)
    assert seen(reading) == truth(TEXT)


def test_clean_text_columns_take_nothing_away() -> None:
    shown = "".join(chr(byte) if 0x20 <= byte < 0x7F else "." for byte in DATA)
    lines = [f"{at:04X} {row.hex(' ')}  {shown[at - FIRST : at - FIRST + 16]}" for at, row in rows(DATA)]
    reading = only(lines)
    assert reading.known is None
    assert seen(reading) == truth(DATA)


def test_bytes_that_count_are_no_addresses_behind_their_line() -> None:
    data = bytes(204 + at % 4 for at in range(384)) + DATA[:40]
    assert seen(only([f"PEEK({at})= {byte:3d}" for at, byte in enumerate(data, FIRST)])) == truth(data)


def test_a_banner_as_long_as_a_screen_is_wide_joins_no_lines() -> None:
    banners = ["A=00 X=FD Y=02 S=F7 P=24 PC=C3A1", "Connected at 9600 8N1", "64K RAM SYSTEM  38911 BYTES FREE"]
    lines = banners + [f"{at:04X}: {row.hex(' ').upper()}" for at, row in rows(DATA, 4)]
    assert seen(only(lines)) == truth(DATA)


@pytest.mark.parametrize("mark", ["??", "--", "..", "xx"])
def test_marks_in_many_cells_say_nothing_of_their_bytes_and_hide_no_other(mark: str) -> None:
    dice = random.Random(3)
    lines, whole = [], {}
    for at, row in rows(DATA * 4):
        unread = {i for i in range(len(row)) if dice.random() < 0.25}
        lines.append(f"{at:04X}: " + " ".join(mark if i in unread else f"{byte:02X}" for i, byte in enumerate(row)))
        whole |= {at + i: byte for i, byte in enumerate(row) if i not in unread}
    reading = only(lines)
    told = {at: v for (at, v), bits in zip(seen(reading).items(), reading.known_bits().tolist(), strict=True) if bits}
    assert told.items() <= whole.items()
    assert len(told) > 0.9 * len(whole)


def in_basic(data: bytes, per: int, width: int, *, strip: bool) -> list[str]:
    """Print as an interpreter's loop does: a place for the sign before each number, a blank behind, lines cut."""
    lines = [f" {at} :" + "".join(f" {byte} " for byte in row) for at, row in rows(data, per)]
    cut = [line[i : i + width] for line in lines for i in range(0, len(line), width)]
    return [line.rstrip() for line in cut] if strip else cut


@pytest.mark.parametrize("strip", [False, True])
@pytest.mark.parametrize(("per", "width"), [(8, 40), (16, 40), (16, 80), (12, 64), (8, 32), (16, 32)])
def test_decimal_numbers_of_any_width_that_the_edge_broke_are_whole_again(per: int, width: int, *, strip: bool) -> None:
    dice = random.Random(per * width)
    data = bytes(dice.choice((255, 0, byte)) for byte in DATA[: 504 // per * per])
    assert seen(only(in_basic(data, per, width, strip=strip))) == truth(data)


def test_where_no_line_reaches_the_edge_nothing_is_put_together() -> None:
    lines = in_basic(DATA, 8, 80, strip=False)
    assert unwrapped("\n".join(lines).encode()) == "\n".join(lines).encode()


def test_a_number_below_a_line_that_holds_all_its_bytes_is_none_of_them() -> None:
    lines = in_basic(DATA, 8, 80, strip=True)
    widest = max(range(len(lines)), key=lambda i: len(lines[i]))
    lines.insert(widest + 1, "9")
    assert seen(only(lines)).items() >= truth(DATA).items()
