"""Lines in the wrong order: found by what reads as code, and put right where that is asked for."""

from __future__ import annotations

from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.faulty import FOG, first, readings, swapped_address, swapped_data, told, window

from romassay.chain import Options, assay
from romassay.diagnose.as_read import Read
from romassay.diagnose.hidden import Hidden
from romassay.diagnose.order import Order, put_right, straight
from romassay.diagnose.reads import best_sense
from romassay.diagnose.search import search
from romassay.reading import Index, reading_of

PLAIN = tuple(range(8))
LINES = tuple(range(10))


def exchanged(order: tuple[int, ...], a: int, b: int) -> tuple[int, ...]:
    changed = list(order)
    changed[a], changed[b] = changed[b], changed[a]
    return tuple(changed)


@pytest.mark.parametrize("order", [exchanged(PLAIN, 0, 1), PLAIN[::-1], (3, 0, 7, 1, 6, 2, 5, 4)])
def test_the_order_of_swapped_data_lines_is_found(order: tuple[int, ...]) -> None:
    result = told(window(data=swapped_data(order)))
    found = result.findings[0]
    assert found.kind == "data-lines-swapped"
    assert found.mapping == tuple((f"D{bus}", f"D{line}") for bus, line in enumerate(order) if bus != line)
    assert result.verdict == "provisional"


@pytest.mark.parametrize("order", [exchanged(LINES, 0, 4), exchanged(LINES, 8, 9), LINES[::-1]])
def test_the_order_of_swapped_address_lines_is_found(order: tuple[int, ...]) -> None:
    found = told(window(address=swapped_address(order))).findings[0]
    assert found.kind == "address-lines-swapped"
    assert dict(found.mapping) == {f"A{bus}": f"A{line}" for line, bus in enumerate(order) if bus != line}


@pytest.mark.parametrize("level", [0, 1])
def test_swapped_data_lines_are_found_behind_an_address_line_that_does_not_count(level: int) -> None:
    order = exchanged(PLAIN, 1, 6)
    result = told(window(data=swapped_data(order), address=lambda at: at & ~(1 << 9) | level << 9))
    assert {finding.kind for finding in result.findings[:2]} == {"half-image", "data-lines-swapped"}
    assert first(result, "data-lines-swapped").lines == ("D1", "D6")


@pytest.mark.parametrize(
    ("pin", "level", "order"), [(9, 0, (4, 1, 2, 3, 0, 5, 8, 7, 6, 9)), (6, 1, (4, 1, 2, 3, 0, 5, 6, 7, 8, 9))]
)
def test_swapped_address_lines_are_found_behind_one_that_is_stuck(pin: int, level: int, order: tuple[int, ...]) -> None:
    swapped = swapped_address(order)
    result = told(window(address=lambda at: swapped(at) & ~(1 << pin) | level << pin))
    dead = next(f for f in result.findings[:2] if f.kind in ("address-line-stuck", "half-image"))
    assert dead.lines == (f"A{order[pin]}",)
    found = dict(first(result, "address-lines-swapped").mapping)
    assert {bus: own for bus, own in found.items() if own != f"A{pin}"} == {
        f"A{bus}": f"A{line}" for line, bus in enumerate(order) if bus != line and line != pin
    }


def test_swapped_data_lines_are_found_behind_two_address_lines_that_act_as_one() -> None:
    order = exchanged(PLAIN, 1, 6)

    def bridged(at: Index) -> Index:
        both = (at >> 5) & (at >> 8) & 1
        return at & ~(1 << 5 | 1 << 8) | both << 5 | both << 8

    result = told(window(data=swapped_data(order), address=bridged))
    assert {finding.kind for finding in result.findings[:2]} == {"address-lines-bridged", "data-lines-swapped"}
    assert first(result, "data-lines-swapped").lines == ("D1", "D6")


def test_padding_under_an_open_data_line_is_no_code_in_another_order() -> None:
    padded = np.concatenate([FOG, np.full(3072, 0xFF, np.uint8)])
    read = Read(padded | np.uint8(0x04), Hidden((2,)))
    assert read.as_it_is().cpu in ("6502", "65C02")
    assert search(read, read.as_it_is())[0] == straight(12)


@pytest.mark.parametrize("filling", [0x00, 0xFF])
def test_padding_that_a_wrong_order_mixes_with_code_is_put_together_again(filling: int) -> None:
    padded = np.concatenate([FOG, np.full(1024, filling, np.uint8)])
    order = Order(PLAIN, False, (10, 1, 2, 3, 4, 5, 6, 7, 8, 9, 0))
    mixed = put_right(padded, order)
    found, read = search(Read(mixed), best_sense(mixed))
    assert found == order
    assert read.cpu in ("6502", "65C02")


def test_inverted_data_are_found() -> None:
    result = told(window(data=lambda value: ~value))
    assert result.findings[0].kind == "data-inverted"


def test_applied_findings_put_the_image_right_and_leave_the_readings_and_the_verdict() -> None:
    data, address = exchanged(PLAIN, 2, 6), exchanged(LINES, 1, 7)
    log = window(data=swapped_data(data), address=swapped_address(address))
    made = readings(log, log)
    result = assay(made, Options(size=1024, apply_findings=True))
    image = result.images[0]
    assert bytes(image) == FOG.tobytes()
    assert {finding.kind for finding in result.applied(image)} == {"data-lines-swapped", "address-lines-swapped"}
    assert result.verdict == "provisional"
    assert np.array_equal(result.readings.readings[0].value, log)
    assert bytes(assay(made, Options(size=1024)).images[0]) != FOG.tobytes()


def test_nothing_is_applied_to_a_healthy_image() -> None:
    result = assay(readings(window(), window()), Options(size=1024, apply_findings=True))
    assert not result.applied(result.images[0])
    assert result.verdict == "confirmed"


def test_lines_are_left_alone_where_most_of_an_image_stands_twice() -> None:
    block = np.r_[FOG, np.full(1024, 0xFF, np.uint8)]
    taken = np.tile(block, 2)
    counts = [at for at in range(len(taken)) if at & 0x5C4 == 0x4C4]
    taken[counts] = 0xF0 - np.arange(len(counts)) // 2
    result = assay([reading_of([(0x3000, taken.tobytes())], unit="hex-digit")], Options(size=len(taken)))
    assert result.image is not None
    assert len(result.image) == len(taken)
    assert not {f.kind for f in result.findings if "address" in f.kind}


def test_random_bytes_have_no_order() -> None:
    noise = np.random.default_rng(4).integers(0, 256, 1024, dtype=np.uint8)
    assert not [f for f in told(window(noise)).findings if "swapped" in f.kind or f.kind == "data-inverted"]


orders = st.builds(Order, st.permutations(PLAIN).map(tuple), st.booleans(), st.permutations(LINES).map(tuple))


@given(orders)
@settings(max_examples=50, deadline=None)
def test_putting_right_only_moves_bits(order: Order) -> None:
    right = put_right(FOG, order)
    ones = int(np.bitwise_count(FOG).sum())
    assert int(np.bitwise_count(right).sum()) == (len(FOG) * 8 - ones if order.inverted else ones)
    assert np.array_equal(put_right(FOG, straight(10)), FOG)


@given(orders)
@settings(max_examples=50, deadline=None)
def test_putting_right_undoes_the_wiring(order: Order) -> None:
    wired = window(data=swapped_data(order.data), address=swapped_address(order.address))[:1024]
    wired = ~wired if order.inverted else wired
    assert np.array_equal(put_right(wired, order), FOG)


def test_every_order_of_eight_lines_is_weighed() -> None:
    from romassay.diagnose.order import every_order

    every, becomes = every_order()
    assert {tuple(int(n) for n in row) for row in every} == set(permutations(range(8)))
    number = 12345
    assert all(int(becomes[1 << bus, number]) == 1 << int(every[number, bus]) for bus in range(8))


def test_a_finding_of_an_order_says_how_many_jumps_arrive() -> None:
    found = first(told(window(data=swapped_data(exchanged(PLAIN, 0, 7)))), "data-lines-swapped")
    assert "6502" in found.evidence
    assert "--apply-findings" in found.advice
