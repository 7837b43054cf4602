"""Part files with something wrong in them: a named complaint or a part, never anything else."""

from __future__ import annotations

import copy
import tomllib
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.catalogue import catalogue_parts, find_part, load_part, part_complaints, part_files, part_of
from romassay.catalogue.toml_text import toml_text
from romassay.errors import BadCatalogue
from romassay.part import Part
from romassay.report.part import part_lines
from romassay.report.pinout import pin_out
from romassay.report.text import render

FOLDER = files("romassay.catalogue") / "parts"
TEXTS = {item.name: item.read_text("utf-8") for item in sorted(FOLDER.iterdir(), key=lambda item: item.name)}
NAMES = st.sampled_from(sorted(TEXTS))

Steps = tuple[str | int, ...]


def taken(text: str) -> Part | str:
    """Return the part, shown in every way without a fault, or the complaint about its text."""
    complaints = part_complaints(text, "my.toml")
    if complaints:
        with pytest.raises(BadCatalogue) as caught:
            part_of(text, "my.toml")
        assert str(caught.value) == str(complaints[0])
        return str(complaints[0])
    part = part_of(text, "my.toml")
    render(part_lines(part, width=80), colour=False)
    if part.pins:
        pin_out(part)
    return part


@given(NAMES, st.data())
def test_a_text_changed_anywhere_is_a_part_or_one_line_that_names_the_file(name: str, data: st.DataObject) -> None:
    lines = TEXTS[name].splitlines(keepends=True)
    at = data.draw(st.integers(0, len(lines) - 1))
    change = data.draw(st.sampled_from(("drop", "double", "swap", "character", "cut")))
    if change == "drop":
        del lines[at]
    elif change == "double":
        lines.insert(at, lines[at])
    elif change == "swap":
        other = data.draw(st.integers(0, len(lines) - 1))
        lines[at], lines[other] = lines[other], lines[at]
    elif change == "character":
        place = data.draw(st.integers(0, len(lines[at]) - 1))
        sign = data.draw(st.characters(codec="utf-8"))
        lines[at] = lines[at][:place] + sign + lines[at][place + 1 :]
    else:
        del lines[at:]
    found = taken("".join(lines))
    assert isinstance(found, Part) or (found.startswith("my.toml") and "\n" not in found)


def paths(value: Any, at: Steps = ()) -> list[Steps]:
    if isinstance(value, dict):
        return [item for key, inner in value.items() for item in ((*at, key), *paths(inner, (*at, key)))]
    if isinstance(value, list):
        return [item for index, inner in enumerate(value) for item in paths(inner, (*at, index))]
    return []


VALUES = st.one_of(
    st.integers(-(10**400), 10**400),
    st.floats(),
    st.booleans(),
    st.text(max_size=20),
    st.lists(st.text(max_size=5), max_size=3),
    st.just({}),
    st.sampled_from(["9" * 5000, "DIP-" + "9" * 5000, "DIP-0", "D" * 400, "", "memory", "high"]),
)


@given(NAMES, st.data())
def test_a_value_changed_anywhere_is_named_by_its_key_or_taken(name: str, data: st.DataObject) -> None:
    raw = copy.deepcopy(tomllib.loads(TEXTS[name]))
    steps = data.draw(st.sampled_from(paths(raw)))
    table: Any = raw
    for step in steps[:-1]:
        table = table[step]
    key = str(steps[-1])
    change = data.draw(st.sampled_from(("drop", "rename", "replace")))
    value = table.pop(key)
    if change == "rename":
        table[f"{key}x"] = value
    elif change == "replace":
        table[key] = data.draw(VALUES)
    text = toml_text(raw)
    found = taken(text)
    if change == "rename":
        assert isinstance(found, str)
        assert f"{key}x: unknown key" in found or f"the key '{key}' is missing" in found
    if isinstance(found, str):
        assert found.startswith("my.toml")
        assert ": " in found


def test_all_complaints_come_at_once() -> None:
    text = (
        TEXTS["2332.toml"].replace("n = 7,", "n = 8,").replace("size = 4096", "size = 4095").replace("SED, memory", "X")
    )
    complaints = [str(item) for item in part_complaints(text, "my.toml")]
    assert len(complaints) == 6
    assert all(item.startswith("my.toml:") for item in complaints)
    assert "functions 1: size: 4095 bytes, but 12 own pins; write 4096, or correct 'own'" in "\n".join(complaints)


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        (
            'hold = "VCC"',
            'hold = "VDD"',
            "pins 21: hold: 'VDD' is not allowed; allowed: high, low, open, clock, strobe, raised, VCC, VPP, GND",
        ),
        ('hold = "VCC", ', "", "pins 21: nothing says how VPP is held for reading; add 'hold'"),
        (
            'name = "/OE", kind = "select"',
            'name = "/OE", kind = "select", hold = "low"',
            "pins 20: hold: the select pin",
        ),
        (
            'name = "/OE", kind = "select"',
            'name = "/OE", kind = "select", hold_volts = 12.0',
            "hold_volts: /OE is not raised",
        ),
        ("nominal = 5.0\n", "nominal = inf\n", "rails 1: nominal: inf V"),
        ("maximum = 450\n", "maximum = -450\n", "timing 1: -450 is below nothing; correct the limits"),
        ("maximum = 0.8\n", "", "levels 2: there is no number; give a minimum, a typical or a maximum"),
        ("minimum = -0.3\n", "minimum = 9.0\n", "ratings 1: 9, 6 do not rise; correct the limits"),
        ('pins = ["VPP"]', 'pins = ["VQQ"]', "ratings 2: pins: there is no pin 'VQQ'; allowed: /CE, /OE"),
        ('rail = "VPP"', 'rail = "VQQ"', "current 3: rail: there is no rail 'VQQ'; allowed: VCC, VPP, GND"),
        ("pin = 21\n", "pin = 24\n", "rails 2: name: pin 24 is called VCC; write VCC"),
        ('name = "GND"\npin = 12', 'name = "GND"\npin = 11', "pin 11 is no supply or ground pin; allowed: 12, 21, 24"),
        ("DIP-24", "DIP-25", "package: 'DIP-25' has no two rows alike; write an even number, like DIP-24"),
        ('type = "2716"', 'type = "27,16"', "type: '27,16' is no type number; write it like 2716"),
        ("row = 0.6", "row = 6", "row: 6 inch; allowed: 0.2 to 0.9, mostly 0.3 or 0.6"),
        ('row_src = "practice"', "", "row: it has no source; add 'row_src'"),
        ("order = 2", "order = -2", "rails 2: order: -2 is no order"),
    ],
)
def test_slips_of_the_numbers(old: str, new: str, expected: str) -> None:
    text = TEXTS["2716_5_V.toml"]
    assert old in text
    complaints = "\n".join(map(str, part_complaints(text.replace(old, new, 1), "my.toml")))
    assert expected in complaints


def test_a_directory_of_ones_own(tmp_path: Path) -> None:
    own = TEXTS["2332.toml"]
    (tmp_path / "a.toml").write_text(own.replace('type = "2332"', 'type = "HM1"'), "utf-8")
    (tmp_path / "b.toml").write_text(own.replace('type = "2332"', 'type = "HM1"\nvariant = "other"'), "utf-8")
    (tmp_path / "notes.txt").write_text("no part", "utf-8")
    assert [item.name for item in part_files([tmp_path])] == ["a.toml", "b.toml"]
    assert {"HM1", "HM1, other", "2332"} <= {found.part.name for found in catalogue_parts([tmp_path])}
    assert find_part("hm1", [tmp_path]).file == tmp_path / "a.toml"
    assert find_part("hm1 OTHER", [tmp_path]).part.variant == "other"
    with pytest.raises(BadCatalogue, match="'HM2' is not in the catalogue; did you mean 'HM1'"):
        load_part("HM2", [tmp_path])


def test_a_part_that_the_catalogue_has_already_is_not_taken_silently(tmp_path: Path) -> None:
    (tmp_path / "mine.toml").write_text(TEXTS["2332.toml"], "utf-8")
    with pytest.raises(BadCatalogue) as caught:
        load_part("2332", [tmp_path])
    places = f"the catalogue and in {tmp_path / 'mine.toml'}"
    assert str(caught.value) == f"'2332' is in {places}; name the file, or give yours a 'variant' of its own"


def test_a_directory_that_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BadCatalogue, match="cannot be read"):
        find_part("2332", [tmp_path / "absent"])


def test_the_files_of_the_catalogue_are_named_like_their_parts() -> None:
    for name, text in TEXTS.items():
        part = tomllib.loads(text)
        words = f"{part['type']} {part.get('variant', '')}".split()
        assert name == f"{'_'.join(words)}.toml"
