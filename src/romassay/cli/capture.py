"""`romassay capture`: a host's monitor asked for its window, over a serial line, until the readings agree."""

from __future__ import annotations

import shlex
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Any

import click

from romassay.address import MAX_ADDRESS_BITS, Range, parse_range
from romassay.cli import EXIT_OK, screen
from romassay.cli.assay import VERDICT_STATUS, kept_in, say_kept, settings_of
from romassay.cli.options import FILE, of_no_use, parts_option, read_option, say_decimals
from romassay.errors import BadValue

if TYPE_CHECKING:
    from romassay.docket.growing import Plan
    from romassay.reading import Role
    from romassay.rig import Host, Serial
    from romassay.session.assay import Outcome
    from romassay.session.order import Order

EXIT_UNFINISHED = 3
_PASSES = 2
_PARITIES = ("none", "even", "odd", "mark")
_NUMBERS = ("hex", "octal", "decimal")


@click.command(name="capture", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("port", metavar="[PORT]", required=False)
@click.option("--host", metavar="HOST", help="Host of the catalogue, or a host file of your own with a dialogue.")
@click.option("--window", metavar="RANGE", multiple=True, help="Addresses to read. May be repeated.")
@click.option("-o", "--docket", metavar="DIR", type=FILE, help="Keep everything in this folder.")
@click.option(
    "--passes",
    metavar="N",
    type=click.IntRange(1, 32),
    help="Times that the window is read; 2 unless said otherwise, 1 for a control reading. Lines that disagree are "
    "read again by themselves.",
)
@click.option(
    "--target",
    metavar="X",
    type=click.FloatRange(0, min_open=True),
    help="Go on until no more than so many wrong bytes may remain at 95 %, as far as readings can do that.",
)
@click.option("--resume", "resumed", is_flag=True, help="Go on with the docket's unfinished capture.")
@click.option("--listen", is_flag=True, help="Only record, while you type at the host; Ctrl-C or --silence ends it.")
@click.option(
    "--silence",
    metavar="S",
    type=click.FloatRange(0, min_open=True),
    help="With --listen: stop when the line was silent for so many seconds after something came.",
)
@click.option("--probe", is_flag=True, help="Find rate, parity and word length from what comes in, and stop.")
@click.option("--keyed", is_flag=True, help="Take bytes typed in by a person, twice, for hosts with a display only.")
@click.option(
    "--numbers",
    metavar="NAME",
    type=click.Choice(_NUMBERS),
    default="hex",
    show_default=True,
    help="With --keyed: what the display shows: hex, octal or decimal.",
)
@click.option("--baud", metavar="N", type=click.IntRange(1, 4_000_000), help="Rate of the line, for this call.")
@click.option("--data-bits", metavar="N", type=click.IntRange(5, 8), help="Data bits of a character.")
@click.option("--parity", metavar="NAME", type=click.Choice(_PARITIES), help="none, even, odd or mark.")
@click.option("--stop-bits", metavar="N", type=click.IntRange(1, 2), help="Stop bits of a character.")
@click.option("--part", metavar="TYPE", help="Type number of the part, or a part file of your own.")
@click.option("--rig", metavar="FILE", help="Rig file: the wiring. It names the host and what to read, too.")
@parts_option
@click.option("--size", metavar="N", help="Bytes of the ROM, where no part says it.")
@click.option("--exclude", metavar="RANGE", multiple=True, help="Addresses to leave out of the assay. May be repeated.")
@click.option(
    "--address-bits",
    metavar="N",
    type=click.IntRange(1, MAX_ADDRESS_BITS),
    help="Lines of the bus, where the host's addresses do not show it.",
)
@click.option("--session", metavar="NAME", help="The power-up in which this is read.")
@click.option("--empty-socket", is_flag=True, help="This is read without the specimen, as a control reading.")
@click.option("--pulled-up", is_flag=True, help="This is read with the data lines pulled up, as a control reading.")
@click.option("--pulled-down", is_flag=True, help="This is read with the data lines pulled down, as a control reading.")
@click.pass_obj
def command(
    typed: Sequence[str],
    /,
    port: str | None,
    *,
    resumed: bool,
    listen: bool,
    probe: bool,
    keyed: bool,
    docket: Path | None,
    **said: Any,
) -> int:
    """Ask a host for its memory over a serial line, check every line as it comes, and assay what was read.

    PORT is a serial device, socket://HOST:PORT, rfc2217://HOST:PORT or a pseudo-terminal. What comes in is kept as it
    arrives: whatever breaks off, --resume asks only for what is missing.

    For example: romassay capture /dev/ttyUSB0 --host monitor-300-baud --window 0xC000-0xDFFF -o docket

    A control reading may come before any of the specimen: it is then kept without an assay.

    Exit status: 0 confirmed or a control reading kept, 3 provisional, 4 nothing found, 2 bad input or a line that
    failed.
    """
    if sum((resumed, listen, probe, keyed)) > 1:
        raise BadValue("--resume, --listen, --probe and --keyed exclude each other", advice="give one of them")
    role = _role(said)
    _see_that_all_count(resumed=resumed, listen=listen, probe=probe, keyed=keyed)
    if probe:
        return _probed(_needed(port, "PORT", "the line to listen on"))
    folder = _needed(docket, "-o", "the folder that keeps what is read")
    words = shlex.join(["romassay", *typed])
    if keyed and port is not None:
        raise BadValue("--keyed reads no line", place=port, advice="leave out the line, or --keyed")
    if keyed:
        from romassay.cli.keyboard import key_in

        outcome: Outcome | None = key_in(folder, _windows(said["window"]), said, words)
        if outcome is None:
            return EXIT_UNFINISHED
    elif listen:
        from romassay.session.listen import listen_to

        line = _line(None, said)
        screen.note("recording; Ctrl-C ends it, and what came in is assayed")
        outcome = listen_to(
            _needed(port, "PORT", "the line to listen on"),
            line,
            folder,
            settings=settings_of(said),
            session=said["session"],
            role=role,
            command=words,
            silence=said["silence"],
        )
    else:
        outcome = _captured(port, folder, resumed=resumed, said=said, words=words)
    return _shown(outcome, folder)


_LINE = ("--baud", "--data-bits", "--parity", "--stop-bits")
_ASKING = ("--host", "--passes")
_CONTROLS = ("--empty-socket", "--pulled-up", "--pulled-down")
_ASSAY = ("--target", "--part", "--rig", "--parts", "--size", "--exclude", "--address-bits", "--session", "-o")


def _see_that_all_count(*, resumed: bool, listen: bool, probe: bool, keyed: bool) -> None:
    """See that no option is given that the way of reading would pass over."""
    if not listen:
        of_no_use(("--silence",), "without --listen", "leave it out")
    if not keyed:
        of_no_use(("--numbers",), "without --keyed", "leave it out")
    if resumed:
        same = ("--window", "--passes", *_CONTROLS)
        of_no_use(same, "with --resume", "it is that of the capture that goes on; leave it out")
    if listen:
        of_no_use((*_ASKING, "--window"), "with --listen, which asks nothing", "leave it out")
    if keyed:
        of_no_use((*_ASKING, *_LINE), "with --keyed, where no line is read", "leave it out")
        of_no_use(_CONTROLS, "with --keyed", "key it into a docket of its own, and give its files to 'romassay assay'")
    if probe:
        others = (*_ASKING, *_LINE, *_ASSAY, *_CONTROLS, "--window")
        of_no_use(others, "with --probe, which finds the settings of a line and stops", "leave it out")


def _role(said: dict[str, Any]) -> Role:
    """Return what is in the socket."""
    roles: dict[str, Role] = {"empty_socket": "empty-socket", "pulled_up": "pulled-up", "pulled_down": "pulled-down"}
    given = [role for name, role in roles.items() if said[name]]
    if len(given) > 1:
        raise BadValue(f"--{given[0]} and --{given[1]} exclude each other", advice="read one after the other")
    if given and said["target"] is not None:
        raise BadValue("is of no use for a control reading", place="--target", advice="leave it out")
    return given[0] if given else "specimen"


def _captured(port: str | None, folder: Path, *, resumed: bool, said: dict[str, Any], words: str) -> Outcome | None:
    from romassay.cli.live import Screen
    from romassay.session.capture import capture, resume

    if resumed:

        def order_of(plan: Plan) -> Order:
            return _resumed(plan, port, folder, said, words)

        with Screen(f"{folder}: going on") as shown:
            result = resume(order_of, folder, watch=shown.watch)
    else:
        order = _order(port, folder, said, words)
        say_decimals({"--window": said["window"], "--exclude": said["exclude"]})
        with Screen(f"{order.host} on {order.port}") as shown:
            result = capture(order, watch=shown.watch)
    screen.note(f"asked for {result.asked} bytes; {result.needed} were wanted, over all passes")
    if result.missing:
        screen.note(f"{result.missing} bytes never came through; they are holes")
    return result.outcome


def _probed(port: str) -> int:
    """Listen at every rate, saying how each went, and print the settings that fit."""
    from romassay.capture.probe import Tried
    from romassay.session.listen import probe_line

    def tell(tried: Tried) -> None:
        frame = "" if (tried.data_bits, tried.parity) == (8, "none") else f" ({tried.data_bits} bits, {tried.parity})"
        screen.note(f"{tried.baud} baud{frame}: {tried.characters} characters, {tried.text:.0%} text")

    found = probe_line(port, tell=tell)
    stops = f" --stop-bits {found.stop_bits}" if found.stop_bits > 1 else ""
    sys.stdout.write(f"--baud {found.baud} --data-bits {found.data_bits} --parity {found.parity}{stops}\n")
    return 0


def _order(port: str | None, folder: Path, said: dict[str, Any], words: str) -> Order:
    from romassay.session.order import Order, dialogue_of

    name, host, window = _host(said)
    role = _role(said)
    return Order(
        port=_needed(port, "PORT", "the line to the host"),
        host=name,
        dialogue=dialogue_of(host, name),
        serial=_line(host, said),
        window=_windows(said["window"]) if said["window"] or not window else window,
        passes=said["passes"] or (_PASSES if role == "specimen" else 1),
        docket=folder,
        until_target=said["target"] is not None,
        session=said["session"],
        role=role,
        settings=settings_of(said),
        part_folders=said["part_folders"],
        command=words,
    )


def _host(said: dict[str, Any]) -> tuple[str, Host, tuple[Range, ...]]:
    """Return the host, its name, and what the rig says is to be read; a rig names a host, too."""
    from romassay.catalogue import load_host, load_rig

    rig = load_rig(said["rig"], said["part_folders"]).rig if said["rig"] else None
    window = rig.to_read if rig else ()
    if said["host"] is None and rig is not None:
        return f"the host of {said['rig']}", rig.host, window
    name = _needed(said["host"], "--host", "a host of the catalogue, or a host file")
    return name, load_host(name), window


def _resumed(plan: Plan, port: str | None, folder: Path, said: dict[str, Any], words: str) -> Order:
    from dataclasses import replace

    from romassay.session.assay import superseding
    from romassay.session.order import dialogue_of, order_of_plan

    order = order_of_plan(plan, folder, command=words)
    if said["host"] or said["rig"]:
        name, host, _ = _host(said)
        order = replace(order, host=name, dialogue=dialogue_of(host, name), serial=host.serial or order.serial)
    if order.dialogue.rate_key:
        click.pause(f"{order.host} takes its rate from the first character: reset it, then press any key ...", err=True)
    return replace(
        order,
        port=port or plan.port,
        serial=_changed(order.serial, said),
        until_target=said["target"] is not None or order.until_target,
        session=said["session"] or plan.session,
        settings={**order.settings, **superseding(settings_of(said))},
        part_folders=said["part_folders"] or order.part_folders,
    )


def _line(host: Host | None, said: dict[str, Any]) -> Serial:
    from romassay.rig import Serial

    serial = host.serial if host else None
    return _changed(serial or Serial(kind="rs-232", baud=9600), said)


def _changed(serial: Serial, said: dict[str, Any]) -> Serial:
    from msgspec.structs import replace

    names = ("baud", "data_bits", "parity", "stop_bits")
    return replace(serial, **{name: said[name] for name in names if said[name] is not None})


def _windows(given: Sequence[str]) -> Any:
    if not given:
        raise BadValue("no window is given", place="--window", advice="say what to read, such as 0xD000-0xDFFF")
    return tuple(read_option("--window", parse_range, text) for text in given)


def _needed(value: Any, name: str, what: str) -> Any:
    if value is None:
        raise BadValue(f"{name} is missing", advice=f"give {what}; see 'romassay capture --help'")
    return value


def _shown(outcome: Outcome | None, folder: Path) -> int:
    """Print the summary of an outcome; return the exit status of its verdict, 0 where there is nothing to assay yet."""
    from romassay.report.summary import summary

    if outcome is None:
        say_kept(str(folder))
        return EXIT_OK
    for notice in outcome.notices:
        screen.note(notice)
    screen.show(summary(outcome.assay, kept_in(folder, outcome), width=screen.width()))
    return VERDICT_STATUS[outcome.assay.verdict]
