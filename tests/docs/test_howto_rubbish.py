"""The page on rubbish: each `$ command` is run, in order, in one empty folder, and prints what is shown."""

from __future__ import annotations

import os
import re
from pathlib import Path

from pages import run_step
from romassay.finding import KINDS

PAGE = (Path(__file__).parents[2] / "docs" / "howto-rubbish.md").read_text(encoding="utf-8")
BLOCKS = re.findall(r"^```console\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
STEP = re.compile(
    r"^\$ (?P<command>[^\n]*<<'END'\n.*?\nEND|[^\n]*)\n(?P<shown>.*?)(?=^\$ |\Z)", re.MULTILINE | re.DOTALL
)
STEPS = [(match["command"], match["shown"]) for block in BLOCKS for match in STEP.finditer(block)]


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    for command, shown in STEPS:
        done = run_step(command, tmp_path, env={**os.environ, "LC_ALL": "C", "COLUMNS": "80"})
        assert done.returncode == 0, (command, done.stdout)
        pattern = "(?s:.*)".join(re.escape(piece) for piece in shown.split("..."))
        assert re.fullmatch(pattern, done.stdout), (command, done.stdout)
    assert len(STEPS) == 6


def test_every_kind_that_it_names_exists() -> None:
    named = set(re.findall(r"`([a-z]+(?:-[a-z]+)+)`", PAGE))
    assert len(named) >= 15
    assert named <= set(KINDS)
