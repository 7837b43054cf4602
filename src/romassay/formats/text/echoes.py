"""Commands between the lines of a dump that was asked for line by line: blank lines take their place.

A command names the address that the next line begins with, and perhaps the last one or how many bytes it wants; nothing
else. Common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from itertools import pairwise

from romassay.formats.text.counting import LEAST_LINES, whole_lines

_SAMPLE = 1 << 14
_OFTEN = 0.35
"""Share of the lines that are commands where each data line has one before it, banners and headings apart."""
_ANSWER = re.compile(rb"[^0-9A-Za-z]{0,4}(?:0[xX])?([0-9A-Fa-f]{3,8})(?![0-9A-Za-z])(.*)", re.DOTALL)
_NUMBER = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Fa-f]+)(?![0-9A-Za-z])")
_BYTES = re.compile(rb"(?<![0-9A-Za-z])[0-9A-Fa-f]{2}(?![0-9A-Za-z])")
_MOST = 64


def without_echoes(text: bytes) -> bytes:
    """Return a cleaned text without the commands before its lines, where most lines have one; else as it is."""
    return b"\n".join(_with_blanks(text.split(b"\n"))) if has_echoes(text) else text


def has_echoes(text: bytes) -> bool:
    """Tell whether most lines of a cleaned text have a command before them."""
    lines = whole_lines(text, _SAMPLE)
    echoes = sum(_asks_for(one, other) for one, other in pairwise(lines))
    return echoes >= max(LEAST_LINES, _OFTEN * len(lines))


def _with_blanks(lines: Sequence[bytes]) -> list[bytes]:
    """Return lines with blank ones in place of the commands."""
    plain = list(lines)
    before: int | None = None
    for i, line in enumerate(lines):
        if not line.strip():
            continue
        if before is not None and _asks_for(lines[before], line):
            plain[before] = b""
        before = i
    return plain


def _asks_for(command: bytes, line: bytes) -> bool:
    """Tell whether a line is the command that the next one answers."""
    answer = _ANSWER.match(line)
    if answer is None:
        return False
    count = len(_BYTES.findall(answer[2]))
    at = command.lower().find(answer[1].lower())
    if at < 0 or not 0 < count <= _MOST or command[:at].strip() == line[: answer.start(1)].strip():
        return False
    address = int(answer[1], 16)
    allowed = {address, address + count - 1, address + count, count, int(b"%d" % count, 16)}
    numbers = [int(digits, 16) for digits in _NUMBER.findall(command, at)]
    return bool(numbers) and numbers[0] == address and set(numbers) <= allowed
