"""Logs with a rarity or two: few lines, clock times, the top of memory, headings like data and data like headings."""

from __future__ import annotations

import random

import pytest

from romassay.errors import BadInput
from romassay.formats import read
from romassay.formats.text.sampling import sample_of
from romassay.reading import Reading

DATA = bytes(random.Random(31).randbytes(1024))
TEXT = b"READY  ERROR  LAMP ON  FOG HORN OFF  KEY PRESSED  OIL LOW  MAST 2 TEST  "


def readings(lines: list[str], encoding: str = "ascii") -> tuple[Reading, ...]:
    return read(("\r\n".join(lines) + "\r\n").encode(encoding), "evening.log").readings


def seen(reading: Reading) -> dict[int, int]:
    return dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


def shown(data: bytes, first: int, space: int = 1 << 16) -> dict[int, int]:
    return {(first + i) % space: byte for i, byte in enumerate(data)}


def rows(data: bytes, wide: int) -> list[tuple[int, bytes]]:
    return [(at, data[at : at + wide]) for at in range(0, len(data), wide)]


def printable(row: bytes, dot: str = ".") -> str:
    return "".join(chr(b) if 32 <= b < 127 else dot for b in row)


def test_bytes_counted_from_an_address_go_on_at_0_behind_the_top() -> None:
    lines = [(f"{0xFF80 + at:04X}: " if at == 0 else " " * 6) + row.hex(" ") for at, row in rows(DATA[:512], 16)]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:512], 0xFF80)


def test_a_line_across_the_top_is_cut_there() -> None:
    lines = [f"{(0xFFB8 + at) % 65536:04X}: {row.hex(' ')}" for at, row in rows(DATA[:128], 16)]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:128], 0xFFB8)


STAMPS = ("[10:{m:02d}:{s:02d}] ", "2026-03-04T10:{m:02d}:{s:02d}Z ", "10:{m:02d}:{s:02d}.250 ")


@pytest.mark.parametrize("stamp", STAMPS)
@pytest.mark.parametrize("every", [1, 8])
def test_clock_times_before_all_lines_are_no_part_of_them(stamp: str, every: int) -> None:
    lines = ["MONITOR 3", "*D C000 C1FF"]
    for i, (at, row) in enumerate(rows(DATA[:512], 16)):
        lines += ([f"{0xC000 + at:04X}:"] if every > 1 and i % every == 0 else []) + [
            (f"{0xC000 + at:04X}: " if every == 1 else "") + row.hex(" ")
        ]
    stamped = [stamp.format(m=i // 60, s=i % 60) + line for i, line in enumerate(lines)]
    (reading,) = readings(stamped)
    assert seen(reading) == shown(DATA[:512], 0xC000)


@pytest.mark.parametrize("wide", [16, 32])
def test_two_lines_are_a_dump_where_a_text_column_bears_them_out(wide: int) -> None:
    lines = [f"{0x400 + at:04X} {row.hex(' ').upper()}  |{printable(row)}|" for at, row in rows(TEXT[: 2 * wide], wide)]
    (reading,) = readings([lines[0], *lines])
    assert seen(reading) == shown(TEXT[: 2 * wide], 0x400)


@pytest.mark.parametrize("gap", [" ", ","])
@pytest.mark.parametrize("real", [True, False])
def test_blank_cells_before_the_first_byte(gap: str, real: bool) -> None:
    """The first line's address may be that of its first byte, or that of its first column."""
    first = 0x4409
    lines = [f"{first if real else first & ~15:04X}: " + gap.join(["  "] * 9 + [f"{b:02X}" for b in DATA[:7]])]
    lines += [f"{0x4410 + at:04X}: " + gap.join(f"{b:02X}" for b in row) for at, row in rows(DATA[7:135], 16)]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:135], first)


def test_a_short_last_line_with_its_sum_in_brackets() -> None:
    lines = [
        f"{0x1800 + at:04X}= " + f"{row.hex(' ').upper()} ({sum(row) & 255:02X})".ljust(40) + f" ; {printable(row)}"
        for at, row in rows(DATA[:200], 12)
    ]
    full = lines[0].index(")") + 1
    lines = [line[:full].rstrip() + line[full:].lstrip().join([" ", ""]) for line in lines[:-1]] + lines[-1:]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:200], 0x1800)


def test_words_without_gaps_take_their_order_from_the_text_column() -> None:
    data = TEXT[:64]
    lines = [
        f"{0x2000 + at:04X} " + "".join(row[i : i + 2][::-1].hex() for i in range(0, 16, 2)) + f"  {printable(row)}"
        for at, row in rows(data, 16)
    ]
    (reading,) = readings(lines)
    assert seen(reading) == shown(data, 0x2000)
    assert reading.source.unordered == 1


def test_a_bus_that_shows_the_low_byte_of_the_address_is_no_address_column() -> None:
    data = bytes(i & 255 for i in range(2048))
    lines = [(f"0x{0x6200 + at:04X}:" if at % 128 == 0 else " " * 7) + row.hex(" ") for at, row in rows(data, 16)]
    (reading,) = readings(lines)
    assert seen(reading) == shown(data, 0x6200)


def test_headings_of_words_are_dropped_on_every_page() -> None:
    words = [int.from_bytes(DATA[i : i + 2], "big") for i in range(0, 512, 2)]
    lines = []
    for i in range(0, len(words), 4):
        if i % 64 == 0:
            lines += ["", "*          0     2     4     6"]
        lines.append(
            ("*" + (f"{0xE000 + 2 * i:05X}" if i % 16 == 0 else "     "))
            + "".join(f" {w:5d}" for w in words[i : i + 4])
        )
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:512], 0xE000)


@pytest.mark.parametrize(
    ("head", "cell", "first"),
    [
        (["D 1000.11FF", "1000"], "{:3d}", 0x1000),
        (["&00001800"], "{:3d}", 0x1800),
        (["PRINT 4096:4607", "ADDR 04096:"], "{:02X}", 4096),
        (["T 0 511", "0"], "{:02X}", 0),
        (["FROM 8192"], "{:02X}", 8192),
        (["FROM 6400"], "{:3d}", 6400),
    ],
)
def test_the_base_of_the_only_address_is_told_from_what_stands_around_it(
    head: list[str], cell: str, first: int
) -> None:
    lines = [*head, *(" ".join(cell.format(b) for b in row) for _, row in rows(DATA[:512], 16))]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:512], first)


def test_a_sum_in_brackets_that_is_not_understood_is_no_data() -> None:
    lines = ["ADDR 4000:"]
    lines += [f"{row.hex(' ')} ({(sum(row) + at * 7) % 251:02x})" for at, row in rows(DATA[:512], 16)]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:512], 0x4000)


def test_one_character_for_all_bytes_of_an_undriven_bus_may_be_any() -> None:
    lines = [f"{0xC000 + at:04X}: {'ff ' * 16} {'·' * 16}" for at in range(0, 1024, 16)]
    (reading,) = readings(lines, "utf-8")
    assert seen(reading) == shown(b"\xff" * 1024, 0xC000)


def test_lines_with_an_at_sign_are_no_memory_file_if_their_addresses_would_collide() -> None:
    lines = [".00C000:", *("@" + row.hex(" ").upper() for _, row in rows(DATA[:504], 12))]
    (reading,) = readings(lines)
    assert seen(reading) == shown(DATA[:504], 0xC000)


def test_columns_that_hide_an_address_are_no_layout_without_addresses() -> None:
    lines = [f"{i * 37 % 1000:04d}h  {row.hex(' ')}" for i, (_, row) in enumerate(rows(DATA[:256], 16))]
    with pytest.raises(BadInput):
        readings(lines)


@pytest.mark.parametrize("encoding", ["utf-16", "utf-16-le", "utf-16-be", "utf-32"])
def test_a_sample_of_wide_characters_is_in_step(encoding: str) -> None:
    text = "".join(f":{i:06X} {i * 7919 & 0xFFFF:04X}\r\n" for i in range(60_000))
    source = text.encode(encoding)
    sample = sample_of(source)
    assert len(sample) < len(source) / 2
    lines = sample.decode(encoding).split("\n")
    assert len(lines) > 1000
    assert all(line.startswith(":") for line in lines if line.strip())
