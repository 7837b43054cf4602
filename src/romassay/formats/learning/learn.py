"""The layout of a dump, learnt from some of its lines.

The strongest evidence is an address column: a number that grows from line to line by just as many bytes as the line
holds. Every reading of the first few numbers of a line as an address, in every base, is held against every reading of
what follows as bytes; the one that explains the most bytes wins. Dumps that print an address now and then only are
learnt from runs of equal columns, and their addresses from how many bytes lie between them.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence
from dataclasses import replace
from itertools import accumulate

from romassay.formats.layout import HEX, Layout, Number
from romassay.formats.learning.address_each_line import with_addresses
from romassay.formats.learning.address_now_and_then import with_few_addresses
from romassay.formats.learning.learnt import Learnt
from romassay.formats.learning.sample import line_of
from romassay.formats.learning.weigh import bits_of, unexplained
from romassay.formats.text.mended import mended

_MOST_CANDIDATES = 14
_WEIGHED_HEAD = 100
_WEIGHED_PIECE = 16
_RAW_BITS = 6.6
_FEW_UNEXPLAINED = 0.04
"""Share of the characters that prompts and headings may take up in a sample that counts as clean."""
_FEW_LINES = 40
"""Lines of a sample in which columns may agree by chance, those of a text column, say: looked at unmended as well."""


def learn(stretches: Sequence[Sequence[bytes]]) -> list[Learnt]:
    """Return the layouts that explain a sample, the best first.

    Args:
        stretches: consecutive lines from several places of a text.
    """
    ways = [mended(stretches)]
    if sum(map(len, stretches)) <= _FEW_LINES:
        ways.append([list(stretch) for stretch in stretches])
    found = sorted((item for way in ways for item in _explanations(way)), key=lambda item: -item.score)
    text = b"\n".join(line for stretch in _shortened(stretches) for line in (*stretch, b""))
    likely: dict[Layout, Learnt] = {}
    for item in found:
        if not _holds_data(item.layout):
            likely.setdefault(item.layout, item)
    candidates: dict[Layout, Learnt] = {}
    for item in list(likely.values())[:_MOST_CANDIDATES]:
        for layout in list(_longer(item.layout, text)) or _variants(item.layout):
            candidates.setdefault(layout, replace(item, layout=layout))
    variants = list(candidates.values())
    weighed = _weighed(variants, text, damaged=False)
    if weighed and unexplained(weighed[0].layout, text, inside=True) <= _FEW_UNEXPLAINED * len(text):
        return weighed
    return _weighed(variants, text, damaged=True)


def _explanations(stretches: Sequence[Sequence[bytes]]) -> Iterator[Learnt]:
    """Yield every layout that some lines may have."""
    sample = [[line_of(text, i) for i, text in enumerate(stretch) if text.strip()] for stretch in stretches]
    yield from with_addresses(sample)
    yield from with_few_addresses(sample)


_NUMBERS = re.compile(r"(?<![0-9A-Za-z])[0-9A-Fa-f]{2,}(?![0-9A-Zi-z])")
_MOST_NUMBERS = 2
_MOST_DIGITS = 12


def _holds_data(layout: Layout) -> bool:
    """Tell whether the literal text of a layout looks like one line's data."""
    numbers = [_NUMBERS.findall(text) for text in (layout.lead, layout.after, layout.rest, layout.end)]
    return any(len(some) > _MOST_NUMBERS or len("".join(some)) > _MOST_DIGITS for some in numbers)


def _weighed(items: list[Learnt], text: bytes, *, damaged: bool) -> list[Learnt]:
    """Return the layouts that make a text shorter to describe, those that make it shortest first."""
    raw = _RAW_BITS * len(text)
    scored = [replace(item, score=raw - bits_of(item.layout, text, damaged=damaged)) for item in items]
    return sorted((item for item in scored if item.score > 0), key=lambda item: -item.score)


_ALIKE = re.compile(r"([^0-9A-Za-z])\1{3,}")
"""What a gutter shows of bytes that do not print."""
_SUM = re.compile(r"[0-9A-Fa-f]{2}")
"""Digits before a gutter: one line's sum, of a kind that is not known."""


def _variants(layout: Layout) -> Iterator[Layout]:
    """Yield a layout, and the same with a gutter or with anything in place of the text at the end of its lines."""
    yield layout
    if layout.cell == Number(16, 2, "right"):
        yield replace(layout, cell=Number(16, 2, "zeros"))
    blank = _ALIKE.search(layout.end)
    if blank and layout.gutter is None and len(blank[0]) >= layout.line_bytes:
        first = blank.start() + (len(blank[0]) - layout.line_bytes if blank[1] == " " else 0)
        gutter, end = layout.end[:first], layout.end[first + layout.line_bytes :]
        yield replace(layout, gutter=gutter, end=end)
    counted = layout.gutter is not None and _SUM.search(layout.gutter)
    if (layout.end.strip() or counted) and (layout.sum is None or layout.sum.place != "end"):
        yield replace(layout, gutter=None, end="", tail=True)


_BYTES = re.compile(
    rb"^[^0-9A-Za-z\n]{0,8}(?:0x)?[0-9A-Fa-f]{4,8}[hH]?[^0-9A-Za-z\n]{1,4}((?:[0-9A-Fa-f]{2} ){0,7}[0-9A-Fa-f]{2})$",
    re.MULTILINE,
)
_LONGEST = 8
_SOME = 0.03
_OFTEN = 0.1
"""Shares of the lines that have as many bytes as the longest, and that have several."""


def _longer(layout: Layout, text: bytes) -> Iterator[Layout]:
    """Yield a layout of one byte a line as one of several, where others of its lines have more: instructions, say."""
    one = layout.where == "line" and layout.cells == 1 and layout.size == 1
    if not one or layout.address is None or layout.address.base != HEX or layout.gutter is not None:
        return
    if layout.end or layout.tail or layout.sum is not None:
        return
    found = _BYTES.findall(text)
    cells = [len(some.split()) for some in found]
    often = [n for n in range(2, _LONGEST + 1) if cells.count(n) > _SOME * len(cells)]
    if often and cells.count(1) < (1 - _OFTEN) * len(cells) and any(map(_LETTER.search, found)):
        yield replace(layout, cells=often[-1], cell=Number(HEX, 2, "zeros"), gaps=(" ",) * (often[-1] - 1))


_LETTER = re.compile(rb"[A-Fa-f]")


def _shortened(stretches: Sequence[Sequence[bytes]]) -> list[Sequence[bytes]]:
    """Return as many lines as are needed to weigh layouts against each other: the first, and those that vary most."""
    head = [stretches[0][:_WEIGHED_HEAD], _busiest(stretches[0][_WEIGHED_HEAD:])] if stretches else []
    return [*head, *(_busiest(stretch) for stretch in stretches[1:])]


def _busiest(lines: Sequence[bytes]) -> Sequence[bytes]:
    """Return the few consecutive lines with the most different characters."""
    if len(lines) <= _WEIGHED_PIECE:
        return lines
    different = [0, *accumulate(len(set(line)) for line in lines)]
    best = max(range(len(lines) - _WEIGHED_PIECE), key=lambda i: different[i + _WEIGHED_PIECE] - different[i])
    return lines[best : best + _WEIGHED_PIECE]
