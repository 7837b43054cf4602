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


@pytest.mark.parametrize("complement", [0xFF, 0x00])
@pytest.mark.parametrize("group", [4, 16])
def test_a_sum_that_holds_as_well_with_the_first_byte_in_its_place(complement: int, group: int) -> None:
    """A sum that brings its line to one value does so wherever it stands: it stands behind, or as the groups tell."""
    memory = bytearray(i & 0xFF for i in range(0x2000))
    memory[0x600:0x800] = ROM
    lines = []
    for at in range(0, len(memory), 16):
        row = memory[at : at + 16]
        total = complement - sum(row) & 0xFF
        groups = (" ".join(f"{b:02x}" for b in row[k : k + group]) for k in range(0, 16, group))
        lines.append(f"{0x4000 + at:06x}:" + " | ".join(groups) + f" {total:02x}")
    reading = read("\r\n".join(lines).encode(), "evening.log").readings[0]
    assert (reading.addresses()[0], reading.addresses()[-1]) == (0x4000, 0x5FFF)
    assert bytes(reading.value) == bytes(memory)


@pytest.mark.parametrize("lost", [0.0, 0.005])
def test_a_noisy_bus_of_zeros_in_two_digits_is_hex(lost: float) -> None:
    """No decimal or octal number of one byte is filled with zeros to two digits: 255 and 377 take three."""
    rng = np.random.default_rng(5)
    memory = bytearray(0x4000)
    memory[0x2000:0x2200] = memory[0x3000:0x3200] = ROM
    lines = []
    for at in range(0, len(memory), 8):
        row = memory[at : at + 8]
        total = (sum(row) + sum(divmod(0x8000 + at, 256))) & 0xFF
        lines.append(f"&{0x8000 + at:04x}.. " + " ".join(f"{b:02x}" for b in row) + f" {total:02x}   ........")
    text = np.frombuffer("\n".join(lines).encode(), np.uint8)
    text = text[(rng.random(len(text)) >= lost) | (text == ord("\n"))]
    reading = read(text.tobytes(), "evening.log").readings[0]
    where = reading.addresses().astype(int) - 0x8000
    assert bytes(reading.value) == bytes(memory[i] for i in where)
    assert np.count_nonzero((where >= 0x2000) & (where < 0x2200)) > 256
