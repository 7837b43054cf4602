from __future__ import annotations

import re

import pytest

from romassay.catalogue import catalogue_parts, load_part
from romassay.part import Part, is_unchecked
from romassay.report.part import between, part_lines
from romassay.report.pins import name_of, sides
from romassay.report.text import render

PARTS = [found.part for found in catalogue_parts()]


def shown(part: Part, width: int = 80) -> str:
    return render(part_lines(part, width=width), colour=False)


@pytest.mark.parametrize("part", PARTS, ids=lambda part: part.name)
def test_nothing_is_left_out_and_nothing_unchecked_is_unmarked(part: Part) -> None:
    text = shown(part)
    flat = " ".join(text.split())
    for pin in part.pins:
        assert f" {pin.n} " in text
        assert pin.name in text
    for item in (*part.cautions, *part.remarks):
        assert " ".join(item.text.split()) in flat
    for register in part.registers:
        assert register.offset in flat
    for source in part.sources:
        assert f"{source.id}: " in text
    marked = sum(line[:11].rstrip().endswith("?") for line in text.splitlines())
    tables = [c for c in part.cited() if c.section not in ("pins", "row", "output", "selects", "rails")]
    assert marked >= sum(is_unchecked(item.src) for item in tables if item.section != "cautions")
    assert max(map(len, text.splitlines())) <= 80


def test_the_package_is_drawn_with_pin_1_top_left() -> None:
    lines = shown(load_part("6530")).splitlines()
    [top] = [n for n, line in enumerate(lines) if "┌────∪────┐" in line]
    drawn = lines[top + 1 : top + 21]
    assert drawn[0].split() == ["ground", "VSS", "1", "┤", "├", "40", "PA1", "port"]
    assert drawn[3].split()[:4] == ["select,", "by", "mask", "RS0"]
    assert drawn[7].split() == ["address", "A6", "8", "┤", "├", "33", "DB0", "data,", "bit", "0"]
    assert drawn[19].split() == ["supply,", "+5", "V", "VCC", "20", "┤", "├", "21", "PB4", "port"]
    assert {line.index("┤") for line in drawn} == {lines[top].index("┌")}
    assert lines[top + 21].index("└") == lines[top].index("┌")


def pins_shown(part: Part, width: int) -> list[str]:
    """Return the lines of the pin-out, up to the notes on single pins or the sources."""
    lines = shown(part, width).splitlines()
    [start] = [n for n, line in enumerate(lines) if line.startswith("Pins")]
    if "┌" in lines[start]:
        return lines[start : start + len(part.pins) // 2 + 2]
    end = re.compile(rf"[ ?] {len(part.pins)} ")
    [last] = [n for n, line in enumerate(lines) if n > start and end.match(line)]
    return lines[start : last + 1]


@pytest.mark.parametrize("width", [40, 60, 72, 80, 100])
@pytest.mark.parametrize("part", [part for part in PARTS if part.pins], ids=lambda part: part.name)
def test_the_pin_out_fits_the_screen_and_has_every_pin_with_its_role(part: Part, width: int) -> None:
    lines = pins_shown(part, width)
    assert max(map(len, lines)) <= width
    flat = " ".join(" ".join(lines).split())
    for place in (place for side in sides(part) for place in side):
        number, name, role = place.pin.n, re.escape(name_of(place.pin)), re.escape(place.role)
        assert re.search(rf"{role} {name} {number} ┤|├ {number} {name} {role}|\b{number} {name} {role}", flat)


def test_selects_have_a_column_for_each_function() -> None:
    lines = shown(load_part("6530")).splitlines()
    assert "            4 RS0    1/0/x      1/0/x      1/0/x  [HW76]" in lines
    assert "            5 A9     -          1/0/x      1/0/x  [HW76]" in lines
    lines = shown(load_part("6532")).splitlines()
    assert "           36 /RS    0          1  [PIN653X, MAP6532]" in lines


def test_rails_come_in_the_order_in_which_they_go_on() -> None:
    lines = [line[11:] for line in shown(load_part("2708")).splitlines()]
    rails = [line for line in lines if line[:2] in ("1.", "2.")]
    assert [line.split()[:3] for line in rails] == [["1.", "21", "VBB"], ["2.", "24", "VCC"], ["2.", "19", "VDD"]]
    assert "-5 V (-5.25 to -4.75 V)" in rails[0]
    assert "On in this order, off the other way round." in lines


def test_a_part_without_pins_says_so() -> None:
    assert "No pin table was found: do not wire this part." in shown(load_part("6846"))


@pytest.mark.parametrize(
    ("limits", "words"),
    [
        ((2.0, None, None), "at least 2 V"),
        ((None, None, 0.8), "at most 0.8 V"),
        ((None, 6.0, 10.0), "typically 6 V, at most 10 V"),
        ((-0.3, None, 7.0), "-0.3 to 7 V"),
        ((1.0, 2.0, 3.0), "1 to 3 V, typically 2 V"),
    ],
)
def test_limits_in_words(limits: tuple[float | None, float | None, float | None], words: str) -> None:
    assert between(*limits, "V") == words
