"""Dumps that are mostly floating bus: the digits of the few other lines decide the number base."""

from __future__ import annotations

import numpy as np
import pytest

from romassay.formats import read

ROM = bytes(np.random.default_rng(3).integers(0, 256, 512, dtype=np.uint8))


def dump(memory: bytes, first: int, gutter: bool = False) -> bytes:
    lines = []
    for at in range(0, len(memory), 16):
        row = memory[at : at + 16]
        text = "".join(chr(b) if 32 <= b < 127 else "." for b in row)
        lines.append(f"{first + at:04X}: " + " ".join(f"{b:02X}" for b in row) + (f"  {text}" if gutter else ""))
    return "\r\n".join(lines).encode() + b"\r\n"


@pytest.mark.parametrize("bus", [0x00, 0x10, 0x23, 0x26, 0x77, 0x99])
@pytest.mark.parametrize("place", [0x0400, 0x1E00, 0x3C00])
@pytest.mark.parametrize("gutter", [False, True])
def test_a_rom_in_a_bus_whose_bytes_look_octal_or_decimal(bus: int, place: int, gutter: bool) -> None:
    memory = bytearray([bus]) * 0x4000
    memory[place : place + len(ROM)] = ROM
    loaded = read(dump(bytes(memory), 0x8000, gutter), "evening.log")
    reading = loaded.readings[0]
    assert (len(loaded.readings), len(reading.holes)) == (1, 0)
    assert reading.addresses().tolist() == list(range(0x8000, 0xC000))
    assert bytes(reading.value) == bytes(memory)


def test_a_bus_that_follows_the_address() -> None:
    memory = bytearray((0x2000 + i >> 8) & 0xFF for i in range(0x2000))
    memory[0x1800:0x1A00] = ROM
    reading = read(dump(bytes(memory), 0x2000), "evening.log").readings[0]
    assert bytes(reading.value) == bytes(memory)
