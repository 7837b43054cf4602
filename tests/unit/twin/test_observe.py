from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.errors import BadValue
from romassay.twin import (
    HIGH,
    LOW,
    Bench,
    Floating,
    Function,
    Memory,
    Specimen,
    Weak,
    function_from_pattern,
    observe,
    take,
    truth,
)
from strategies import Scene, scenes

ROM = bytes(range(256))
EVERYTHING = np.arange(0x1000)


def ones_in(column: np.ndarray) -> np.ndarray:
    """The number of bits that are 1 in each byte."""
    return np.unpackbits(column[:, None], axis=1).sum(axis=1)


def bench(*functions: Function, floating: tuple[Floating, ...] = (Floating(),), **more: object) -> Bench:
    specimens = (Specimen(functions),) if functions else ()
    return replace(Bench(12, specimens, floating=floating), **more)  # type: ignore[arg-type]


def rom(pattern: str = "01-1 aaaa aaaa", data: bytes = ROM, **more: object) -> Function:
    return replace(function_from_pattern("rom", pattern, data), **more)  # type: ignore[arg-type]


def test_a_rom_answers_where_its_selects_agree_and_nowhere_else() -> None:
    seen = observe(bench(rom()), EVERYTHING)
    for address in range(0x1000):
        chosen = address & 0xD00 == 0x500
        assert seen[address] == (ROM[address & 0xFF] if chosen else 0xFF)


def test_one_address_is_one_byte() -> None:
    assert observe(bench(rom()), 0x512).tolist() == [0x12]


def test_held_pins_hide_part_of_a_rom_and_swapped_address_lines_scramble_it() -> None:
    upper = Function("rom", (0, 1, 2, 3, 4, 5, 6, HIGH), ((11, 1),), ROM)
    lower = Function("rom", (1, 0, 2, 3, 4, 5, 6, LOW), ((11, 1),), ROM)
    assert observe(bench(upper), 0x803).tolist() == [0x83]
    assert observe(bench(lower), [0x801, 0x802, 0x803]).tolist() == [2, 1, 3]


def test_a_select_that_is_held_at_the_wrong_level_keeps_the_chip_silent() -> None:
    assert set(observe(bench(Function("rom", (0, 1), ((HIGH, 0),), bytes(4))), EVERYTHING)) == {0xFF}
    assert set(observe(bench(Function("rom", (0, 1), ((HIGH, 1),), bytes(4))), EVERYTHING)) == {0x00}


@pytest.mark.parametrize(
    ("floating", "expected"),
    [
        (Floating("pulled", 0xFF), lambda a: 0xFF),
        (Floating("pulled", 0x00), lambda a: 0x00),
        (Floating("constant", 0xB1), lambda a: 0xB1),
        (Floating("address-low"), lambda a: a & 0xFF),
        (Floating("address-high"), lambda a: a >> 8 & 0xFF),
        (Floating("address-bank"), lambda a: a >> 16 & 0xFF),
    ],
)
def test_an_undriven_bus(floating: Floating, expected: object) -> None:
    on_bus = Bench(18, (), floating=(floating,))
    addresses = np.array([0, 1, 0x12345, 0x2FFFF])
    assert observe(on_bus, addresses).tolist() == [expected(a) for a in addresses.tolist()]  # type: ignore[operator]


def test_a_bus_that_keeps_the_previous_byte() -> None:
    on_bus = bench(rom("1111 aaaa aaaa"), floating=(Floating("previous", 0x5A),))
    assert observe(on_bus, [0x000, 0xF12, 0x001, 0x002, 0xF34, 0x003]).tolist() == [0x5A, 0x12, 0x12, 0x12, 0x34, 0x34]


def test_a_bus_that_decays_begins_with_the_previous_byte_and_ends_pulled() -> None:
    on_bus = bench(rom("1111 aaaa aaaa", bytes(256)), floating=(Floating("decay", 0xFF, rate=20.0),))
    seen = observe(on_bus, [0xF00, *range(400)])
    ones = ones_in(seen)
    assert ones[1:4].sum() < 8
    assert (ones[300:] == 8).all()
    assert 0 < ones[1:60].mean() < 8


def test_lines_may_float_differently() -> None:
    on_bus = bench(floating=(Floating("address-low", lines=0x0F), Floating("constant", 0xA5, lines=0xF0)))
    assert observe(on_bus, [0x12, 0x3C]).tolist() == [0xA2, 0xAC]
    with pytest.raises(BadValue, match="0x80"):
        bench(floating=(Floating(lines=0x7F),))


def test_noise_and_unrest_have_the_share_that_they_are_given() -> None:
    ones = ones_in(observe(bench(floating=(Floating("noise", rate=0.3),)), EVERYTHING)).sum()
    assert ones == pytest.approx(0.3 * 8 * 4096, rel=0.05)
    flipped = ones_in(~observe(bench(unrest=0.02), EVERYTHING)).sum()
    assert flipped == pytest.approx(0.02 * 8 * 4096, rel=0.2)


def test_a_narrow_specimen_leaves_the_other_lines_to_the_bus() -> None:
    narrow = rom("01-1 aaaa aaaa", driven=0x0F)
    on_bus = bench(narrow, floating=(Floating("constant", 0x60),))
    assert observe(on_bus, 0x5C9).tolist() == [0x69]


def test_data_pins_may_be_swapped_or_open() -> None:
    swapped = Specimen((rom(),), data_lines=(1, 0, 2, 3, 4, 5, 6, -1))
    on_bus = Bench(12, (swapped,), floating=(Floating("constant", 0x80),))
    assert observe(on_bus, [0x501, 0x502, 0x500, 0x583]).tolist() == [0x82, 0x81, 0x80, 0x83]
    assert truth(on_bus)[0].driven == 0x7F
    assert truth(on_bus)[0].image[1] == 0x82


def test_two_on_the_bus_at_once() -> None:
    other = Specimen((rom("-1-1 aaaa aaaa", bytes(255 - b // 2 for b in range(256))),))
    both = Bench(12, (Specimen((rom(),)), other))
    assert observe(both, 0x54C).tolist() == [0x4C & 255 - 0x26]
    assert observe(replace(both, contention="high-wins"), 0x54C).tolist() == [0x4C | 255 - 0x26]
    assert observe(both, 0xD4C).tolist() == [255 - 0x26]


def test_the_hosts_own_memory_stays_and_contends() -> None:
    host = Memory(0x500, 0x5FF, "rom", b"\x0f")
    on_bus = bench(rom(), memory=(host,))
    assert observe(on_bus, 0x5FC).tolist() == [0x0C]
    assert observe(on_bus, 0x5FC, role="empty-socket").tolist() == [0x0F]


def test_the_hosts_ram_changes_a_little_from_reading_to_reading() -> None:
    on_bus = bench(memory=(Memory(0, 0xFFF, busy=0.05),))
    first, second = observe(on_bus, EVERYTHING), observe(on_bus, EVERYTHING, reading=2)
    assert (first != second).mean() == pytest.approx(0.1, abs=0.03)


def test_ram_holds_within_a_session_and_comes_up_partly_new_in_the_next() -> None:
    on_bus = bench(function_from_pattern("ram", "1aaa aaaa aaaa"))
    first = observe(on_bus, EVERYTHING[0x800:])
    assert (first == observe(on_bus, EVERYTHING[0x800:], reading=2)).all()
    second = observe(on_bus, EVERYTHING[0x800:], session=2)
    assert ones_in(first ^ second).sum() == pytest.approx(8 * 2048 * 0.25 / 2, rel=0.1)


def test_registers_read_as_ports_directions_flag_and_a_timer_that_runs() -> None:
    registers = function_from_pattern("registers", "0000 0000 aaaa")
    on_bus = Bench(12, (Specimen((registers,), port_a=0xE7, port_b=0x3C),))
    passes = [observe(on_bus, np.tile(np.arange(16), 8), reading=n).reshape(8, 16) for n in (1, 2)]
    for seen in passes:
        assert (seen[:, [0, 8]] == 0xE7).all()
        assert (seen[:, [2, 10]] == 0x3C).all()
        assert (seen[:, [1, 3, 9, 11]] == 0).all()
        assert (seen[:, [5, 7, 13, 15]] == 0x80).all()  # more than 256 cycles from byte to byte
        assert len(set(seen[:, [4, 6, 12, 14]].ravel().tolist())) > 16
    assert (passes[0][:, 4] != passes[1][:, 4]).any()


def test_the_flag_is_clear_until_the_timer_has_passed_nought_again() -> None:
    """MCS6500 Hardware Manual, 1976, section 1.6: reading the timer clears its interrupt."""
    registers = function_from_pattern("registers", "0000 0000 aaaa")
    on_bus = replace(Bench(12, (Specimen((registers,)),)), cycles=16)
    count, flag = observe(on_bus, [4, 5]).tolist()
    assert flag == (0x80 if count < 16 else 0)
    flags = [observe(on_bus, [4, 5], reading=n).tolist() for n in range(60)]
    assert {flag for _, flag in flags} == {0, 0x80}
    assert all(flag == 0 for count, flag in flags if count > 32)


WEAK = Weak(0x0F, 3, 0, 0.3)


def test_a_weak_cell_fails_to_one_side_at_its_offset_only() -> None:
    on_bus = bench(rom(weak=(WEAK,)))
    seen = np.array([observe(on_bus, [0x50F, 0x70F, 0x50E], reading=n) for n in range(1, 400)])
    assert set(seen[:, 0].tolist()) == {0x0F, 0x07}
    assert set(seen[:, 2].tolist()) == {0x0E}
    assert (seen[:, :2] == 0x07).mean() == pytest.approx(0.3, abs=0.06)
    assert (seen[:, 0] != seen[:, 1]).any()


@pytest.mark.parametrize("toss", ["reading", "session"])
def test_a_weak_cell_may_fail_in_all_copies_alike(toss: str) -> None:
    on_bus = bench(rom(weak=(replace(WEAK, toss=toss),)))  # type: ignore[arg-type]
    seen = np.array([observe(on_bus, [0x50F, 0x70F], reading=n, session=1 + n // 4) for n in range(200)])
    assert (seen[:, 0] == seen[:, 1]).all()
    assert set(seen[:, 0].tolist()) == {0x0F, 0x07}
    if toss == "session":
        assert all(len(set(seen[n : n + 4, 0].tolist())) == 1 for n in range(0, 200, 4))


def test_control_readings() -> None:
    on_bus = bench(rom(), floating=(Floating("address-high"),))
    assert observe(on_bus, [0x512, 0x212], role="empty-socket").tolist() == [0x05, 0x02]
    assert observe(on_bus, [0x512, 0x212], role="pulled-up").tolist() == [0x12, 0xFF]
    assert observe(on_bus, [0x512, 0x212], role="pulled-down").tolist() == [0x12, 0x00]


def test_patterns_and_benches_that_cannot_be() -> None:
    with pytest.raises(BadValue, match="'10x' is no line pattern"):
        function_from_pattern("rom", "10x")
    with pytest.raises(BadValue, match="2 address pins holds 4 bytes, not 3"):
        function_from_pattern("rom", "10aa", b"abc")
    with pytest.raises(BadValue, match="a bus of 7 lines"):
        Bench(7, ())


@given(scenes())
def test_what_is_seen_in_a_copy_is_the_image(scene: Scene) -> None:
    """Outside every contention, each copy reads as the image, also where the window was cut elsewhere."""
    item = scene.rom
    for first in item.copies[:4]:
        [(_, data)] = take(scene.bench, ((first, first + item.size - 1),))
        assert data == item.image


@given(scenes(), st.integers(1, 5), st.integers(1, 3))
def test_the_same_seed_gives_the_same_bytes(scene: Scene, reading: int, session: int) -> None:
    again = take(scene.bench, scene.window, reading=reading, session=session)
    assert take(scene.bench, scene.window, reading=reading, session=session) == again
