"""Whatever is shown to people is run: commands, captures, keys, links."""

from __future__ import annotations

import importlib.util
import json
import os
import re
import shlex
import subprocess
import sys
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

import examples
from pages import pattern_of, run_step, steps_of
from romassay.cli import VERBS, load_verb, run
from romassay.docket.manifest import Decided, Entry, Event, Manifest, Result, Said, Settings, Span
from romassay.docket.record import record_of
from romassay.finding import KINDS

ROOT = Path(__file__).parents[2]
DOCS = ROOT / "docs"
PAGES = sorted([ROOT / "README.md", ROOT / "CHANGELOG.md", *DOCS.glob("*.md")])
README = (ROOT / "README.md").read_text(encoding="utf-8")
BLOCK = re.compile(r"^( *)```(\w*)\n(.*?)^ *```$", re.MULTILINE | re.DOTALL)


def blocks(text: str, language: str) -> list[str]:
    """Return the code blocks of one language, without their indent."""
    return [
        "".join(line.removeprefix(indent) for line in body.splitlines(keepends=True))
        for indent, name, body in BLOCK.findall(text)
        if name == language
    ]


def generator() -> Any:
    spec = importlib.util.spec_from_file_location("generate", DOCS / "generate.py")
    assert spec is not None
    assert spec.loader is not None
    module = importlib.util.module_from_spec(spec)
    spec.loader.exec_module(module)
    return module


def test_the_reference_is_what_the_program_says() -> None:
    """Mend it with `python docs/generate.py`."""
    assert (DOCS / "reference-cli.md").read_text(encoding="utf-8") == generator().reference()


def test_the_readme_shows_what_the_demo_prints() -> None:
    """Mend it with `python docs/generate.py`."""
    assert generator().with_demo(README, generator().demo()) == README


def test_every_verb_and_option_is_in_the_reference() -> None:
    text = (DOCS / "reference-cli.md").read_text(encoding="utf-8")
    for verb in VERBS:
        section = text.split(f"## `romassay {verb}`")[1].split("\n## ")[0]
        for parameter in load_verb(verb).params:
            for name in parameter.opts:
                assert name.startswith("-") is False or f"`{name}" in section


def test_the_job_comes_first_and_is_one_paragraph() -> None:
    title, paragraph, *_ = README.split("\n\n")
    assert title == "# romassay"
    assert paragraph.startswith("Someone holds an obsolete chip")


def test_the_two_commands_stand_alone_each_on_its_line() -> None:
    commands = [block for block in blocks(README, "sh") if block.startswith("python3 -m venv")]
    assert [block.count("\n") for block in commands] == [1, 1]
    assert [line for line in README.splitlines() if line.startswith("python3 ")] == [c.strip() for c in commands]
    assert commands[0].endswith("romassay demo\n")
    assert commands[1].endswith("pytest -n 2\n")


def test_ci_runs_the_readmes_own_test_command() -> None:
    found = subprocess.run(
        [
            "bash",
            "-c",
            f"source <(sed -n '/^test_command()/,/^}}/p' {shlex.quote(str(ROOT / '.ci/run'))}); test_command",
        ],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=True,
    ).stdout
    assert found == next(block for block in blocks(README, "sh") if "pytest" in block)


@pytest.mark.parametrize("page", PAGES, ids=lambda page: page.name)
def test_links_lead_somewhere(page: Path) -> None:
    for target in re.findall(r"\]\(([^)#]+)[^)]*\)", page.read_text(encoding="utf-8")):
        assert (page.parent / target).exists(), target


def keys(value: object) -> Iterator[str]:
    if isinstance(value, dict):
        for key, item in value.items():
            if not re.fullmatch(r"[AD]\d+", key):
                yield key
                yield from keys(item)
    elif isinstance(value, list):
        for item in value:
            yield from keys(item)


def test_every_key_of_the_record_is_described_and_none_that_is_not_there() -> None:
    text = (DOCS / "reference-assay-json.md").read_text(encoding="utf-8")
    described = {
        key for row in re.findall(r"^\| (`.*?) \|", text, re.MULTILINE) for key in re.findall(r"`([\w-]+)`", row)
    } - set(KINDS)
    used = {key for make in examples.ALL.values() for key in keys(record_of(make()))}
    nested = {"agreement", "seen", "contended", "resolves", "offset", "alternatives", "value", "reason"}
    assert used - nested - {"image", "confidence", "code"} == described
    for key in used:
        assert f"`{key}`" in text, key


def test_every_key_of_a_plan_is_described_and_none_that_is_not_there(
    tmp_path: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    text = (DOCS / "reference-plan-json.md").read_text(encoding="utf-8")
    rows = re.findall(r"^\| (`.*?) \|", text, re.MULTILINE)
    described = {key for row in rows for key in re.findall(r"`([\w-]+)`", row)}
    rig, used = tmp_path / "rig.toml", set[str]()
    for volts, status in ((9.0, 0), (35.0, 3)):
        rig.write_text(f'part = "6530"\nhost = "monitor-300-baud"\n[supply.regulator]\ninput = {volts}\n')
        assert run(["plan", str(rig), "--json"]) == status
        used |= set(keys(json.loads(capsys.readouterr().out)))
    assert used - {"first", "last", "baud", "seconds", "set_now"} == described
    for key in used:
        assert f"`{key}`" in text, key


def test_every_key_of_the_manifest_is_described() -> None:
    text = (DOCS / "reference-docket.md").read_text(encoding="utf-8")
    for struct in (Manifest, Settings, Entry, Said, Decided, Result, Event, Span):
        for field in struct.__struct_fields__:
            assert f"`{field}`" in text, field
    rows = re.findall(r"^\| (`.*?) \|", text, re.MULTILINE)
    known = {f for struct in (Manifest, Entry, Decided) for f in struct.__struct_fields__}
    assert {key for row in rows for key in re.findall(r"`([\w-]+)`", row)} == known


def test_every_kind_that_a_page_describes_exists() -> None:
    text = (DOCS / "reference-assay-json.md").read_text(encoding="utf-8")
    table = text.split("| kind | what it says |")[1]
    assert set(re.findall(r"^\| `([\w-]+)`", table, re.MULTILINE)) <= set(KINDS)


@pytest.fixture
def path_with_romassay(tmp_path: Path) -> dict[str, str]:
    """An environment in which `romassay` is this romassay."""
    script = tmp_path / "bin" / "romassay"
    script.parent.mkdir()
    script.write_text(f'#!/bin/sh\nexec {shlex.quote(sys.executable)} -m romassay "$@"\n')
    script.chmod(0o755)
    return {**os.environ, "PATH": f"{script.parent}:{os.environ['PATH']}", "NO_COLOR": "1"}


def test_the_walk_shows_what_happens(tmp_path: Path) -> None:
    """Each `$ command` of the walk is run, in order, in one folder."""
    steps = steps_of((DOCS / "first-walk.md").read_text(encoding="utf-8"))
    for command, shown in steps:
        run = run_step(command, tmp_path, env={**os.environ, "LC_ALL": "C.UTF-8", "COLUMNS": "80"})
        assert run.returncode in (0, 3), (command, run.stdout)
        assert re.fullmatch(pattern_of(shown), run.stdout), (command, run.stdout)
    assert len(steps) > 5


def test_the_commands_of_the_readme_run(tmp_path: Path, path_with_romassay: dict[str, str]) -> None:
    """With the demo's logs under the names that the README uses."""
    folder = tmp_path / "five-minutes"
    folder.mkdir()
    setup = (
        "romassay demo > demo.txt; for n in 1 2 3; do mv fog-pass-$n.log pass-$n.log; done; "
        "mv fog-empty-socket.log empty.log"
    )
    subprocess.run(["bash", "-c", setup], cwd=folder, env=path_with_romassay, check=True)
    commands = [line for block in blocks(README, "sh") for line in block.splitlines() if line.startswith("romassay ")]
    assert len(commands) > 4
    served = "romassay bench"
    for command in commands:
        if command == served:
            continue
        run = subprocess.run(
            ["bash", "-c", command], cwd=folder, env=path_with_romassay, capture_output=True, text=True, check=False
        )
        assert run.returncode in (0, 3), f"{command}\n{run.stdout}{run.stderr}"
    assert served in commands
    with subprocess.Popen(
        [*served.split(), "--port", "0"], cwd=folder, env=path_with_romassay, stdout=subprocess.PIPE, text=True
    ) as bench:
        assert bench.stdout is not None
        assert bench.stdout.readline().startswith("The bench is at http://127.0.0.1:")
        bench.terminate()


def test_the_notebook_lines_run(
    tmp_path: Path, path_with_romassay: dict[str, str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.chdir(tmp_path)
    subprocess.run(["romassay", "demo"], env=path_with_romassay, stdout=subprocess.DEVNULL, check=True)
    for n in (1, 2):
        Path(f"fog-pass-{n}.log").rename(f"pass-{n}.log")
    (lines,) = blocks(README, "python")
    *before, last = lines.strip().splitlines()
    scope: dict[str, Any] = {}
    exec("\n".join(before), scope)  # noqa: S102
    assert repr(eval(last, scope)).startswith("<Assay ")  # noqa: S307
