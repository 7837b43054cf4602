"""Data lines that nobody drives, blocks that end where their copies do, and windows that cut a ROM."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from romassay.address import Range
from romassay.reading import Reading, ReadingSet, Role, reading_of
from romassay.settle import settle
from romassay.survey import survey
from romassay.survey.model import Function

BITS = 12
ROM = np.random.default_rng(4).integers(0, 256, 512, dtype=np.uint8)
ADDRESS = np.arange(1 << BITS)


def window(answers: np.ndarray, bus: np.ndarray, driven: int, *, size: int = 512) -> np.ndarray:  # type: ignore[type-arg]
    """Return what the bus says at every address: the ROM's driven lines where it answers, the bus on all others."""
    mine = ROM[ADDRESS & (size - 1)] & driven | bus & (0xFF ^ driven)
    return np.where(answers, mine, bus).astype(np.uint8)


def reading(value: np.ndarray, role: Role = "specimen", first: int = 0) -> Reading:  # type: ignore[type-arg]
    """Make a reading of the bytes from an address on."""
    return replace(reading_of([(first, value.tobytes())], address_bits=BITS), role=role)


def first_of(*readings: Reading, size: int | None = None) -> Function:
    """Return the first function that is found."""
    return survey(ReadingSet(readings, BITS), size=size).functions[0]


def level_of(line: int) -> np.ndarray:  # type: ignore[type-arg]
    return ADDRESS >> line & 1 == 1


def test_one_pull_tells_a_line_that_never_could_move_in_half_of_the_blocks() -> None:
    value = window(~level_of(9), ADDRESS & 0xFF, 0x7F)
    up = window(~level_of(9), np.full(1 << BITS, 0xFF), 0x7F)
    function = first_of(reading(value), reading(value), reading(up, "pulled-up"))
    assert (function.size, function.driven) == (512, 0x7F)
    assert function.decode == {"A9": "0", "A10": "any", "A11": "any"}


@pytest.mark.parametrize("driven", [0x7F, 0x3F, 0x0F, 0x01])
def test_lines_that_only_make_noise_are_not_the_specimens(driven: int) -> None:
    passes = [
        reading(window(level_of(10), np.random.default_rng(seed).integers(0, 256, 1 << BITS), driven))
        for seed in (1, 2, 3)
    ]
    function = first_of(*passes)
    assert (function.size, function.driven) == (512, driven)
    assert function.decode == {"A9": "any", "A10": "1", "A11": "any"}
    image = settle(ReadingSet(tuple(passes), BITS), survey(ReadingSet(tuple(passes), BITS)))[0]
    assert np.array_equal(image.value & driven, ROM & driven)
    assert not image.flipped


def test_a_pull_says_nothing_of_what_was_left_out() -> None:
    value = window(level_of(9), np.full(1 << BITS, 0x7E), 0xFF)[:0x800]
    up = window(level_of(9), np.full(1 << BITS, 0xFF), 0xFF)[:0x800]
    value[:0x400] = up[:0x400] = 0x55
    given = ReadingSet((reading(value), reading(value), reading(up, "pulled-up")), BITS, (Range(0, 0x3FF),))
    assert survey(given, size=512).functions[0].decode["A10"] == "unknown"


def test_a_block_is_no_larger_than_its_copies() -> None:
    """A granule beside one copy of 32 bytes, which the pulls say somebody drives, makes it no ROM of 64."""
    bus = {"specimen": 0x00, "pulled-up": 0xFF, "pulled-down": 0x00}
    made = []
    for role in ("specimen", "specimen", "pulled-up", "pulled-down"):
        value = window(~level_of(5), np.full(1 << BITS, bus[role]), 0xFF, size=32)
        value[0x1A0:0x1B0] = 0x00
        made.append(reading(value, role))  # type: ignore[arg-type]
    function = first_of(*made)
    assert (function.size, function.level(5)) == (32, "0")


def test_a_half_that_only_fades_is_none_of_the_rom() -> None:
    """The half before the first copy reads FF each time, as blank bytes would; before the other it fades by chance."""
    draw = np.random.default_rng(7)
    passes = []
    for _ in range(3):
        value = (draw.integers(0, 256, 1 << BITS) | draw.integers(0, 256, 1 << BITS)).astype(np.uint8)
        value[0x400:0x600] = 0xFF
        for first in (0x600, 0xE00):
            value[first : first + 512] = ROM
        passes.append(reading(value))
    function = first_of(*passes)
    assert (function.size, function.level(9)) == (512, "1")


def test_a_window_that_begins_inside_a_rom_leaves_it_one_rom() -> None:
    value = window(~level_of(9) & ~level_of(10) & level_of(11), np.full(1 << BITS, 0x31), 0xFF)
    passes = [reading(value[0x880:], first=0x880) for _ in range(2)]
    function = first_of(*passes)
    assert (function.size, function.copies[0].first, function.level(9)) == (512, 0x800, "0")


def test_a_blank_block_is_not_fought_over_by_what_stands_beside_it() -> None:
    """What is all ones can be pulled anywhere: a mostly blank ROM beside RAM is no conflict of the two."""
    value = np.full(1 << BITS, 0xFF, np.uint8)
    for first in range(0, 1 << BITS, 1024):
        value[first + 512 : first + 552] = ROM[:40]
        value[first + 64 : first + 96] = value[first + 320 : first + 352] = ROM[200:232]
    functions = survey(ReadingSet((reading(value), reading(value)), BITS), size=512).functions
    assert not any(copy.contended for function in functions for copy in function.copies)


def test_a_copy_that_the_window_cuts_is_none_of_its_own() -> None:
    """The last copy is seen in its first half only, and no line joins it to the others by itself."""
    value = ROM[ADDRESS & 0x7F]
    passes = [reading(value[0x443:0x641], first=0x443) for _ in range(2)]
    functions = survey(ReadingSet(tuple(passes), BITS)).functions
    assert [(f.size, [c.first for c in f.copies]) for f in functions] == [(128, [0x400, 0x480, 0x500, 0x580, 0x600])]


def test_a_blank_end_is_the_roms_beside_a_bus_that_rests_high() -> None:
    """Zeros behind a last byte of zero are not held by a bus that says FF everywhere else."""
    value = np.full(1 << BITS, 0xFF, np.uint8)
    value[0x580:0x600] = 0x00
    value[0x580:0x59F] = ROM[:31]
    value[0x600:0x610] = ROM[32:48]
    function = first_of(reading(value), reading(value), size=128)
    assert [copy.first for copy in function.copies] == [0x580]
    assert function.level(7) == "1"


def test_a_line_that_stands_still_in_the_rom_is_no_noise_though_it_moves_in_ram() -> None:
    passes = []
    for seed in (1, 2, 3):
        rng = np.random.default_rng(seed)
        value = np.full(1 << BITS, 0xFF, np.uint8)
        value[:512] = ROM
        steady = np.random.default_rng(9).integers(0, 256, 512, dtype=np.uint8) & 0x31
        value[2048:2560] = steady | rng.integers(0, 256, 512, dtype=np.uint8) & 0xCE
        passes.append(reading(value))
    function = next(each for each in survey(ReadingSet(tuple(passes), BITS)).functions if each.kind == "rom")
    assert (function.size, function.driven) == (512, 0xFF)
