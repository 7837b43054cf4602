from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

import pytest

from romassay.catalogue import host_of
from romassay.cli import load_verb
from romassay.dialogue import Dialogue
from romassay.formats.traces.signals import parse_map
from romassay.formats.transcript import records

DOCS = Path(__file__).parents[2] / "docs"
CAPTURE = (DOCS / "howto-capture.md").read_text(encoding="utf-8")
HOST = (DOCS / "howto-host-file.md").read_text(encoding="utf-8")
TRANSCRIPT = (DOCS / "reference-transcript.md").read_text(encoding="utf-8")


def test_the_host_file_of_the_guide_is_a_good_one() -> None:
    (text,) = re.findall(r"```toml\n(.*?)```", HOST, re.DOTALL)
    host = host_of(text, "guide.toml")
    assert host.dialogue is not None
    assert host.dialogue.command(0xD000, 0xD0FF) == "D D000,D0FF"


def test_the_guide_tells_every_key_of_a_dialogue() -> None:
    assert all(f"`{name}`" in HOST or f"{name} =" in HOST for name in Dialogue.__struct_fields__)


def commands() -> list[list[str]]:
    found = re.findall(r"(?:^|`)(romassay (?:capture|firmware|assay) [^`\n]*)", CAPTURE, re.MULTILINE)
    return [shlex.split(line) for line in found if "-o" in line or "--" in line]


@pytest.mark.parametrize("words", commands(), ids=" ".join)
def test_the_commands_of_the_guide_have_the_options_that_they_show(words: list[str]) -> None:
    known = {name for option in load_verb(words[1]).params for name in option.opts}
    assert {word for word in words if word.startswith("-")} <= known
    for place, word in enumerate(words):
        if word == "--layout":
            parse_map(words[place + 1])


def test_the_routine_of_the_guide_is_printed() -> None:
    (words,) = [words for words in commands() if "--host-routine" in words]
    run = subprocess.run([sys.executable, "-m", *words], capture_output=True, text=True, check=True)
    assert run.stdout.startswith("0340  A9 3A 20 D2 FF")


def test_the_transcript_of_the_reference_is_one() -> None:
    (text,) = re.findall(r"```text\n(.*?)```", TRANSCRIPT, re.DOTALL)
    assert len(list(records(text.encode()))) == text.count("\n") - 1
