"""`romassay bench`: look at dockets in a browser, on this machine."""

from __future__ import annotations

import sys
from pathlib import Path
from typing import TYPE_CHECKING

import click

from romassay.cli.options import FILE
from romassay.errors import BadValue

if TYPE_CHECKING:
    from romassay.bench.serve import Place

_DEFAULT_PORT = 8530


@click.command(name="bench", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("dockets", metavar="[DOCKET]...", nargs=-1, type=FILE)
@click.option(
    "--folder",
    metavar="DIR",
    type=FILE,
    default=Path(),
    help="Where new dockets are made, and whose dockets are shown; the current folder unless said otherwise.",
)
@click.option(
    "--host-file",
    "host_files",
    metavar="FILE",
    multiple=True,
    type=FILE,
    help="A host of your own, to be read over a line. May be repeated.",
)
@click.option("--port", metavar="N", type=click.IntRange(0, 65535), default=_DEFAULT_PORT, help="Port; 0 for any.")
@click.option(
    "--host",
    metavar="ADDR",
    default="127.0.0.1",
    help="Address to listen on. Other machines reach it only with the token that is then printed.",
)
@click.option("--open/--no-open", "opens", default=None, help="Open a browser; on a terminal that is done.")
def command(
    dockets: tuple[Path, ...], *, folder: Path, host_files: tuple[Path, ...], port: int, host: str, opens: bool | None
) -> int:
    """Serve a page to work with dockets: drop logs in, walk the address map, decide what is in doubt, export.

    It listens on this machine alone, touches the dockets named and those in the folder, and changes nothing but what
    a docket keeps: new readings, what is said about them, and decisions with their reasons. Stop it with Ctrl-C.
    """
    from romassay.bench.serve import serve
    from romassay.cli import screen
    from romassay.docket.folder import find
    from romassay.report.text import Segment

    for docket in dockets:
        find(docket)
    if not folder.is_dir():
        raise BadValue("there is no such folder", place="--folder", advice=f"make {folder} first, or name another")

    def announce(place: Place) -> None:
        screen.show([(Segment("The bench is at "), Segment(place.address, "strong"))])
        if not place.loopback:
            screen.show([(Segment("Other machines can reach it with this address: give it to nobody else.", "care"),)])
        screen.show([(Segment("Stop it with Ctrl-C.", "faint"),)])
        sys.stdout.flush()
        if sys.stdout.isatty() if opens is None else opens:
            import webbrowser

            webbrowser.open(place.address)

    serve(folder, dockets, host, port, announce, host_files)
    return 0
