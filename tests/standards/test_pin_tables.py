"""The catalogue's pin tables against tables collected apart from it, each with its sources: pin_tables.toml."""

from __future__ import annotations

import re
import tomllib
from pathlib import Path
from typing import Any

import pytest

from romassay.catalogue import load_part, part_types
from romassay.part import Part, Pin

TABLES: dict[str, dict[str, Any]] = {
    table["type"]: table
    for table in tomllib.loads((Path(__file__).parent / "pin_tables.toml").read_text("utf-8"))["tables"]
}

SAME_PINS = {"82S23": "82S123", "82S129": "82S126", "2716, 5 V": "2716", "2364, 24 pins": "2364"}
"""Parts that share the table of another: the sources say that only the outputs differ, or which part they mean."""

UNSOURCED = {"2364, 28 pins", "2716, three rails", "6846"}
"""Parts for which nothing was found to hold them against, or no pin at all."""

KINDS = {
    "address": {"address"},
    "data": {"data", "address-data"},
    "address_data": {"address-data"},
    "select": {"select"},
    "control": {"control"},
    "clock": {"clock"},
    "io": {"io"},
    "power": {"power", "program"},
    "ground": {"ground"},
    "nc": {"no-connect"},
}


def plain(name: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", name.upper())


def same_name(pin: Pin, name: str) -> bool:
    """Compare names without slashes and signs; the other name may come first."""
    names = [plain(item) for item in pin.names]
    return plain(name) in ("".join(names), "".join(reversed(names)))


def table_of(part: Part) -> dict[str, Any]:
    return TABLES[SAME_PINS.get(part.name, part.name)]


SOURCED = [name for name in part_types() if name not in UNSOURCED]


@pytest.mark.parametrize("name", SOURCED)
def test_every_pin_is_the_one_of_the_source(name: str) -> None:
    part = load_part(name)
    table = table_of(part)
    assert part.package == table["package"]
    found = {pin.n: pin for pin in part.pins}
    assert len(table["pins"]) == len(found)
    for line in table["pins"]:
        number, called, kind = line.split()
        pin = found[int(number)]
        assert same_name(pin, called), f"pin {number} is {called}, not {pin.name}"
        assert pin.kind in KINDS[kind], f"pin {number} is {kind}, not {pin.kind}"


@pytest.mark.parametrize("name", SOURCED)
def test_sizes_widths_and_supplies_are_those_of_the_source(name: str) -> None:
    part = load_part(name)
    table = table_of(part)
    assert [[f.size, f.width] for f in part.functions] == table["functions"]
    assert {rail.pin: rail.nominal for rail in part.rails} == {rail["pin"]: rail["volts"] for rail in table["rails"]}


@pytest.mark.parametrize("name", SOURCED)
def test_a_table_from_memory_is_marked_so(name: str) -> None:
    part = load_part(name)
    unchecked = {item.removeprefix("pins: ") for item in part.unchecked if item.startswith("pins: ")}
    if table_of(part)["from_memory"]:
        assert {pin.name for pin in part.pins} <= unchecked
    else:
        assert not {pin.name for pin in part.pins} & unchecked


def test_no_table_is_left_out() -> None:
    assert set(TABLES) == {SAME_PINS.get(name, name) for name in SOURCED}


def test_the_2716_with_three_rails_differs_where_its_source_says() -> None:
    """ROM and RAM pin-out notes, EE/periph/memory.md: pin 19 = +12 V, pin 21 = -5 V, pin 20 = A10."""
    three, single = load_part("2716, three rails"), load_part("2716, 5 V")
    by_number = {pin.n: pin.name for pin in three.pins}
    assert by_number[20] == "A10"
    assert {rail.pin: rail.nominal for rail in three.rails if rail.pin in (19, 21)} == {19: 12.0, 21: -5.0}
    assert {pin.n: pin.name for pin in single.pins}[19] == "A10"
    assert {pin.n: pin.name for pin in single.pins}[21] == "VPP"


def test_the_2364_in_28_pins_is_the_2764_where_both_have_the_pin() -> None:
    """The facts say, from memory, that it is laid out like the 2764."""
    rom, eprom = load_part("2364, 28 pins"), load_part("2764")
    shared = {pin.n: pin.name for pin in eprom.pins if pin.kind in ("address", "data", "power", "ground")}
    assert shared.items() <= {pin.n: pin.name for pin in rom.pins}.items()
    assert {f"pins: {pin.name}" for pin in rom.pins} <= set(rom.unchecked)


def test_easily_mistaken_pins() -> None:
    """What the sources print and memory gets wrong."""
    at = {
        name: {pin.n: pin for pin in load_part(name).pins} for name in ("6530", "6830", "2332", "2532", "2732", "6540")
    }
    assert (at["6530"][8].name, at["6530"][9].name) == ("A6", "R/W")
    assert (at["6530"][33].name, at["6530"][26].name) == ("DB0", "DB7")
    assert (at["6830"][12].kind, at["6830"][1].kind) == ("power", "ground")
    assert (at["6540"][12].kind, at["6540"][1].kind) == ("power", "ground")
    assert [at[name][18].name for name in ("2332", "2532", "2732")] == ["A11", "A11", "/CE"]
    assert at["2732"][21].name == "A11"
    assert [pin.n for pin in load_part("82S126").data_pins] == [12, 11, 10, 9]
    assert [load_part("82S126").pin(f"A{n}").n for n in range(8)] == [5, 6, 7, 4, 3, 2, 1, 15]
    assert (load_part("2732A").pin("VPP").name, load_part("27512").pin("VPP").name) == ("/OE", "/OE")
    assert [item.minimum for item in load_part("27512").levels_of("VIH", "A0")] == [2.2]


NUMBER = re.compile(r"(?<![A-Za-z0-9/.])\d+(?:\.\d+)?")
ELSEWHERE = {
    ("2708", 2.0),  # the number of a footnote
    ("82S126", 2.4),  # of the three-state part
    ("82S126", 2.0),
    ("82S126", 70.0),
    ("6846", 6800.0),  # names a bus
}


def figures(part: Part) -> dict[float, set[str]]:
    """Return every number of the part's figures, without its sign, and the sources that it has."""
    found: dict[float, set[str]] = {}
    for item in (*part.ratings, *part.levels, *part.loads, *part.timing, *part.current):
        for number in (item.minimum, item.typical, item.maximum, getattr(item, "at", None)):
            if number is not None:
                found.setdefault(abs(number), set()).add(item.src)
    for rail in part.rails:
        found.setdefault(abs(rail.nominal), set()).add(rail.src)
        for number in (rail.minimum, rail.maximum):
            if number is not None:
                found.setdefault(abs(number), set()).add(rail.limits_src or rail.src)
        if rail.programming is not None:
            found.setdefault(rail.programming, set()).add(rail.src)
    return found


def said_besides(part: Part) -> set[float]:
    """Return the numbers in conditions, notes, cautions and remarks."""
    items = (*part.ratings, *part.levels, *part.loads, *part.timing, *part.current)
    texts = [text for item in items for text in (item.condition, item.note)]
    texts += [rail.note for rail in part.rails] + [item.text for item in (*part.cautions, *part.remarks)]
    return {float(number) for text in texts for number in NUMBER.findall(text)}


TABLED = sorted(set(SOURCED) - {"82S23", "82S129"})


@pytest.mark.parametrize("name", TABLED)
def test_every_figure_of_the_source_is_there(name: str) -> None:
    """In the same unit, or in one a thousand times larger or smaller."""
    part = load_part(name)
    known = figures(part).keys() | said_besides(part)
    for line in table_of(part)["figures"]:
        for text in NUMBER.findall(line.partition(": ")[2].rpartition(" | ")[0]):
            number = float(text)
            alike = {number, round(number / 1000, 6), number * 1000}
            assert alike & known or (table_of(part)["type"], number) in ELSEWHERE, line


@pytest.mark.parametrize("name", TABLED)
def test_a_figure_from_memory_is_never_a_sheets(name: str) -> None:
    part = load_part(name)
    sourced: set[float] = set()
    remembered: set[float] = set()
    for line in table_of(part)["figures"]:
        values, _, src = line.partition(": ")[2].rpartition(" | ")
        into = remembered if src.startswith("memory") else sourced
        into |= {float(number) for number in NUMBER.findall(values)}
    for number, sources in figures(part).items():
        if number in remembered - sourced:
            assert all("memory" in source for source in sources), number
