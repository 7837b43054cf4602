"""The page on judging a docket: each `$ command` is run, in order, in one empty folder, and prints what is shown."""

from __future__ import annotations

import os
import re
from pathlib import Path

from pages import pattern_of, run_step, steps_of

PAGE = Path(__file__).parents[2] / "docs" / "howto-judge.md"


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    steps = steps_of(PAGE.read_text("utf-8"))
    for command, shown in steps:
        done = run_step(command, tmp_path, env={**os.environ, "LC_ALL": "C", "COLUMNS": "80"})
        assert done.returncode == 0, (command, done.stdout)
        assert re.fullmatch(pattern_of(shown), done.stdout), (command, done.stdout)
    assert len(steps) == 14
