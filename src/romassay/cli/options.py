"""Options that several verbs share."""

from __future__ import annotations

import os
from collections.abc import Callable
from pathlib import Path
from typing import Any

import click

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


def _folders(_context: click.Context, _parameter: click.Parameter, given: tuple[Path, ...]) -> tuple[Path, ...]:
    named = (Path(item) for item in os.environ.get(PARTS_VARIABLE, "").split(os.pathsep) if item)
    return tuple(dict.fromkeys((*given, *named)))
