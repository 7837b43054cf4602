"""A ROM in pieces: bytes here and there, the rest as the bus, and what is none though it looks so."""

from __future__ import annotations

import numpy as np
import pytest

from romassay.chain import assay, gather
from romassay.reading import Reading, reading_of
from romassay.survey import survey

BITS = 16
SIZE = 8192


def sparse(seed: int, size: int = SIZE, islands: int = 24) -> np.ndarray:  # type: ignore[type-arg]
    """Return a ROM that is FF but for some islands of a dozen to threescore bytes."""
    draw = np.random.default_rng(seed)
    rom = np.full(size, 0xFF, np.uint8)
    for _ in range(islands):
        amount = int(draw.integers(12, 64))
        first = int(draw.integers(0, size - amount))
        rom[first : first + amount] = draw.integers(0, 255, amount)
    return rom


def read(rom: np.ndarray, seed: int, *, specks: float = 0.0) -> Reading:  # type: ignore[type-arg]
    """Read 8000-BFFF: the ROM answers where A13 is 0, beside a bus that is pulled up."""
    draw = np.random.default_rng(seed)
    address = np.arange(0x8000, 0xC000)
    said = np.full(len(address), 0xFF, np.uint8)
    mine = address >> 13 & 1 == 0
    said[mine] = rom[address[mine] & (len(rom) - 1)]
    said ^= np.packbits(draw.random((len(said), 8)) < specks, axis=1)[:, 0]
    return reading_of([(0x8000, said.tobytes())], address_bits=BITS)


@pytest.mark.parametrize("seed", range(4))
@pytest.mark.parametrize("specks", [0.0, 0.0005])
def test_a_mostly_blank_rom_on_a_bus_that_rests_as_blank_bytes_is_one_rom(seed: int, specks: float) -> None:
    rom = sparse(seed)
    result = assay(gather([read(rom, number, specks=specks) for number in range(3)]))
    function = result.survey.functions[0]
    assert (function.kind, function.size, function.level(13)) == ("rom", SIZE, "0")
    assert result.image is not None
    assert np.mean(result.image.value == rom) > 0.999
    assert result.verdict == "provisional"
    assert any(finding.kind == "size-ambiguous" and finding.blocks for finding in result.findings)


def test_a_declared_size_leaves_no_doubt_of_a_mostly_blank_rom() -> None:
    rom = sparse(3)
    found = survey(gather([read(rom, number) for number in range(2)]), size=SIZE)
    assert [(f.size, f.sizes) for f in found.functions] == [(SIZE, ())]


def test_what_ends_raggedly_is_one_rom_though_its_tail_is_as_no_other_padding() -> None:
    """Three data lines that nobody drives rest at 1, so that the zeros behind the last byte read E0."""
    draw = np.random.default_rng(5)
    rom = np.zeros(4096, np.uint8)
    rom[:0xF60] = draw.integers(0, 32, 0xF60)
    made = []
    for seed in (1, 2):
        address = np.arange(1 << BITS)
        said = np.random.default_rng(seed).integers(0, 256, 1 << BITS).astype(np.uint8)
        mine = address >> 14 == 3
        said[mine] = rom[address[mine] & 0xFFF] | 0xE0
        made.append(reading_of([(0, said.tobytes())], address_bits=BITS))
    functions = survey(gather(made)).functions
    assert [(f.size, f.level(14), f.level(15), len(f.copies)) for f in functions] == [(4096, "1", "1", 4)]


def test_a_rom_with_ram_and_registers_beside_it_stays_three() -> None:
    draw = np.random.default_rng(6)
    address = np.arange(1 << BITS)
    said = np.full(1 << BITS, 0xFF, np.uint8)
    for first, size, where in ((0x400, 1024, 0x0C00), (0x000, 64, 0x0FC0), (0x080, 16, 0x0FF0)):
        mine = address & where == first
        said[mine] = draw.integers(0, 256, size, dtype=np.uint8)[address[mine] & (size - 1)]
    found = survey(gather([reading_of([(0, said.tobytes())], address_bits=BITS) for _ in range(2)]))
    assert [(f.kind, f.size) for f in found.functions] == [("rom", 1024), ("ram", 64), ("registers", 16)]
