"""`romassay assay`: dumps of a bus in, a proven image out."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Mapping, Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from romassay.address import MAX_ADDRESS_BITS, parse_address, parse_range, parse_size
from romassay.cli import screen
from romassay.cli.options import FILE, no_docket, parts_option, read_option, say_decimals
from romassay.errors import BadValue

if TYPE_CHECKING:
    from romassay.reading import Role
    from romassay.report.summary import Setting
    from romassay.session.assay import Outcome, Request
    from romassay.session.loading import Input

VERDICT_STATUS = {"confirmed": 0, "provisional": 3, "not-found": 4}
_SHOW = "show"
_NONE = "none"


@click.command(name="assay", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("files", metavar="[FILE]...", nargs=-1, type=FILE)
@click.option(
    "--part", metavar="TYPE", help="Type number of the part, or a part file of your own; 'none' forgets a former one."
)
@click.option(
    "--rig",
    metavar="FILE",
    help="Rig file: part, wiring and host; the decode is then said in pins too. 'none' forgets a former one.",
)
@click.option(
    "--size", metavar="N", help="Bytes of the ROM, where no part says it; 'none' lets them be inferred again."
)
@click.option("--base", metavar="ADDR", help="Address of a file's first byte, for files without addresses.")
@click.option(
    "--exclude",
    metavar="RANGE",
    multiple=True,
    help="Addresses to leave out, such as the host's own memory. May be repeated; 'none' forgets former ones.",
)
@click.option(
    "--empty-socket",
    metavar="FILE",
    multiple=True,
    type=FILE,
    help="A reading of the same window without the specimen. May be repeated.",
)
@click.option(
    "--pulled-up",
    metavar="FILE",
    multiple=True,
    type=FILE,
    help="A reading with the data lines pulled up. May be repeated.",
)
@click.option(
    "--pulled-down",
    metavar="FILE",
    multiple=True,
    type=FILE,
    help="A reading with the data lines pulled down. May be repeated.",
)
@click.option(
    "--session",
    metavar="NAME",
    multiple=True,
    help="The power-up in which the files of this call were read; NAME=FILE says it for one of them. May be repeated.",
)
@click.option(
    "--address-bits",
    metavar="N",
    type=click.IntRange(1, MAX_ADDRESS_BITS),
    help="Lines of the bus, where the files do not show it.",
)
@click.option(
    "--target",
    metavar="X",
    type=click.FloatRange(0, min_open=True),
    help="Wrong bytes that may remain at 95 %; 0.01 unless said otherwise.",
)
@click.option(
    "--apply-findings/--as-read",
    default=None,
    help="Put the image right where a finding says that lines are swapped or data inverted. The readings stay as they "
    "are, and nothing is confirmed by it.",
)
@click.option(
    "--layout",
    metavar="SPEC",
    help="Layout of a text dump, where it was learnt wrongly; 'show' prints what was learnt and stops.",
)
@click.option(
    "--format", "format_", metavar="NAME", help="Format of the files, where their content is not enough to tell."
)
@click.option("--json", "as_json", is_flag=True, help="Print the record (assay.json) in place of the summary.")
@click.option(
    "-o",
    "--docket",
    metavar="DIR",
    type=FILE,
    help="Keep everything in this folder: the files as they are, the record, the images.",
)
@parts_option
@click.pass_obj
def command(
    typed: Sequence[str],
    /,
    files: tuple[Path, ...],
    *,
    empty_socket: tuple[Path, ...],
    pulled_up: tuple[Path, ...],
    pulled_down: tuple[Path, ...],
    session: tuple[str, ...],
    layout: str | None,
    as_json: bool,
    docket: Path | None,
    part_folders: tuple[Path, ...],
    **said: Any,
) -> int:
    """Find the ROM in dumps of a bus, settle every byte of it, and say how sure that is.

    FILE is what a terminal logged, or a hex or binary file; '-' is standard input. The formats and layouts are
    recognised by content. With -o the readings are kept in a docket, to which later calls add: without a FILE it is
    derived anew. A docket may begin with control readings alone.

    Addresses are written 0xD000, $D000, D000h or in decimal; ranges 0x4000-0x5FFF or 0x4000+0x2000.

    For example: romassay assay pass-1.log pass-2.log --part 6530 -o docket

    Exit status: 0 confirmed, 3 provisional, 4 nothing found or no reading of the specimen yet, 2 bad input.
    """
    from romassay.session.assay import Request, assay_or_keep, look

    roles: dict[Role, tuple[Path, ...]] = {
        "specimen": files,
        "empty-socket": empty_socket,
        "pulled-up": pulled_up,
        "pulled-down": pulled_down,
    }
    if docket is None and not any(roles.values()):
        raise BadValue(
            "no file is named", advice="name at least one log, or a docket with -o; see 'romassay assay --help'"
        )
    request = Request(
        inputs=_inputs(roles, session, layout=None if layout in (None, _SHOW) else _text(layout), said=said),
        settings=settings_of(said),
        docket=docket,
        command=_text(shlex.join(["romassay", *typed])),
        part_folders=part_folders,
    )
    if layout == _SHOW:
        from romassay.report.taken import taken

        screen.show(taken(look(request), width=screen.width()))
        return 0
    outcome = assay_or_keep(request)
    say_decimals({"--exclude": said["exclude"], "--base": [said["base"]]})
    if outcome is None:
        say_kept(str(docket))
        return VERDICT_STATUS["not-found"]
    for notice in outcome.notices:
        screen.note(notice)
    if as_json:
        sys.stdout.write(outcome.files[0].data.decode())
    else:
        from romassay.report.summary import summary

        screen.show(summary(outcome.assay, _setting(request, outcome), width=screen.width()))
    return VERDICT_STATUS[outcome.assay.verdict]


def say_kept(docket: str) -> None:
    """Say that control readings are kept, and what comes next."""
    screen.note(f"{docket}: kept; no reading of the specimen is there yet")
    screen.note("next, read the specimen into the same docket; switch off before you put it in")


def _inputs(
    roles: Mapping[Role, Sequence[Path]], sessions: Sequence[str], layout: str | None, said: Mapping[str, Any]
) -> tuple[Input, ...]:
    """Return the named files with what was said about them; standard input is read here."""
    from romassay.docket.manifest import Said
    from romassay.formats.contents import read_bounded
    from romassay.session.loading import Input

    named = [str(path) for paths in roles.values() for path in paths]
    for name in named:
        no_docket(name, f"open it with -o: romassay assay -o {shlex.quote(name)}")
    if named.count("-") > 1:
        raise BadValue("standard input can be read once only", advice="name '-' once")
    for name in named:
        of = [role for role, paths in roles.items() if name in map(str, paths)]
        if len(of) > 1:
            raise BadValue(
                f"cannot be a reading of the {' and of the '.join(role.replace('-', ' ') for role in of)}",
                place=name,
                advice="name it once, as what it is",
            )
    of_file, of_all = _sessions([_text(item) for item in sessions], [_text(name) for name in named])
    base = None if said["base"] is None else read_option("--base", parse_address, said["base"])
    return tuple(
        Input(
            Path("stdin") if str(path) == "-" else path,
            role,
            Said(format=said["format_"], layout=layout, base=base, session=of_file.get(_text(str(path)), of_all)),
            read_bounded(sys.stdin.buffer, "stdin") if str(path) == "-" else None,
        )
        for role, paths in roles.items()
        for path in paths
    )


def _text(argument: str) -> str:
    """Return an argument as text that can be stored: bytes that the shell's encoding does not know are replaced."""
    return argument.encode("utf-8", "replace").decode()


def _sessions(given: Sequence[str], named: Sequence[str]) -> tuple[dict[str, str], str | None]:
    """Return the session of single files, and that of all the others."""
    of_file: dict[str, str] = {}
    of_all: str | None = None
    for item in given:
        name, sign, file = item.partition("=")
        if not name:
            raise BadValue(f"'{item}' names no session", place="--session", advice="write NAME or NAME=FILE")
        if not sign:
            if of_all not in (None, name):
                raise BadValue(
                    f"the same files cannot be of '{of_all}' and of '{name}'",
                    place="--session",
                    advice="write NAME=FILE, or add one session after the other with -o",
                )
            of_all = name
        elif file in named:
            of_file[file] = name
        else:
            raise BadValue(
                f"'{file}' is none of the files of this call",
                place="--session",
                advice="write NAME=FILE with a FILE as named",
            )
    return of_file, of_all


_PLAIN = ("address_bits", "target", "apply_findings")
"""Settings that are kept as they were said."""


def settings_of(said: Mapping[str, Any]) -> dict[str, Any]:
    """Return the settings that were said in this call; 'none' takes a former one back."""
    from romassay.docket.manifest import Span

    if said["rig"] not in (None, _NONE):
        for option in ("part", "size"):
            if said[option] is not None:
                raise BadValue("a rig names its part itself", place=f"--{option}", advice="leave it out, or the rig")
    if said["part"] not in (None, _NONE) and said["size"] not in (None, _NONE):
        raise BadValue("a part says its size itself", place="--size", advice="give --part or --size, not both")
    settings: dict[str, Any] = {name: said[name] for name in _PLAIN if said.get(name) is not None}
    if said["rig"] is not None:
        settings["rig"] = None if said["rig"] == _NONE else said["rig"]
    if said["part"] is not None:
        settings["part"] = None if said["part"] == _NONE else said["part"]
    if said["size"] is not None:
        settings["size"] = None if said["size"] == _NONE else read_option("--size", _rom_size, said["size"])
    if said["exclude"]:
        ranges = [read_option("--exclude", parse_range, text) for text in said["exclude"] if text != _NONE]
        settings["exclude"] = tuple(Span(item.first, item.last) for item in ranges)
    return settings


def _rom_size(text: str) -> int:
    """Return the bytes of a ROM: its own lines count through all of them, so that they are a power of two."""
    size = parse_size(text)
    if size & (size - 1):
        raise BadValue(f"a ROM of {size} bytes has no whole number of lines", advice="give 1024, 2K, 4K and so on")
    return size


def _setting(request: Request, outcome: Outcome) -> Setting:
    from romassay.report.summary import Setting

    if request.docket is None:
        return Setting(request.command, assumed=_assumed(outcome))
    return kept_in(request.docket, outcome)


def kept_in(docket: Path, outcome: Outcome) -> Setting:
    """Return what a summary says of a docket that keeps everything: what was written, and how to add to it."""
    from romassay.report.summary import Setting

    return Setting(
        shlex.join(["romassay", "assay", "-o", str(docket)]),
        keeps=True,
        written=tuple(str(docket / file.name) for file in outcome.files),
        assumed=_assumed(outcome),
    )


def _assumed(outcome: Outcome) -> tuple[tuple[str, str], ...]:
    return tuple((file.name, text) for file in outcome.loaded for text in file.notes)
