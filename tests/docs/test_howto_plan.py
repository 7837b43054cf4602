"""The page on planning: each `$ command` is run, in order, in one empty folder, and prints what is shown."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import get_args

import msgspec

from pages import pattern_of, run_step, steps_of
from romassay.catalogue import host_names
from romassay.plan.model import ProblemKind
from romassay.rig import Buffer, BusLevels, Dump, Host, ReadCycle, Regulator, Rig, Serial, Signals, Supply

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "howto-plan.md").read_text(encoding="utf-8")
STEPS = steps_of(PAGE)


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    for command, shown in STEPS:
        done = run_step(command, tmp_path, env={**os.environ, "LC_ALL": "C.UTF-8"}, timeout=120)
        assert re.fullmatch(pattern_of(shown), done.stdout), f"{command}\n{done.stdout}"
        assert done.returncode == 0, command


def test_every_key_and_every_problem_is_described() -> None:
    rigs = (DOCS / "reference-rig-file.md").read_text("utf-8")
    hosts = (DOCS / "reference-host-file.md").read_text("utf-8")
    for page, kinds in (
        (rigs, (Rig, Supply, Regulator, Buffer)),
        (hosts, (Host, BusLevels, ReadCycle, Signals, Serial, Dump)),
    ):
        for kind in kinds:
            for field in msgspec.structs.fields(kind):
                assert re.search(rf"\b{field.name}\b", page), (kind.__name__, field.name)
    assert all(f"`{name}`" in hosts for name in host_names())
    listed = rigs.partition("## Problems of a plan")[2]
    assert set(re.findall(r"`([a-z-]+)`", listed)) == set(get_args(ProblemKind))
