from __future__ import annotations

from itertools import combinations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.catalogue import catalogue_parts
from romassay.catalogue.fits import Clues, Fits, fits, known_pin
from romassay.errors import BadValue
from romassay.part import Part

PARTS = [found.part for found in catalogue_parts()]
WIRED = [part for part in PARTS if part.pins]
KINDS = {"power": "supply", "program": "supply", "address-data": "data"}


def look(pins: int | None = None, /, *known: tuple[int, str], **clues: float) -> Fits:
    said = tuple(known_pin(str(n), what, "--pin") for n, what in known)
    return fits(PARTS, Clues(pins, clues.get("row"), int(clues["size"]) if "size" in clues else None, said))


def names(found: Fits) -> list[str]:
    return [part.name for part in found.candidates]


def test_forty_pins_with_the_supply_on_20_and_ground_on_1() -> None:
    assert names(look(40, (20, "VCC"), (1, "ground"))) == ["6530", "6532"]
    assert names(look(40, (20, "+5V"), (1, "gnd"), (3, "clock"))) == ["6530"]
    assert names(look(40, (20, "supply"), (9, "R/W"))) == ["6530"]


def test_a_rail_below_ground_tells_three_rails_from_one() -> None:
    assert names(look(24, (21, "-5V"))) == ["2708", "2716, three rails"]
    assert names(look(24, (21, "supply"), (24, "5"))) == ["2532", "2708", "2716, 5 V", "2716, three rails"]


def test_rows_and_sizes_count() -> None:
    assert set(names(look(row=0.3))) == {"82S123", "82S126", "82S129", "82S137", "82S23"}
    assert names(look(24, size=1024)) == ["2708", "6830"]
    assert "6532" not in names(look(40, size=1024))


def test_data_and_address_pins_go_by_their_order_too() -> None:
    assert names(look(16, (12, "D0"), (9, "D3"))) == ["82S126", "82S129"]
    assert "6530" in names(look(40, (33, "D0")))
    assert "6530" not in names(look(40, (33, "D7")))
    assert set(names(look(40, (12, "A0"), (12, "D0")))) == {"8048", "8049", "8355", "8748", "8755"}


def test_one_thing_that_speaks_against_a_part_is_said() -> None:
    near = {part.name: problem for part, problem in look(40, (20, "supply"), (1, "ground"), (3, "clock")).near}
    assert near == {"6532": "pin 3 is A4 (address), not clock"}


def test_a_part_without_pins_is_not_judged() -> None:
    assert look(40).unlisted == ("6846",)
    assert look(24).unlisted == ()


@pytest.mark.parametrize("part", WIRED, ids=lambda part: part.name)
def test_a_part_is_found_by_its_own_pins(part: Part) -> None:
    """By every pin's name, by every pin's role, and by both of its supplies."""
    by_name = look(part.pin_count, *((pin.n, pin.name) for pin in part.pins))
    assert part in by_name.candidates
    by_role = look(part.pin_count, *((pin.n, KINDS.get(pin.kind, pin.kind)) for pin in part.pins))
    assert part in by_role.candidates


def diodes(part: Part, n: int) -> tuple[str, int]:
    """Another way to the chip-alone measurement: where the diodes of a pin end."""
    pin = next(pin for pin in part.pins if pin.n == n)
    common = min(part.rails, key=lambda rail: rail.nominal).pin
    return ("none", 0) if pin.kind == "no-connect" else ("common" if n == common else "to it", 0)


@given(st.sets(st.sampled_from(range(len(WIRED))), min_size=2, max_size=8))
def test_checks_separate_what_can_be_separated_and_nothing_is_lost(chosen: set[int]) -> None:
    parts = [WIRED[i] for i in sorted(chosen)]
    found = fits(parts, Clues())
    assert list(found.candidates) == parts
    separated: set[frozenset[str]] = set()
    for check in found.checks:
        groups = [set(group) for _, group in check.outcomes]
        with_pin = {part.name for part in parts if part.pin_count >= check.pin}
        assert set.union(*groups) == with_pin
        assert sum(map(len, groups)) == len(with_pin)
        for one, other in combinations(groups, 2):
            separated |= {frozenset((a, b)) for a in one for b in other}
        if check.where == "chip":
            for group in groups:
                assert len({diodes(part, check.pin) for part in parts if part.name in group}) == 1
    alike = {frozenset(pair) for group in found.alike for pair in combinations(group, 2)}
    for one, other in combinations(parts, 2):
        if one.pin_count == other.pin_count:
            pair = frozenset((one.name, other.name))
            assert (pair in separated) != (pair in alike)


@pytest.mark.parametrize(
    ("number", "what", "expected"),
    [
        ("0", "clock", "--pin: '0' is no pin number; pins count from 1"),
        ("x", "clock", "--pin: 'x' is no pin number; pins count from 1"),
        ("9" * 5000, "clock", "is no pin number; pins count from 1"),
        ("3", " ", "--pin: nothing is said of pin 3; allowed: supply, ground, clock, address, data, select, control, "),
    ],
)
def test_what_says_nothing_is_refused(number: str, what: str, expected: str) -> None:
    with pytest.raises(BadValue) as caught:
        known_pin(number, what, "--pin")
    assert expected in str(caught.value)


def test_a_pin_beyond_the_package() -> None:
    with pytest.raises(BadValue, match="there is no pin 25; the chip was said to have 24 pins"):
        look(24, (25, "clock"))
