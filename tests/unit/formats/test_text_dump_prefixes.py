"""What stands around the lines of a dump, or is spread over several: marks, numbers, headings, two addresses a line."""

from __future__ import annotations

import random
from collections.abc import Callable, Sequence

import pytest

from romassay.errors import BadInput
from romassay.formats import read
from romassay.reading import Reading

FIRST = 0x9C00
DATA = (
    bytes(random.Random(5).choices(b"\x00\x20\x4c\x85\xa9\xff\x10\xd0\x60\x8d\xf0\x33", k=480))
    + b"THE LAMP IS LIT " * 2
)


def readings(lines: Sequence[str]) -> tuple[Reading, ...]:
    return read(("\r\n".join(lines) + "\r\n").encode("ascii"), "evening.log").readings


def seen(reading: Reading) -> dict[int, int]:
    return dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


def rows(wide: int, data: bytes = DATA) -> list[tuple[int, bytes]]:
    return [(FIRST + i, data[i : i + wide]) for i in range(0, len(data), wide)]


def plain(wide: int = 16) -> list[str]:
    return ["MONITOR 3", f">D {FIRST:04X}", *(f"{at:04X}: {row.hex(' ')}" for at, row in rows(wide)), ">"]


def decimal(wide: int) -> list[str]:
    return [f" {at}  " + "  ".join(map(str, row)) + " " for at, row in rows(wide)]


AROUND: dict[str, Callable[[int, str], str]] = {
    "numbers of lines": lambda i, line: f"{i:5d}  {line}",
    "numbers of lines with a tabulator": lambda i, line: f"{i}\t{line}",
    "a mark": lambda i, line: f"RX: {line}",
    "a port's name": lambda i, line: f"COM3: {line}",
    "an arrow": lambda i, line: f"< {line}",
    "seconds since the start": lambda i, line: f"[{12 + i * 0.0371 + i % 3 * 0.002:12.6f}] {line}",
    "seconds of the day": lambda i, line: f"{69015.095 + i * 0.0371 + i % 3 * 0.002:.3f} {line}",
    "a screen's blanks": lambda i, line: line.ljust(80),
    "any blanks": lambda i, line: line + " " * (1 + i * 7 % 4),
}


@pytest.mark.parametrize("around", AROUND)
@pytest.mark.parametrize("lines", [plain(), plain(1), decimal(8)], ids=["hex", "one byte a line", "decimal"])
def test_what_stands_around_every_line_is_no_part_of_it(around: str, lines: list[str]) -> None:
    (reading,) = readings([AROUND[around](i, line) for i, line in enumerate(lines, 1)])
    assert seen(reading) == dict(enumerate(DATA, FIRST))
    assert reading.holes == ()


def test_numbers_that_are_addresses_stay() -> None:
    (reading,) = readings([f"{at} {row[0]}" for at, row in rows(1)])
    assert seen(reading) == dict(enumerate(DATA, FIRST))


def grouped(at: int, row: bytes, form: str) -> str:
    halves = [(at, row[: len(row) // 2]), (at + len(row) // 2, row[len(row) // 2 :])]
    return form.join(f"{a:04X} {part.hex(' ')}" for a, part in halves)


@pytest.mark.parametrize("between", ["   ", "\t", " | "])
def test_two_blocks_side_by_side_are_one(between: str) -> None:
    (reading,) = readings([grouped(at, row, between) for at, row in rows(16)])
    assert seen(reading) == dict(enumerate(DATA, FIRST))


def test_a_last_line_with_one_address_of_several_is_read() -> None:
    data = DATA[:505]
    lines = ["  ".join(f"{at + i:04X}={b:02X}" for i, b in enumerate(row)) for at, row in rows(4, data)]
    (reading,) = readings(lines)
    assert seen(reading) == dict(enumerate(data, FIRST))


@pytest.mark.parametrize("heading", ["PAGE {:02X}", "--- {:02X}00 ---", "{:02X}00:", "Page ${:02X}"])
@pytest.mark.parametrize("row", ["{:02X}: ", " {:02X}  ", "+{:02X} "])
def test_the_page_of_an_address_stands_in_a_heading(heading: str, row: str) -> None:
    lines = [">D", "PRINTED 20-NOV-84"]
    for at, data in rows(16):
        lines += (
            ["", heading.format(at >> 8), "     " + " ".join(f"{i:2X}" for i in range(16))] if at % 256 == 0 else []
        )
        lines.append(row.format(at & 255) + data.hex(" "))
    (reading,) = readings(lines)
    assert seen(reading) == dict(enumerate(DATA, FIRST))


def test_lines_whose_page_is_lost_are_no_bytes_of_another() -> None:
    lines = [f"{at & 255:02X}: {row.hex(' ')}" for at, row in rows(16)]
    lines.insert(16, "PAGE 9D")
    lines += ["PAGE 9E", *(f"{16 * i:02X}: {row.hex(' ')}" for i, (_, row) in enumerate(rows(16)[:16]))]
    for reading in readings(lines):
        assert (
            seen(reading).items()
            <= {**dict(enumerate(DATA, FIRST)), **dict(enumerate(DATA[:256], FIRST + 512))}.items()
        )
        assert len(reading) >= 512


@pytest.mark.parametrize("wide", [8, 16])
@pytest.mark.parametrize("screen", [32, 40])
@pytest.mark.parametrize("between_numbers", [True, False])
def test_decimals_broken_at_the_edge_of_a_screen_are_put_together(
    wide: int, screen: int, between_numbers: bool
) -> None:
    lines: list[str] = []
    for line in decimal(wide):
        while line:
            end = screen
            if between_numbers and len(line) > screen:
                end = line.rindex(" ", 0, screen)
            lines, line = [*lines, line[:end]], line[end:]
    (reading,) = readings(["READY", "RUN", *lines, "READY"])
    assert seen(reading) == dict(enumerate(DATA, FIRST))


def test_addresses_may_fall_byte_by_byte() -> None:
    (reading,) = readings([f"{at:04X}: {row.hex()}" for at, row in reversed(rows(1))])
    assert seen(reading) == dict(enumerate(DATA, FIRST))


@pytest.mark.parametrize("between", ["", " "])
@pytest.mark.parametrize("wide", [8, 16, 64])
def test_a_memory_four_bits_wide_has_one_digit_an_address(between: str, wide: int) -> None:
    lines = [f"{at:04X}: " + between.join(f"{b & 15:X}" for b in row) for at, row in rows(wide)]
    (reading,) = readings(lines)
    assert seen(reading) == {FIRST + i: b & 15 for i, b in enumerate(DATA)}
    assert set(reading.known_bits().tolist()) == {0x0F}


def test_numbers_may_say_their_base_as_programs_do() -> None:
    lines = [f"16#{at:04X}# : " + ", ".join(f"16#{b:02X}#" for b in row) for at, row in rows(8)]
    (reading,) = readings(lines)
    assert seen(reading) == dict(enumerate(DATA, FIRST))


COMMANDS: dict[str, Callable[[int, int], str]] = {
    "first and last": lambda at, n: f"- D {at:04X},{at + n - 1:04X}",
    "how many": lambda at, n: f"MON> r {at:04x} {n:x}",
    "a full stop": lambda at, n: f"*{at:04X}.{at + n - 1:04X}",
}


@pytest.mark.parametrize("command", COMMANDS)
@pytest.mark.parametrize("wide", [1, 8, 16])
def test_a_command_before_every_line_is_no_data(command: str, wide: int) -> None:
    lines = [text for at, row in rows(wide) for text in (COMMANDS[command](at, wide), f"{at:04X} {row.hex(' ')}")]
    (reading,) = readings(["MONITOR 3", *lines, ">"])
    assert seen(reading) == dict(enumerate(DATA, FIRST))


@pytest.mark.parametrize("columns", [2, 4])
@pytest.mark.parametrize("high", [16, 32])
@pytest.mark.parametrize("form", ["{:04X} {:02X}", "{:5d} {:3d}"])
def test_addresses_may_run_down_the_columns_of_a_page(columns: int, high: int, form: str) -> None:
    lines = ["READY"]
    for page in range(0, len(DATA), columns * high):
        for y in range(high):
            places = [page + x * high + y for x in range(columns)]
            lines.append("    ".join(form.format(FIRST + i, DATA[i]) for i in places if i < len(DATA)))
        lines.append("")
    (reading,) = readings(lines)
    assert seen(reading) == dict(enumerate(DATA, FIRST))


def test_a_bank_may_stand_before_a_full_stop() -> None:
    (reading,) = readings([f"01.{at:04X} {row.hex(' ')}" for at, row in rows(16)])
    assert seen(reading) == dict(enumerate(DATA, 0x10000 + FIRST))


def no_dumps() -> dict[str, list[str]]:
    rng = random.Random(3)
    days = [(1 + i // 48, i // 2 % 24, i % 2 * 30) for i in range(200)]
    groups = [rng.randrange(1 << 16) for _ in range(800)]
    prints = [rng.randbytes(16) for _ in range(20)]
    return {
        "dates": [f"{day:02d} 11 26 {hour:02d} {minute:02d} 00" for day, hour, minute in days],
        "dates and values": [f"{d:02d} 11 26 {h:02d} {m:02d} 00 {rng.randrange(10, 40)} 55" for d, h, m in days],
        "seconds": [f"{1_700_000_000 + 60 * i}" for i in range(200)],
        "network addresses": [":".join(f"{n:04x}" for n in groups[i : i + 8]) for i in range(0, 800, 8)],
        "fingerprints": [each.hex(":") for each in prints],
        "departures": [f"{hour:02d} 05 15 25 35 45 55" for hour in range(5, 24)],
        "relocations": [f"{0x21C90 + 8 * i:016x}  {8:016x} R_RELATIVE    {0x5A80 + 64 * i:x}" for i in range(200)],
    }


@pytest.mark.parametrize("kind", no_dumps())
def test_tables_of_dates_and_lists_of_addresses_are_no_dumps(kind: str) -> None:
    with pytest.raises(BadInput):
        readings(no_dumps()[kind])


def test_a_short_last_line_may_have_a_word_behind_its_text() -> None:
    data = DATA[:-3]
    shown = [
        f"{at:04X}  {row.hex(' ')}  " + "".join(chr(b) if 32 <= b < 127 else "." for b in row)
        for at, row in rows(16, data)
    ]
    (reading,) = readings([*shown[:-1], shown[-1] + " ok"])
    assert seen(reading) == dict(enumerate(data, FIRST))


def test_a_table_s_last_line_may_have_blank_cells() -> None:
    data = DATA[:-5]
    (reading,) = readings([f"I {at:04X} I {row.hex(' ').ljust(47)} I" for at, row in rows(16, data)])
    assert seen(reading) == dict(enumerate(data, FIRST))


def test_binary_numbers_are_no_words_of_hex_digits() -> None:
    (reading,) = readings([f"{at:04X}: " + " ".join(f"{b:08b}" for b in row) for at, row in rows(4)])
    assert seen(reading) == dict(enumerate(DATA, FIRST))
