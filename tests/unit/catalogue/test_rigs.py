# ruff: noqa: E501  messages are compared whole, one to a line
from __future__ import annotations

import re
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path
from random import Random

import msgspec
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.address import Range
from romassay.catalogue import load_rig, part_of, rig_of, rig_text
from romassay.errors import BadCatalogue
from romassay.rig import data_mask, line_number, spread

DEMO = files("romassay.twin") / "demo"
TEXT = (DEMO / "rig.toml").read_text("utf-8")


def complaint(text: str) -> str:
    with pytest.raises(BadCatalogue) as caught:
        rig_of(text, "my.toml")
    return str(caught.value)


def test_spans_are_spread_and_lines_known() -> None:
    rig = rig_of(TEXT, "my.toml").rig
    assert rig.wiring["A3"] == "A3"
    assert rig.wiring["DB7"] == "D7"
    assert len(rig.wiring) == 10 + 3 + 8 + 3
    assert rig.address_line("CS1") == 12
    assert rig.address_line("DB0") is None
    assert rig.address_line("nothing") is None
    assert rig.address_bits == 16
    assert rig.host_memory == (Range(0, 0x3FFF), Range(0xE000, 0xFFFF))
    assert spread("DB7-DB5") == ("DB7", "DB6", "DB5")
    assert spread("R/W") == ("R/W",)
    assert [line_number(name, "A") for name in ("A0", "A23", "D3", "A", "A01", "PHI2")] == [
        0,
        23,
        None,
        None,
        None,
        None,
    ]
    assert data_mask(("D0-D3", "D7")) == 0x8F


def test_a_decode_in_the_specimens_own_pins() -> None:
    found = rig_of(TEXT, "my.toml")
    assert found.part is not None
    decode = {"A10": "1", "A11": "any", "A12": "1", "A15": "unknown"}
    assert found.rig.pin_levels(found.part, "rom", decode) == (("RS0", "1"), ("CS1", "1"), ("CS2", "unknown"))
    held = msgspec.structs.replace(found.rig, wiring={"RS0": "A10"}, held={"CS1": "high", "CS2": "low"})
    assert held.pin_levels(found.part, "rom", decode) == (("RS0", "1"), ("CS1", "unknown"), ("CS2", "unknown"))


@pytest.mark.parametrize("name", ["rig.toml", "example.toml"])
def test_what_is_written_loads_as_the_same_rig(name: str) -> None:
    rig = rig_of((DEMO / name).read_text("utf-8"), name).rig
    assert rig_of(rig_text(rig), "again.toml").rig == rig


@given(
    title=st.text(st.characters(codec="utf-8", exclude_characters="\r")),
    share=st.floats(0, 1),
    seed=st.integers(0, 2**62),
    window=st.lists(st.tuples(st.integers(0, 0x7FFF), st.integers(1, 0x100)), min_size=1, max_size=3),
)
def test_any_title_share_and_window_survive_the_round_trip(
    title: str, share: float, seed: int, window: list[tuple[int, int]]
) -> None:
    rig = rig_of(TEXT, "my.toml").rig
    assert rig.twin is not None
    evening = msgspec.structs.replace(rig.twin.evening, window=tuple(f"{a:#x}+{n:#x}" for a, n in window))
    twin = msgspec.structs.replace(rig.twin, unrest=share, seed=seed, evening=evening)
    changed = msgspec.structs.replace(rig, title=title, twin=twin)
    assert rig_of(rig_text(changed), "again.toml").rig == changed


SLIPS = [
    ('RS0 = "A10"', 'RS0 = "A16"', "21: wiring: RS0: 'A16' is no address line of the host; allowed: A0 to A15, or hold the pin under [held]"),
    ('PHI2 = "PHI2"\n', "", "19: wiring: PHI2 (pin 3) is neither wired nor held; add 'PHI2 = …' under [wiring], or under [held]"),
    ('"D0-D7"', '"D0-D6"', "24: wiring: DB0-DB7: 8 pins on 7 lines; write as many of each, like A0-A9 = 'A0-A9'"),
    ('"D0-D7"', '"D1-D8"', "19: wiring: DB7: 'D8' is no data line of the host; allowed: D0 to D7"),
    ('"A0-A9" = "A0-A9"', '"A0-A99" = "A0-A99"', "20: wiring: A0-A99: 'A0-A99' spans more lines than there are; write it like A0-A9"),
    ('PHI2 = "PHI2"', 'PHI2 = "PHI2"\nVCC = "A13"', "26: wiring: VCC: VCC is a power pin; supplies are no part of the wiring"),
    ('CS2 = "A15"', 'CS2 = "A15"\nPB5 = "A14"', "24: wiring: PB5: CS2 is wired twice; keep one"),
    ("[twin]\n", '[held]\n"R/W" = "low"\n\n[twin]\n', "30: held: R/W: R/W is wired to R/W as well; wire it or hold it"),
    ('"R/W" = "R/W"\n"/RES" = "/RES"\n', '"/RES" = "/RES"\n[held]\n"R/W" = "low"\n', "28: held: R/W: held low, the host's reads would write; hold it high, or wire it to the host"),
    ("[twin]\n", '[held]\nCS9 = "low"\n\n[twin]\n', None),
    ("[twin]\n", '[held]\n"A0-A99" = "low"\n\n[twin]\n', "30: held: A0-A99: 'A0-A99' spans more lines than there are; write it like A0-A9"),
    ("address_bits = 16", "address_bits = 40", "8: host: address_bits: 40 lines; allowed: 8 to 24"),
    ("0xE000-0xFFFF", "0xE000-0x1FFFF", "15: host: memory 2: range: E000-1FFFF does not fit 16 address lines; stay below 0x10000"),
    ("0xE000-0xFFFF", "E000", "15: host: memory 2: range: 'E000' is no range; write it as 0x4000-0x5FFF or 0x4000+0x2000"),
    ('kind = "ram"', 'kind = "ram"\npattern = "FG"', "13: host: memory 1: pattern: 'FG' is no bytes in hex; write it like 'FF 00'"),
    ('kind = "ram"', 'kind = "ram"\nbusy = 1.5', "13: host: memory 1: busy: 1.5 is no share; allowed: 0 to 1"),
    ('kind = "rom"', 'kind = "eprom"', "16: host: memory 2: kind: 'eprom' is not allowed; did you mean 'rom'? allowed: ram, rom"),
    ('CS2 = "ignored"', 'CS2 = "ignord"', "36: twin: mask: rom: CS2: 'ignord' is not allowed; did you mean 'ignored'? allowed: high, low, ignored"),
    ("[twin.mask.rom]", "[twin.mask.rmo]", "33: twin: mask: rmo: there is no function 'rmo'; did you mean 'rom'? allowed: rom, ram, io-timer"),
    ('A6 = "high"\n', 'A6 = "high"\nA5 = "low"\n', "46: twin: mask: ram: A5: 'A5' does not select 'ram'; allowed: RS0, CS1, CS2, A9, A8, A7, A6"),
    ("[twin.contents.rom]", "[twin.contents.ram]", "56: twin: contents: ram: there is no ROM 'ram'; did you mean 'rom'? allowed: rom"),
    ('file = "fog_signal.bin"', 'file = "fog_signal.bin"\nseed = 1', "56: twin: contents: rom: both a file and a seed; keep one"),
    ('kind = "address-high"', 'kind = "address-hi"', "61: twin: floating 1: kind: 'address-hi' is not allowed; did you mean 'address-high'? allowed: pulled, constant, address-low, address-high, address-bank, previous, decay, noise"),
    ('kind = "address-high"', 'kind = "address-high"\nlines = ["D0-D3"]', "60: twin: floating: nothing is said of D4, D5, D6, D7; cover D0 to D7"),
    ('kind = "address-high"', 'kind = "address-high"\nlines = ["D0-D3", "D9"]', "62: twin: floating 1: lines: 'D9' is no data line; write D0 to D7, or a span like D0-D3"),
    ('kind = "address-high"', 'kind = "constant"\nvalue = 256', "62: twin: floating 1: value: 256 is no byte; allowed: 0 to 0xFF"),
    ('kind = "address-high"', 'kind = "decay"\nrate = -1.0', "62: twin: floating 1: rate: -1.0 is no rate; allowed: 0 and above"),
    ("seed = 1911", "unrest = nan", "30: twin: unrest: nan is no share; allowed: 0 to 1"),
    ("drop = 0.00002", "drop = 2", "66: twin: noise: drop: 2.0 is no share; allowed: 0 to 1"),
    ('layout = "monitor"', 'layouts = "x"', "72: twin: evening: layouts: unknown key; did you mean 'layout'? allowed: window, readings, sessions, controls, layout, together, prefix"),
    ('["0x4000-0xDFFF"]', '["0x4000-0xDFF"]', "69: twin: evening: window 1: '0x4000-0xDFF' is an empty range; give the lower address first, and a length above 0"),
    ("readings = 3", "readings = 900", "68: twin: evening: 901 passes are 36904960 bytes to print; allowed: 33554432 in all; read less, or less often"),
    ("seed = 1911", 'line = {encoding = "utf8"}', "30: twin: line: encoding: 'utf8' is not allowed; did you mean 'utf-8'? allowed: ascii, latin-1, utf-8, utf-8-sig, utf-16, utf-16-le, utf-16-be"),
    ("seed = 1911", "line = {nuls = 101}", "30: twin: line: nuls: 101 of them; allowed: 0 to 100"),
    ("drop = 0.00002", "burst_length = 0", "66: twin: noise: burst_length: 0 of them; allowed: 1 to 10000"),
    ("seed = 1911", "cycles = 0", "30: twin: cycles: 0 of them; allowed: 1 to 1000000000"),
    ("readings = 3", "readings = 0", "70: twin: evening: readings: 0 of them; allowed: 1 to 1000"),
    ('prefix = "fog-"', 'prefix = "../fog-"', "73: twin: evening: prefix: '../fog-' cannot begin a file name; begin with a letter or digit; letters, digits, '-', '_' and '.' may follow"),
    ('part = "6530"', 'part = "6350"', None),
    ('part = "6530"\n', "", "19: wiring: A0-A9: there is no part to wire; name the part, or take the wiring away"),
    ("seed = 1911", 'seed = 1911\nfunctions = [{kind = "rom", pattern = "1101--aa"}]', "31: twin: functions 1: pattern: '1101--aa' is no pattern of 16 lines; write 16 characters, highest line first: 1, 0, '-' where ignored, 'a' for its own lines"),
    ("seed = 1911", 'seed = 1911\nfunctions = [{kind = "ram", pattern = "1101--aaaaaaaaaa", contents = {seed = 3}}]', "31: twin: functions 1: contents: a ram function holds nothing of its own; take it away"),
    ("seed = 1911", "seed = 1911\nweak = [{offset = 1024, line = 0, to = 0, chance = 0.5}]", "31: twin: weak 1: offset: 1024 in a ROM of 1024 bytes; allowed: 0 to 1023"),
    ("seed = 1911", "seed = 1911\nweak = [{offset = 0, line = 8, to = 0, chance = 0.5}]", "31: twin: weak 1: line: data line 8; allowed: 0 to 7"),
    ("seed = 1911", "seed = 1911\nweak = [{offset = 0, line = 0, to = 2, chance = 0.5}]", "31: twin: weak 1: to: a level of 2; allowed: 0, 1"),
    ("seed = 1911", 'seed = 1911\nweak = [{offset = 0, line = 0, to = 1, chance = 0.5, function = "ram"}]', "31: twin: weak 1: function: there is no ROM 'ram'; did you mean 'rom'? allowed: rom"),
]  # fmt: skip


@pytest.mark.parametrize(("old", "new", "expected"), SLIPS, ids=[str(n) for n in range(len(SLIPS))])
def test_a_slip_names_file_line_key_and_what_is_allowed(old: str, new: str, expected: str | None) -> None:
    assert old in TEXT
    found = complaint(TEXT.replace(old, new, 1))
    if expected is None:
        assert found.startswith("my.toml:")
        assert "did you mean" in found
    else:
        assert found == f"my.toml:{expected}"


def test_nothing_to_rehearse_with() -> None:
    text = '[host]\naddress_bits = 16\n[twin.evening]\nwindow = ["0+16"]\n'
    assert complaint(text).endswith(
        "twin: neither a part nor functions to rehearse with; name a part, or add [[twin.functions]]"
    )


def test_a_part_file_beside_the_rig(tmp_path: Path) -> None:
    part = (files("romassay.catalogue") / "parts" / "6530.toml").read_text("utf-8")
    (tmp_path / "mine.toml").write_text(part, "utf-8")
    rig = tmp_path / "rig.toml"
    rig.write_text(TEXT.replace('part = "6530"', 'part = "mine.toml"'), "utf-8")
    found = load_rig(rig)
    assert found.part is not None
    assert found.part.type == "6530"
    assert found.folder == tmp_path
    (tmp_path / "mine.toml").write_text(part.replace("size = 64", "size = 65"), "utf-8")
    with pytest.raises(BadCatalogue, match=r"mine\.toml:76: functions 2: size"):
        load_rig(rig)
    (tmp_path / "mine.toml").unlink()
    with pytest.raises(BadCatalogue, match=r"rig\.toml:4: part: there is no such file"):
        load_rig(rig)


VALUES = ["3", '"x"', "[]", "{}", "true", "1.5", "nan", "-1", "9" * 20, '""', "[1]", "{a = 1}", '["A0"]', "1979-05-27"]
FILES = [
    (TEXT, rig_of),
    ((DEMO / "example.toml").read_text("utf-8"), rig_of),
    ((files("romassay.catalogue") / "parts" / "2316.toml").read_text("utf-8"), part_of),
]


@given(st.sampled_from(FILES), st.randoms(use_true_random=False))
@settings(max_examples=400)
def test_a_spoilt_file_never_ends_in_anything_but_one_line_that_names_a_line(
    file: tuple[str, Callable[[str, str], object]], chance: Random
) -> None:
    text, load = file
    lines = text.splitlines()
    at = chance.randrange(len(lines))
    match chance.randrange(4):
        case 0:
            del lines[at]
        case 1:
            lines[at] = f"{lines[at].partition('=')[0]}= {chance.choice(VALUES)}"
        case 2:
            column = chance.randrange(len(lines[at]) + 1)
            lines[at] = lines[at][:column] + chance.choice('abzA09"[]{}=.,-') + lines[at][column + 1 :]
        case _:
            lines.insert(at, chance.choice(lines))
    said = "my.toml:1: nothing"
    try:
        load("\n".join(lines), "my.toml")
    except BadCatalogue as e:
        said = str(e)
    assert "\n" not in said
    assert re.match(r"my\.toml:\d+: |my\.toml: the key '\w+' is missing", said)
