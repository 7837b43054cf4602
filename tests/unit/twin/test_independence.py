"""The twin shares no algebra and no printer with what it is held against."""

from __future__ import annotations

import ast
from importlib.resources import files
from pathlib import Path

import pytest

ALLOWED = ("romassay.twin", "romassay.rig", "romassay.part", "romassay.errors")
SOURCES = sorted(Path(str(files("romassay.twin"))).glob("*.py"))


@pytest.mark.parametrize("path", SOURCES, ids=lambda path: path.stem)
def test_it_imports_its_own_modules_and_the_values_of_part_and_rig_only(path: Path) -> None:
    for node in ast.walk(ast.parse(path.read_text("utf-8"))):
        names = [a.name for a in node.names] if isinstance(node, ast.Import) else []
        if isinstance(node, ast.ImportFrom):
            names = [node.module or ""]
        for name in names:
            assert not name.startswith("romassay") or name.startswith(ALLOWED), f"{path.name} imports {name}"
