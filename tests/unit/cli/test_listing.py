"""`romassay listing`: from files and dockets, with its options, its pictures, and one line for every mistake."""

from __future__ import annotations

import random
import struct
import subprocess
import sys
import zlib
from pathlib import Path

import numpy as np
import pytest

import romassay
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of

FOG = Path(romassay.__file__).parent / "twin" / "demo" / "fog_signal.bin"


def run(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "romassay", "listing", *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
    )


def pixels(data: bytes) -> tuple[int, int, list[bytes]]:
    """Read an indexed PNG without filters: ISO/IEC 15948, clauses 5 and 9; every chunk's CRC is checked."""
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    at, chunks = 8, []
    while at < len(data):
        (length,) = struct.unpack(">I", data[at : at + 4])
        kind, body = data[at + 4 : at + 8], data[at + 8 : at + 8 + length]
        assert struct.unpack(">I", data[at + 8 + length : at + 12 + length])[0] == zlib.crc32(kind + body)
        chunks.append((kind, body))
        at += 12 + length
    assert [kind for kind, _ in chunks] == [b"IHDR", b"PLTE", b"IDAT", b"IEND"]
    width, height, depth, colour, *_ = struct.unpack(">IIBBBBB", chunks[0][1])
    assert (depth, colour) == (8, 3)
    raw = zlib.decompress(chunks[2][1])
    rows = [raw[y * (width + 1) : (y + 1) * (width + 1)] for y in range(height)]
    assert all(row[0] == 0 for row in rows)
    return width, height, [row[1:] for row in rows]


def test_a_file_is_listed_and_comes_back(tmp_path: Path) -> None:
    (tmp_path / "fog.bin").write_bytes(FOG.read_bytes())
    done = run(tmp_path, "fog.bin", "-o", "fog.asm", "--picture", "strip.png", "--registers", "6530=0x3C0")
    assert (done.returncode, done.stderr) == (0, "")
    text = (tmp_path / "fog.asm").read_text()
    assert "sta r6530_0 " in text
    assert "; read: port A pins (not the latch); write: port A output latch" in text
    made = assemble(cpu_of("6502"), text)
    assert (made.first, made.data) == (0xFC00, FOG.read_bytes())
    width, height, rows = pixels((tmp_path / "strip.png").read_bytes())
    assert (width, height) == (52 + 256 * 3 + 8, 34 + 4 * 16 + 8)
    assert set(rows[34][52 : 52 + 256 * 3]) == {1}
    assert {3, 5} <= set(rows[34 + 3 * 16][52 : 52 + 256 * 3])  # the last page has padding and pointers


def test_what_is_said_goes_before_what_is_found(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(bytes.fromhex("3e01c9") + b"\xff" * 61)
    done = run(tmp_path, "a.bin", "--cpu", "z80", "--origin", "0x8000", "--entry", "0x8000")
    assert done.returncode == 0
    assert "        ld a,001h                       ; 8000 3E 01" in done.stdout


LEFT, TOP = 44, 22
"""Pixels of the offsets beside and above the cells of a bitmap."""


def test_a_bitmap_shows_the_bits(tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(bytes([0x80, 0x01, 0xFF, 0x00] * 16))
    assert run(tmp_path, "a.bin", "--bitmap", "a.png", "--stride", "4").returncode == 0
    width, height, rows = pixels((tmp_path / "a.png").read_bytes())
    assert (width, height) == (LEFT + (16 * 9 + 1) * 3, TOP + 22)
    first = [rows[TOP + 3 * y][LEFT : LEFT + 24 : 3] for y in range(4)]
    assert [list(row) for row in first] == [[1, *[0] * 7], [*[0] * 7, 1], [1] * 8, [0] * 8]
    assert run(tmp_path, "a.bin", "--bitmap", "a.svg", "--stride", "4").returncode == 0
    assert (tmp_path / "a.svg").read_text().startswith("<svg")


def test_a_bitmap_is_drawn_in_the_cells_that_the_bytes_have(tmp_path: Path) -> None:
    cells = [bytes([0xFF, 0x81, 0x81, 0x81 | n, 0x81, 0x7E, 0, 0, 0]) for n in range(20)]
    (tmp_path / "a.bin").write_bytes(b"".join(cells))
    done = run(tmp_path, "a.bin", "--bitmap", "a.png")
    assert "drawn in cells of 9 bytes, as the bytes repeat; --stride and --wide say it otherwise" in done.stderr
    assert pixels((tmp_path / "a.png").read_bytes())[:2] == (LEFT + (16 * 9 + 1) * 3, TOP + 2 * 10 * 3)
    (tmp_path / "b.bin").write_bytes(random.Random(1).randbytes(500))
    assert "8 bytes, for want of a better number" in run(tmp_path, "b.bin", "--bitmap", "b.png").stderr


@pytest.mark.parametrize(
    ("side", "dots"),
    [
        ("right", ["00000001", "11000000"]),
        ("top", ["10", "00", "00", "00", "00", "00", "01", "01"]),
        ("bottom", ["01", "01", "00", "00", "00", "00", "00", "10"]),
    ],
)
def test_a_byte_of_a_bitmap_stands_as_one_says(side: str, dots: list[str], tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(bytes([0x80, 0x03] * 16))
    done = run(tmp_path, "a.bin", "--bitmap", "a.png", "--stride", "2", "--high-bit", side)
    assert done.returncode == 0
    _, _, rows = pixels((tmp_path / "a.png").read_bytes())
    wide = len(dots[0])
    shown = [rows[TOP + 3 * y][LEFT : LEFT + 3 * wide : 3] for y in range(len(dots))]
    assert ["".join(map(str, row)) for row in shown] == dots


@pytest.mark.parametrize("side", ["left", "top"])
def test_bytes_of_a_bitmap_stand_side_by_side_as_one_says(side: str, tmp_path: Path) -> None:
    (tmp_path / "a.bin").write_bytes(bytes([0x80, 0x01, 0xFF, 0x00] * 8))
    done = run(tmp_path, "a.bin", "--bitmap", "a.png", "--stride", "4", "--wide", "2", "--high-bit", side)
    assert done.returncode == 0
    _, _, rows = pixels((tmp_path / "a.png").read_bytes())
    wide, high = (16, 2) if side == "left" else (2, 16)
    shown = [[rows[TOP + 3 * y][LEFT + 3 * x] for x in range(wide)] for y in range(high)]
    if side == "left":
        assert shown == [[1, *[0] * 14, 1], [*[1] * 8, *[0] * 8]]
    else:
        assert shown == [[1, 1], *[[0, 1]] * 7, *[[0, 0]] * 7, [1, 0]]


def test_how_wide_a_drawing_is_is_read_from_its_bits(tmp_path: Path) -> None:
    ring = [[64 <= (x - 16) ** 2 + (y - 16 - n % 5) ** 2 < 121 for x in range(32)] for n in range(6) for y in range(32)]
    (tmp_path / "a.bin").write_bytes(np.packbits(np.array(ring), axis=1).tobytes())
    done = run(tmp_path, "a.bin", "--bitmap", "a.png")
    assert "4 side by side" in done.stderr
    assert "4 side by side" not in run(tmp_path, "a.bin", "--bitmap", "b.png", "--wide", "1").stderr


def test_what_is_no_code_is_listed_as_data_with_a_word_on_it(tmp_path: Path) -> None:
    data = zlib.compress(bytes(range(256)) * 3, 9) * 2
    (tmp_path / "noise.bin").write_bytes(data)
    done = run(tmp_path, "noise.bin")
    assert done.returncode == 0
    said = "noise.bin does not look like code of any CPU that is known here: all of it is listed as data"
    assert said in done.stderr
    assert f"; {said}; --cpu lists it as code\n; {len(data)} bytes at 0000-" in done.stdout
    assert ", data alone\n" in done.stdout
    assert assemble(cpu_of("6502"), done.stdout).data == data


def test_a_cpu_that_is_not_sure_is_said_to_be_so(tmp_path: Path) -> None:
    head = FOG.read_bytes()[576:640]
    (tmp_path / "head.bin").write_bytes(head)
    done = run(tmp_path, "head.bin")
    assert done.returncode == 0
    assert "taken for 6502 code, by " in done.stderr
    assert "; taken for 6502 code, by " in done.stdout
    assert assemble(cpu_of("6502"), done.stdout).data == head


def test_places_are_called_as_one_likes(tmp_path: Path) -> None:
    (tmp_path / "fog.bin").write_bytes(FOG.read_bytes())
    names = ("lamp=0x3C0", "main=0xFC09", "nowhere=0xFC01", "middle=0xFC02", "count=0x20")
    done = run(tmp_path, "fog.bin", *(word for name in names for word in ("--name", name)))
    assert done.returncode == 0
    assert "lamp = $03c0" in done.stdout
    assert "        sta lamp " in done.stdout
    assert "\nmain:" in done.stdout
    assert done.stderr == "romassay: no line begins at FC02: 'middle' is left out\n"
    assert assemble(cpu_of("6502"), done.stdout).data == FOG.read_bytes()


def test_only_what_the_flow_reaches_on_request(tmp_path: Path) -> None:
    (tmp_path / "fog.bin").write_bytes(FOG.read_bytes())
    part = FOG.read_bytes()[0x40:0x140]
    (tmp_path / "part.bin").write_bytes(part)
    arguments = ("part.bin", "--cpu", "6502", "--origin", "0x200")
    assert "; nothing is seen to lead here; it reads as code" in run(tmp_path, *arguments).stdout
    reached = run(tmp_path, *arguments, "--reached").stdout
    assert "reads as code" not in reached
    assert assemble(cpu_of("6502"), reached).data == part


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (["none.bin"], "none.bin: there is no such file"),
        (["noise.bin", "--cpu", "6510"], "'6510' is no CPU that is known here"),
        (["noise.bin", "--cpu", "6502", "--origin", "0xFFF0"], "do not fit into 64 KiB; give a lower --origin"),
        (["noise.bin", "--cpu", "6502", "--characters", "klingon"], "'klingon' is no character set"),
        (["noise.bin", "--cpu", "6502", "--registers", "6530"], "'6530' names no part and address"),
        (["noise.bin", "--cpu", "6502", "--name", "lda=0x10"], "an assembler does not take 'lda' for a name"),
        (["noise.bin", "--cpu", "Z80", "--name", "defb=0x10"], "an assembler does not take 'defb' for a name"),
        (["noise.bin", "--cpu", "6502", "--name", "two words=0x10"], "does not take 'two words' for a name"),
        (["noise.bin", "--cpu", "6502", "--name", "up=1", "--name", "UP=2"], "two places are called 'UP'"),
        (["noise.bin", "--cpu", "6502", "--name", "lamp"], "'lamp' names no place and address"),
        (["noise.bin", "--bitmap", "a.gif"], "'a.gif' is no kind of picture"),
        (["noise.bin", "--bitmap", "a.png", "--stride", "0"], "a stride of 0 bytes cannot be drawn"),
        (["noise.bin", "--bitmap", "a.png", "--wide", "0"], "0 bytes side by side cannot be drawn"),
        (["noise.bin", "--bitmap", "a.png", "--wide", "2", "--stride", "9"], "a cell of 9 bytes has no lines of 2"),
        (["."], "this is no docket"),
    ],
)
def test_every_mistake_is_one_line(tmp_path: Path, arguments: list[str], problem: str) -> None:
    (tmp_path / "noise.bin").write_bytes(zlib.compress(bytes(range(256)) * 3, 9) * 2)
    done = run(tmp_path, *arguments)
    assert done.returncode == 2
    assert done.stderr.startswith("romassay: ")
    assert done.stderr.count("\n") == 1
    assert problem in done.stderr


def test_a_dump_of_a_bus_is_listed_with_a_word_on_it(tmp_path: Path) -> None:
    code = FOG.read_bytes()
    rows = (f"{0xFC00 + i:04X} {code[i : i + 16].hex(' ')}\n" for i in range(0, len(code), 16))
    (tmp_path / "pass.log").write_text("".join(rows))
    done = run(tmp_path, "pass.log")
    assert done.returncode == 0
    assert "pass.log is listed as it stands, FC00-FFFF; 'romassay assay' finds the ROM in a dump" in done.stderr


def test_another_character_set_is_named_where_it_shows_text(tmp_path: Path) -> None:
    # ECMA-6 with odd and even parity; EBCDIC as Python has it
    text = "THE TIDE IS HIGH AND THE LAMP IS LIT, KEEP WATCH TONIGHT"
    even = bytes(ord(sign) | 0x80 * (ord(sign).bit_count() % 2) for sign in text)
    for name, data in (
        ("ascii-even", even),
        ("ascii-odd", bytes(b ^ 0x80 for b in even)),
        ("ebcdic", text.encode("cp037")),
    ):
        (tmp_path / "a.bin").write_bytes(data + bytes(20))
        done = run(tmp_path, "a.bin", "--cpu", "6502", "--reached")
        assert f"56 bytes read as text in {name}: '--characters {name}' lists them so" in done.stderr
        again = run(tmp_path, "a.bin", "--cpu", "6502", "--reached", "--characters", name)
        assert "bytes read as text" not in again.stderr
        assert "THE TIDE IS HIGH" in again.stdout
