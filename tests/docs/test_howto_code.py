"""The page on reading code: each `$ command` is run, in the order of the page, and prints what is shown."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from pathlib import Path

PAGE = (Path(__file__).parents[2] / "docs" / "howto-code.md").read_text(encoding="utf-8")
STEPS = [
    step.partition("\n")
    for block in re.findall(r"^```console\n(.*?)^```$", PAGE, re.MULTILINE | re.DOTALL)
    for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]
]


def pattern_of(shown: str) -> str:
    """Return what is shown as a pattern: a line of `...` stands for any lines."""
    return "(?s:.*)".join(re.escape(piece) for piece in re.split(r"^\.\.\.\n", shown, flags=re.MULTILINE))


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    assert len(STEPS) == 5
    shell = f'romassay() {{ {shlex.quote(sys.executable)} -m romassay "$@"; }}\n'
    for command, _, shown in STEPS:
        done = subprocess.run(
            ["bash", "-c", shell + command],
            cwd=tmp_path,
            stdout=subprocess.PIPE,
            stderr=subprocess.STDOUT,
            text=True,
            timeout=120,
            check=False,
        )
        assert re.fullmatch(pattern_of(shown), done.stdout), (command, done.stdout)
        assert done.returncode == 0, command
