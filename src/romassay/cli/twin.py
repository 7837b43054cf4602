"""`romassay twin`: rehearse an evening with a specimen that does not exist."""

from __future__ import annotations

import shlex
import sys
from pathlib import Path

import click

from romassay.cli.options import FILE, of_no_use, parts_option
from romassay.errors import BadValue


@click.command(name="twin", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("rig", metavar="[RIG.toml]", required=False, type=FILE)
@click.option("-o", "--output", metavar="DIR", type=FILE, help="Folder for the logs.")
@click.option(
    "--seed",
    metavar="N",
    type=click.IntRange(0),
    help="Another specimen: its mask, its contents, and whatever else the rig leaves open.",
)
@click.option("--example", is_flag=True, help="Print a rig file to start from, and stop.")
@parts_option
def command(
    rig: Path | None, *, output: Path | None, seed: int | None, example: bool, part_folders: tuple[Path, ...]
) -> int:
    """Print the logs that a simulated specimen would give, for a rehearsal before the real one is touched.

    RIG.toml says how a part is wired to a host and, in its [twin] table, what the mask made of its selects, what it
    holds, what an undriven bus says, how noisy the line is and what is read; what it leaves out is drawn by the seed,
    from all that the part may be. DIR gets a log for each reading, as a
    host would print it, and truth.json, which says what an assay should find. The same rig gives the same logs.

    For example: romassay twin rig.toml -o evening --seed 7
    """
    if example:
        if rig is not None:
            raise BadValue("--example reads no rig file", place=str(rig), advice="leave it out, or --example")
        of_no_use(("-o", "--seed", "--parts"), "with --example, which prints and stops", "leave it out")
        from romassay.session.demo import example_rig

        sys.stdout.write(example_rig())
        return 0
    if rig is None or output is None:
        raise BadValue(
            "a rig file and a folder are needed",
            advice="write 'romassay twin RIG.toml -o DIR'; 'romassay twin --example' prints a rig file to start from",
        )
    from romassay.cli import screen
    from romassay.report.text import Segment, paragraph
    from romassay.report.words import some
    from romassay.session.rehearse import rehearse_rig

    done = rehearse_rig(rig, output, part_folders, seed=seed)
    names, width = ", ".join(path.name for path in done.written), screen.width()
    screen.show(
        [
            *(((Segment(done.title, "strong"),),) if done.title else ()),
            *paragraph(f"Left in {output}: {names}.", width=width),
            *paragraph(f"What is true of the specimen is in {done.truth}: best read afterwards.", width=width),
            (),
            (Segment("Next:"),),
            *((Segment(shlex.join(words), "strong"),) for words in done.commands),
        ]
    )
    if done.alike:
        screen.note(
            f"{some(done.alike, 3)}: equal to an earlier pass, and equal files count once; say in [twin.noise] how "
            "noisy the line is, or together = true in [twin.evening]"
        )
    return 0
