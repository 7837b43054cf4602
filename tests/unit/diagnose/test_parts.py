"""The declared part, its selects, and an enable that needs an edge."""

from __future__ import annotations

import numpy as np
from tests.faulty import FIRST, FOG, first, readings, window

from romassay.catalogue import load_part
from romassay.chain import Options, assay
from romassay.reading import Bytes

LARGER: Bytes = np.concatenate([FOG, FOG[::-1]])


def everywhere(image: Bytes) -> Bytes:
    """A window in which the ROM answers at every address."""
    return image[np.arange(FIRST, FIRST + 0x1000) & (len(image) - 1)]


def test_other_bytes_beside_the_declared_size_show_a_larger_part() -> None:
    log = everywhere(LARGER)
    result = assay(readings(log, log), Options(part=load_part("6530")))
    assert result.findings[0].kind == "wrong-part"
    assert "2048" in result.findings[0].evidence
    assert result.verdict != "confirmed"


def test_four_roms_side_by_side_may_be_one_larger_though_no_jump_says_so() -> None:
    others = np.random.default_rng(4).integers(0, 256, 3 * 1024).astype(np.uint8)
    log = np.concatenate([FOG, others])
    result = assay(readings(log, log), Options(part=load_part("6530")))
    assert first(result, "wrong-part").lines == ("A10", "A11")
    assert result.verdict == "provisional"


def test_a_rom_in_every_block_and_nothing_else_of_the_part_has_a_tied_select() -> None:
    log = everywhere(FOG)
    found = assay(readings(log, log), Options(part=load_part("6530"))).findings[0]
    assert found.kind == "select-tied"
    assert "RS0" in found.lines
    assert "RS0 is pin 4" in found.advice


def test_one_byte_over_whole_blocks_is_a_latched_enable() -> None:
    def held(_: Bytes) -> Bytes:
        return np.full(0x1000, 0x4C, np.uint8)

    log = window(data=held)
    result = assay(readings(log, log))
    assert result.verdict == "not-found"
    assert result.findings[0].kind == "latched-enable"
    assert result.findings[0].where[0].first == FIRST


def test_another_byte_in_each_reading_is_surely_latched() -> None:
    first, second = (np.full(0x1000, value, np.uint8) for value in (0x4C, 0x20))
    found = assay(readings(first, second)).findings[0]
    assert found.kind == "latched-enable"
    assert found.probability >= 0.8


def test_what_a_broken_reading_never_saw_is_no_byte_of_its_own() -> None:
    """The lines keep the address's upper byte; the first reading broke off after a page."""
    log = np.repeat(np.arange(0x80, 0x90, dtype=np.uint8), 0x100)
    log[0x400:0x800] = FOG
    result = assay(readings(log[:0x100], log, log))
    assert not [f for f in result.findings if f.kind == "latched-enable"]


def test_an_empty_window_is_not_latched() -> None:
    log = np.full(0x1000, 0xFF, np.uint8)
    assert not [f for f in assay(readings(log, log)).findings if f.kind == "latched-enable"]


def test_what_ram_wakes_up_with_is_not_confirmed() -> None:
    rng = np.random.default_rng(3)
    leaning = np.where(np.arange(1024) >> 2 & 1, 0xFF, 0x00).astype(np.uint8)
    odd = rng.random(1024) < 0.4
    leaning[odd] = rng.integers(0, 256, np.count_nonzero(odd))
    log = np.where(np.arange(0x1000) & 0x800 == 0, everywhere(leaning), 0xFF).astype(np.uint8)
    result = assay(readings(log, log))
    assert result.findings[0].kind == "ram-or-rom"
    assert result.verdict == "provisional"
    assert assay(readings(log, log), Options(size=1024)).verdict == "provisional", "RAM has a size as well"
    cycled = readings(log, log, session=("first", "second"))
    assert assay(cycled, Options(size=1024)).verdict == "confirmed"


def test_two_upper_address_lines_bridged_leave_no_two_roms_confirmed() -> None:
    rom = np.concatenate([FOG, FOG[::-1], np.roll(FOG, 1) ^ 1, np.roll(FOG[::-1], 5) ^ 2])
    address = np.arange(FIRST, FIRST + 0x4000)
    both = (address >> 10 & 1) & (address >> 11 & 1)
    seen = (address & 0x3FF) | both << 10 | both << 11
    log = np.where(address & 0x1000 == 0, rom[seen], 0xFF).astype(np.uint8)
    result = assay(readings(log, log))
    assert result.verdict != "confirmed"
    assert result.findings[0].kind == "address-lines-bridged"
    assert set(result.findings[0].lines) == {"A10", "A11"}


def test_a_latched_enable_shows_beside_ram_that_reads_as_a_small_rom() -> None:
    rng = np.random.default_rng(4)
    address = np.arange(0x1000)
    ram = rng.integers(0, 256, 64).astype(np.uint8)
    log = np.where(address & 0x400 == 0, 0x4C, np.where(address & 0x3C0 == 0, ram[address & 63], 0xFF)).astype(np.uint8)
    assert assay(readings(log, log)).findings[0].kind == "latched-enable"


def test_two_halves_of_one_program_that_fill_the_window_are_a_larger_part_than_was_declared() -> None:
    result = assay(readings(FOG, FOG), Options(size=512))
    assert result.findings[0].kind == "wrong-part"
    assert result.findings[0].lines == ("A9",)
