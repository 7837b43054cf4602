"""Layouts of many hosts, made by hand: each is read exactly; tables and lists of numbers are refused."""

from __future__ import annotations

import hashlib
import random
import uuid
from collections.abc import Callable, Sequence

import pytest

from romassay.errors import BadInput
from romassay.formats.model import Hints
from romassay.formats.text.respelt import respelt
from romassay.formats.text_dump import read

OPCODES = b"\xa9\x8d\x20\x4c\x60\xd0\xf0\x85\xa5\x00\x01\x02\xc3\xcd\x3e\x21"


def image(size: int) -> bytes:
    rng = random.Random(11)
    parts = [bytes(rng.choices(OPCODES, k=50)) + b"THE LAMP IS LIT" + rng.randbytes(20) + bytes(9) for _ in range(30)]
    return b"".join(parts)[:size]


def hexes(row: Sequence[int], between: str = " ") -> str:
    return between.join(f"{b:02X}" for b in row)


def decimals(row: Sequence[int], between: str = " ") -> str:
    return between.join(str(b) for b in row)


def octals(row: Sequence[int]) -> str:
    return " ".join(f"{b:03o}" for b in row)


def octal_words(row: Sequence[int]) -> str:
    return " ".join(f"{high << 8 | low:06o}" for low, high in zip(row[::2], row[1::2], strict=True))


def pairs(at: int, row: Sequence[int], form: str) -> str:
    return "   ".join(form.format(at + i, b) for i, b in enumerate(row))


def shown(row: Sequence[int]) -> str:
    return "".join(chr(b) if 32 <= b < 127 else "." for b in row)


def signed(value: int, bits: int = 8) -> int:
    return value - (1 << bits) if value >> (bits - 1) else value


def assembled(value: int) -> str:
    text = f"{value:02X}H"
    return text if text[0].isdigit() else "0" + text


Print = Callable[[int, bytes], str]
HABITS: dict[str, tuple[int, int, Print]] = {
    "dash behind the address": (8, 0xC000, lambda at, row: f"{at:04X}-{hexes(row)}"),
    "one byte a line": (1, 0xC000, lambda at, row: f"{at:04X}/{row[0]:02X}"),
    "an interpreter's loop": (1, 49152, lambda at, row: f" {at}  {row[0]} "),
    "print zones": (8, 32768, lambda at, row: f" {at}" + "".join(f" {b}".ljust(10) for b in row)),
    "print zones by tabs": (1, 49152, lambda at, row: f"{at}\t{row[0]}"),
    "an expression": (1, 49152, lambda at, row: f"PEEK( {at} )= {row[0]}"),
    "signed addresses": (8, 0xC000, lambda at, row: f"{signed(at, 16)}: {decimals(row)}"),
    "signed bytes": (8, 0xC000, lambda at, row: f"{at}: " + " ".join(str(signed(b)) for b in row)),
    "signed bytes in columns": (8, 0xC000, lambda at, row: f"{at:04X}: " + "".join(f"{signed(b):5d}" for b in row)),
    "segment and offset": (16, 0xF0000, lambda at, row: f"F000:{at & 0xFFFF:04X}  {hexes(row)}  {shown(row)}"),
    "bank and offset": (16, 0x1FE00, lambda at, row: f"{at >> 16:02X}:{at & 0xFFFF:04X} {hexes(row)}"),
    "split octal": (8, 0x0000, lambda at, row: f"{at >> 8:03o} {at & 255:03o}  {octals(row)}"),
    "split octal with a dot": (16, 0xC000, lambda at, row: f"{at >> 8:03o}.{at & 255:03o}: {octals(row)}"),
    "an address before every byte": (4, 0xC000, lambda at, row: pairs(at, row, "{:04X}: {:02X}")),
    "decimal pairs": (4, 49152, lambda at, row: pairs(at, row, "{:5d} {:3d}")),
    "first and last address": (16, 0xC000, lambda at, row: f"{at:04X}-{at + 15:04X}: {hexes(row)}"),
    "address behind as well": (16, 0xC000, lambda at, row: f"{at:04X} {hexes(row)} {at + 15:04X}"),
    "a debugger's symbol": (8, 0xC000, lambda at, row: f"0x{at:x} <rom+{at - 0xC000}>:\t0x" + hexes(row, "\t0x")),
    "assembler lines": (8, 0x1C00, lambda at, row: f"{at:04X}H DB " + ",".join(map(assembled, row))),
    "labels": (8, 0xC000, lambda at, row: f"L{at:04X}: .BYTE " + ",".join(f"${b:02X}" for b in row)),
    "decimal sum": (8, 0xC000, lambda at, row: f"{at:5d}:" + "".join(f"{b:4d}" for b in row) + f" ={sum(row):6d}"),
    "hex sum": (16, 0xC000, lambda at, row: f"{at:04X} {hexes(row)} ={sum(row):04X}"),
    "text before the bytes": (16, 0xC000, lambda at, row: f"{at:04X} {shown(row)} {hexes(row)}"),
    "a table's bars": (16, 0xC000, lambda at, row: f"| {at:04X} | {hexes(row, ' | ')} |"),
    "a bus trace": (1, 0xC000, lambda at, row: f"A={at:04X} D={row[0]:02X} R/W=1"),
    "words before the numbers": (1, 0xC000, lambda at, row: f"ADDR {at:04X} DATA {row[0]:02X}"),
    "comma separated": (1, 0xC000, lambda at, row: f"0x{at:04X},0x{row[0]:02X}"),
    "a count before the bytes": (8, 0xC000, lambda at, row: f"{at:04X} 08 {hexes(row)}"),
    "a stamp of the terminal": (16, 0xC000, lambda at, row: f"[12:07:{at // 16 % 60:02d}] {at:04X}: {hexes(row)}"),
    "binary": (1, 0xC000, lambda at, row: f"{at:04X} {row[0]:08b}"),
    "octal words": (16, 0o140000, lambda at, row: f"{at:06o}/ {octal_words(row)}"),
}  # fmt: skip


def log_of(habit: str, size: int = 320) -> tuple[bytes, int, bytes]:
    per_line, first, show = HABITS[habit]
    data = image(size)
    lines = [show(first + i, data[i : i + per_line]) for i in range(0, size, per_line)]
    return "\r\n".join(["READY", *lines, ">", ""]).encode(), first, data


@pytest.mark.parametrize("habit", HABITS)
def test_each_habit_is_read_exactly(habit: str) -> None:
    text, first, data = log_of(habit)
    (reading,) = read(text, Hints()).readings
    assert dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True)) == dict(enumerate(data, first))
    assert reading.holes == ()


@pytest.mark.parametrize(
    "habit", ["segment and offset", "bank and offset", "split octal with a dot", "signed addresses"]
)
def test_a_line_that_breaks_the_habit_is_a_hole(habit: str) -> None:
    text, first, data = log_of(habit)
    lines = text.split(b"\r\n")
    lines[5] = b"?" + lines[5][1:]
    found = read(b"\r\n".join(lines), Hints()).readings
    assert len(found) == 1
    seen = dict(zip(found[0].addresses().tolist(), found[0].value.tolist(), strict=True))
    assert seen.items() <= dict(enumerate(data, first)).items()
    assert len(seen) >= len(data) - 2 * HABITS[habit][0]


def test_plain_numbers_are_left_as_they_are() -> None:
    for habit in ("dash behind the address", "decimal sum", "comma separated", "hex sum"):
        text = log_of(habit)[0].replace(b"\r", b"")
        assert respelt(text) == text


def numbered(form: Callable[[int], str], count: int = 60) -> str:
    return "".join(form(i) + "\n" for i in range(count))


RNG = random.Random(5)
NO_DUMPS = {
    "file digests": numbered(lambda i: f"{hashlib.sha256(bytes([i])).hexdigest()}  file{i}.bin"),
    "short digests": numbered(lambda i: f"{hashlib.md5(bytes([i])).hexdigest()}  file{i}.bin"),  # noqa: S324
    "digests alone": numbered(lambda i: hashlib.sha256(bytes([i])).hexdigest()),
    "numbered digests": numbered(lambda i: f"{i}: {hashlib.sha512(bytes([i])).hexdigest()}"),
    "records with digests": numbered(lambda i: f'{{"id": {i}, "hash": "{hashlib.md5(bytes([i])).hexdigest()}"}}'),  # noqa: S324
    "unique identifiers": numbered(lambda _: str(uuid.UUID(int=RNG.getrandbits(128)))),
    "a certificate's number": numbered(lambda _: ":".join(f"{RNG.randrange(256):02x}" for _ in range(15)) + ":", 17),
    "network addresses": numbered(lambda i: f"2001:0db8:{i:04x}:{RNG.randrange(65536):04x}::1"),
    "hardware addresses": numbered(lambda _: ":".join(f"{RNG.randrange(256):02x}" for _ in range(6))),
    "dates": numbered(lambda i: f"2024-{i // 28 + 1:02d}-{i % 28 + 1:02d}"),
    "a table of contents": numbered(lambda i: f"{i // 8}.{i % 8} Chapter about {i} ........ {i * 10}"),
    "a table of squares": numbered(lambda i: f"{i} {i * i}", 200),
    "a table of characters": numbered(lambda i: f"{i + 32:3d} {i + 32:02X} {i + 32:03o} {chr(i + 32)}", 94),
    "small differences": numbered(lambda i: f"{i},{RNG.randrange(-50, 50)}", 100),
    "names with numbers": numbered(lambda i: f"{RNG.randrange(65536):04X} label_{i}"),
    "lines of a program": numbered(
        lambda i: f"{100 + i * 10} DATA {decimals(image(320)[i * 16 : i * 16 + 16], ',')}", 30
    ),
}


@pytest.mark.parametrize("name", NO_DUMPS)
def test_lists_and_tables_are_no_dumps(name: str) -> None:
    with pytest.raises(BadInput, match=r"no layout|holds no dump"):
        read(NO_DUMPS[name].encode(), Hints())


def test_a_bus_that_repeats_itself_makes_no_sum_of_its_last_byte() -> None:
    # the exclusive or of 31 bytes of such a bus is the 32nd, on every line but those of the chip
    bus = bytes([0x75, 0x75, 0x77, 0x77]) * 256
    memory = bus[:512] + image(256) + bus[:256]
    lines = [f"[{0x8400 + i:04X}] " + ",".join(f"${b:02X}" for b in memory[i : i + 32]) for i in range(0, 1024, 32)]
    (reading,) = read("\n".join(["MONITOR 1.3 (C) 1979", *lines, ""]).encode(), Hints()).readings
    assert bytes(reading.value) == memory
    assert reading.addresses()[0] == 0x8400


def test_a_line_that_may_have_been_data_ends_what_is_counted() -> None:
    # addresses on each 8th line only; the third line of the second group lost its end, and took the fourth with it
    memory = image(256)
    lines = []
    for i in range(0, 256, 4):
        head = f"{i:06X}> " if i % 32 == 0 else " " * 8
        lines.append(f"{head}{hexes(memory[i : i + 4], '  ')}  :{shown(memory[i : i + 4])}:")
    lines[10] += "~" + lines.pop(11)
    lines[16] = "?" + lines[16][1:]
    reading = read("\n".join([*lines, ""]).encode(), Hints()).readings[0]
    seen = dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))
    assert seen.items() <= dict(enumerate(memory)).items()
    assert len(seen) > 180


@pytest.mark.parametrize("last", [25, 1, 0])
def test_a_number_that_the_end_of_the_log_may_have_cut_is_not_taken(last: int) -> None:
    lines = [f" {49152 + i}  {255 - i}" for i in range(40)]
    text = "\n".join([*lines, f" 49192  {last}"]).encode()
    assert sum(len(r.value) for r in read(text, Hints()).readings) == 40
    assert sum(len(r.value) for r in read(text + b"\n", Hints()).readings) == 41


def test_of_few_lines_the_last_may_be_cut() -> None:
    memory = image(64)
    lines = [f"{0o45400 + i:06o}  {octals(memory[i : i + 16]).replace(' ', '  ')}" for i in range(0, 64, 16)]
    reading = read("\n".join(lines)[:-8].encode(), Hints()).readings[0]
    assert reading.value.tolist() == list(memory[:62])
    assert reading.addresses().tolist() == list(range(0o45400, 0o45400 + 62))


def test_a_last_number_that_can_not_go_on_is_taken() -> None:
    text = "\n".join(f" {49152 + i}  {255 - i}" for i in range(40)).encode()
    assert sum(len(r.value) for r in read(text, Hints()).readings) == 40


def test_two_lines_below_a_banner_with_numbers_in_it() -> None:
    log = (
        b"specimen no. 3, socket 2, taken by hand\n64K RAM SYSTEM  38911 BYTES FREE\nBreak at E0A4\n"
        b"64K RAM SYSTEM  38911 BYTES FREE\npass 1 at 10:03\n"
        b"A980.. 5320 4B44 0056 4749 0000 204A 4452 5641 C938 C9AC 8DB7 0B88 6060 0B8D 603E C960\n"
        b"A9A0.. D9C9 CDD9 F9C9 CBDF EB8F CF59 FBFF F1DB DFFD FBE9 DBFF EFCA FFFF FFED DFCB FDEB\n*\n"
    )
    (reading,) = read(log, Hints()).readings
    assert [tuple(run[:3]) for run in reading.runs.tolist()] == [(0xA980, 0, 32), (0xA9A0, 32, 32)]
    assert bytes(reading.value[:4]).hex() == "53204b44"


@pytest.mark.parametrize(
    ("lead", "gap", "size"), [("${:05x}  ", " ", 1), ("0x{:04X}> $", " $", 1), ("{:06x}: ", " ", 2)]
)
def test_lines_between_commands_of_all_kinds_are_whole(lead: str, gap: str, size: int) -> None:
    memory = image(4096)
    lines = ["*** SYSTEM MONITOR ***", "pass 1 at 10:03"]
    kinds = (
        ">MEM {0}",
        "*{0:04X}.2FFF",
        "M {0:04X} 2FFF",
        "10 FOR I={0} TO 12287:PRINT I;PEEK(I):NEXT",
        "RUN",
        ".{0:04X},2FFF",
    )
    asked = random.Random(4)
    for i in range(0, len(memory), 32):
        if i and i % 64 == 0:
            lines.append(asked.choice(kinds).format(0x2000 + i))
        lines.append(lead.format(0x2000 + i) + memory[i : i + 32].hex(" ", size).replace(" ", gap))
    hints = Hints(layout="order=big") if size == 2 else Hints()
    reading = read("\n".join([*lines, "*"]).encode(), hints).readings[0]
    assert reading.value.tolist() == list(memory)
