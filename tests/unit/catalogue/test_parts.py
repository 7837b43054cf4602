from __future__ import annotations

from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest

from romassay.catalogue import load_part, part_of, part_types
from romassay.errors import BadCatalogue
from romassay.part import source_ids

FOLDER = files("romassay.catalogue") / "parts"


def text_of(name: str) -> str:
    return (FOLDER / f"{name}.toml").read_text("utf-8")


def complaint(text: str) -> str:
    with pytest.raises(BadCatalogue) as caught:
        part_of(text, "my.toml")
    return str(caught.value)


def test_the_first_five_are_there() -> None:
    assert {"6530", "6532", "2316", "2332", "2364, 24 pins"} <= set(part_types())


@pytest.mark.parametrize("name", part_types())
def test_every_part_loads_and_is_complete(name: str) -> None:
    part = load_part(name)
    assert part.name == name
    assert part.functions
    if not part.pins:
        assert not part.rails
        return
    assert part.rails
    assert sorted(pin.n for pin in part.pins) == list(range(1, len(part.pins) + 1))
    assert {pin.kind for pin in part.pins} >= {"power", "ground"}
    assert all(cited.src for cited in part.cited())


WIRED = [name for name in part_types() if load_part(name).pins]


@pytest.mark.parametrize("name", WIRED)
def test_every_pin_has_one_job(name: str) -> None:
    """Addresses reach the whole ROM, data pins are as many as it is wide, no pin that reading needs is forgotten."""
    part = load_part(name)
    assert len(part.pins) == part.pin_count
    assert part.row in (0.3, 0.6)
    for function in part.functions:
        assert function.size == 1 << len(function.own)
        assert len({part.pin(own).n for own in function.own}) == len(function.own)
    roms = part.of_kind("rom")
    if roms:
        largest = max(roms, key=lambda rom: rom.size)
        assert len(part.data_pins) == largest.width
        addressed = {part.pin(own).n for own in largest.own}
        assert {pin.n for pin in part.pins if pin.kind == "address"} <= addressed
    rails = {rail.pin: rail for rail in part.rails}
    for pin in part.pins:
        assert (pin.kind in ("power", "program", "ground")) == (pin.n in rails)
    assert {pin.n for pin in part.pins if pin.kind == "select"} <= {part.pin(item.name).n for item in part.selects}


@pytest.mark.parametrize("name", WIRED)
def test_no_pin_is_held_beyond_what_it_stands(name: str) -> None:
    part = load_part(name)
    for rail in part.rails:
        high = part.voltage_limits(rail.name)[1]
        assert high is None or (rail.nominal if rail.maximum is None else rail.maximum) <= high
    for pin in part.pins:
        high = part.voltage_limits(pin.name)[1]
        assert high is None or all((item.minimum or 0) <= high for item in part.levels_of("VIH", pin.name))


@pytest.mark.parametrize("name", WIRED)
def test_the_first_rail_on_is_the_most_negative(name: str) -> None:
    """A substrate bias comes before what it biases; a programming supply never before VCC."""
    ordered = sorted((rail for rail in load_part(name).rails if rail.order), key=lambda rail: rail.order)
    if ordered:
        first = [rail for rail in ordered if rail.order == ordered[0].order]
        assert all(rail.nominal < 0 for rail in first) or [rail.name for rail in first] == ["VCC"]


def test_voltages_against_another_rail_are_given_against_ground() -> None:
    part = load_part("2708")
    assert part.voltage_limits("VDD") == (-5.3, 15.0)
    assert part.voltage_limits("D0") == (None, None)
    assert load_part("2732A").voltage_limits("/OE") == (-0.3, 22.0)
    assert load_part("2732A").voltage_limits("/CE") == (-0.3, 7.0)


def test_two_parts_of_one_number() -> None:
    with pytest.raises(BadCatalogue) as caught:
        load_part("2716")
    assert str(caught.value) == "'2716' stands for 2 parts; say which: '2716, 5 V' or '2716, three rails'"
    assert load_part("2716 5v") is load_part("2716, 5 V")
    assert load_part("2364/28-pins").package == "DIP-28"


@pytest.mark.parametrize("name", part_types())
def test_what_rests_on_memory_is_unchecked_and_nothing_else(name: str) -> None:
    part = load_part(name)
    expected = [f"{c.section}: {c.name}" for c in part.cited() if "memory" in c.src or "practice" in c.src]
    assert list(part.unchecked) == expected


def test_type_numbers_in_any_case_and_files_of_ones_own(tmp_path: Path) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(text_of("2316").replace('type = "2316"', 'type = "MY1"'), "utf-8")
    assert load_part(str(file)).type == "MY1"
    assert load_part(file) == load_part(str(file))
    assert load_part("6530") is load_part("6530")


def test_an_unknown_type_lists_what_there_is() -> None:
    with pytest.raises(
        BadCatalogue, match=r"'6531' is not in the catalogue; did you mean '65\d\d'\? allowed: .*6530, 6532"
    ):
        load_part("6531")


def test_the_6530_is_as_its_manual_says() -> None:
    """MCS6500 Hardware Manual, January 1976, figure 1.32 and pages 72 to 81."""
    part = load_part("6530")
    assert [(f.name, f.kind, f.size) for f in part.functions] == [
        ("rom", "rom", 1024),
        ("ram", "ram", 64),
        ("io-timer", "registers", 16),
    ]
    assert part.function("rom").selects == ("RS0", "CS1", "CS2")
    assert part.function("ram").selects == part.function("io-timer").selects
    assert set(part.function("ram").selects) == {"RS0", "CS1", "CS2", "A6", "A7", "A8", "A9"}
    assert {name: part.pin(name).n for name in ("A6", "R/W", "DB0", "DB7", "RS0", "PB6", "PB5", "/RES")} == {
        "A6": 8,
        "R/W": 9,
        "DB0": 33,
        "DB7": 26,
        "RS0": 4,
        "PB6": 18,
        "PB5": 19,
        "/RES": 16,
    }
    assert part.pin("CS1") is part.pin("PB6")
    assert part.options("rom", "CS2") == ("high", "low", "ignored")


def test_the_6532_has_fixed_selects() -> None:
    part = load_part("6532")
    assert part.options("ram", "/RS") == ("low",)
    assert part.options("io-timer", "/RS") == ("high",)
    assert not any(item.masked for item in part.selects)
    assert part.of_kind("rom") == ()
    with pytest.raises(KeyError):
        part.options("ram", "A0")
    with pytest.raises(KeyError):
        part.function("rom")
    with pytest.raises(KeyError):
        part.pin("RS0")


def test_pin_18_and_21_of_the_mask_roms() -> None:
    assert [load_part(name).pin("A11").n for name in ("2332", "2364, 24 pins")] == [18, 18]
    assert load_part("2364, 24 pins").pin("A12").n == 21
    assert [load_part("2316").pin(f"CS{n}").n for n in (1, 2, 3)] == [20, 18, 21]


def test_source_ids() -> None:
    assert source_ids("HW76 p. 139, memory") == ("HW76", "memory")
    assert source_ids(" , ") == ()


SLIPS: list[tuple[str, Callable[[str], str], str]] = [
    (
        "misspelt key",
        lambda t: t.replace("size = 64", "szie = 64"),
        "my.toml:76: functions 2: szie: unknown key; did you mean 'size'? "
        "allowed: kind, name, size, width, own, selects, src, cell, note",
    ),
    (
        "missing key",
        lambda t: t.replace("size = 64\n", ""),
        "my.toml:72: functions 2: the key 'size' is missing; "
        "allowed: kind, name, size, width, own, selects, src, cell, note",
    ),
    (
        "size against own pins",
        lambda t: t.replace("size = 64", "size = 65"),
        "my.toml:76: functions 2: size: 65 bytes, but 6 own pins; write 64, or correct 'own'",
    ),
    (
        "unknown kind",
        lambda t: t.replace('kind = "ram"', 'kind = "rma"'),
        "my.toml:73: functions 2: kind: 'rma' is not allowed; did you mean 'ram'? allowed: rom, ram, registers",
    ),
    (
        "unknown option",
        lambda t: t.replace('"high", "low", "ignored"', '"high", "lo", "ignored"', 1),
        "my.toml:96: selects 1: options 2: 'lo' is not allowed; did you mean 'low'? allowed: high, low, ignored",
    ),
    (
        "number as text",
        lambda t: t.replace("n = 30,", 'n = "30",'),
        "my.toml:38: pins 30: n: expected a whole number, got text; correct the value",
    ),
    (
        "number as text where nothing is allowed too",
        lambda t: t.replace("maximum = 25\n", 'maximum = "25"\n'),
        "my.toml:303: timing 3: maximum: expected a number or nothing, got text; correct the value",
    ),
    (
        "no TOML",
        lambda t: t.replace("masked = true", "masked = maybe", 1),
        "my.toml:97: is no valid TOML (Invalid value); correct this line",
    ),
    (
        "pin twice",
        lambda t: t.replace("n = 7, name", "n = 8, name"),
        "my.toml:15: pins 7: n: pin 8 is there 2 times; give each number once",
    ),
    (
        "pin missing",
        lambda t: t.replace("  { n = 40,", "# { n = 40,"),
        "my.toml:8: pins: pin 40 of the DIP-40 is missing; list every pin",
    ),
    (
        "pin beyond",
        lambda t: t.replace("n = 40,", "n = 41,"),
        "my.toml:48: pins 40: n: pin 41 of a DIP-40; allowed: 1 to 40",
    ),
    (
        "name twice",
        lambda t: t.replace('name = "PA1"', 'name = "PA2"'),
        "my.toml:47: pins 39: name: two pins are called PA2; give each pin a name of its own",
    ),
    (
        "package",
        lambda t: t.replace("DIP-40", "DIP40"),
        "my.toml:3: package: 'DIP40' names no number of pins; write it like DIP-24",
    ),
    (
        "no such source",
        lambda t: t.replace('"QREF, PRNOTE"', '"QREF, PRNOT"'),
        "my.toml:195: registers 9: src: 'PRNOT' is none of the sources; did you mean 'PRNOTE'? "
        "allowed: HW76, QREF, PRNOTE, BADPIN, memory, practice",
    ),
    (
        "no source",
        lambda t: t.replace('write = "port A output latch"\nsrc = "HW76"', 'write = "port A output latch"\nsrc = " "'),
        "registers 1: src: '0' has no source; allowed: HW76, QREF, PRNOTE, BADPIN, memory, practice",
    ),
    (
        "select that no function names",
        lambda t: t.replace('selects = ["RS0", "CS1", "CS2"]', 'selects = ["RS0", "CS1"]'),
        "selects 3: functions: 'rom' does not name CS2; add it to the selects of 'rom', or take 'rom' away here",
    ),
    (
        "select that is not described",
        lambda t: t.replace('name = "A6"\nfunctions = ["ram", "io-timer"]', 'name = "A6"\nfunctions = ["ram"]'),
        "functions 3: selects: nothing says how A6 selects it; "
        "add a [[selects]] for A6 with 'io-timer' among its functions",
    ),
    (
        "rail on a signal pin",
        lambda t: t.replace("pin = 20\n", "pin = 21\n"),
        "rails 1: pin: pin 21 is no supply or ground pin; allowed: 1, 20",
    ),
    (
        "nominal outside its limits",
        lambda t: t.replace("nominal = 5.0", "nominal = 12.0"),
        "rails 1: nominal: 12.0 V lies outside its own limits; correct the limits",
    ),
    (
        "fixed select with options",
        lambda t: t.replace("masked = true", "masked = false", 1),
        "selects 1: masked: 3 options do not fit it; a fixed select has one option, a masked one two or three",
    ),
]


@pytest.mark.parametrize(("slip", "expected"), [(s[1], s[2]) for s in SLIPS], ids=[s[0] for s in SLIPS])
def test_a_slip_names_file_line_key_and_what_is_allowed(slip: Callable[[str], str], expected: str) -> None:
    text = text_of("6530")
    changed = slip(text)
    assert changed != text
    found = complaint(changed)
    assert found == expected or (
        not expected.startswith("my.toml") and found.endswith(expected) and found.startswith("my.toml:")
    )


def test_a_pin_that_functions_name_and_that_is_not_there() -> None:
    found = complaint(text_of("6530").replace('name = "RS0", kind', 'name = "RSO", kind'))
    assert found.startswith(
        "my.toml:69: functions 1: selects: there is no pin 'RS0'; did you mean 'RSO'? allowed: /IRQ, /RES,"
    )


@pytest.mark.parametrize(
    ("make", "expected"),
    [
        (lambda p: p / "absent.toml", "there is no such file; name a part file"),
        (lambda p: p, "cannot be read (is a directory); name a part file"),
    ],
)
def test_a_part_file_that_cannot_be_read(tmp_path: Path, make: Callable[[Path], Path], expected: str) -> None:
    with pytest.raises(BadCatalogue) as caught:
        load_part(make(tmp_path))
    assert str(caught.value) == f"{make(tmp_path)}: {expected}"


def test_a_part_file_that_is_no_text(tmp_path: Path) -> None:
    file = tmp_path / "junk.toml"
    file.write_bytes(b"\xff\xfe\x00")
    with pytest.raises(BadCatalogue) as caught:
        load_part(file)
    assert str(caught.value) == f"{file}: is no UTF-8 text, so no part file; save it as UTF-8 in your editor"
