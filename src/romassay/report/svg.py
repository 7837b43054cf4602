"""Drawings as text: a few functions that write SVG 2 elements, escaped, with numbers in as few digits as they need.

Every drawing of a page is made of these. Kinds are told apart by pattern and letter first, by colour only besides, so
that a drawing holds in black and white.
"""

from __future__ import annotations

from collections.abc import Iterable
from html import escape

Value = str | float


def element(name: str, children: Iterable[str] = (), **attributes: Value) -> str:
    """Return one element; underscores in names of attributes become hyphens, a trailing one goes (`class_`)."""
    inner = "".join(children)
    text = "".join(f' {key.rstrip("_").replace("_", "-")}="{_value(value)}"' for key, value in attributes.items())
    return f"<{name}{text}>{inner}</{name}>" if inner else f"<{name}{text}/>"


def _value(value: Value) -> str:
    return escape(value) if isinstance(value, str) else number(value)


def number(value: float) -> str:
    """Return a number with at most two decimals."""
    return f"{value:.2f}".rstrip("0").rstrip(".")


def label(text: str, x: float, y: float, **attributes: Value) -> str:
    """Return a text at a place."""
    return element("text", (escape(text),), **{"x": x, "y": y, **attributes})


def title(text: str) -> str:
    """Return the words that a pointer that rests on the element brings up, and that a screen reader says."""
    return element("title", [escape(text)])


def rect(x: float, y: float, width: float, height: float, *, says: str = "", **attributes: Value) -> str:
    """Return a rectangle, with the words it says where a pointer rests on it."""
    inner = [title(says)] if says else []
    return element("rect", inner, x=x, y=y, width=width, height=height, **attributes)


def wire(*points: tuple[float, float], **attributes: Value) -> str:
    """Return a line through points."""
    places = " ".join(f"{number(x)},{number(y)}" for x, y in points)
    return element("polyline", (), points=places, **attributes)


def drawing(parts: Iterable[str], width: float, height: float, says: str, **attributes: Value) -> str:
    """Return a whole drawing that scales with the page; `says` is its text alternative."""
    return element(
        "svg",
        [title(says), *parts],
        xmlns="http://www.w3.org/2000/svg",
        viewBox=f"0 0 {number(width)} {number(height)}",
        role="img",
        aria_label=says,
        style=f"max-width:{number(width)}px",
        **attributes,
    )
