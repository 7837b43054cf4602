from __future__ import annotations

from types import SimpleNamespace
from xml.etree import ElementTree as ET

import pytest

from romassay.catalogue import catalogue_parts, load_part
from romassay.part import Part
from romassay.report.notebook import part_html, register
from romassay.report.pinout import pin_out
from romassay.report.pins import ROLES_TOLD, sides

SVG = "{http://www.w3.org/2000/svg}"
WIRED = [found.part for found in catalogue_parts() if found.part.pins]


def drawn(part: Part) -> ET.Element:
    return ET.fromstring(pin_out(part))  # noqa: S314 - our own text


def legs(part: Part) -> dict[int, tuple[float, float, str]]:
    """Return (x, y, what is said) of every leg by the number that it says."""
    found = {}
    for leg in drawn(part).iter(f"{SVG}rect"):
        if leg.get("class", "").startswith("leg"):
            said = leg.findtext(f"{SVG}title") or ""
            found[int(said.split()[0])] = (float(leg.get("x", 0)), float(leg.get("y", 0)), said)
    return found


@pytest.mark.parametrize("part", WIRED, ids=lambda part: part.name)
def test_pins_run_down_the_left_side_and_up_the_right(part: Part) -> None:
    """The order of a dual in-line package seen from above, pin 1 beside the notch."""
    found = legs(part)
    half = part.pin_count // 2
    assert sorted(found) == list(range(1, part.pin_count + 1))
    assert len({found[n][0] for n in range(1, half + 1)}) == 1
    assert len({found[n][0] for n in range(half + 1, part.pin_count + 1)}) == 1
    assert found[1][0] < found[part.pin_count][0]
    assert sorted(range(1, half + 1), key=lambda n: found[n][1]) == list(range(1, half + 1))
    for n in range(1, half + 1):
        assert found[n][1] == found[part.pin_count + 1 - n][1]


@pytest.mark.parametrize("part", WIRED, ids=lambda part: part.name)
def test_every_pin_says_its_name_and_its_role_in_words(part: Part) -> None:
    text = ["".join(item.itertext()) for item in drawn(part).iter(f"{SVG}text")]
    for place in (*sides(part)[0], *sides(part)[1]):
        assert any(place.pin.name in line and place.role in line for line in text), place
    for kind in {pin.kind for pin in part.pins}:
        assert ROLES_TOLD[kind] in text


def shapes(part: Part) -> dict[int, str]:
    """Return the shape beside each pin: the elements between its number and its name, without their colours."""
    group = next(drawn(part).iter(f"{SVG}g"))
    found: dict[int, str] = {}
    number = 0
    for item in group:
        tag = item.tag.removeprefix(SVG)
        if (item.get("class") or "").startswith("leg"):
            number = int((item.findtext(f"{SVG}title") or "").split()[0])
            found[number] = ""
        elif number and tag != "text":
            corners = len((item.get("points") or "").split())
            found[number] += f"{tag} {corners} {item.get('width', '')} {item.get('rx', '')}; "
        elif number and item.get("class") is None:
            number = 0
    return found


def test_each_role_has_a_shape_of_its_own() -> None:
    """Without colour: triangle, rhombus, hexagon, circle, square, square with a wave or a sign, bars, cross.

    Address and data are both triangles; one points into the package, the other out of it, and one is dark.
    """
    seen: dict[str, set[str]] = {}
    for part in WIRED:
        at = shapes(part)
        for pin in part.pins:
            seen.setdefault(pin.kind, set()).add(at[pin.n])
    assert set(seen) == set(ROLES_TOLD)
    for kind, mine in seen.items():
        for other, theirs in seen.items():
            assert kind == other or mine.isdisjoint(theirs) or {kind, other} == {"address", "data"}, (kind, other)


def test_address_triangles_point_in_and_data_triangles_out() -> None:
    points = {"address": set(), "data": set()}
    part = load_part("6530")
    triangles = [item for item in drawn(part).iter(f"{SVG}polygon") if len((item.get("points") or "").split()) == 3]
    for item in triangles[:-2]:  # the last two are the legend's
        corners = [tuple(map(float, pair.split(","))) for pair in (item.get("points") or "").split()]
        left = max(x for x, _ in corners) < 400
        tip_right = corners[1][0] > corners[0][0]
        points["address" if item.get("fill") == "#dbe9f6" else "data"].add(tip_right == left)
    assert points == {"address": {True}, "data": {False}}


def test_a_pin_without_a_source_has_a_broken_outline_and_a_question_mark() -> None:
    document = drawn(load_part("2716, three rails"))
    classes = {
        int((leg.findtext(f"{SVG}title") or "0").split()[0]): leg.get("class")
        for leg in document.iter(f"{SVG}rect")
        if (leg.get("class") or "").startswith("leg")
    }
    assert {n for n, name in classes.items() if name == "leg"} == {19, 20, 21}
    assert sum(name == "leg unsure" for name in classes.values()) == 21
    assert "with a broken outline, none for the pin itself" in "".join(document.itertext())
    assert "VPP" in (legs(load_part("2764"))[1][2])
    assert legs(load_part("2764"))[27][2] == "27 /PGM: control, high ?"
    assert legs(load_part("2716, 5 V"))[21][2] == "21 VPP: programming, +5 V"
    assert "unsure" not in pin_out(load_part("6530")).replace(".unsure{", "")


def test_a_supply_below_ground_has_another_sign_than_one_above() -> None:
    text = pin_out(load_part("2708"))
    plus = text.count('stroke="#fff"')
    assert plus == 2 * 2 + 1 + 2  # VCC and VDD a cross, VBB a bar, the legend a cross


def test_a_notebook_shows_the_pin_out_in_a_frame_that_runs_nothing() -> None:
    shown: dict[type, object] = {}
    formatter = SimpleNamespace(for_type=shown.__setitem__)
    register(SimpleNamespace(display_formatter=SimpleNamespace(formatters={"text/html": formatter})))
    assert shown[Part] is part_html
    page = part_html(load_part("6530"))
    assert page.startswith("<iframe srcdoc=")
    assert 'sandbox=""' in page
    assert "pin-out of the 6530" in page
    assert part_html(load_part("6846")) == "<p>No pin table of the 6846 was found.</p>"
