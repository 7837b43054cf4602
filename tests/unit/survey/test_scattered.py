"""A ROM in pieces: bytes here and there, the rest as the bus, and what is none though it looks so."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from romassay.address import Range
from romassay.catalogue import load_part
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


def test_tables_of_their_own_periods_are_one_rom_and_never_confirmed_in_part() -> None:
    """Waves of 64, 128 and 256 bytes stand again within the ROM; the bus follows the address around it."""
    waves = [np.sin(2 * np.pi * np.arange(size) * turns / size) for size, turns in ((256, 1), (128, 1), (128, 2))]
    tables = np.concatenate([waves[0], waves[1], waves[2], np.roll(waves[1], 9), np.roll(waves[2], 5), waves[0] ** 3])
    rom = (128 + 100 * tables).astype(np.uint8)
    address = np.arange(0x4000)
    said = (address >> 8).astype(np.uint8)
    mine = address >> 12 & 1 == 0
    said[mine] = rom[address[mine] & 0x3FF]
    made = [reading_of([(0, said.tobytes())], address_bits=14) for _ in range(2)]
    result = assay(gather(made))
    assert result.survey.functions[0].size == 1024 or result.verdict == "provisional"


@pytest.mark.parametrize("seed", range(3))
def test_code_and_vectors_with_nothing_between_are_the_declared_part_beside_a_noisy_empty_socket(seed: int) -> None:
    draw = np.random.default_rng(seed)
    rom = np.full(1024, 0xFF, np.uint8)
    rom[:256], rom[-6:] = draw.integers(0, 256, 256), draw.integers(0, 256, 6)
    address = np.arange(0xA000, 0xB000)
    made = []
    for number in range(4):
        said = np.full(len(address), 0xFF, np.uint8)
        if number:
            mine = address & 0x0400 != 0
            said[mine] = rom[address[mine] & 0x3FF]
        said ^= np.packbits(draw.random((len(said), 8)) < 0.002, axis=1)[:, 0]
        reading = reading_of([(0xA000, said.tobytes())], address_bits=BITS)
        made.append(reading if number else replace(reading, role="empty-socket"))
    functions = survey(gather(made), part=load_part("6530")).functions
    assert [(f.kind, f.size, f.level(10)) for f in functions] == [("rom", 1024, "1")]


def test_a_rom_that_repeats_itself_beside_a_whole_one_has_the_declared_size() -> None:
    draw = np.random.default_rng(8)
    whole, half = draw.integers(0, 256, 512, dtype=np.uint8), draw.integers(0, 256, 256, dtype=np.uint8)
    address = np.arange(1 << 12)
    said = address.astype(np.uint8)
    first, second = address & 0xC00 == 0x000, address & 0xC00 == 0x800
    said[first], said[second] = whole[address[first] & 511], half[address[second] & 255]
    made = [reading_of([(0, said.tobytes())], address_bits=12) for _ in range(2)]
    found = survey(gather(made), size=512).functions
    assert sorted((f.size, f.level(11), f.level(10)) for f in found) == [(512, "0", "0"), (512, "1", "0")]


def test_what_the_bus_holds_behind_a_mostly_blank_rom_is_no_half_of_it() -> None:
    """Behind one copy it holds the ROM's last byte, behind the other what the host's memory left there."""
    rom = sparse(9, 4096, 200)
    rom[-1] = 0xFF
    address = np.arange(0x8000, 0x10000)
    said = np.full(len(address), 0x7E, np.uint8)
    for line, held in ((0xC000, 0xFF), (0xE000, 0xFF), (0xF500, 0x43)):
        said[line - 0x8000 :] = held
    for first in (0xC000, 0xE000):
        said[first - 0x8000 : first - 0x8000 + 4096] = rom
    made = [reading_of([(0x8000, said.tobytes())], address_bits=BITS) for _ in range(3)]
    found = survey(gather(made, exclude=[Range(0xF300, 0xF4FF)])).functions
    assert [(f.size, [c.first for c in f.copies], f.level(12)) for f in found] == [(4096, [0xC000, 0xE000], "0")]


def test_a_few_bytes_that_differ_from_the_empty_socket_each_time_are_the_roms() -> None:
    """The lower half of the ROM is blank as the bus is, but for its last three bytes."""
    rom = np.full(256, 0xFF, np.uint8)
    rom[0x7D:] = np.random.default_rng(4).integers(0, 255, 256 - 0x7D)
    passes = [reading_of([(0, rom.tobytes())], address_bits=8) for _ in range(3)]
    hollow = replace(reading_of([(0, b"\xff" * 256)], address_bits=8), role="empty-socket")
    assert [f.size for f in survey(gather([*passes, hollow])).functions] == [256]


def test_a_bus_that_loses_its_charge_is_no_blank_rom() -> None:
    """It holds FF for a while, and lets one bit go after the other, at other times in each reading."""
    made = []
    for seed, role in ((1, "specimen"), (2, "specimen"), (3, "pulled-up")):
        leaving = np.sort(np.random.default_rng(seed).integers(64, 1024, 8))
        said = np.full(2048, 0xFF, np.uint8)
        for bit, at in enumerate(leaving):
            said[at:] &= 0xFF ^ 1 << bit
        said = np.full(2048, 0xFF, np.uint8) if role == "pulled-up" else said
        made.append(replace(reading_of([(0, said.tobytes())], address_bits=11), role=role))  # type: ignore[arg-type]
    assert survey(gather(made), size=1024).functions == ()


@pytest.mark.parametrize("seed", range(6))
def test_noise_of_which_a_line_stands_still_now_and_then_is_nothing(seed: int) -> None:
    draw = np.random.default_rng(seed)
    made = [reading_of([(0, draw.bytes(20480))], address_bits=16) for _ in range(2)]
    assert survey(gather(made), size=4096).functions == ()
