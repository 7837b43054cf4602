"""The page on convert: each `$ command` is run, in order, in one empty folder, and prints what is shown."""

from __future__ import annotations

import os
import re
from pathlib import Path

from pages import pattern_of, run_step, steps_of
from romassay.session.convert import writable

PAGE = (Path(__file__).parents[2] / "docs" / "howto-convert.md").read_text(encoding="utf-8")
STEPS = steps_of(PAGE)


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    for command, shown in STEPS:
        done = run_step(command, tmp_path, env={**os.environ, "LC_ALL": "C"})
        assert done.returncode == 0, (command, done.stdout)
        assert re.fullmatch(pattern_of(shown), done.stdout), (command, done.stdout)
    assert len(STEPS) > 12


def test_the_table_has_every_format_that_can_be_written() -> None:
    listed = set(re.findall(r"^\| `([\w-]+)` \|", PAGE, re.MULTILINE))
    assert set(writable()) <= listed
