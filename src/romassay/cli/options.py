"""Options that several verbs share."""

from __future__ import annotations

import os
import re
from collections.abc import Callable, Collection, Iterable, Mapping
from pathlib import Path
from typing import Any, TypeVar

import click
from click.core import ParameterSource

from romassay.address import parse_range
from romassay.cli import screen
from romassay.errors import BadValue

T = TypeVar("T")

FILE = click.Path(path_type=Path, readable=False)
"""A file or folder to read or write; what is wrong with it is told by whoever opens it."""

PAGES = (".html", ".htm")
TO_PDF = "a browser prints it, to PDF too"
_DECIMAL = re.compile(r"\s*(?P<first>[0-9]{1,4})\s*(?:[-+]\s*(?P<second>[0-9]{1,4})\s*)?")
"""What may be hex as well; with five digits it is no address of sixteen lines."""
_NUMBER = re.compile(r"[0-9]+")
_PLAIN_BELOW = 10
"""Smaller numbers are the same in both."""
PARTS_VARIABLE = "ROMASSAY_PARTS"
"""The environment variable that names directories of part files of one's own, like PATH does."""


def parts_option(command: Callable[..., Any]) -> Callable[..., Any]:
    """Add `--parts DIR`, which gives the verb `part_folders`."""
    return click.option(
        "--parts",
        "part_folders",
        metavar="DIR",
        multiple=True,
        type=FILE,
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


def read_option(option: str, parse: Callable[[str], T], text: str) -> T:
    """Read an option's value; the error says which option it is."""
    try:
        return parse(text)
    except BadValue as e:
        raise BadValue(e.problem, place=option, advice=e.advice) from e


def of_no_use(options: Collection[str], where: str, advice: str) -> None:
    """See that none of some options was typed; BadValue for the first that was: nothing is passed over in silence."""
    context = click.get_current_context()
    for item in context.command.params:
        named = {*item.opts} & {*options}
        if named and context.get_parameter_source(item.name or "") is ParameterSource.COMMANDLINE:
            raise BadValue(f"is of no use {where}", place=named.pop(), advice=advice)


def say_decimals(typed: Mapping[str, Iterable[str | None]]) -> None:
    """Say of each address or range that is decimal, and may have been meant as hex, what was understood.

    Args:
        typed: by their options; None where one was not given.
    """
    for option, text in ((option, text) for option, texts in typed.items() for text in texts):
        found = _DECIMAL.fullmatch(text or "")
        if not found or max(int(found["first"]), int(found["second"] or 0)) < _PLAIN_BELOW:
            continue
        meant = f"{int(found['first']):04X}" if found["second"] is None else str(parse_range(found[0]))
        in_hex = _NUMBER.sub(r"0x\g<0>", found[0].strip())
        screen.note(f"{option} {found[0].strip()}: that is decimal, {meant} in hex; if hex is meant, write {in_hex}")


def no_docket(name: str, advice: str) -> None:
    """See that a name is not that of a docket where a file is wanted; BadValue says what to do with one."""
    from romassay.docket.manifest import MANIFEST_FILE

    if (Path(name) / MANIFEST_FILE).is_file():
        raise BadValue("this is a docket, not a file", place=name, advice=advice)


def _folders(_context: click.Context, _parameter: click.Parameter, given: tuple[Path, ...]) -> tuple[Path, ...]:
    named = (Path(item) for item in os.environ.get(PARTS_VARIABLE, "").split(os.pathsep) if item)
    return tuple(dict.fromkeys((*given, *named)))
