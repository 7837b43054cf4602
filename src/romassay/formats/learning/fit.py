"""From sample lines that read alike to the layout they were printed with: literal text, columns, sum, gutter, order."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from romassay.formats.layout import Base, Layout, Number, Where
from romassay.formats.learning.address_form import address_form
from romassay.formats.learning.cell_columns import cell_form
from romassay.formats.learning.line_sums import HEX_RUN, with_sum
from romassay.formats.learning.patterns import as_text, common_pattern
from romassay.formats.learning.sample import Cells, Found, numbers_of, usual
from romassay.formats.learning.text_column import with_gutter
from romassay.reading import Bytes

_MOST_RUNS = 3
"""Runs of digits in literal text at the end of a line: more are data that happen to be the same."""
ORDER_UNKNOWN = (
    "nothing in the log shows the order of the bytes in a word: taken as printed, first digits at the lower address"
)
ORDER_OF_OCTAL = (
    "nothing in the log shows the order of the bytes in a word: octal words are taken low byte first, as 16-bit hosts "
    "print them (common practice, no source)"
)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A layout made from lines, and what was assumed for want of evidence, in words."""

    layout: Layout
    notes: tuple[str, ...] = ()


def fit(found: Sequence[Found], base: Base | None, cells: Cells, where: Where) -> Fitted:
    """Return the layout of lines that read alike.

    Args:
        found: the lines; those without an address tell what stands before their cells.
        base: of the addresses; None where there are none.
        cells: how the data is read.
        where: which lines have an address.
    """
    with_address = [f for f in found if f.address is not None]
    without = [f for f in found if f.address is None]
    number, gaps = cell_form(found, cells)
    layout = Layout(
        cells=cells.count,
        cell=number,
        size=cells.size,
        gaps=gaps,
        address=None,
        unit="words" if cells.words else "bytes",
        where=where,
        after="",
        rest=common_pattern([_before_cells(f, number) for f in without]) if without else "",
    )
    if base is not None and with_address:
        layout = _with_address(layout, with_address, base, number)
    return _with_tail(layout, found, cells)


def _with_address(layout: Layout, found: list[Found], base: Base, number: Number) -> Layout:
    which = [f.address or 0 for f in found]
    texts = [f.line.token(i) for f, i in zip(found, which, strict=True)]
    before = [f.line.text[: f.line.tokens[i][0]] for f, i in zip(found, which, strict=True)]
    after = [_before_cells(f, number)[f.line.tokens[i][1] :] for f, i in zip(found, which, strict=True)]
    address, lead = address_form(texts, before, base, after)
    if address.pad == "left":
        after = [text[address.width - len(digits) :] for text, digits in zip(after, texts, strict=True)]
    return replace(layout, address=address, lead=lead, after=common_pattern(after))


def _before_cells(found: Found, number: Number) -> bytes:
    """Return the line up to its first cell, padding left to the cell."""
    start, end = found.line.tokens[found.first]
    if number.pad == "right":
        start = end - number.width
    return found.line.text[: max(start, 0)]


def _with_tail(layout: Layout, found: Sequence[Found], cells: Cells) -> Fitted:
    """Add the sum, the gutter and the order of bytes, as far as the lines show them."""
    data = _bytes_of(found, cells)
    tails = [_after_cells(f, cells, layout.cell) for f in found]
    layout, tails = with_sum(layout, found, tails, data, cells)
    at_end = layout.sum is not None and layout.sum.place == "end"
    shown = with_gutter(layout, tails, data)
    notes: tuple[str, ...] = ()
    if layout.size > 1 and shown is None:
        octal = cells.base == 8
        notes = (ORDER_OF_OCTAL if octal else ORDER_UNKNOWN,)
        layout = replace(layout, order="little" if octal else "big")
    layout = shown or layout
    if layout.sum is not None and at_end:
        return Fitted(replace(layout, end=_end_after_sum(tails)), notes)
    return Fitted(layout if shown else _with_end(layout, tails), notes)


def _end_after_sum(tails: list[bytes]) -> str:
    """Return the literal text behind a sum at the end of the line."""
    ends = [re.split(rb"[0-9A-Fa-f]", t)[-1] for t in tails]
    return as_text(usual(ends)[0])


def _after_cells(found: Found, cells: Cells, number: Number) -> bytes:
    """Return the line behind its last cell, padding right of the cell left out."""
    start, end = found.line.tokens[found.first + cells.runs - 1]
    return found.line.text[start + number.width if number.pad == "left" else end :]


def _bytes_of(found: Sequence[Found], cells: Cells) -> Bytes:
    """Return the bytes of lines, uint8[lines, n], those of the first digits of a cell first."""
    rows = []
    for f in found:
        texts = numbers_of(cells, f.line, f.first)
        if cells.half:
            rows.append(bytes(int(digit, 16) for digit in b"".join(texts).decode("ascii")))
        elif cells.widths and cells.base == 16:
            rows.append(bytes.fromhex(b"".join(texts).decode("ascii")))
        else:
            rows.append(b"".join(int(t, cells.base).to_bytes(cells.size, "big") for t in texts))
    return np.frombuffer(b"".join(rows), np.uint8).reshape(len(rows), -1)


def _with_end(layout: Layout, tails: list[bytes]) -> Layout:
    text, share = usual(tails)
    if share >= 0.4 and len(HEX_RUN.findall(text)) < _MOST_RUNS:
        return replace(layout, end=as_text(text))
    return replace(layout, tail=True)
