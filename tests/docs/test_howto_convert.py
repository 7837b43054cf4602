"""The page on convert: each `$ command` is run, in order, in one empty folder, and prints what is shown."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from pathlib import Path

from romassay.session.convert import writable

PAGE = (Path(__file__).parents[2] / "docs" / "howto-convert.md").read_text(encoding="utf-8")
STEPS = [
    step.partition("\n")
    for block in re.findall(r"^```console\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]
]


def pattern_of(shown: str) -> str:
    """Return what is shown as a pattern: a line of `...` stands for any lines, `...` in a line for any text."""
    pieces = re.split(r"^\.\.\.\n", shown, flags=re.MULTILINE)
    return "(?s:.*)".join(re.escape(piece).replace(re.escape("..."), ".*") for piece in pieces)


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    shell = f'romassay() {{ {shlex.quote(sys.executable)} -m romassay "$@"; }}\n'
    for command, _, shown in STEPS:
        done = subprocess.run(
            ["bash", "-c", shell + command],
            cwd=tmp_path,
            env={**os.environ, "LC_ALL": "C"},
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=60,
            check=False,
        )
        assert done.returncode == 0, (command, done.stdout)
        assert re.fullmatch(pattern_of(shown), done.stdout), (command, done.stdout)
    assert len(STEPS) > 12


def test_the_table_has_every_format_that_can_be_written() -> None:
    listed = set(re.findall(r"^\| `([\w-]+)` \|", PAGE, re.MULTILINE))
    assert set(writable()) <= listed
