from __future__ import annotations

import json
import shlex
from importlib.resources import files
from pathlib import Path

import pytest

from romassay.cli import run
from romassay.errors import BadValue

PROGRAM = (files("romassay.twin") / "demo" / "fog_signal.bin").read_bytes()


def test_the_example_is_a_rig_to_start_from(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["twin", "--example"]) == 0
    Path("my.toml").write_text(capsys.readouterr().out, "utf-8")
    assert run(["twin", "my.toml", "-o", "evening"]) == 0
    lines = capsys.readouterr().out.splitlines()
    commands = [line for line in lines if line.startswith("romassay assay ")]
    assert len(commands) == 2
    assert lines[0] == "My rehearsal"
    truth = json.loads(Path("evening/truth.json").read_text("utf-8"))
    for command in commands:
        run(shlex.split(command)[1:])
    [rom] = truth["functions"]
    assert Path("evening/docket/image.bin").read_bytes() == bytes.fromhex(rom["image"])
    record = json.loads(Path("evening/docket/assay.json").read_text("utf-8"))
    shown = {line: "unknown" if line in rom["not_exercised"] else level for line, level in rom["decode"].items()}
    assert record["functions"][0]["decode"] == shown
    assert rom["not_exercised"] == ["A15"]
    assert record["functions"][0]["image"]["sha256"] == rom["sha256"]
    assert record["verdict"] == "confirmed"
    assert "no-power-cycle" not in record["limits"]


@pytest.mark.parametrize("arguments", [[], ["my.toml"], ["-o", "x"]])
def test_what_the_twin_needs(arguments: list[str]) -> None:
    with pytest.raises(BadValue, match=r"a rig file and a folder are needed; write 'romassay twin RIG\.toml -o DIR'"):
        run(["twin", *arguments])


def test_the_demo_finds_the_program_that_we_wrote(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    assert run(["demo"]) == 0
    shown = capsys.readouterr().out
    assert "(invented)" in shown.splitlines()[0]
    [command] = [line[2:] for line in shown.splitlines() if line.startswith("$ ")]
    assert Path("fog-signal/image.bin").read_bytes() == PROGRAM
    record = json.loads(Path("fog-signal/assay.json").read_text("utf-8"))
    assert record["verdict"] == "confirmed"
    rom = record["functions"][0]
    assert rom["decode"] == {"A10": "1", "A11": "any", "A12": "1", "A13": "any", "A14": "any", "A15": "any"}
    kinds = [function["kind"] for function in record["functions"]]
    assert kinds[:2] == ["rom", "ram"]
    assert run(shlex.split(command)[1:]) == 0
    assert run(["demo"]) == 0


def test_the_demo_beside_a_docket_of_ones_own(tmp_path: Path) -> None:
    assert run(["demo", "-o", str(tmp_path / "mine")]) == 0
    assert (tmp_path / "mine" / "image.bin").read_bytes() == PROGRAM
    assert (tmp_path / "mine-logs" / "fog-pass-1.log").exists()


@pytest.mark.parametrize(("more", "told"), [("", True), ("[twin.noise]\ndrop = 0.001\n", False)])
def test_passes_that_came_out_equal_are_told(
    more: str, told: bool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.chdir(tmp_path)
    Path("rig.toml").write_text(f'part = "2316"\nhost = "monitor-300-baud"\n[twin]\nseed = 3\n{more}')
    run(["twin", "rig.toml", "-o", "evening"])
    err = capsys.readouterr().err
    assert err.startswith("romassay: pass-2.log, pass-3.log: equal to an earlier pass") is told
    assert bool(err) is told
