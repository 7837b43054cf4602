"""Pictures in a notebook: `%load_ext romassay`; an assay shows its verdict, map and decode, a part its pin-out.

The values know nothing of pages; IPython is told here how to show them. Nothing is imported from IPython itself.
"""

from __future__ import annotations

from html import escape
from typing import Any

from romassay.chain import Assay
from romassay.part import Part
from romassay.survey.model import Survey


def register(shell: Any) -> None:
    """Tell an IPython shell how to show assays, surveys and parts."""
    formatter = shell.display_formatter.formatters["text/html"]
    formatter.for_type(Assay, assay_html)
    formatter.for_type(Survey, survey_html)
    formatter.for_type(Part, part_html)


def assay_html(assay: Assay) -> str:
    """Return an assay as HTML, in a frame of its own: its styles would else reach the notebook."""
    from romassay.report.page import assay_piece

    return _framed(assay_piece(assay))


def survey_html(survey: Survey) -> str:
    """Return a survey's address map as a piece of HTML."""
    from romassay.report.page import survey_piece

    return _framed(survey_piece(survey))


def part_html(part: Part) -> str:
    """Return the pin-out of a part as a piece of HTML, or what is wrong where it has no pins."""
    from romassay.report.pinout import pin_out

    if not part.pins:
        return f"<p>No pin table of the {escape(part.name)} was found.</p>"
    return _framed(pin_out(part).partition("?>")[2])


def _framed(page: str) -> str:
    return (
        f'<iframe srcdoc="{escape(page)}" sandbox="" style="width:100%;height:44rem;border:0" '
        'title="romassay"></iframe>'
    )
