"""Addresses on lines of their own: which number of a line it is, and in which base where nothing bears it out."""

from __future__ import annotations

import re
from dataclasses import replace

from romassay.formats.layout import HEX, Base, Layout
from romassay.formats.learning.address_form import address_form
from romassay.formats.learning.patterns import common_pattern
from romassay.formats.learning.sample import FIRST_TOKENS, Cells, Line, fits

_SHORTEST = 3


def with_lone_address(layout: Layout, alone: list[tuple[Line, int]], base: Base) -> Layout:
    """Return a layout whose addresses stand on lines of their own, as on some lines: each, and which number it is."""
    before = [line.text[: line.tokens[i][0]] for line, i in alone]
    after = [line.text[line.tokens[i][1] :].rstrip() for line, i in alone]
    number, lead = address_form([line.token(i) for line, i in alone], before, base)
    return replace(layout, where="alone", address=number, lead=lead, after=common_pattern(after))


_SHORT_LINE = 40
_MOST_BESIDES = 3
"""Numbers on a line with the only address: the first and the last, and how many."""
_LONGEST_ADDRESS = 8


def lone_number(line: Line) -> int | None:
    """Return which number of a short line before the data may be the address, or None."""
    if len(line.text) > _SHORT_LINE or len(line.tokens) > FIRST_TOKENS:
        return None
    numbers = [i for i in range(len(line.tokens)) if not (in_word(line, i) or _is_letter(line.token(i)))]
    if not 0 < len(numbers) <= _MOST_BESIDES:
        return None
    first = numbers[0]
    alone = len(line.tokens) == 1 and not any(chr(c).isalpha() for c in line.text.replace(line.token(first), b"", 1))
    if alone or len(line.token(first)) < _SHORTEST:
        return first if alone and len(line.token(first)) <= _LONGEST_ADDRESS else None
    return next((i for i in numbers if len(line.token(i)) <= _LONGEST_ADDRESS), None)


def _is_letter(digits: bytes) -> bool:
    """Tell whether a hex digit is the letter of a command."""
    return len(digits) == 1 and digits.isalpha()


def is_remnant(line: Line, cells: Cells, gap: bytes | None) -> bool:
    """Tell whether the first line of a log is what a cut left of a line of data: a gap and a cell stand in it."""
    width = cells.widths[0] if cells.widths else 0
    return line.number == 0 and any(
        line.between(i) == gap and (not width or len(line.token(i + 1)) == width) for i in range(len(line.tokens) - 1)
    )


def likely_base(printed: list[tuple[Line, int]], cells: Cells, lines: list[Line]) -> Base:
    """Return the likeliest base of addresses that no other bears out: that of the cells, or what they look like."""
    digits = {line.token(i) for line, i in printed}
    if cells.base == HEX:
        return 10 if digits and all(map(_is_decimal, digits)) else 16
    if cells.base == 10 and any(_is_hex_beside_decimals(line, i, lines) for line, i in printed[:FIRST_TOKENS]):
        return 16
    return cells.base if all(fits(text, cells.base) for text in digits) else 16


def _is_marked(line: Line, which: int) -> bool:
    """Tell whether a number is marked as a hex one."""
    first, end = line.tokens[which]
    return line.text[:first].endswith(_HEX_MARKS) or line.text[end : end + 1] in (b"h", b"H")


def _is_hex_beside_decimals(line: Line, which: int, lines: list[Line]) -> bool:
    """Tell whether the address of decimal cells is hex: marked so, filled up to a word, by an echoed range or rounder.

    Args:
        line: that it stands on.
        which: number of that line it is.
        lines: all, with the command that asked for the dump perhaps.
    """
    digits = line.token(which)
    if _is_marked(line, which) or not fits(digits, 10) or (digits.startswith(b"0") and len(digits) in (4, 8)):
        return True
    asked = (other for other in lines if len(other.tokens) <= FIRST_TOKENS)
    for other in asked:
        numbers = [other.token(i) for i in range(len(other.tokens)) if not in_word(other, i)]
        if digits in numbers and any(len(n) >= _SHORTEST and not fits(n, 10) for n in numbers):
            return True
    value, as_hex = int(digits), int(digits, 16)
    return as_hex & -as_hex >= _MUCH_ROUNDER * (value & -value)


_MUCH_ROUNDER = 64


def base_of_lone(line: Line, which: int, cells: Cells, lines: list[Line]) -> Base:
    """Return the base of the only address of a log: that of its cells, unless it is marked or looks like a hex one."""
    digits = line.token(which)
    marked = _is_marked(line, which) or (cells.base == 10 and _is_hex_beside_decimals(line, which, lines))
    short = cells.base == 8 and len(digits) < _OCTAL_ADDRESS
    if not marked and cells.base == HEX and _is_decimal(digits):
        return 10
    return 16 if marked or short or not fits(digits, cells.base) else cells.base


def _is_decimal(digits: bytes) -> bool:
    """Tell whether the address above hex bytes is decimal: only so within 64 KiB and rounder, or much rounder."""
    if not fits(digits, 10) or not int(digits) or int(digits) > _HIGHEST:
        return False
    value, other = int(digits), int(digits, 16)
    rounder = (value & -value) / (other & -other)
    plain = len(digits) == _DECIMAL_DIGITS and not digits.startswith(b"0") and other > _HIGHEST
    return rounder > 1 if plain else rounder >= _MUCH_ROUNDER


_DECIMAL_DIGITS = 5
_HIGHEST = 0xFFFF
_OCTAL_ADDRESS = 5
"""Digits that an octal address has at least; hosts that print octal print 16 bits with six (common practice)."""
_HEX_MARKS = (b"$", b"0x", b"0X", b"&", b"&h", b"&H", b"H'", b"X'")
_NAMED = re.compile(rb"[A-Za-z_]\[$")


def in_word(line: Line, i: int) -> bool:
    """Tell whether a run of digits is part of a word, such as the first letters of `ADDRESS`, or an array's size."""
    first, end = line.tokens[i]
    if _NAMED.search(line.text[:first]):
        return True
    before, after = line.text[max(0, first - 1) : first], line.text[end : end + 2]
    marked = after[:1] in (b"h", b"H") and not after[1:].isalnum()
    return (before.isalpha() and before not in b"xXhH") or (after[:1].isalpha() and not marked)
