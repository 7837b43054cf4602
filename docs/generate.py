"""Write what the documents show of the program: the command line's reference, and the demo's capture in the README.

Run it from anywhere after a change of options or of the summary: `python docs/generate.py`. The tests compare.
"""

from __future__ import annotations

import re
import subprocess
import sys
import tempfile
from pathlib import Path

import click

from romassay.catalogue import load_part
from romassay.cli import VERBS, help_text, load_verb
from romassay.report.pinout import pin_out

DOCS = Path(__file__).parent
README = DOCS.parent / "README.md"
DRAWING = DOCS / "pinout-6530.svg"
REFERENCE = DOCS / "reference-cli.md"
DEMO = re.compile(r"(?<=<!-- demo: made by docs/generate\.py -->\n).*?(?=<!-- /demo -->)", re.DOTALL)


def reference() -> str:
    """Return the reference of the command line, from the commands themselves."""
    parts = [
        "# The command line\n",
        "Made by `docs/generate.py` from the program itself.\n",
        f"```text\n{help_text()}```\n",
        *(_verb(name, load_verb(name)) for name in VERBS),
    ]
    return "\n".join(parts)


def _verb(name: str, command: click.Command) -> str:
    arguments = [p.make_metavar(click.Context(command)) for p in command.params if isinstance(p, click.Argument)]
    usage = " ".join(["romassay", name, "[OPTIONS]", *arguments])
    rows = "".join(_row(option) for option in command.params if isinstance(option, click.Option))
    return (
        f"## `romassay {name}`\n\n```text\n{usage}\n```\n\n{_paragraphs(command.help or '')}\n\n"
        f"| option | what it does |\n| --- | --- |\n{rows}"
    )


def _paragraphs(text: str) -> str:
    blocks = [" ".join(block.split()) for block in text.split("\n\n")]
    return "\n\n".join(blocks)


def _row(option: click.Option) -> str:
    value = "" if option.is_flag else f" {option.metavar}"
    names = ", ".join(f"`{name}{value}`" for name in sorted(option.opts, key=len))
    return f"| {names} | {(option.help or '').replace('|', chr(92) + '|')} |\n"


def drawing() -> str:
    """Return the pin-out that the page on parts shows."""
    return pin_out(load_part("6530"))


def demo() -> str:
    """Return what the demo prints, with its exit status checked, as a block for the README."""
    with tempfile.TemporaryDirectory() as folder:
        run = subprocess.run(
            [sys.executable, "-m", "romassay", "demo"], cwd=folder, capture_output=True, text=True, check=True
        )
    return f"```text\n{run.stdout}```\n"


def with_demo(readme: str, capture: str) -> str:
    """Return the README with the capture in its place."""
    text, count = DEMO.subn(lambda _: capture, readme)
    if count != 1:
        raise ValueError("the README has no place for the demo's capture")
    return text


def main() -> None:
    """Write the reference, the capture and the drawing."""
    DRAWING.write_text(drawing(), encoding="utf-8")
    REFERENCE.write_text(reference(), encoding="utf-8")
    README.write_text(with_demo(README.read_text(encoding="utf-8"), demo()), encoding="utf-8")


if __name__ == "__main__":
    main()
