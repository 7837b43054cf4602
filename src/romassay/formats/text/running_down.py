"""Dumps in columns that run down a page, an address before each byte: their bytes are put in the order of addresses.

As many lines as there were hold the same bytes then, one address before those of each line. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

from romassay.formats.text.counting import LEAST_LINES, as_number, numbers_alone, whole_lines

_SAMPLE = 1 << 14
_MOSTLY = 0.6
_NUMBER = re.compile(rb"(?:0[xX])?([0-9A-Fa-f]+)[hH]?")
_LEAST_ADDRESS = 3
_DIGITS_OF_BYTE = {10: 3, 16: 2}


@dataclass(frozen=True, slots=True)
class _Row:
    """Bytes of one line that stand next to each other, and the digits of their addresses."""

    digits: int
    pairs: tuple[tuple[int, bytes], ...]


def with_rows(text: bytes) -> bytes:
    """Return a cleaned text with the bytes of such columns in rows, where most of its lines are so; else as it is."""
    sample = whole_lines(text, _SAMPLE)
    base = next((base for base in (10, 16) if _runs_down([_row_of(line, base) for line in sample])), None)
    if base is None:
        return text
    lines = text.split(b"\n")
    block: list[tuple[int, _Row]] = []
    for i, line in enumerate([*lines, b""]):
        row = _row_of(line, base)
        if block and (i == len(lines) or (row is not None and not _follows(block[-1][1], row))):
            _put_in_rows(lines, block, base)
            block = []
        if row is not None and i < len(lines):
            block.append((i, row))
    return b"\n".join(lines)


def _runs_down(rows: Sequence[_Row | None]) -> bool:
    """Tell whether most of some lines are of columns whose addresses grow by one from line to line."""
    found = [row for row in rows if row is not None and len(row.pairs) > 1]
    if len(found) < max(LEAST_LINES, _MOSTLY * len(rows)):
        return False
    down = sum(_follows(one, other) for one, other in pairwise(found))
    apart = sum(other[0] - one[0] > 1 for row in found for one, other in pairwise(row.pairs))
    return down >= _MOSTLY * len(found) and apart == sum(len(row.pairs) - 1 for row in found)


def _follows(row: _Row, other: _Row) -> bool:
    """Tell whether a row stands right below another: each of its addresses is the next one of its column."""
    return all(b[0] == a[0] + 1 for a, b in zip(row.pairs, other.pairs, strict=False))


def _row_of(line: bytes, base: int) -> _Row | None:
    """Return the addresses and bytes of a line that holds nothing else; None for any other line."""
    digits = numbers_alone(line, number=_NUMBER)
    if not digits or len(digits) % 2 or len(digits[0]) < _LEAST_ADDRESS:
        return None
    addresses = [as_number(some, base) for some in digits[::2]]
    known = [address for address in addresses if address is not None]
    good = len(known) == len(addresses) and all(len(some) <= _DIGITS_OF_BYTE[base] for some in digits[1::2])
    steps = {b - a for a, b in pairwise(known)}
    if not good or len(steps) > 1 or any(step < 1 for step in steps):
        return None
    return _Row(len(digits[0]), tuple(zip(known, digits[1::2], strict=True)))


def _put_in_rows(lines: list[bytes], block: Sequence[tuple[int, _Row]], base: int) -> None:
    """Put the bytes of one page's columns into its lines in the order of addresses, if these have room for them."""
    pairs = sorted(pair for _, row in block for pair in row.pairs)
    wide = max(len(row.pairs) for _, row in block)
    rows: list[list[tuple[int, bytes]]] = []
    for pair in pairs:
        if rows and len(rows[-1]) < wide and pair[0] == rows[-1][-1][0] + 1:
            rows[-1].append(pair)
        else:
            rows.append([pair])
    if len(rows) > len(block):
        return
    form = b"%0*X: " if base != 10 else b"%0*d: "
    texts = [form % (block[0][1].digits, row[0][0]) + b" ".join(byte for _, byte in row) for row in rows]
    for (i, _), text in zip(block, [*texts, *[b""] * (len(block) - len(rows))], strict=True):
        lines[i] = text
