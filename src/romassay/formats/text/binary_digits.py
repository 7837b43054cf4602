"""Binary numbers in two groups of four digits, `0101_1100` or `0101 1100`: each written as one of eight digits.

They are told from words of hex digits by the addresses, which count as many bytes a line as there are such pairs, and
by their digits, which are 0 and 1 throughout. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from romassay.formats.text.counting import LEAST_LINES, NUMBER, Count, count_of, whole_lines

_SAMPLE = 1 << 14
_PAIR = re.compile(rb"(?<![0-9A-Za-z_.])([01]{4})[_ ]([01]{4})(?![0-9A-Za-z_.])")
_UNDERLINED = re.compile(rb"(?<![0-9A-Za-z_.])[01]{4}_[01]{4}(?![0-9A-Za-z_.])")
_MOSTLY = 0.6
"""Share of the lines with numbers that must hold such pairs."""
_LEAST_DIFFERENT = 4
"""Pairs with a blank between that must differ: numbers that are all 0 may be anything."""


def with_whole_binary(text: bytes) -> bytes:
    """Return a cleaned text with binary numbers in two groups of digits written as one; others stay as they are."""
    lines = [line for line in whole_lines(text, _SAMPLE) if NUMBER.search(line)]
    if sum(1 for line in lines if _PAIR.search(line)) < max(LEAST_LINES, _MOSTLY * len(lines)):
        return text
    count = count_of(lines)
    if count is None or not _holds_pairs(lines, count) or not _are_bits(text):
        return text
    return b"\n".join(_joined(line, count) for line in text.split(b"\n"))


def _holds_pairs(lines: Sequence[bytes], count: Count) -> bool:
    """Tell whether most lines hold as many pairs behind their address as it counts."""
    found = [_PAIR.findall(line, count.end(line)) for line in lines]
    return sum(len(pairs) == abs(count.step) for pairs in found) >= _MOSTLY * len(lines)


def _are_bits(text: bytes) -> bool:
    """Tell whether pairs with a blank between differ enough to be no hex words; those with a line between are none."""
    return _UNDERLINED.search(text) is not None or len(set(_PAIR.findall(text))) >= _LEAST_DIFFERENT


def _joined(line: bytes, count: Count) -> bytes:
    """Return a line with the pairs behind its address as numbers of eight digits."""
    end = count.end(line)
    return line[:end] + _PAIR.sub(rb"\1\2", line[end:])
