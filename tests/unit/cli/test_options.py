"""Options that several verbs share: none is passed over in silence, and bare digits are said in hex, too."""

from __future__ import annotations

import shutil
from pathlib import Path

import pytest

from romassay.cli import run
from romassay.errors import BadValue

DUMP = "".join(
    f"{a:04X} " + " ".join(f"{(a * 7 + i * i) % 251:02X}" for i in range(16)) + "\n" for a in range(0, 2048, 16)
)


@pytest.fixture
def here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    (tmp_path / "a.log").write_text(DUMP)
    (tmp_path / "rom.bin").write_bytes(bytes(range(256)) * 2)
    return tmp_path


@pytest.mark.parametrize(
    ("typed", "option"),
    [
        ("capture line -o d --silence 3", "--silence"),
        ("capture line -o d --numbers octal", "--numbers"),
        ("capture line -o d --listen --host reader-5v", "--host"),
        ("capture line -o d --listen --window 0-100", "--window"),
        ("capture -o d --keyed --baud 300", "--baud"),
        ("capture -o d --resume --passes 3", "--passes"),
        ("capture line --probe --parity even", "--parity"),
        ("firmware rig.toml -o d --load 0x200", "--load"),
        ("firmware --host-routine 6502 --mcu atmega328p", "--mcu"),
        ("listing rom.bin --stride 4", "--stride"),
        ("listing rom.bin --image 2", "--image"),
        ("parts 6530 --svg a.svg --json", "--json"),
        ("parts --fits --pins 40 --svg a.svg", "--svg"),
        ("parts --check mine.toml --fits", "--fits"),
        ("twin --example --seed 3", "--seed"),
    ],
)
def test_an_option_of_no_use_is_named(here: Path, typed: str, option: str) -> None:
    with pytest.raises(BadValue, match="is of no use") as caught:
        run(typed.split())
    assert caught.value.place == option
    assert [path.name for path in sorted(here.iterdir())] == ["a.log", "rom.bin"]


@pytest.mark.parametrize(
    ("typed", "place"),
    [
        ("assay a.log --empty-socket a.log", "a.log"),
        ("capture line --keyed -o d --window 0x0-0xF", "line"),
        ("twin rig.toml --example", "rig.toml"),
        ("parts 6530 --check mine.toml", "6530"),
        ("listing rom.bin --cpu 6502 --entry 0x9999", "--entry"),
        ("bench --folder nowhere", "--folder"),
    ],
)
def test_words_that_exclude_each_other_are_named(here: Path, typed: str, place: str) -> None:
    with pytest.raises(BadValue) as caught:
        run(typed.split())
    assert (here / "a.log").exists()
    assert caught.value.place == place
    assert caught.value.advice


@pytest.mark.parametrize(
    ("typed", "said"),
    [
        (
            "convert rom.bin o.hex --base 8000",
            "--base 8000: that is decimal, 1F40 in hex; if hex is meant, write 0x8000",
        ),
        (
            "convert a.log o.bin --range 100-1023",
            "--range 100-1023: that is decimal, 0064-03FF in hex; if hex is meant, write 0x100-0x1023",
        ),
        ("convert a.log o.bin --at 200", "--at 200: that is decimal, 00C8 in hex; if hex is meant, write 0x200"),
        (
            "assay a.log --exclude 0-15",
            "--exclude 0-15: that is decimal, 0000-000F in hex; if hex is meant, write 0x0-0x15",
        ),
        (
            "firmware --host-routine 6502 --load 300 --output 0xFFD2 --window 0xD000-0xD7FF",
            "--load 300: that is decimal, 012C in hex; if hex is meant, write 0x300",
        ),
    ],
)
def test_bare_digits_are_said_in_hex(here: Path, capsys: pytest.CaptureFixture[str], typed: str, said: str) -> None:
    run(typed.split())
    assert (here / "a.log").exists()
    assert f"romassay: {said}\n" in capsys.readouterr().err


@pytest.mark.parametrize(
    "typed", ["--range 0x100-0x3FF", "--range $100-$3FF", "--range 0x100+32", "--at 0", "--at 32768"]
)
def test_what_can_be_no_other_number_is_not_spoken_of(
    here: Path, capsys: pytest.CaptureFixture[str], typed: str
) -> None:
    run(["convert", "a.log", "o.bin", *typed.split()])
    assert (here / "o.bin").exists()
    assert "decimal" not in capsys.readouterr().err


def test_a_base_that_a_log_does_not_need_is_named(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run(["assay", "a.log", "--base", "0x4000"])
    assert "romassay: a.log: its addresses stand in it; --base is of no use there, and was not used\n" in (
        capsys.readouterr().err
    )
    (here / "plain.log").write_text("".join(line[5:] + "\n" for line in DUMP.splitlines()))
    run(["assay", "plain.log", "--base", "0x4000"])
    assert "--base" not in capsys.readouterr().err


def test_a_routine_goes_to_a_file(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("firmware --host-routine 6502 --load 0x300 --output 0xFFD2 --window 0xD000-0xD7FF -o routine.hex".split())
    assert "routine.hex: written" in capsys.readouterr().err
    run("convert routine.hex routine.bin".split())
    assert (here / "routine.bin").read_bytes()[:1] == b"\xa9"


def test_the_demo_leaves_the_docket_of_another_specimen_alone(here: Path, capsys: pytest.CaptureFixture[str]) -> None:
    run("assay a.log -o mine".split())
    kept = (here / "mine/docket.json").read_bytes()
    shutil.copytree("mine", "copy")
    assert run(["demo", "-o", "fog"]) == run(["demo", "-o", "fog"]) == 0
    capsys.readouterr()
    with pytest.raises(Exception, match="another specimen"):
        run(["demo", "-o", "mine"])
    assert (here / "mine/docket.json").read_bytes() == kept
    assert not (here / "mine-logs").exists()
