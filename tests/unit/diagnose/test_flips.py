"""What readings differ by: an open line, the byte before, the number of ones, another specimen."""

from __future__ import annotations

import numpy as np
import pytest
from tests.faulty import COUNT, FOG, first, readings, told, window

from romassay.chain import Options, assay
from romassay.reading import Bytes, Index

RNG = np.random.default_rng(8)


def slow(seed: int) -> Bytes:
    """A pass in which now and then a byte comes before all its bits have changed."""
    rng = np.random.default_rng(seed)
    value = window()
    before = np.r_[value[:1], value[:-1]]
    late = (rng.random(COUNT) < 0.02) & (np.arange(COUNT) & 0x400 == 0)
    mask = rng.integers(0, 256, COUNT, dtype=np.uint8)
    return np.where(late, value ^ ((value ^ before) & mask), value).astype(np.uint8)


def sagging(seed: int) -> Bytes:
    """A pass in which bytes with many ones lose some."""
    rng = np.random.default_rng(seed)
    value = window()
    fails = (rng.random(COUNT) < 0.1 * (np.bitwise_count(value) / 8) ** 4) & (np.arange(COUNT) & 0x400 == 0)
    return np.where(fails, value & rng.integers(0, 256, COUNT, dtype=np.uint8), value).astype(np.uint8)


def test_bits_that_keep_the_level_of_the_byte_before_come_too_late() -> None:
    result = told(*(slow(seed) for seed in range(4)))
    assert result.findings[0].kind == "marginal-timing"
    assert first(result, "weak-bits").alternative_to == "marginal-timing"
    assert result.verdict == "provisional"


@pytest.mark.parametrize("edge", [0x00, 0xFF])
def test_bits_that_only_rise_or_only_fall_too_late_are_no_sagging_supply(edge: int) -> None:
    def late(seed: int) -> Bytes:
        rng = np.random.default_rng(seed)
        value = window()
        turning = (value ^ np.r_[value[:1], value[:-1]]) & ~(value ^ np.uint8(edge))
        hit = (rng.random(COUNT) < 0.1) & (np.arange(COUNT) & 0x400 == 0)
        mask = rng.integers(0, 256, COUNT, dtype=np.uint8)
        return np.where(hit, value ^ (turning & mask), value).astype(np.uint8)

    assert told(*(late(seed) for seed in range(4))).findings[0].kind == "marginal-timing"


def test_a_rom_that_agrees_with_itself_clears_the_wires_of_what_a_timer_beside_it_does() -> None:
    def running(seed: int) -> Bytes:
        rng = np.random.default_rng(seed)
        value = window()
        timer = np.arange(COUNT) & 0x7C0 == 0x7C0
        value[timer] = (int(rng.integers(0, 256)) - np.arange(np.count_nonzero(timer)) // 3) & 0xFF
        return value

    movers = ("marginal-timing", "supply-sag", "data-line-open", "address-line-open", "mixed-specimens")
    assert not [f for f in told(*(running(seed) for seed in range(3))).findings if f.kind in movers]


def test_bytes_of_many_ones_that_lose_some_show_a_sagging_supply() -> None:
    assert told(*(sagging(seed) for seed in range(4))).findings[0].kind == "supply-sag"


def test_a_weak_cell_is_neither() -> None:
    weak = window()
    weak[0x40] ^= 0x10
    result = told(window(), weak, window(), window())
    assert first(result, "weak-bits").alternative_to is None
    assert not [f for f in result.findings if f.kind in ("marginal-timing", "supply-sag", "mixed-specimens")]


def test_readings_of_two_specimens_are_told_apart() -> None:
    other = FOG.copy()
    other[0x100:0x180] = np.roll(other[0x100:0x180], 2)
    result = told(window(), window(), window(other))
    assert result.findings[0].kind == "mixed-specimens"
    assert "pass-3.log" in result.findings[0].evidence
    assert result.verdict != "confirmed"


def test_a_data_line_that_alone_moves_from_reading_to_reading_is_open() -> None:
    def floats(value: Bytes) -> Bytes:
        return value ^ (RNG.integers(0, 2, len(value), dtype=np.uint8) << 6)

    found = told(*(window(data=floats) for _ in range(3))).findings[0]
    assert (found.kind, found.lines) == ("data-line-open", ("D6",))


def test_an_address_line_that_reads_now_this_side_now_that_is_open() -> None:
    def floats(address: Index) -> Index:
        return address ^ (RNG.integers(0, 2, len(address)) << 3)

    found = told(*(window(address=floats) for _ in range(3))).findings[0]
    assert (found.kind, found.lines) == ("address-line-open", ("A3",))


@pytest.mark.parametrize("line", [2, 6, 9])
def test_an_address_line_that_keeps_its_level_over_stretches_is_open(line: int) -> None:
    rng = np.random.default_rng(line)

    def drifting(at: Index) -> Index:
        level = np.cumsum(rng.random(len(at)) < 0.004) & 1
        return at & ~(1 << line) | level << line

    found = told(window(address=drifting), window(address=drifting), window(address=drifting)).findings[0]
    assert (found.kind, found.lines) == ("address-line-open", (f"A{line}",))


def test_an_address_line_that_keeps_another_level_in_each_reading_is_open() -> None:
    low, high = window(address=lambda at: at & ~(1 << 4)), window(address=lambda at: at | 1 << 4)
    found = told(low, high, high).findings[0]
    assert (found.kind, found.lines) == ("address-line-open", ("A4",))


def test_memory_of_no_sense_that_was_never_switched_off_may_be_ram() -> None:
    awake = np.random.default_rng(2).integers(0, 256, 1024, dtype=np.uint8)
    result = told(window(awake), size=None)
    assert first(result, "ram-or-rom").evidence.startswith("the 1024 bytes")
    sessions = readings(window(awake), window(awake), session=("first", "second"))
    assert not [f for f in assay(sessions).findings if f.kind == "ram-or-rom"]


def test_differences_between_power_ups_may_be_ram_too() -> None:
    other = FOG.copy()
    other[0x100:0x180] = np.roll(other[0x100:0x180], 2)
    made = readings(window(), window(), window(other), window(other), session=("a", "a", "b", "b"))
    found = first(assay(made, Options(size=1024)), "mixed-specimens")
    assert "RAM" in found.advice
    assert found.probability < first(told(window(), window(), window(other)), "mixed-specimens").probability
