"""`romassay report`: a docket as one page."""

from __future__ import annotations

from pathlib import Path

import click

from romassay.cli.options import FILE, PAGES, TO_PDF, to_end_in


@click.command(name="report", context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 100})
@click.argument("docket", metavar="DOCKET", type=FILE)
@click.option(
    "-o",
    "--output",
    metavar="FILE.html",
    type=FILE,
    help="The page; DOCKET.html in the current folder unless said otherwise.",
)
def command(docket: Path, *, output: Path | None) -> int:
    """Write the evidence of a docket as one page that needs nothing else: to print, to file or to hand on.

    The page says what was found and how sure it is, shows who answers where, the decode as a drawing, how readings
    and mirrors agree, every byte in doubt, the findings, the image, and what was done when. It holds no script and
    loads nothing. Photographs of specimen and wiring in the docket's folder 'photos' (JPEG, PNG, WebP, GIF) go in.

    The results are derived anew from the readings; the docket is not changed.

    For example: romassay report docket -o docket.html
    """
    from romassay.cli import screen
    from romassay.report.text import Segment
    from romassay.report.words import listed, plural
    from romassay.session.report import write_report

    target = Path(f"{docket.resolve().name}.html")
    if output is not None:
        target = to_end_in(output, "-o", PAGES, TO_PDF)
    done = write_report(docket, target)
    if done.differing:
        screen.note(
            f"{docket}: {listed(done.differing)} there {'is' if len(done.differing) == 1 else 'are'} not what its "
            f"readings give; the page says what they give, 'romassay assay -o {docket}' writes it"
        )
    for notice in done.notices:
        screen.note(notice)
    for text in done.left_out:
        screen.note(f"photos/{text}; it is not in the page")
    screen.show([(Segment("Written    "), Segment(str(target), "strong"), Segment(f" ({plural(done.size, 'byte')})"))])
    return 0
