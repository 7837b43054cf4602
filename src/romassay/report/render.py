"""Pages from the templates of this room: one style, one set of patterns, and everything in them escaped."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

from romassay.report.svg import element, rect


def render_page(
    template: str, context: Mapping[str, Any], *, styles: Sequence[str] = ("page.css",), patterns: bool = True
) -> str:
    """Return a page of the house's make from one of the templates of this room; everything in it is escaped.

    Args:
        template: its file name.
        context: what it shows.
        styles: file names of the styles that it carries.
        patterns: whether it carries the fills of address maps.
    """
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(_source), autoescape=True, trim_blocks=True, undefined=jinja2.StrictUndefined
    )
    style = Markup("".join(map(_source, styles)))  # noqa: S704 - files of this package
    return environment.get_template(template).render(css=style, patterns=_patterns() if patterns else "", **context)


def _source(name: str) -> str:
    return (files("romassay.report") / "templates" / name).read_text("utf-8")


def safe(text: str) -> Markup:
    """Mark a drawing of our own as safe: its words were escaped when it was made."""
    return Markup(text)  # noqa: S704 - made by romassay.report.svg


def _patterns() -> Markup:
    """Return the fills by which kinds are told apart without colour."""
    strokes = {
        "ram": ("#fbe3b0", "M0 8L8 0M-2 2L2 -2M6 10L10 6", "#6a4a00"),
        "registers": ("#f4d3e6", "M2 2h2v2h-2zM6 6h2v2h-2z", "#6b2250"),
        "open-bus": ("#f6f6f6", "M0 7.5h8", "#d5d5d5"),
        "host": ("#dcdcdc", "M0 0L8 8M0 8L8 0", "#8a8a8a"),
        "contended": ("#ffd9d6", "M0 4h8M4 0v8", "#8c1a1a"),
        "unknown": ("#ffffff", "M0 0L8 8", "#777777"),
    }
    parts = [
        element(
            "pattern",
            [rect(0, 0, 8, 8, fill=back), element("path", d=path, stroke=ink, stroke_width=1.2, fill="none")],
            id=f"p-{kind}",
            width=8,
            height=8,
            patternUnits="userSpaceOnUse",
        )
        for kind, (back, path, ink) in strokes.items()
    ]
    defs = element("defs", parts)
    return safe(element("svg", [defs], width=0, height=0, style="position:absolute", aria_hidden="true"))
