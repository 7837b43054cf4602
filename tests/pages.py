"""Pages that show commands: the steps of their `console` blocks, how one is run, and what shown output stands for."""

from __future__ import annotations

import re
import shlex
import subprocess
import sys
from collections.abc import Mapping
from pathlib import Path

_SHELL = f'romassay() {{ {shlex.quote(sys.executable)} -m romassay "$@"; }}\n'


def steps_of(page: str) -> list[tuple[str, str]]:
    """Return each `$ command` of a page with what is shown of its output, in the order of the page."""
    blocks = re.findall(r"^```console\n(.*?)^```$", page, re.MULTILINE | re.DOTALL)
    steps = [step.partition("\n") for block in blocks for step in re.split(r"^\$ ", block, flags=re.MULTILINE)[1:]]
    return [(command, shown) for command, _, shown in steps]


def pattern_of(shown: str) -> str:
    """Return what is shown as a pattern: a line of `...` stands for any lines, `...` in a line for any text."""
    pieces = re.split(r"^\.\.\.\n", shown, flags=re.MULTILINE)
    return "(?s:.*)".join(re.escape(piece).replace(re.escape("..."), ".*") for piece in pieces)


def run_step(
    command: str, folder: Path, *, env: Mapping[str, str] | None = None, timeout: float = 60
) -> subprocess.CompletedProcess[str]:
    """Run a command of a page as a shell would, `romassay` being this one; both outputs come as one."""
    return subprocess.run(
        ["bash", "-c", _SHELL + command],
        cwd=folder,
        env=env,
        stdout=subprocess.PIPE,
        stderr=subprocess.STDOUT,
        text=True,
        timeout=timeout,
        check=False,
    )
