from __future__ import annotations

import json
from importlib.resources import files
from pathlib import Path

import pytest

from romassay.catalogue import load_rig
from romassay.cli import run
from romassay.errors import BadValue

DEMO = files("romassay.twin") / "demo"


@pytest.fixture
def evening(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A folder with a rig file, its own part and host files, and the logs of a rehearsal."""
    monkeypatch.chdir(tmp_path)
    text = (DEMO / "rig.toml").read_text("utf-8")
    text = text.replace('part = "6530"', 'part = "mine.toml"').replace("readings = 3", "readings = 2")
    Path("rig.toml").write_text(text)
    part = files("romassay.catalogue") / "parts" / "6530.toml"
    Path("mine.toml").write_text(part.read_text("utf-8"))
    Path("fog_signal.bin").write_bytes((DEMO / "fog_signal.bin").read_bytes())
    assert run(["twin", "rig.toml", "-o", "logs"]) == 0
    return tmp_path


def record() -> dict[str, object]:
    found: dict[str, object] = json.loads(Path("docket/assay.json").read_text())
    return found


def test_a_rig_says_part_host_and_pins_and_the_docket_keeps_it(
    evening: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    logs = [str(path) for path in sorted((evening / "logs").glob("fog-pass-*.log"))]
    run(["assay", *logs, "--rig", "rig.toml", "-o", "docket"])
    assert "ROM answers when RS0 = 1 and CS1 = 1; CS2 don't" in " ".join(capsys.readouterr().out.split())
    first = record()
    assert first["functions"][0]["pins"] == {"RS0": "1", "CS1": "1", "CS2": "any"}  # type: ignore[index]
    assert first["options"]["part"] == "6530"  # type: ignore[index]
    assert first["options"]["exclude"] == [  # type: ignore[index]
        {"first": 0, "last": 0x3FFF},
        {"first": 0xE000, "last": 0xFFFF},
    ]
    for name in ("rig.toml", "mine.toml", "fog_signal.bin"):
        (evening / name).unlink()
    assert load_rig("docket/rig.toml").part is not None
    run(["assay", "-o", "docket"])
    assert record() == first
    run(["assay", "-o", "docket", "--rig", "none"])
    assert record()["functions"][0]["pins"] is None  # type: ignore[index]


@pytest.mark.parametrize("option", [("--part", "6530"), ("--size", "1024")])
def test_of_rig_part_and_size_the_last_one_said_counts(
    evening: Path, option: tuple[str, str], capsys: pytest.CaptureFixture[str]
) -> None:
    run(["assay", str(evening / "logs/fog-pass-1.log"), "--rig", "rig.toml", "-o", "docket"])
    assert "no longer counts" not in capsys.readouterr().err
    run(["assay", "-o", "docket", *option])
    assert "romassay: the rig that was said before no longer counts; " in capsys.readouterr().err
    options = record()["options"]
    assert (options["rig"], options["exclude"]) == (None, [])  # type: ignore[index]


@pytest.mark.parametrize("option", [("--part", "6530"), ("--size", "1024")])
def test_a_rig_and_a_part_are_one_too_many(evening: Path, option: tuple[str, str]) -> None:
    with pytest.raises(BadValue) as caught:
        run(["assay", str(evening / "logs/fog-pass-1.log"), "--rig", "rig.toml", *option])
    assert str(caught.value) == f"{option[0]}: a rig names its part itself; leave it out, or the rig"
