"""Listings go through real assemblers and come back as the same bytes; the tables are held against them by that."""

from __future__ import annotations

import random
import subprocess
from pathlib import Path

import numpy as np
import pytest

import romassay
from assemblers import assembled, records
from romassay.code import code_of
from romassay.code.dialects import DIALECTS
from romassay.code.listing import Place, listing
from romassay.code.source import source
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.model import Name
from tools import need

FOG = Path(romassay.__file__).parent / "twin" / "demo" / "fog_signal.bin"
SIZE = 2048


@pytest.mark.parametrize("name", NAMES)
@pytest.mark.parametrize("origin", [0x0000, 0x6000])
def test_random_bytes_come_back(name: Name, origin: int, tmp_path: Path) -> None:
    """Some 300 entries into 2 KiB of noise reach nearly every instruction of a table."""
    rng = random.Random(f"{name} {origin}")
    data = rng.randbytes(SIZE)
    entries = [("", origin + rng.randrange(SIZE)) for _ in range(SIZE // 6)]
    assert assembled(name, source(listing(cpu_of(name), data, origin, entries)), tmp_path) == data


@pytest.mark.parametrize("name", ["6502", "65C02", "6800", "6801", "6809"])
def test_lines_in_page_zero_come_back(name: Name, tmp_path: Path) -> None:
    """A short address may be that of a line, which an assembler has met in a branch before it knew where it stands."""
    for seed in (7, 11):
        rng = random.Random(seed)
        data = rng.randbytes(rng.choice([150, 256, 300, 700]))
        entries = [("", rng.randrange(len(data))) for _ in range(len(data) // 4 + 1)]
        assert assembled(name, source(listing(cpu_of(name), data, 0, entries)), tmp_path) == data


@pytest.mark.parametrize("name", NAMES)
def test_every_instruction_of_a_table_comes_back(name: Name, tmp_path: Path) -> None:
    """Each row of the table once, with operands that lead a little way on."""
    cpu = cpu_of(name)
    code = bytearray()
    places = []
    for form in cpu.forms:
        if len(code) & 0xFF > 0xF0:
            code += b"\0" * (0x100 - (len(code) & 0xFF))
        places.append(("", 0x4000 + len(code)))
        one = bytearray(form.code) + bytearray([0x34] * (form.size - len(form.code)))
        for operand in form.operands:
            if operand.kind in ("near", "indexed", "pair", "set"):
                one[operand.at] = {"near": 0x02, "indexed": 0x84, "pair": 0x12, "set": 0x06}[operand.kind]
        if form.tail is not None:
            one[-1] = form.tail
        code += one + b"\xff\xff"
    shown = listing(cpu, bytes(code), 0x4000, places)
    assert len(shown.followed.instructions) >= len(cpu.forms)
    assert assembled(name, source(shown), tmp_path) == bytes(code)


PROGRAMS = Path(__file__).parents[2] / "training" / "c"
BUILDS: tuple[tuple[Name, tuple[str, ...]], ...] = (
    ("Z80", ("sdcc", "-mz80", "--no-std-crt0")),
    ("8051", ("sdcc", "-mmcs51", "--model-large")),
    ("6502", ("cl65", "-t", "none", "-O")),
    ("65C02", ("cl65", "-t", "none", "--cpu", "65c02", "-Oirs")),
)


@pytest.mark.parametrize(("name", "command"), BUILDS, ids=lambda value: value if isinstance(value, str) else "")
def test_what_compilers_make_comes_back(name: Name, command: tuple[str, ...], tmp_path: Path) -> None:
    """A C program of our own, built; its code is followed from where it begins, and recognised as that CPU's."""
    (tmp_path / "program.c").write_bytes((PROGRAMS / "pump.c").read_bytes())
    out = "program.ihx" if command[0] == "sdcc" else "program.bin"
    subprocess.run(
        [need(command[0]), *command[1:], "program.c", "-o", out], cwd=tmp_path, check=True, capture_output=True
    )
    raw = (tmp_path / out).read_bytes()
    data = records(raw.decode()) if out.endswith("ihx") else raw
    found = code_of(np.frombuffer(data, np.uint8))
    assert found.cpu == name
    origin = 0x0200 if name == "Z80" else 0
    text = source(listing(cpu_of(name), data, origin, [("start", origin), *found.entries]))
    assert assembled(name, text, tmp_path) == data


NAMED: tuple[tuple[Name, tuple[str, ...]], ...] = (
    ("6502", ("lda $10", "sta ($10),y", "inc $2000", "sta $2000,x", "jsr $f000", "jmp ($2000)", "rts")),
    ("6800", ("ldaa $10", "staa $2000", "inc $2000", "jsr $f000", "rts")),
    ("6809", ("lda $10", "sta $2000", "inc $10", "jsr $f000", "ldx #$2000", "rts")),
    ("8080", ("lda 2000h", "lxi h,2000h", "call 0f000h", "ret")),
    ("Z80", ("ld a,(2000h)", "ld hl,2000h", "call 0f000h", "ret")),
    ("8051", ("mov dptr,#2000h", "mov a,10h", "lcall 0f000h", "ret")),
    ("1802", ("lbr 0f000h",)),
)


@pytest.mark.parametrize(("name", "lines"), NAMED, ids=[name for name, _ in NAMED])
def test_places_with_names_come_back(name: Name, lines: tuple[str, ...], tmp_path: Path) -> None:
    cpu = cpu_of(name)
    data = assemble(cpu, [f" {line}" for line in lines], origin=0x400).data
    places = {0x10: Place("count"), 0x2000: Place("lamp"), 0xF000: Place("monitor")}
    text = source(listing(cpu, data, 0x400, [("start", 0x400)], registers=places, names={0x400: "main"}))
    assert "main" in text
    assert "monitor" in text
    assert assembled(name, text, tmp_path) == data
    assert assemble(cpu, text).data == data


def test_a_call_into_page_zero_keeps_its_length(tmp_path: Path) -> None:
    """An assembler that knows the 6801 as well has a shorter one, which the 6800 has not."""
    data = bytes.fromhex("bd002039")
    assert assembled("6800", source(listing(cpu_of("6800"), data, 0x400, [("start", 0x400)])), tmp_path) == data


def test_many_short_jumps_in_a_row_come_back(tmp_path: Path) -> None:
    """Such as a table that a JMP @A+DPTR goes into: the linker errs over four of them in one of its records."""
    lines = [" mov dptr,#table", " jmp @a+dptr", "table:", *(f" ajmp l{n}" for n in range(9))]
    code = assemble(cpu_of("8051"), lines + [line for n in range(9) for line in (f"l{n}: inc a", " ret")], origin=0x200)
    text = source(listing(cpu_of("8051"), code.data, 0x200, [("start", 0x200)]))
    assert text.count("ajmp L0") == 9
    assert assembled("8051", text, tmp_path) == code.data
    assert assemble(cpu_of("8051"), text).data == code.data


def test_the_rehearsals_firmware_comes_back(tmp_path: Path) -> None:
    data = FOG.read_bytes()
    shown = listing(cpu_of("6502"), data, 0xFC00, [("reset", 0xFC00), ("nmi", 0xFE4D), ("irq", 0xFE55)])
    text = source(shown)
    assert assembled("6502", text, tmp_path) == data
    assert assemble(cpu_of("6502"), text).data == data


def test_every_cpu_has_a_dialect() -> None:
    assert set(DIALECTS) == set(NAMES)
    assert [name for name in NAMES if DIALECTS[name].assembler == "romassay"] == ["8048"]
