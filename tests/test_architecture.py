"""The house keeps its plan: layers, values only inside, nothing through the front door, and a light start."""

from __future__ import annotations

import ast
import subprocess
import sys
import tomllib
from collections.abc import Iterator
from pathlib import Path

import pytest

import romassay
from romassay.cli import VERBS
from romassay.version import VERSION

ROOT = Path(__file__).parent.parent
PACKAGE = Path(romassay.__file__).parent
MODULES = sorted(PACKAGE.rglob("*.py"))


def imports(path: Path) -> Iterator[tuple[str, str]]:
    """Yield (module, name) for each import in a file, also inside functions; name is '' for a plain import."""
    for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
        if isinstance(node, ast.Import):
            yield from ((alias.name, "") for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            yield from (("." * node.level + (node.module or ""), alias.name) for alias in node.names)


def test_the_contracts_hold() -> None:
    """import-linter, with the contracts of .importlinter."""
    run = subprocess.run(
        [sys.executable, "-c", "from importlinter.cli import lint_imports_command as c; c()", "--no-cache"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
    )
    assert run.returncode == 0, run.stdout + run.stderr
    assert "Contracts:" in run.stdout
    assert "0 broken" in run.stdout


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_nothing_imports_the_front_door(path: Path) -> None:
    assert not [item for item in imports(path) if item[0] == "romassay" or item[0].startswith(".")]


@pytest.mark.parametrize("path", sorted((PACKAGE / "twin").glob("*.py")), ids=lambda p: p.name)
def test_the_twin_has_no_cube_algebra(path: Path) -> None:
    taken = {name for module, name in imports(path) if module == "romassay.address"}
    assert taken <= {"Range", "parse_address", "parse_range", "line_name"}


@pytest.mark.parametrize("path", MODULES, ids=lambda p: p.relative_to(PACKAGE).as_posix())
def test_a_module_opens_with_what_it_is_for(path: Path) -> None:
    assert ast.get_docstring(ast.parse(path.read_text(encoding="utf-8")))


def test_every_verb_has_its_module_and_every_module_its_verb() -> None:
    helpers = {"__init__", "keyboard", "live", "options", "screen"}
    assert set(VERBS) == {path.stem for path in (PACKAGE / "cli").glob("*.py")} - helpers


def loaded_by(*arguments: str) -> set[str]:
    code = (
        "import sys\n"
        "from romassay.__main__ import main\n"
        "try: main()\n"
        "except SystemExit: pass\n"
        "print('\\n'.join(sys.modules))"
    )
    run = subprocess.run([sys.executable, "-c", code, *arguments], capture_output=True, text=True, check=True)
    return set(run.stdout.split())


@pytest.mark.parametrize("arguments", [(), ("--help",), ("--version",)])
def test_the_door_loads_nothing_heavy(arguments: tuple[str, ...]) -> None:
    assert not loaded_by(*arguments) & {"numpy", "msgspec", "scipy", "click", "difflib", "importlib.metadata"}


@pytest.mark.parametrize("verb", sorted(VERBS))
def test_the_help_of_a_verb_loads_no_numpy(verb: str) -> None:
    assert not loaded_by(verb, "--help") & {"numpy", "scipy"}


def test_the_version_is_the_same_everywhere() -> None:
    project = tomllib.loads((ROOT / "pyproject.toml").read_text(encoding="utf-8"))["project"]
    assert romassay.__version__ == VERSION == project["version"]
