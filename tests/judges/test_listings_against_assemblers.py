"""Listings go through real assemblers and come back as the same bytes; the tables are held against them by that."""

from __future__ import annotations

import random
from pathlib import Path

import pytest

import romassay
from assemblers import assembled
from romassay.code.dialects import DIALECTS
from romassay.code.listing import listing, source
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.model import Name

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


def test_the_rehearsals_firmware_comes_back(tmp_path: Path) -> None:
    data = FOG.read_bytes()
    shown = listing(cpu_of("6502"), data, 0xFC00, [("reset", 0xFC00), ("nmi", 0xFE4D), ("irq", 0xFE55)])
    text = source(shown)
    assert assembled("6502", text, tmp_path) == data
    assert assemble(cpu_of("6502"), text).data == data


def test_every_cpu_has_a_dialect() -> None:
    assert set(DIALECTS) == set(NAMES)
    assert [name for name in NAMES if DIALECTS[name].assembler == "romassay"] == ["8048"]
