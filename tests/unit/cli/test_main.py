"""The door: help, version, and a fault of the program itself."""

from __future__ import annotations

import pytest

from romassay import __main__ as door
from romassay.cli import VERBS, help_text, load_verb
from romassay.errors import BadValue
from romassay.version import VERSION


@pytest.mark.parametrize("arguments", [[], ["--help"], ["-h"], ["help"]])
def test_help_lists_every_verb(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert door._status(arguments) == 0
    assert capsys.readouterr().out == help_text()
    assert all(f"\n  {name} " in help_text() for name in VERBS)


def test_version(capsys: pytest.CaptureFixture[str]) -> None:
    assert door._status(["--version"]) == 0
    assert capsys.readouterr().out == f"romassay {VERSION}\n"


def test_an_option_before_its_verb_is_told_from_a_verb() -> None:
    with pytest.raises(BadValue, match=r"^--part: an option stands behind its verb; the verbs are assay, "):
        load_verb("--part")


@pytest.mark.parametrize("asked", ["--help", "-h"])
@pytest.mark.parametrize("verb", VERBS)
def test_a_verb_helps_itself(verb: str, asked: str, capsys: pytest.CaptureFixture[str]) -> None:
    assert door._status([verb, asked]) == 0
    out = capsys.readouterr().out
    assert out.startswith(f"Usage: romassay {verb} ")
    assert load_verb(verb).name == verb


def test_an_unknown_verb_is_refused() -> None:
    with pytest.raises(BadValue, match="did you mean 'demo'"):
        load_verb("demos")


@pytest.mark.parametrize(
    ("error", "status", "line"),
    [
        (BadValue("x\ny", place="f"), 2, "romassay: f: x y\n"),
        (FileNotFoundError(2, "No such file or directory", "f"), 2, "romassay: f: no such file or directory\n"),
        (OSError("odd"), 2, "romassay: odd\n"),
        (KeyboardInterrupt(), 130, "romassay: interrupted\n"),
        (MemoryError(), 2, "romassay: not enough memory for this input; give fewer or smaller files\n"),
        (
            ZeroDivisionError("a\x1b"),
            70,
            "romassay: a fault of the program, not of the input (ZeroDivisionError: a\\x1b); run it again with "
            "ROMASSAY_TRACEBACK=1 and report what that prints\n",
        ),
    ],
)
def test_every_end_is_one_line(
    error: BaseException, status: int, line: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    def fail(_: list[str]) -> int:
        raise error

    monkeypatch.setattr(door, "run", fail)
    monkeypatch.delenv("ROMASSAY_TRACEBACK", raising=False)
    assert door._status(["assay"]) == status
    assert capsys.readouterr().err == line


def test_a_traceback_is_to_be_had_when_asked_for(monkeypatch: pytest.MonkeyPatch) -> None:
    def fail(_: list[str]) -> int:
        raise ZeroDivisionError

    monkeypatch.setattr(door, "run", fail)
    monkeypatch.setenv("ROMASSAY_TRACEBACK", "1")
    with pytest.raises(ZeroDivisionError):
        door._status(["assay"])


@pytest.mark.parametrize("arguments", [["help", "demo"], ["--help", "demo"], ["-h", "demo"]])
def test_help_of_a_verb_is_asked_either_way_round(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> None:
    assert door._status(arguments) == 0
    assert capsys.readouterr().out.startswith("Usage: romassay demo ")
