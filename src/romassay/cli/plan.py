"""`romassay plan`: the sums before the soldering iron, and the sheet for the bench."""

from __future__ import annotations

import sys
from pathlib import Path

import click

from romassay.cli.options import FILE, PAGES, TO_PDF, parts_option, to_end_in

PROBLEMS = 3


@click.command(name="plan", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("rig", metavar="RIG.toml", type=FILE)
@click.option(
    "--html",
    metavar="FILE",
    type=FILE,
    help="Write the plan as one page to print: nothing else is needed at the bench.",
)
@click.option("--json", "as_json", is_flag=True, help="Print the plan as JSON.")
@parts_option
def command(rig: Path, *, html: Path | None, as_json: bool, part_folders: tuple[Path, ...]) -> int:
    """Work out how to read a specimen: wiring, window, supply, time, levels, checklist and run sheet.

    RIG.toml names the part and the host; what it leaves out of the wiring is proposed. Everything that would harm the
    specimen, or that could not work, is named with the pins that it concerns.

    For example: romassay plan rig.toml --html plan.html ('romassay twin --example' prints a rig file to start from)

    Exit status: 0 the rig can be built, 3 it has problems, 2 bad input.
    """
    from romassay.session.plan import plan_rig, write_page

    if html is not None:
        to_end_in(html, "--html", PAGES, TO_PDF)
    plan = plan_rig(rig, part_folders)
    if html is not None:
        write_page(plan, html)
    if as_json:
        from romassay.report.plan_json import plan_json

        sys.stdout.write(plan_json(plan))
    else:
        from romassay.cli import screen
        from romassay.report.plan import headline, plan_lines, problem_lines
        from romassay.report.text import Segment

        if html is None:
            screen.show(plan_lines(plan, width=screen.width()))
        else:
            screen.show([(Segment(*headline(plan)),), *problem_lines(plan, width=screen.width())])
            screen.show([(Segment("Written    "), Segment(str(html), "strong"))])
    return PROBLEMS if plan.problems else 0
