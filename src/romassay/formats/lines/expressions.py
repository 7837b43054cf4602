"""Regular expressions made from a layout: for its numbers, its cells, and all of a line."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from romassay.formats.layout import Layout, Number, pattern_regex

_DIGITS = {2: b"01", 8: b"0-7", 10: b"0-9", 16: b"0-9A-Fa-f"}
MOST_ADDRESS_DIGITS = 11
_PROMPT_ROOM = 48


def number_regex(number: Number, size: int = 2) -> bytes:
    """Return a regular expression for a number of so many bytes, as it is printed."""
    digit, w = _DIGITS[number.base], number.width
    if number.pad == "zeros":
        return b"[%s]{%d}" % (digit, w)
    if number.pad == "right":
        return b"(?:" + b"|".join(b" " * (w - n) + b"[%s]{%d}" % (digit, n) for n in range(w, 0, -1)) + b")"
    if number.pad == "left":
        forms = [b"[%s]{%d}" % (digit, n) + b" " * (w - n) for n in range(w, 0, -1)]
        return b"(?:" + b"|".join(forms) + rb"|[%s]{1,%d}(?=\s*$))" % (digit, w)
    most = {2: 8, 8: 6, 10: 5, 16: 2 * size}[number.base]
    return b"[%s]{1,%d}" % (digit, most)


def _address_regex(number: Number) -> bytes:
    digit = _DIGITS[number.base]
    if number.pad == "zeros":
        return b"(?:[%s]{%d}|(?!0)[%s]{%d,%d})" % (
            digit,
            number.width,
            digit,
            number.width + 1,
            max(MOST_ADDRESS_DIGITS, number.width + 1),
        )
    if number.pad == "none":
        return b"[%s]{1,%d}" % (digit, MOST_ADDRESS_DIGITS)
    return number_regex(number)


def _escaped(text: str) -> bytes:
    return re.escape(text.encode("latin-1"))


@dataclass(frozen=True, slots=True, eq=False)
class Forms:
    """The regular expressions of a layout."""

    heads: tuple[tuple[re.Pattern[bytes], bool], ...]
    short_heads: tuple[tuple[re.Pattern[bytes], bool], ...]
    full: tuple[tuple[re.Pattern[bytes], bool], ...]
    anywhere: re.Pattern[bytes] | None
    cell: re.Pattern[bytes]
    gaps: tuple[re.Pattern[bytes], ...]
    tail: re.Pattern[bytes]
    alone: re.Pattern[bytes] | None


@lru_cache(maxsize=64)
def forms_of(layout: Layout) -> Forms:
    """Return the regular expressions of a layout."""
    heads = []
    with_address = layout.address is not None and layout.where in ("line", "some")
    if with_address:
        heads.append((_head(layout), True))
    if layout.where != "line" or layout.address is None:
        heads.append((pattern_regex(layout.rest), False))
    cell = b"(" + number_regex(layout.cell, layout.size) + b")"
    gaps = [rb"[ ,;\t]+"] * (layout.cells - 1) if layout.gaps is None else [_escaped(gap) for gap in layout.gaps]
    body = cell + b"".join(gap + cell for gap in gaps)
    tail = _tail(layout)
    anywhere = None
    if with_address and not layout.lead.startswith(("*", "?")):
        anywhere = re.compile(b"^.{1,%d}?(?<![0-9A-Za-z])(?=%s)" % (_PROMPT_ROOM, heads[0][0]), re.DOTALL)
    alone = None
    if layout.address is not None and layout.where != "none":
        after = pattern_regex(layout.after.rstrip()) if layout.where != "alone" else pattern_regex(layout.after)
        lead = pattern_regex(layout.lead)
        address = lead + b"(" + _address_regex(layout.address) + b")"
        alone = re.compile(address + b"(?:" + after + rb"|[:;.>)\]-]{1,2})?\s*$", re.DOTALL)
    return Forms(
        heads=tuple((re.compile(head, re.DOTALL), has) for head, has in heads),
        short_heads=tuple(
            (re.compile(head.removesuffix(_escaped(cell_prefix(layout).decode("latin-1"))), re.DOTALL), has)
            for head, has in heads
        ),
        full=tuple((re.compile(head + body + tail, re.DOTALL), has) for head, has in heads),
        anywhere=anywhere,
        cell=re.compile(cell, re.DOTALL),
        gaps=tuple(re.compile(gap, re.DOTALL) for gap in gaps),
        tail=re.compile(tail, re.DOTALL),
        alone=alone,
    )


@lru_cache(maxsize=16)
def cells_in_a_row(forms: Forms) -> re.Pattern[bytes]:
    """Return what matches the cells of a line, as many as stand there."""
    rest = b""
    for gap in reversed(forms.gaps):
        rest = b"(?:" + gap.pattern + forms.cell.pattern + rest + b")?"
    return re.compile(forms.cell.pattern + rest, re.DOTALL)


def _head(layout: Layout) -> bytes:
    assert layout.address is not None  # noqa: S101 - asked for only where there is one
    front = b""
    if layout.sum is not None and layout.sum.place == "front":
        front = _escaped(layout.sum.before) + b"(?P<front>" + number_regex(layout.sum.number) + b")"
    address = b"(?P<address>" + _address_regex(layout.address) + b")"
    return pattern_regex(layout.lead) + address + front + pattern_regex(layout.after)


def common_start(texts: Sequence[str]) -> str:
    """Return what all of some texts begin with."""
    shortest = min(texts, key=len)
    return next((shortest[:i] for i, c in enumerate(shortest) if any(t[i] != c for t in texts)), shortest)


def cell_prefix(layout: Layout) -> bytes:
    """Return what stands right before the digits of every cell, such as a dollar sign."""
    before = layout.after if layout.where in ("line", "some") else layout.rest
    texts = [text[::-1] for text in (before, *(layout.gaps or ()))]
    shared = common_start(texts)[::-1] if layout.gaps else ""
    return re.sub(r"^.*[\s,;:./|?#*\\-]", "", shared, flags=re.DOTALL).encode("latin-1")


def _after_last_cell(layout: Layout, text: str) -> bytes:
    """Return a literal text behind the cells where blanks may stand for missing cells: behind what ends each cell."""
    gaps = layout.gaps or ("",)
    shared = common_start([text, *gaps]) if layout.gaps else ""
    ending = shared[: len(shared) - len(shared.lstrip("hHbBoOdD')]}"))]
    return _escaped(ending) + b" *" + _escaped(text[len(ending) :])


def _behind_bracket(text: str) -> bytes:
    """Return literal text behind a sum, in which blanks may stand for missing cells behind a bracket that closes."""
    rest = text.lstrip(")]}>|")
    return _escaped(text[: len(text) - len(rest)]) + b" *" + _escaped(rest) if rest.strip() else _escaped(text)


def _tail(layout: Layout) -> bytes:
    total = b""
    if layout.sum is not None:
        total = _escaped(layout.sum.before) + b"(?P<sum>" + number_regex(layout.sum.number) + b")"
    place = layout.sum.place if layout.sum is not None else None
    first = total if place == "cells" else b""
    if place == "end":
        gutter = b" *" if layout.gutter is None else _after_last_cell(layout, layout.gutter) + b".*?"
        return gutter + total + _escaped(layout.end.rstrip()) + rb"\s*$"
    if layout.tail:
        return first + (b".*" if layout.gutter is None else _escaped(layout.gutter) + b".*") + b"$"
    if layout.gutter is not None:
        before = b" *" + _behind_bracket(layout.gutter) if first else _after_last_cell(layout, layout.gutter)
        gutter = before + b"(?P<gutter>.*)"
        return first + (b"(?:%s)?" % gutter if not layout.gutter.strip() else gutter) + rb"\s*$"
    end = layout.end.rstrip()
    blanks = b" *" if not first and end.startswith(" ") else b""
    return first + blanks + _escaped(end) + rb"\s*$"
