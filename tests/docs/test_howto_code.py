"""The page on reading code: each `$ command` is run, in the order of the page, and prints what is shown."""

from __future__ import annotations

import re
from pathlib import Path

from pages import run_step, steps_of

PAGE = (Path(__file__).parents[2] / "docs" / "howto-code.md").read_text(encoding="utf-8")
STEPS = steps_of(PAGE)


def pattern_of(shown: str) -> str:
    """Return what is shown as a pattern: a line of `...` stands for any lines."""
    return "(?s:.*)".join(re.escape(piece) for piece in re.split(r"^\.\.\.\n", shown, flags=re.MULTILINE))


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    assert len(STEPS) == 5
    for command, shown in STEPS:
        done = run_step(command, tmp_path, timeout=120)
        assert re.fullmatch(pattern_of(shown), done.stdout), (command, done.stdout)
        assert done.returncode == 0, command
