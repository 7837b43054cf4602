"""Which of several layouts explains a whole log, not only a sample of it; and the same with numbers of another form.

A sample of a floating bus may look octal or decimal; the few lines in which a chip answers tell. So every way to print
a byte or a word is tried before one is believed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace
from functools import lru_cache

from romassay.formats.layout import Base, Layout, Number, pattern_regex

_PROBED = 1 << 17
_PROBES = 16
_CLEARLY = 0.995
"""Share of the first layout's description at most that another must bring."""

_CLOSE = 2.0
_WEIGHED = 3
_UNEXPLAINED = 20.0
"""Bits that a character in an unexplained line costs beyond its own."""

_FORMS = {
    1: (
        *(Number(16, 2, "zeros"), Number(16)),
        *(Number(10), Number(10, 3, "zeros"), Number(10, 3, "right")),
        *(Number(8), Number(8, 3, "zeros"), Number(8, 3, "right")),
    ),
    2: (
        Number(16, 4, "zeros"),
        *(Number(10), Number(10, 5, "zeros"), Number(10, 5, "right")),
        *(Number(8), Number(8, 6, "zeros")),
    ),
}
"""How a byte and a word are printed, by bytes in a cell."""


@lru_cache(maxsize=4)
def borne_out(layouts: tuple[Layout, ...], text: bytes) -> Layout:
    """Return the layout that explains a cleaned text best: one of those given, the likeliest first, or a like one.

    Damage is costly to describe, so only those are weighed with it that do well without.
    """
    first = layouts[0]
    tried = dict.fromkeys([*layouts, *_alike(first, text)])
    quick = {layout: _quick_cost(layout, text) for layout in tried}
    ranked = sorted(tried, key=quick.__getitem__)
    close = [layout for layout in ranked if quick[layout] <= _CLOSE * quick[ranked[0]]][:_WEIGHED]
    if close == [first]:
        return first
    costs = {layout: cost_of(layout, text) for layout in dict.fromkeys([first, *close])}
    best = min(costs, key=costs.__getitem__)
    return best if costs[best] < _CLEARLY * costs[first] else first


def _alike(layout: Layout, text: bytes) -> Iterator[Layout]:
    """Yield the layout with its numbers printed in every other form."""
    from romassay.formats.learning.weigh import unexplained

    if layout.cell.base == 16 and not unexplained(layout, text, marks=False):
        return
    dense = layout.gaps is not None and "" in layout.gaps
    for form in _FORMS.get(layout.size, ()):
        if form != layout.cell and not (dense and form.width != layout.cell.width):
            yield replace(layout, cell=form)
    if layout.cell == Number(10) and layout.size == 1:
        yield from _right_aligned(layout, 10)
    if layout.cell in (Number(8), Number(8, 3, "zeros")):
        yield from _right_aligned(layout, 8)
    grown = _with_room(layout, text)
    if grown is not None:
        yield grown


def _with_room(layout: Layout, text: bytes) -> Layout | None:
    """Return a layout whose decimal addresses may grow into the blanks before them; None where there are none."""
    number = layout.address
    if number is None or number.base != 10 or number.pad != "none" or not layout.lead.endswith(" "):
        return None
    first = re.search(b"^" + pattern_regex(layout.lead) + rb"([0-9]+)", text, re.MULTILINE)
    lead = layout.lead.rstrip(" ")
    if first is None:
        return None
    width = len(first[1]) + len(layout.lead) - len(lead)
    return replace(layout, address=Number(10, width, "right"), lead=lead)


def _right_aligned(layout: Layout, base: Base) -> Iterator[Layout]:
    """Yield a layout of free bytes with columns of three: its sample had bytes of one or two digits only."""
    for blanks in ("  ", " "):
        texts = (layout.after, *(layout.gaps or ()))
        if layout.gaps and all(text.endswith(blanks) for text in texts):
            after, *gaps = (text.removesuffix(blanks) for text in texts)
            yield replace(layout, cell=Number(base, 3, "right"), after=after, gaps=tuple(gaps))


def _quick_cost(layout: Layout, text: bytes) -> float:
    """Return what it costs to describe a text with a layout, in bits; what is unexplained counts dearly."""
    from romassay.formats.learning.weigh import bits_of, unexplained

    return bits_of(layout, text) + _UNEXPLAINED * unexplained(layout, text, marks=False)


def cost_of(layout: Layout, text: bytes) -> float:
    """Return what it costs to describe a text with a layout, in bits, damaged lines at the cost of their errors."""
    from romassay.formats.learning.weigh import bits_of

    return bits_of(layout, text, damaged=True)


def probe_of(text: bytes) -> bytes:
    """Return a text, or of a long one whole lines from all over it."""
    if len(text) <= _PROBED:
        return text
    span = _PROBED // _PROBES
    starts = (i * (len(text) - span) // (_PROBES - 1) for i in range(_PROBES))
    pieces = (text[at : at + span] for at in starts)
    return b"\n".join(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n")] for piece in pieces)
