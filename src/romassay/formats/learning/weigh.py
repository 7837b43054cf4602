"""How well a layout explains a sample: the bits that it takes to write the sample down with it.

The shortest description wins (Rissanen, Automatica 14 (1978) 465-471). A byte costs its eight bits; an address that
goes on from the line before, a sum that is right and a character that repeats a byte cost nearly nothing; literal text
costs nothing; what a layout leaves open costs as much as any text.
"""

from __future__ import annotations

import re
from collections import Counter
from functools import lru_cache

import numpy as np

from romassay.formats.layout import ANY, NUMBER, RUN, Layout, pattern_parts
from romassay.formats.learning.sample import FULL_WIDTH
from romassay.formats.lines.reader import read_rows
from romassay.formats.lines.rows import (
    CLEAN,
    CODES,
    DAMAGED,
    MARK,
    NO_ADDRESS,
    NO_SUM,
    SHORT,
    UNSURE_ADDRESS,
    WRONG_SUM,
    Rows,
)
from romassay.formats.text.headings import numbers_columns

_CHARACTER = 6.6
"""Bits of any printing character."""
_OPEN = 4.0
"""Bits of a character in a column that a pattern leaves open; mostly digits of a clock or a counter."""
_ADDRESS = 24.0
"""Bits of an address that nothing bears out."""
_STEP = 6.0
"""Bits of a step over lines that are missing or damaged."""
_SILENT_STEP = 14.0
"""The same where nothing stands between the two: no line is missing there that left a trace."""
_MOST_LOST = 64
_EDIT = 12.0
"""Bits of an error: where it is, and what stands there."""
_NOISY = 40.0
"""Bits of saying that the line is noisy at all."""
_BYTE = 8.0
_SUM = 12.0
"""Bits of a sum that is not borne out by the line."""
_DATA_LIKE = 8.0
"""Bits of an open character between address and cells: it may be data that is passed over."""
_MOST_OPEN = 12
"""Open columns of a counter or a clock; where there are more, data may be passed over."""
_GUTTER = 0.02
"""Bits of a character in a gutter: the byte tells it."""
_NUMBER = 5.0
"""Bits of a number that counts lines or seconds."""
_SYMBOL = 8.0
"""Bits of saying that a value occurs at all."""
_RUNS = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Fa-f]+)(?=[hH]?(?![0-9A-Za-z]))")
_WORDS = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Za-z]+?)(?=[hH]?(?![0-9A-Za-z]))")
_FEW_GAPS = 2
_ALL_HEX = 0.8
_LIKE_HEX = 300.0
"""Share of the numbers that have as many digits as hex ones, and bits against taking them for decimal."""
_TELLING_PIECES = 0.25
"""Share of the short numbers that are pieces of the one number that most are, from which noise has made them short."""
_FILLED = 4
"""Short numbers for each with a zero in front that noise leaves at the most, where zeros are printed."""
_RARE = 0.005
"""Share of the numbers that may have lost a digit on a noisy line."""
_WORD = 8.0
"""Bits of a word of the layout itself."""
_ODD = 6.6
"""Bits of a character of literal text behind the cells: long ones are no layout but one line's text."""


def bits_of(layout: Layout, text: bytes, *, damaged: bool = False) -> float:
    """Return the bits that it takes to describe a cleaned text with a layout.

    Args:
        layout: to weigh.
        text: a sample.
        damaged: damaged lines are described as well, each error at its cost; takes longer.
    """
    rows = read_rows(text, layout, align=damaged)
    lengths = np.array([len(line) for line in text.split(b"\n")], np.int64)
    good = np.isin(rows.state, (CLEAN, SHORT, MARK, DAMAGED) if damaged else (CLEAN, SHORT, MARK))
    texts = text.split(b"\n")
    heading = [
        address == NO_ADDRESS and numbers_columns(texts[line - 1])
        for line, address in zip(rows.line, rows.address, strict=True)
    ]
    good &= ~np.array(heading, np.bool_)
    lines = good & (rows.state != MARK)
    described = rows.line[lines] - 1
    left = np.ones(len(lengths), np.bool_)
    left[described] = False
    rest = lengths[left].sum()
    unchecked = int((~rows.checked[lines]).sum())
    return float(
        _CHARACTER * rest
        + _data_bits(rows, good)
        + _padding_bits(layout, text)
        + _EDIT * rows.edits[good].sum()
        + (_NOISY if rows.edits[good].any() else 0.0)
        + (_SUM * unchecked if layout.sum is not None else 0.0)
        + _address_bits(rows.address[good], rows.count[good], _adjacent(rows.line[good], texts), layout)
        + _open_bits(layout, lengths[described], rows, lines)
        + _WORD * str(layout).count("=")
        + _ODD * len(layout.end)
        + _oddity(layout)
    )


def _data_bits(rows: Rows, good: np.ndarray) -> float:
    """Return the cost of the bytes in some rows, each at what its frequency tells: a constant bus says little.

    Bytes that were not read cost all their bits; those of a line that only its sum spoils cost as much as any.
    """
    order = np.argsort(rows.start, kind="stable")
    chosen = np.repeat(good[order], rows.count[order])
    if rows.known is not None:
        spoilt = np.zeros(len(rows), np.bool_)
        spoilt[np.isin(rows.reason, (CODES[WRONG_SUM], CODES[NO_SUM]))] = True
        chosen &= (rows.known > 0) | np.repeat(spoilt[order], rows.count[order])
    counts = np.bincount(rows.value[chosen], minlength=256)
    counts = counts[counts > 0]
    total = int(counts.sum())
    unread = int(rows.count[good].sum()) - total
    read = float(-(counts * np.log2(counts / max(1, total))).sum())
    return min(read + _SYMBOL * len(counts), _BYTE * total) + _BYTE * unread


def _padding_bits(layout: Layout, text: bytes) -> float:
    """Return what speaks against cells without zeros in front: numbers with them, or few short ones in much noise.

    Numbers of fewer digits than a full one that begin with a zero are filled up to the width of hex ones.
    """
    number = layout.cell
    if number.base == 8 and layout.size == 1 and _is_pulled_up(layout, text):
        return _LIKE_HEX
    if number.pad == "zeros" or number.base == 2:
        return 0.0
    width = (
        number.width
        if number.width and number.base == 16
        else FULL_WIDTH.get((number.base, layout.size), 2 * layout.size)
    )
    digits = _RUNS.findall(_only_cells(layout, text))
    filled = sum(len(run) == 2 * layout.size < width and run.startswith(b"0") for run in digits)
    if number.base != 16 and filled * 2 > len(digits):
        return float(_LIKE_HEX + _EDIT * filled)
    decimal = number.base == 10 and (layout.address is None or layout.address.base != 10)
    if decimal and sum(len(run) == 2 * layout.size for run in digits) > _ALL_HEX * len(digits):
        return _LIKE_HEX
    zeros = sum(len(run) == width and run.startswith(b"0") for run in digits)
    short = sum(len(run) < width for run in digits)
    if number.base != 16:
        return _EDIT * short + _SYMBOL * zeros if zeros > short else 0.0
    full = sum(len(run) == width for run in digits)
    pieces = _pieces_of_usual(digits, width)
    if pieces and pieces >= _TELLING_PIECES * short:
        return _LIKE_HEX + _EDIT * short
    short -= pieces
    damaged = pieces + sum(len(run) == width for run in _WORDS.findall(text)) - full
    damaged += _merged(layout, text, width)
    rare = damaged and short < _RARE * full
    filled_up = zeros > 1 and _FILLED * zeros >= short
    fixed = rare or filled_up or short <= zeros + 2 * damaged
    return _EDIT * (short + pieces) + _SYMBOL * zeros if fixed else 0.0


def _is_pulled_up(layout: Layout, text: bytes) -> bool:
    """Tell whether most numbers are 255, as decimal ones are where nothing drives the bus; octal ones are 377 there."""
    digits = _RUNS.findall(_only_cells(layout, text))
    return 2 * digits.count(b"255") > len(digits)


def _pieces_of_usual(digits: list[bytes], width: int) -> int:
    """Return how many short numbers are what a lost digit leaves of the one number that nearly all others are."""
    counts = Counter(run for run in digits if len(run) == width).most_common(1)
    if not counts or 2 * counts[0][1] <= len(digits):
        return 0
    usual = counts[0][0]
    return sum(len(run) == width - 1 and run in (usual[1:], usual[:-1]) for run in digits)


_ADDRESS_FIRST = re.compile(rb"^[^0-9A-Fa-f\n]*[0-9A-Fa-f]+", re.MULTILINE)


def _only_cells(layout: Layout, text: bytes) -> bytes:
    """Return a text without headings, decimal or octal addresses at the front of its lines, sums behind the cells."""
    text = _without_headings(text)
    number, total = layout.address, layout.sum
    if layout.where == "line" and number is not None and number.base != 16 and number.pad == "zeros":
        text = _ADDRESS_FIRST.sub(b"", text)
    if total is not None and total.place == "cells" and total.before.strip():
        text = re.sub(re.escape(total.before.encode("latin-1")) + b"[0-9A-Fa-f]+", b"", text)
    return text


@lru_cache(maxsize=4)
def _without_headings(text: bytes) -> bytes:
    return b"\n".join(line for line in text.split(b"\n") if not numbers_columns(line))


def _merged(layout: Layout, text: bytes, width: int) -> int:
    """Return how many times two numbers stand together where a gap between them was lost."""
    if not layout.gaps or not min(layout.gaps):
        return 0
    gap = re.escape(max(layout.gaps, key=layout.gaps.count).encode("latin-1"))
    return len(re.findall(gap + b"[0-9A-Fa-f]{%d}(?=%s)" % (2 * width, gap), text))


def unexplained(layout: Layout, text: bytes, *, marks: bool = True, inside: bool = False) -> int:
    """Return how many characters of a cleaned text stand in lines that are not just as the layout says.

    Args:
        layout: of the lines.
        text: cleaned.
        marks: False where a line that is an address and nothing else explains nothing.
        inside: count only from the first line on that is as the layout says, and up to the last: no banners.
    """
    rows = read_rows(text, layout, align=False)
    lengths = np.array([len(line) for line in text.split(b"\n")], np.int64)
    explained = rows.line[np.isin(rows.state, (CLEAN, SHORT, MARK) if marks else (CLEAN, SHORT))] - 1
    whole = lengths[explained.min() : explained.max() + 1] if inside and len(explained) else lengths
    return int(whole.sum() - lengths[explained].sum())


_UNFIXED = {"zeros": 0.0, "right": 3.0, "left": 3.0, "none": 6.0}
"""Bits against columns that are not fixed: they fit whatever fixed ones do."""


def _oddity(layout: Layout) -> float:
    """Return what speaks against a layout before any line is seen: what hosts seldom print."""
    number = layout.address
    short = number is not None and 0 < number.width < 3
    literal = (layout.lead, layout.after, layout.rest, layout.gutter or "", layout.end, *set(layout.gaps or ()))
    digits = sum(c.isdecimal() for text in literal for c in text.replace("0x", ""))
    return (
        1000.0 * short
        + 40.0 * (layout.where == "alone")
        + 100.0 * (layout.where == "none")
        + 5.0 * (layout.where == "some")
        + _UNFIXED[layout.cell.pad]
        + 4.0 * (number is not None and layout.cell.base not in (16, number.base))
        + 8.0 * (number is not None and (number.base, layout.cell.base) == (10, 16))
        + 40.0 * _may_be_octal(layout)
        + 100.0 * (number is not None and {number.base, layout.cell.base} == {8, 10})
        + 20.0 * _may_be_one_word(layout)
        + 30.0 * (layout.unit == "words")
        + 30.0 * layout.tail
        + 200.0 * any(kind == ANY for kind, _ in pattern_parts(layout.after))
        + 100.0 * sum(kind == NUMBER for kind, _ in pattern_parts(layout.after))
        + 10.0 * layout.rest.count("?")
        + 200.0 * (layout.sum is not None and layout.sum.place == "front")
        + 20.0 * digits
        + 300.0 * _sets_last_apart(layout)
        + 300.0 * _ends_in_cell(layout)
        + 1e5 * _has_sum_for_cell(layout)
        + _ODD * sum(max(0, len(gap) - 4) for gap in layout.gaps or ())
    )


def _may_be_octal(layout: Layout) -> bool:
    """Tell whether hex addresses stand before octal words, and are not as wide as hex ones mostly are."""
    number = layout.address
    odd = number is not None and number.base == 16 and number.width not in (4, 8)
    return odd and layout.size > 1 and layout.cell.base == 8


def _may_be_one_word(layout: Layout) -> bool:
    """Tell whether the bytes of a line run together to just one word: as a word it may have either order."""
    return layout.size == 1 and layout.cells in (2, 4) and layout.gaps is not None and not any(layout.gaps)


def _sets_last_apart(layout: Layout) -> bool:
    """Tell whether the last cell, and no other, stands apart: it is a sum, and no data."""
    gaps = layout.gaps or ()
    return len(gaps) > _FEW_GAPS and layout.sum is None and gaps.count(gaps[-1]) == 1


def _ends_in_cell(layout: Layout) -> bool:
    """Tell whether the literal text behind the cells is one more of them: on a bus that hardly changes it may be."""
    if not layout.gaps or layout.gutter is not None:
        return False
    gap = max(layout.gaps, key=layout.gaps.count)
    digits = _FIRST_DIGITS.match(layout.end.removeprefix(gap))
    return layout.end.startswith(gap) and digits is not None and len(digits[0]) == (layout.cell.width or len(digits[0]))


_FIRST_DIGITS = re.compile(r"[0-9A-Fa-f]+(?![0-9A-Za-z])")


def _has_sum_for_cell(layout: Layout) -> bool:
    """Tell whether a bracket or a sign that no other gap has stands before the last cell: it is a sum, and no data."""
    *others, last = (gap.strip(" -,/") for gap in layout.gaps or ("",))
    return _sets_last_apart(layout) and last != "" and last not in others


def _adjacent(line: np.ndarray, texts: list[bytes]) -> np.ndarray:
    """Tell which rows stand right behind the row before them, blank lines apart: bool[rows]."""
    written = np.cumsum([bool(text.strip()) for text in texts])
    at: np.ndarray = written[line - 1]
    return np.diff(at, prepend=at[:1]) <= 1


def _address_bits(address: np.ndarray, count: np.ndarray, adjacent: np.ndarray, layout: Layout) -> float:
    """Return the cost of the addresses: those that follow from the line before are nearly free."""
    before = np.concatenate([[0], np.cumsum(count)])[:-1]
    printed = address != NO_ADDRESS
    places = (address - before)[printed].tolist()
    unread = (address[printed] == UNSURE_ADDRESS).tolist()
    step = np.where(adjacent[printed], _SILENT_STEP, _STEP).tolist()
    reach = _MOST_LOST * layout.line_bytes
    bits = 1.0 * len(count)
    expected: int | None = None
    for i, place in enumerate(places):
        if unread[i]:
            bits += _STEP
        elif expected is not None and place == expected:
            continue
        elif expected is not None and 0 < place - expected <= reach and (place - expected) % layout.line_bytes == 0:
            bits += step[i]
            expected = place
        elif expected is not None and i + 1 < len(places) and places[i + 1] == expected:
            bits += _EDIT
        else:
            bits += _ADDRESS
            expected = place
    return bits


def _open_bits(layout: Layout, lengths: np.ndarray, rows: Rows, lines: np.ndarray) -> float:
    """Return the cost of what the layout leaves open in the lines that it describes: those marked, of `lengths`."""
    counts, addressed = rows.count[lines], rows.address[lines] != NO_ADDRESS
    with_address = int(addressed.sum())
    bits = with_address * (_pattern_bits(layout.lead) + _pattern_bits(layout.after, _DATA_LIKE))
    bits += (len(lengths) - with_address) * _pattern_bits(layout.rest)
    if layout.gaps is None:
        bits += 1.5 * counts.sum() / layout.size
    if layout.gutter is not None:
        bits += _GUTTER * counts.sum()
        lengths = lengths - counts
    if layout.tail or any(RUN in dict(pattern_parts(p)) for p in (layout.lead, layout.after, layout.rest)):
        least = _least_length(layout, addressed, counts // layout.size) + _digits(layout, rows, lines)
        bits += _CHARACTER * np.maximum(lengths - least, 0).sum()
    return float(bits)


def _digits(layout: Layout, rows: Rows, lines: np.ndarray) -> np.ndarray:
    """Return how many digits the cells of some rows have, int64[rows]: those of free bytes as many as they need."""
    number = layout.cell
    if number.width or layout.size > 1:
        fixed: np.ndarray = rows.count[lines] // layout.size * (number.width or 3)
        return fixed
    digits: np.ndarray = 1 + (np.arange(256)[:, None] >= np.power(int(number.base), np.arange(1, 8))).sum(axis=1)
    before = np.concatenate([[0], np.cumsum(digits[rows.value])])
    start = rows.start[lines]
    needed: np.ndarray = before[start + rows.count[lines]] - before[start]
    return needed


def _pattern_bits(pattern: str, each: float = _OPEN) -> float:
    """Return the cost of what a pattern leaves open in one line, runs of any length apart."""
    kinds = [kind for kind, _ in pattern_parts(pattern)]
    many = max(0, kinds.count(ANY) - _MOST_OPEN)
    return each * kinds.count(ANY) + _DATA_LIKE * many + _NUMBER * kinds.count(NUMBER)


def _least_length(layout: Layout, addressed: np.ndarray, cells: np.ndarray) -> np.ndarray:
    """Return about how long each line is without its open parts and the digits of its cells: int64[lines]."""
    gap = sum(len(gap) for gap in layout.gaps) / layout.cells if layout.gaps is not None else 1.0
    address = (layout.address.width or 4) if layout.address is not None else 0
    total = len(layout.sum.before) + (layout.sum.number.width or 3) if layout.sum is not None else 0
    before = np.where(addressed, len(layout.lead) + address + len(layout.after), len(layout.rest))
    least: np.ndarray = before + gap * cells + total
    return least
