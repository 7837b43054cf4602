"""Pictures in a notebook: `%load_ext romassay`, and an assay shows its verdict, its map and its decode.

The values know nothing of pages; IPython is told here how to show them. Nothing is imported from IPython itself.
"""

from __future__ import annotations

from typing import Any

from romassay.chain import Assay
from romassay.survey.model import Survey


def register(shell: Any) -> None:
    """Tell an IPython shell how to show assays and surveys."""
    formatter = shell.display_formatter.formatters["text/html"]
    formatter.for_type(Assay, assay_html)
    formatter.for_type(Survey, survey_html)


def assay_html(assay: Assay) -> str:
    """Return an assay as HTML, in a frame of its own: its styles would else reach the notebook."""
    from romassay.report.page import assay_piece

    return _framed(assay_piece(assay))


def survey_html(survey: Survey) -> str:
    """Return a survey's address map as a piece of HTML."""
    from romassay.report.page import survey_piece

    return _framed(survey_piece(survey))


def _framed(page: str) -> str:
    from html import escape

    return (
        f'<iframe srcdoc="{escape(page)}" sandbox="" style="width:100%;height:44rem;border:0" '
        'title="romassay"></iframe>'
    )
