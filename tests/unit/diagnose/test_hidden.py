"""What faulty data lines hide: what a byte may have been, and the order of the lines behind a fault of the wires."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.faulty import FOG, first, readings, swapped_data, told, window

from romassay.chain import Options, assay
from romassay.diagnose.hidden import Hidden, filled_in, may_be
from romassay.reading import Bytes

BYTES = st.integers(0, 255)
LINES = st.lists(st.integers(0, 7), min_size=2, max_size=2, unique=True)


@given(BYTES, st.integers(0, 7), st.booleans())
def test_a_line_that_is_stuck_hides_its_own_bit_alone(byte: int, line: int, level: bool) -> None:
    read = byte & ~(1 << line) | level << line
    assert {int(was) for was in may_be(Hidden((line,)))[:, read]} == {byte & ~(1 << line), byte | 1 << line}


@given(BYTES, LINES, st.integers(0, 1))
def test_two_lines_that_act_as_one_hide_what_the_losing_level_leaves(byte: int, lines: list[int], wins: int) -> None:
    one, other = lines
    both = [byte >> one & 1, byte >> other & 1]
    level = max(both) if wins else min(both)
    mask = 1 << one | 1 << other
    read = byte & ~mask | (mask if level else 0)
    options = {int(was) for was in may_be(Hidden(tuple(sorted(lines)), wins))[:, read]}
    assert byte in options
    assert len(options) == (1 if level != wins else 3)


@given(BYTES, st.permutations(range(8)), LINES, st.integers(0, 1))
def test_what_is_hidden_on_the_bus_is_hidden_of_the_specimens_own_lines(
    byte: int, data: list[int], lines: list[int], wins: int
) -> None:
    hidden = Hidden(tuple(sorted(lines)), wins)
    assert hidden.behind(data, inverted=False).lines == tuple(sorted(data[line] for line in lines))
    assert hidden.behind(data, inverted=True).wins == 1 - wins


def test_most_hidden_bits_of_a_program_are_found_by_their_neighbours() -> None:
    for line in range(8):
        hidden = Hidden((line,))
        read = (FOG & ~np.uint8(1 << line)).astype(np.uint8)
        filled = filled_in(read, hidden, "6502")
        assert np.mean(filled == FOG) > max(0.7, np.mean(read == FOG))


def test_swapped_data_lines_are_found_beside_one_that_is_stuck() -> None:
    order = (5, 1, 2, 3, 4, 0, 6, 7)

    def change(value: Bytes) -> Bytes:
        return (swapped_data(order)(value) & ~np.uint8(1 << 3)).astype(np.uint8)

    result = told(window(data=change))
    assert first(result, "data-line-stuck").lines == ("D3",)
    assert first(result, "data-lines-swapped").mapping == (("D0", "D5"), ("D5", "D0"))


@pytest.mark.parametrize("line", [0, 4, 7])
def test_a_stuck_line_alone_is_not_taken_for_swapped_ones(line: int) -> None:
    result = told(window(data=lambda value: (value & ~np.uint8(1 << line)).astype(np.uint8)))
    assert {finding.kind for finding in result.findings if "swapped" in finding.kind} == set()


def test_noise_in_a_mirror_of_the_only_reading_is_no_second_driver() -> None:
    noisy = window()
    noisy[0x800 + np.arange(5, 0x400, 97)] ^= np.uint8(0x10)
    result = assay(readings(noisy), Options(size=1024))
    assert "contention" not in {finding.kind for finding in result.findings}
