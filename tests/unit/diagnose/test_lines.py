"""Single lines: stuck, open, bridged; on the data side and on the address side."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from tests.faulty import FOG, first, readings, told, window

from romassay.catalogue import load_part
from romassay.chain import Options, assay
from romassay.reading import Bytes, Index, Source, reading_of


def test_a_faultless_log_has_no_fault() -> None:
    result = told(window())
    assert result.verdict == "confirmed"
    assert not [finding for finding in result.findings if finding.blocks]


@pytest.mark.parametrize("line", range(8))
def test_a_data_line_at_the_level_at_which_the_bus_does_not_float_is_stuck(line: int) -> None:
    def low(value: Bytes) -> Bytes:
        return value & np.uint8(~(1 << line) & 0xFF)

    result = told(window(data=low))
    found = result.findings[0]
    assert (found.kind, found.lines) == ("data-line-stuck", (f"D{line}",))
    assert result.verdict == "provisional"


def test_a_data_line_at_the_level_at_which_the_bus_floats_is_open_or_else_stuck() -> None:
    result = told(window(data=lambda value: value | np.uint8(0x20)))
    assert result.findings[0].kind == "data-line-open"
    assert result.findings[0].lines == ("D5",)
    assert first(result, "data-line-stuck").alternative_to == "data-line-open"


@pytest.mark.parametrize("line", [0, 3, 7])
def test_a_data_line_at_another_level_in_each_reading_is_open_and_no_late_bit(line: int) -> None:
    low, high = np.uint8(0xFF & ~(1 << line)), np.uint8(1 << line)
    result = told(window(data=lambda value: value & low), window(data=lambda value: value | high))
    assert (result.findings[0].kind, result.findings[0].lines) == ("data-line-open", (f"D{line}",))
    assert not [f for f in result.findings if f.kind in ("marginal-timing", "mixed-specimens", "latched-enable")]


@pytest.mark.parametrize("inverted", [False, True])
def test_a_data_line_that_floats_at_the_level_of_an_own_address_line_is_open(*, inverted: bool) -> None:
    where = np.arange(0x8000, 0x9000)
    bus = (where >> 8).astype(np.uint8)
    value = FOG[where & 0x3FF] & np.uint8(0xFE) | bus & np.uint8(1)
    log = np.where(where & 0x400 == 0, ~value if inverted else value, bus).astype(np.uint8)
    result = told(log)
    assert first(result, "data-line-open").lines == ("D0",)
    assert bool([f for f in result.findings if f.kind == "data-inverted"]) == inverted


@pytest.mark.parametrize("mask", [0xF0, 0x0F])
def test_half_the_data_lines_idle_together_in_a_part_half_as_wide(mask: int) -> None:
    result = told(window(data=lambda value: value | np.uint8(mask)))
    assert not [f for f in result.findings if f.kind in ("data-line-open", "data-line-stuck")]


@pytest.mark.parametrize(("one", "other"), [(0, 1), (2, 7), (3, 4)])
@pytest.mark.parametrize("low", [True, False])
def test_two_data_lines_that_always_move_together_are_bridged(one: int, other: int, *, low: bool) -> None:
    def bridged(value: Bytes) -> Bytes:
        a, b = value >> one & 1, value >> other & 1
        wins = a & b if low else a | b
        return (value & np.uint8(~(1 << one | 1 << other) & 0xFF) | wins << one | wins << other).astype(np.uint8)

    found = told(window(data=bridged)).findings[0]
    assert (found.kind, found.lines) == ("data-lines-bridged", (f"D{one}", f"D{other}"))
    assert ("low" if low else "high") in found.evidence


@pytest.mark.parametrize("line", range(9))
@pytest.mark.parametrize("high", [True, False])
def test_an_image_that_repeats_inside_itself_has_a_dead_address_line(line: int, *, high: bool) -> None:
    def stuck(address: Index) -> Index:
        return address | 1 << line if high else address & ~(1 << line)

    result = told(window(address=stuck))
    found = result.findings[0]
    assert (found.kind, found.lines) == ("address-line-stuck", (f"A{line}",))
    assert result.verdict == "provisional"


def test_a_dead_upper_line_may_be_a_specimen_of_half_the_size() -> None:
    result = told(window(address=lambda address: address & ~0x200))
    assert result.findings[0].kind == "half-image"
    assert result.findings[0].lines == ("A9",)


@pytest.mark.parametrize(("one", "other"), [(0, 1), (2, 8), (5, 9)])
@pytest.mark.parametrize("low", [True, False])
def test_two_address_lines_that_act_as_one_are_bridged(one: int, other: int, *, low: bool) -> None:
    def bridged(address: Index) -> Index:
        a, b = address >> one & 1, address >> other & 1
        wins = a & b if low else a | b
        return address & ~(1 << one | 1 << other) | wins << one | wins << other

    found = told(window(address=bridged)).findings[0]
    assert (found.kind, found.lines) == ("address-lines-bridged", (f"A{one}", f"A{other}"))


@pytest.mark.parametrize(("one", "other"), [(10, 11), (10, 13), (11, 12)])
@pytest.mark.parametrize("low", [True, False])
@pytest.mark.parametrize("size", [None, 1024])
def test_a_select_bridged_with_a_line_that_does_not_count_is_told_by_a_mirror_that_is_missing(
    one: int, other: int, size: int | None, *, low: bool
) -> None:
    where = np.arange(0x8000, 0xC000)
    a, b = where >> one & 1, where >> other & 1
    selected = (a & b if low else a | b) == (0 if low else 1)
    value = np.where(selected, FOG[where & 0x3FF], np.uint8(0xFF)).astype(np.uint8)
    made = [reading_of([(0x8000, value.tobytes())]) for _ in range(2)]
    named = [replace(item, source=Source(name=str(n), sha256=f"{n:064x}")) for n, item in enumerate(made)]
    result = assay(named, Options(size=size))
    assert first(result, "address-lines-bridged").lines == (f"A{one}", f"A{other}")
    assert result.verdict == "provisional"


def test_a_dead_line_is_found_where_no_size_is_declared() -> None:
    result = told(window(address=lambda address: address & ~0x80), size=None)
    assert first(result, "address-line-stuck").lines == ("A7",)
    assert result.verdict != "confirmed"


def test_the_advice_names_the_pins_of_the_declared_part() -> None:
    made = readings(
        window(data=lambda value: value & np.uint8(0xFE)), window(data=lambda value: value & np.uint8(0xFE))
    )
    found = assay(made, Options(part=load_part("6530"))).findings[0]
    assert "DB0, pin 33" in found.advice


def test_text_leaves_d7_low_and_that_is_no_fault() -> None:
    text = (b"WEST MOLE WATCH: RING THE BELL TWICE WHEN THE FOG COMES IN. " * 20)[:1024]
    varied = bytes(c ^ (i // 60 % 7) if c > 0x40 else c for i, c in enumerate(text))
    result = told(window(np.frombuffer(varied, np.uint8)))
    assert not [f for f in result.findings if f.kind.startswith("data-line")]


def test_fog_signal_moves_every_line() -> None:
    assert all(0 < np.count_nonzero(FOG >> bit & 1) < len(FOG) for bit in range(8))


def test_a_lowest_address_line_that_makes_no_difference_is_no_select() -> None:
    result = told(window(address=lambda at: at | 1))
    assert result.findings[0].kind == "address-line-stuck"
    assert not [f for f in result.findings if f.kind == "address-lines-swapped"]
