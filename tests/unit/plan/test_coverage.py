"""Copies and the smallest set of ranges, counted again address by address."""

from __future__ import annotations

from itertools import combinations, product

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.address import Range
from romassay.catalogue import RigFile
from romassay.plan.coverage import coverage, settings_of, smallest, without
from romassay.plan.make import planned
from romassay.rig import Rig
from strategies_rigs import legal_rig

RIGS = [
    ("6530", "monitor-300-baud"),
    ("2316", "reader-5v"),
    ("2364, 24 pins", "loop-110-baud"),
    ("82S126", "reader-5v"),
]


def whole_copies(rig: Rig, own: list[int], levels: dict[int, int], free: tuple[Range, ...]) -> int:
    """Count the places at which every address of a copy is free, one address at a time."""
    everything = {address for item in free for address in range(item.first, item.last + 1)}
    inside = sum(1 << line for line in own)
    count = 0
    for base in range(1 << rig.address_bits):
        if base & inside or any((base >> line & 1) != level for line, level in levels.items()):
            continue
        offsets = (sum((n >> k & 1) << line for k, line in enumerate(own)) for n in range(1 << len(own)))
        count += all(base | offset in everything for offset in offsets)
    return count


@pytest.mark.parametrize(("part", "host"), RIGS)
def test_copies_are_those_that_a_count_of_addresses_gives(part: str, host: str) -> None:
    found = legal_rig(part, host)
    assert isinstance(found, RigFile)
    assert found.part is not None
    rig = planned(found.said, found.part)
    seen = coverage(rig, found.part)
    function = next(item for item in found.part.functions if item.kind == "rom")
    own = [line for pin in function.own if (line := rig.address_line(pin)) is not None]
    expected = next(item for item in seen.expected if item.function == function.name)
    for setting, option in list(zip(expected.settings, settings_of(rig, found.part, function), strict=True))[:9]:
        levels = {
            line: int(level == "high")
            for pin, level in option.items()
            if level != "ignored" and (line := rig.address_line(pin)) is not None
        }
        assert setting.copies == whole_copies(rig, own, levels, seen.free)
        assert dict(setting.levels) == option


def blocks_of(ranges: tuple[Range, ...], unit: int) -> set[int]:
    return {at >> unit for item in ranges for at in range(item.first, item.last + 1, 1 << unit)}


@settings(max_examples=150)
@given(
    free=st.sets(st.integers(0, 15), max_size=16),
    lines=st.sets(st.integers(0, 5), max_size=5),
)
def test_the_smallest_set_is_the_smallest(free: set[int], lines: set[int]) -> None:
    """On a bus of six lines, against every set of blocks that there is."""
    bits, quarter = 6, 4
    ranges = without([Range(n * quarter, n * quarter + quarter - 1) for n in free], ())
    open_lines = tuple(sorted(lines))
    found, hidden = smallest(ranges, bits, open_lines, dict.fromkeys(open_lines, (0, 1)))
    unit = next((line for line in range(bits) if line not in lines), bits)
    upper = [line for line in open_lines if line >= unit]
    usable = [n for n in range(1 << bits - unit) if all(a >> 2 in free for a in range(n << unit, (n + 1) << unit))]
    corner = {n: tuple((n << unit) >> line & 1 for line in upper) for n in usable}
    wanted = set(corner.values())
    every = set(product((0, 1), repeat=len(upper)))
    assert {tuple(level for _, level in item) for item in hidden} == every - wanted
    chosen = blocks_of(found, unit)
    assert {corner[n] for n in chosen} == wanted
    assert len(chosen) == len(wanted)  # a block for each corner, and no fewer can do
    together = [
        base
        for base in {tuple((n << unit) >> line & 1 for line in range(unit, bits) if line not in lines) for n in usable}
        if {
            corner[n]
            for n in usable
            if tuple((n << unit) >> x & 1 for x in range(unit, bits) if x not in lines) == base
        }
        == wanted
    ]
    if together:  # then each pair of neighbours differs in one line only
        for one, other in combinations(chosen, 2):
            if sum(a != b for a, b in zip(corner[one], corner[other], strict=True)) == 1:
                assert (one ^ other).bit_count() == 1


@given(st.lists(st.tuples(st.integers(0, 90), st.integers(1, 20)), max_size=4), st.integers(0, 90), st.integers(1, 30))
def test_ranges_are_taken_away_address_by_address(pieces: list[tuple[int, int]], first: int, count: int) -> None:
    ranges = [Range(a, a + n - 1) for a, n in pieces]
    hole = Range(first, first + count - 1)
    left = {a for item in without(ranges, [hole]) for a in range(item.first, item.last + 1)}
    assert left == {a for item in ranges for a in range(item.first, item.last + 1)} - set(range(first, first + count))
