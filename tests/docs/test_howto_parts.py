"""The pages on parts: each `$ command` is run and prints what is shown, and every key of a part file is described."""

from __future__ import annotations

import os
import re
from pathlib import Path
from typing import get_args

import msgspec
import pytest

from pages import pattern_of, run_step, steps_of
from romassay import part
from romassay.catalogue import load_part
from romassay.part import Part
from romassay.report.pinout import pin_out

DOCS = Path(__file__).parents[2] / "docs"
PAGE = (DOCS / "howto-parts.md").read_text(encoding="utf-8")
REFERENCE = (DOCS / "reference-part-file.md").read_text(encoding="utf-8")
STEPS = steps_of(PAGE)


def test_the_commands_print_what_is_shown(tmp_path: Path) -> None:
    environment = {name: value for name, value in os.environ.items() if name != "ROMASSAY_PARTS"}
    for command, shown in STEPS:
        done = run_step(command, tmp_path, env={**environment, "LC_ALL": "C.UTF-8"})
        assert done.returncode == (2 if shown.startswith("romassay: ") else 0), (command, done.stdout)
        assert re.fullmatch(pattern_of(shown), done.stdout), (command, done.stdout)
    assert len(STEPS) > 7


TABLES = [
    item
    for item in vars(part).values()
    if isinstance(item, type) and issubclass(item, msgspec.Struct) and item.__struct_config__.forbid_unknown_fields
]


@pytest.mark.parametrize("table", TABLES, ids=lambda table: table.__name__)
def test_every_key_of_a_part_file_is_described(table: type[msgspec.Struct]) -> None:
    for field in table.__struct_fields__:
        assert f"`{field}`" in REFERENCE, field


def test_the_drawing_is_what_the_program_draws() -> None:
    """Mend it with `python docs/generate.py`."""
    assert (DOCS / "pinout-6530.svg").read_text(encoding="utf-8") == pin_out(load_part("6530"))


def test_every_word_that_is_allowed_is_described() -> None:
    kinds = [part.PinRole, part.FunctionKind, part.Cell, part.TimingKind, part.LevelKind, part.LoadKind]
    kinds += [part.RatingKind, part.CurrentState, part.OutputKind, part.Stoppable, part.Edge, part.Option]
    for word in (*part.HOLDS, *(word for kind in kinds for word in get_args(kind))):
        assert f"`{word}`" in REFERENCE, word


def test_no_key_is_described_that_is_not_there() -> None:
    rows = re.findall(r"^\| (`[^|]*?) \|", REFERENCE.split("## `ratings`")[0], re.MULTILINE)
    known = {field for table in TABLES for field in table.__struct_fields__}
    assert {key for row in rows for key in re.findall(r"`([^`]+)`", row)} <= known
    assert set(Part.__struct_fields__) <= set(re.findall(r"`(\w+)`", REFERENCE))
