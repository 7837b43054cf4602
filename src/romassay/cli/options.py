"""Options that several verbs share."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

from romassay.errors import BadValue

PAGES = (".html", ".htm")
TO_PDF = "a browser prints it, to PDF too"
PARTS_VARIABLE = "ROMASSAY_PARTS"
"""The environment variable that names directories of part files of one's own, like PATH does."""


def parts_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--parts DIR`, which gives the verb `part_folders`."""
    return click.option(
        "--parts",
        "part_folders",
        metavar="DIR",
        multiple=True,
        type=click.Path(path_type=Path),
        callback=_folders,
        help=f"Directory of part files of your own, beside those that {PARTS_VARIABLE} names. May be repeated.",
    )(command)


def to_end_in(path: Path, option: str, endings: tuple[str, ...], instead: str = "") -> Path:
    """Return the name of a file to write; BadValue where its ending promises what is not written there."""
    if path.suffix.lower() in endings:
        return path
    wanted = f"end its name in {' or '.join(endings)}"
    raise BadValue(
        f"'{path}' is no name for what is written here",
        place=option,
        advice=f"{wanted}; {instead}" if instead else wanted,
    )


def no_docket(name: str, advice: str) -> None:
    """See that a name is not that of a docket where a file is wanted; BadValue says what to do with one."""
    from romassay.docket.manifest import MANIFEST_FILE

    if (Path(name) / MANIFEST_FILE).is_file():
        raise BadValue("this is a docket, not a file", place=name, advice=advice)


def _folders(_context: click.Context, _parameter: click.Parameter, given: tuple[Path, ...]) -> tuple[Path, ...]:
    named = (Path(item) for item in os.environ.get(PARTS_VARIABLE, "").split(os.pathsep) if item)
    return tuple(dict.fromkeys((*given, *named)))
