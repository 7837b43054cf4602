"""Clock times that a terminal program put before every line: taken off, they are no part of what the host printed."""

from __future__ import annotations

import re
from collections import Counter
from itertools import pairwise

from romassay.formats.text.counting import whole_lines

_SAMPLE = 1 << 15
_LEAST_LINES = 3
_NEARLY_ALL = 0.85
_MOSTLY = 0.6
"""Share of the lines that must have one: a host may stamp its data alone."""
_MOST_ERRORS = 2
"""Characters of a stamp that a noisy line may have changed."""
_STAMP = re.compile(
    rb"[\[(<]?(?:(?:\d{4}[-/.]\d\d[-/.]\d\d|\d\d[-/.]\d\d[-/.]\d{2,4})[T ,_])?"
    rb"([01]\d|2[0-3]):([0-5]\d):([0-5]\d)(?:[.,]\d{1,6})?(?:Z|[+-]\d\d:?\d\d)?"
    rb"(?:[\])>]|(?![0-9A-Za-z:.]))"
)
_ANY_DIGIT = bytes(ord("0") if chr(c).isdecimal() else c for c in range(256))


def without_stamps(text: bytes) -> bytes:
    """Return a cleaned text without the clock times before its lines, where most lines have one."""
    lines = whole_lines(text, _SAMPLE)
    found = [match for line in lines if (match := _STAMP.match(line))]
    if len(found) < max(_LEAST_LINES, _MOSTLY * len(lines)):
        return text
    times = [tuple(map(int, match.groups())) for match in found]
    if sum(a <= b for a, b in pairwise(times)) < _NEARLY_ALL * (len(times) - 1):
        return text
    shapes = Counter(_shape(match[0]) for match in found)
    shape, number = shapes.most_common(1)[0]
    if number < _NEARLY_ALL * len(found):
        return text
    blank = sum(match.string[match.end() :][:1] in (b" ", b"") for match in found) >= _NEARLY_ALL * len(found)
    return b"\n".join(_without(line, shape, blank=blank) for line in text.split(b"\n"))


def _shape(stamp: bytes) -> bytes:
    return stamp.translate(_ANY_DIGIT)


def _without(line: bytes, shape: bytes, *, blank: bool) -> bytes:
    """Return a line without what stands in the columns of a stamp, if that looks like one but for a few characters."""
    stamp = _shape(line[: len(shape)])
    if stamp != shape and (
        len(stamp) < len(shape) or sum(a != b for a, b in zip(stamp, shape, strict=True)) > _MOST_ERRORS
    ):
        return line
    rest = line[len(shape) :]
    return rest[1:] if blank and rest[:1] == b" " else rest
