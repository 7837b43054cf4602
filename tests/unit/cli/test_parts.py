from __future__ import annotations

import json
import random
import subprocess
import sys
from importlib.resources import files
from pathlib import Path

import pytest

from romassay.catalogue import part_types
from romassay.cli import run
from romassay.errors import BadCatalogue, BadValue

OWN = (files("romassay.catalogue") / "parts" / "2332.toml").read_text("utf-8").replace('type = "2332"', 'type = "HM1"')


@pytest.fixture
def own(tmp_path: Path) -> Path:
    folder = tmp_path / "parts"
    folder.mkdir()
    (folder / "hm1.toml").write_text(OWN, "utf-8")
    return folder


def test_the_list_has_every_part(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["parts"]) == 0
    lines = capsys.readouterr().out.splitlines()
    assert [line[:18].strip() for line in lines[1 : len(part_types()) + 1]] == list(part_types())
    assert run(["parts", "--json"]) == 0
    listed = json.loads(capsys.readouterr().out)
    assert [item["name"] for item in listed] == list(part_types())
    assert {item["file"] for item in listed} == {None}


def test_one_part_as_text_json_and_drawing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["parts", "6530"]) == 0
    assert capsys.readouterr().out.startswith("6530       1024 x 8 mask ROM + 64 x 8 static RAM")
    assert run(["parts", "6530", "--json"]) == 0
    part = json.loads(capsys.readouterr().out)
    assert part["type"] == "6530"
    assert len(part["pins"]) == 40
    assert "ratings: voltage" in part["unchecked"]
    assert run(["parts", "6530", "--svg", str(tmp_path / "6530.svg")]) == 0
    assert (tmp_path / "6530.svg").read_text("utf-8").startswith("<?xml")


def test_a_number_with_two_pin_outs_asks_for_one() -> None:
    with pytest.raises(BadCatalogue, match="'2716' stands for 2 parts; say which: '2716, 5 V' or '2716, three rails'"):
        run(["parts", "2716"])


def test_assay_asks_too_and_takes_the_full_name(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    log = tmp_path / "a.raw"
    log.write_bytes(random.Random(2716).randbytes(2048) * 4)
    with pytest.raises(BadCatalogue, match="'2716' stands for 2 parts"):
        run(["assay", str(log), "--part", "2716", "--base", "0"])
    assert run(["assay", str(log), "--part", "2716, 5 V", "--base", "0", "--format", "raw-binary"]) in (0, 3)
    assert "2 KiB" in capsys.readouterr().out


def test_a_part_of_ones_own_directory(
    own: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    assert run(["parts", "HM1", "--parts", str(own)]) == 0
    assert f"From {own / 'hm1.toml'}." in capsys.readouterr().out
    monkeypatch.setenv("ROMASSAY_PARTS", str(own))
    assert run(["parts"]) == 0
    assert str(own / "hm1.toml") in capsys.readouterr().out


def test_a_docket_keeps_a_part_of_ones_own_directory(
    own: Path, tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    log = tmp_path / "a.raw"
    log.write_bytes(random.Random(2332).randbytes(4096) * 2)
    docket = tmp_path / "docket"
    base = ["--base", "0", "--format", "raw-binary", "-o", str(docket)]
    run(["assay", str(log), "--part", "hm1", "--parts", str(own), *base])
    assert (docket / "part.toml").read_text("utf-8") == OWN
    (own / "hm1.toml").unlink()
    assert run(["assay", "-o", str(docket)]) in (0, 3)
    assert "4 KiB" in capsys.readouterr().out


def test_check_says_what_is_wrong_line_by_line(own: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["parts", "--check", str(own)]) == 0
    assert "hm1.toml: good: HM1; " in capsys.readouterr().out
    (own / "bad.toml").write_text(OWN.replace("n = 7,", "n = 8,").replace('kind = "rom"', 'kind = "rmo"'), "utf-8")
    (own / "worse.toml").write_bytes(b"\xff\xfe")
    (own / "two.toml").write_text(OWN.replace("n = 7,", "n = 8,"), "utf-8")
    assert run(["parts", "--check", str(own)]) == 2
    said = capsys.readouterr()
    lines = said.err.splitlines()
    assert len(lines) == 5
    assert "bad.toml:" in lines[0]
    assert "functions 1: kind: 'rmo' is not allowed; did you mean 'rom'? allowed: rom, ram, registers" in lines[0]
    assert [line.split(":")[-1].partition(";")[0].strip() for line in lines[1:4]] == [
        "pin 8 is there 2 times",
        "pin 8 is there 2 times",
        "pin 7 of the DIP-24 is missing",
    ]
    assert "worse.toml: is no UTF-8 text, so no part file" in lines[4]
    assert "hm1.toml: good" in said.out


def test_check_tells_of_a_part_that_the_catalogue_has(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    file = tmp_path / "mine.toml"
    file.write_text(OWN.replace('type = "HM1"', 'type = "2332"'), "utf-8")
    assert run(["parts", "--check", str(file)]) == 0
    assert "mine.toml: 2332 is in the catalogue too; name this file" in capsys.readouterr().err


def test_check_of_what_is_not_there_ends_in_2(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["parts", "--check", str(tmp_path / "absent.toml")]) == 2
    assert "absent.toml: there is no such file; name a part file" in capsys.readouterr().err
    with pytest.raises(BadValue, match="holds no part files"):
        run(["parts", "--check", str(tmp_path)])


def test_what_a_house_marked_chip_may_be(capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["parts", "--fits", "--pins", "40", "--supply", "VCC=20", "--ground", "1"]) == 0
    text = capsys.readouterr().out
    assert text.startswith("2 parts fit what was said:\n  6530  ")
    assert "common practice, no source" in text
    assert "Mains plug out" in text
    assert (
        run(["parts", "--fits", "--pins", "40", "--supply", "20", "--ground", "1", "--pin", "3=clock", "--json"]) == 0
    )
    found = json.loads(capsys.readouterr().out)
    assert [part["name"] for part in found["candidates"]] == ["6530"]
    assert found["near"] == [{"name": "6532", "against": "pin 3 is A4 (address), not clock"}]
    assert run(["parts", "--fits", "--pins", "14"]) == 4
    assert "No part of the catalogue fits" in capsys.readouterr().out


@pytest.mark.parametrize(
    ("arguments", "problem"),
    [
        (["--pins", "24"], "--pins: is of use with --fits only; add --fits"),
        (["--fits"], "--fits: nothing is known of the chip; say --pins, --supply, --ground or --pin"),
        (["--fits", "--pin", "clock"], "--pin: 'clock' says nothing of a pin; write it like 3=clock"),
        (["--fits", "--supply", "VCC"], "--supply: 'VCC' is no pin number; pins count from 1"),
        (["6530", "--fits", "--pins", "40"], "'6530' and --fits exclude each other"),
        (["--svg", "x.svg"], "--svg: no part to draw; name its type"),
        (["6846", "--svg", "x.svg"], "no pin table of the 6846 was found; there is nothing to draw"),
        (["--fits", "--size", "three"], "--size: "),
    ],
)
def test_what_cannot_be_meant_is_one_line(arguments: list[str], problem: str) -> None:
    with pytest.raises(BadValue) as caught:
        run(["parts", *arguments])
    assert str(caught.value).startswith(problem)


def test_a_faulty_directory_in_the_environment_is_named(own: Path) -> None:
    (own / "bad.toml").write_text("type = 1", "utf-8")
    done = subprocess.run(
        [sys.executable, "-m", "romassay", "parts", "--parts", str(own)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 2
    assert done.stderr.startswith(f"romassay: {own / 'bad.toml'}")
    assert "Traceback" not in done.stderr


def test_a_terminal_without_box_signs_gets_plain_ones() -> None:
    call = [sys.executable, "-m", "romassay", "parts", "6530"]
    done = subprocess.run(call, capture_output=True, env={"PYTHONIOENCODING": "ascii"}, timeout=60, check=True)
    assert b"+----u----+" in done.stdout
    assert b"VSS  1 |         | 40 PA1" in done.stdout
    assert b"\\u" not in done.stdout


def test_a_word_that_no_part_has_for_a_pin_is_named() -> None:
    with pytest.raises(BadValue, match="no part has a pin called 'adress'; did you mean 'address'"):
        run(["parts", "--fits", "--pins", "40", "--pin", "3=adress"])
