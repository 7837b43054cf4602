"""Addresses, ranges and cubes."""

from __future__ import annotations

import itertools

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Cube, Range, lines_of, merge_ranges, parse_address, parse_range, parse_size
from romassay.errors import BadValue

BITS = 10


@st.composite
def cubes(draw: st.DrawFn) -> Cube:
    care = draw(st.integers(0, (1 << BITS) - 1))
    return Cube(BITS, care, draw(st.integers(0, (1 << BITS) - 1)) & care)


def members(cube: Cube) -> set[int]:
    return {a for a in range(1 << cube.bits) if a in cube}


def ranges() -> st.SearchStrategy[Range]:
    end = st.integers(0, (1 << BITS) - 1)
    return st.tuples(end, end).map(lambda pair: Range(min(pair), max(pair)))


@pytest.mark.parametrize("text", ["0xD000", "0XD000", "$D000", "$d000", "D000h", "d000H", "53248", " 53248 "])
def test_every_way_the_trade_writes_an_address(text: str) -> None:
    assert parse_address(text) == 0xD000


@pytest.mark.parametrize("text", ["4096", "0x1000", "$1000", "1000h", "4K", "4k", "0x4K"])
def test_a_size_is_written_as_an_address_or_in_kib(text: str) -> None:
    assert parse_size(text) == 4096


@pytest.mark.parametrize(("text", "said"), [("4M", "'4M' is no number"), ("K", "'K' is no number"), ("0", "0 bytes")])
def test_what_is_no_size_is_refused_by_name(text: str, said: str) -> None:
    with pytest.raises(BadValue, match=said):
        parse_size(text)


@pytest.mark.parametrize("text", ["", "D000", "0x", "$", "h", "-1", "0xD00G", "12 34", "0x1FFFFFFFF"])
def test_what_is_no_address_is_refused_by_name(text: str) -> None:
    with pytest.raises(BadValue, match="address"):
        parse_address(text)


@pytest.mark.parametrize("text", ["0x4000-0x5FFF", "0x4000+0x2000", "$4000-$5FFF", "4000h - 5FFFh", "16384+8192"])
def test_both_ways_to_write_a_range(text: str) -> None:
    assert parse_range(text) == Range(0x4000, 0x5FFF)


@pytest.mark.parametrize("text", ["0x4000", "0x5FFF-0x4000", "0x4000+0", "a-b", "0xFFFFFFFF+2"])
def test_what_is_no_range_is_refused(text: str) -> None:
    with pytest.raises(BadValue):
        parse_range(text)


@given(st.lists(ranges(), max_size=6))
def test_merged_ranges_hold_the_same_addresses_and_are_the_fewest(items: list[Range]) -> None:
    merged = merge_ranges(items)
    assert {a for r in merged for a in range(r.first, r.last + 1)} == {
        a for r in items for a in range(r.first, r.last + 1)
    }
    assert all(a.last + 1 < b.first for a, b in itertools.pairwise(merged))


@given(cubes())
def test_the_ranges_of_a_cube_are_its_members(cube: Cube) -> None:
    runs = list(cube.ranges())
    assert {a for r in runs for a in range(r.first, r.last + 1)} == members(cube)
    assert runs == sorted(runs)
    assert cube.size == len(members(cube))


@given(cubes(), cubes())
def test_cube_algebra_is_set_algebra(one: Cube, other: Cube) -> None:
    both = one.intersect(other)
    assert (members(both) if both else set()) == members(one) & members(other)
    assert one.covers(other) == (members(one) >= members(other))


def test_a_cube_reads_as_a_line_pattern() -> None:
    assert str(Cube(8, 0b1110_0000, 0b1010_0000)) == "101-----"
    assert lines_of(0b1010_0000) == (5, 7)
    with pytest.raises(ValueError, match="no cube"):
        Cube(4, 0b0001, 0b0010)


@pytest.mark.parametrize(("text", "advice"), [("9C00-9FFF", "0x9C00-0x9FFF"), ("8000-8FFF", "0x8000-0x8FFF")])
def test_a_range_in_bare_hex_is_told_how_it_is_written(text: str, advice: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_range(text)
    assert str(caught.value) == f"'{text}' is no range; hex numbers begin with 0x: write it as {advice}"


def test_an_address_in_bare_hex_is_told_how_it_is_written() -> None:
    with pytest.raises(BadValue, match=r"; in hex it is 0x9C00$"):
        parse_address("9C00")
