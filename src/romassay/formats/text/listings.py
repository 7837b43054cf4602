"""Listings of a disassembler or an assembler: an address, the bytes of one instruction, and the instruction in words.

Each line holds as many bytes as its instruction has, and the next address tells how many these are. The words behind
them are left out, and the bytes set apart, so that what is left is a dump with lines of uneven length. Common practice,
no source.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from romassay.formats.text.counting import DIGIT, whole_lines

_SAMPLE = 1 << 14
_LINE = re.compile(
    rb"^([^0-9A-Za-z\n]{0,8}(?:0x)?)([0-9A-Fa-f]{4,8})([hH]?[^0-9A-Za-z\n]{1,4})"
    rb"((?:[0-9A-Fa-f]{2} ?){0,7}[0-9A-Fa-f]{2})(?: {2,}|[ ]*\t+)(?=[A-Za-z.]{2,6}(?![0-9A-Za-z]))"
)
_LEAST_LINES = 12
_MOSTLY = 0.6
"""Share of the lines with digits that are instructions."""
_STEADY = 0.9
"""Share of them whose bytes end where the next begin."""
_LEAST_DIFFERENT = 6
"""Words that must differ: one behind all lines is a remark."""
_WORD = re.compile(rb"[A-Za-z.]+")


def without_instructions(text: bytes) -> bytes:
    """Return a cleaned text with the bytes of its instructions only, where it is such a listing; else as it is."""
    lines = [line for line in whole_lines(text, _SAMPLE) if DIGIT.search(line)]
    if not _is_listing(lines):
        return text
    return b"\n".join(map(_plain, text.split(b"\n")))


def _is_listing(lines: Sequence[bytes]) -> bool:
    """Tell whether most lines are instructions, of several lengths, each followed by the next."""
    matches = [_LINE.match(line) for line in lines]
    if sum(map(bool, matches)) < max(_LEAST_LINES, _MOSTLY * len(lines)):
        return False
    joints = [(a, b) for a, b in pairwise(matches) if a and b]
    if not joints:
        return False
    lengths = [len(bytes.fromhex(a[4].decode())) for a, _ in joints]
    steps = [int(b[2], 16) - int(a[2], 16) for a, b in joints]
    good = sum(length == step for length, step in zip(lengths, steps, strict=True))
    words = {word[0] for line, m in zip(lines, matches, strict=True) if m and (word := _WORD.match(line, m.end()))}
    return good >= _STEADY * len(joints) and _are_uneven(lengths) and len(words) >= _LEAST_DIFFERENT


def _are_uneven(lengths: Sequence[int]) -> bool:
    """Tell whether lines have several lengths, or one byte each: behind several bytes the same text may be theirs."""
    usual, number = Counter(lengths).most_common(1)[0]
    return usual == 1 or number < _STEADY * len(lengths)


def _plain(line: bytes) -> bytes:
    """Return the address and the bytes of an instruction; any other line as it is."""
    match = _LINE.match(line)
    if match is None:
        return line
    return match[1] + match[2] + match[3] + bytes.fromhex(match[4].decode()).hex(" ").upper().encode()
