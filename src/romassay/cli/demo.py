"""`romassay demo`: the real assay on an invented specimen."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click

from romassay.cli.options import FILE


@click.command(name="demo", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.option(
    "-o",
    "--docket",
    metavar="DIR",
    type=FILE,
    help="Folder for the docket; the logs go to DIR-logs. Without it, both go into the current folder.",
)
def command(*, docket: Path | None) -> int:
    """Watch an assay from logs to docket.

    The specimen is invented: a combination chip from the fog signal of a harbour that does not exist. Its logs are
    written, noise and all, and assayed with the command that is shown; whoever types it gets the same.

    Exit status: as that of 'assay'.
    """
    from romassay.cli import run, screen
    from romassay.report.text import Segment, paragraph
    from romassay.session.demo import prepare

    done = prepare(docket)
    logs = ", ".join(str(path) for path in done.written)
    screen.show(
        [
            (Segment(done.title, "strong"),),
            *paragraph(
                "Chip, harbour and host are made up; the logs are what such a chip would give over a noisy line. "
                f"Written: {logs}.",
                width=screen.width(),
            ),
        ]
    )
    status = 0
    for words in done.commands:
        screen.show([(), (Segment("$ "), Segment(shlex.join(words), "strong"))])
        sys.stdout.flush()
        status = run(list(words[1:])) or status
    return status
