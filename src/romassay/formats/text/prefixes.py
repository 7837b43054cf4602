"""What an editor, a printer or a terminal program put before or behind every line: it is no part of the dump.

Before a line stand clock times, seconds since a start, the line's number, or a mark of the port it came from; behind it
stand blanks, as many as fill a screen. Common practice, no source.
"""

from __future__ import annotations

import re
import string
from collections import Counter
from collections.abc import Sequence
from itertools import pairwise

from romassay.formats.text.counting import LEAST_LINES, count_of, steady, whole_lines
from romassay.formats.text.stamps import without_stamps

_SAMPLE = 1 << 14
_NEARLY_ALL = 0.9
_MOSTLY = 0.6
_LONGEST_MARK = 12


def without_prefixes(text: bytes) -> bytes:
    """Return a cleaned text whose lines begin and end as the host printed them, as far as that can be told."""
    text = without_padding(text)
    text = without_stamps(text)
    text = _without_seconds(text)
    text = _without_numbers(text)
    return _without_mark(text)


# --- blanks behind the lines --------------------------------------------------------------------------------------


def without_padding(text: bytes) -> bytes:
    """Return a text without blanks at the ends of its lines, where nearly all have some, and not all as many."""
    lines = whole_lines(text, _SAMPLE)
    blanks = Counter(len(line) - len(line.rstrip(b" \t")) for line in lines)
    if len(lines) < LEAST_LINES or blanks[0] > (1 - _NEARLY_ALL) * len(lines):
        return text
    padded = len(blanks) > 1 and max(blanks) > 1
    return b"\n".join(line.rstrip(b" \t") for line in text.split(b"\n")) if padded else text


# --- seconds since a start ----------------------------------------------------------------------------------------

_SECONDS = re.compile(rb"[\[(]? *(\d{1,10})[.,](\d{2,9})[\])]?(?: ?(?:->|[:>|-]))?(?![0-9A-Za-z])")
_MOST_LINE_BYTES = 256


def _without_seconds(text: bytes) -> bytes:
    """Return a text without seconds and parts of seconds before its lines, where most have them and none goes back."""
    lines = whole_lines(text, _SAMPLE)
    found = [match for line in lines if (match := _SECONDS.match(line))]
    if len(found) < max(LEAST_LINES, _MOSTLY * len(lines)):
        return text
    times = [(int(match[1]), match[2]) for match in found]
    usual = Counter(len(part) for _, part in times).most_common(1)[0]
    ranges = sum(0 <= int(part) - second < _MOST_LINE_BYTES for second, part in times)
    if usual[1] < _NEARLY_ALL * len(found) or ranges > _MOSTLY * len(found):
        return text
    if steady([second * 10 ** usual[0] + int(part) for second, part in times], most=_MOST_LINE_BYTES)[0]:
        return text
    if sum(a <= b for a, b in pairwise(times)) < _NEARLY_ALL * (len(times) - 1):
        return text
    return _without(text, _SECONDS, found)


# --- numbers of the lines -----------------------------------------------------------------------------------------

_NUMBERED = re.compile(rb" *(\d{1,7})(?:[:.)\]|>](?=\s|$)|[:|]|(?=\s|$))")
_DIGITS = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?[0-9A-Fa-f]+(?![0-9A-Za-z])")
_LEAST_NUMBERS = 3


def _without_numbers(text: bytes) -> bytes:
    """Return a text without the numbers that count its lines, where they do and something else tells the addresses."""
    all_lines = text[:_SAMPLE].split(b"\n")[:-1]
    found = [(i, match) for i, line in enumerate(all_lines) if (match := _NUMBERED.match(line))]
    lines = [line for line in all_lines if line.strip()]
    if len(found) < max(LEAST_LINES, _NEARLY_ALL * len(lines)):
        return text
    by_line = Counter(int(match[1]) - i for i, match in found).most_common(1)[0][1]
    step, share = steady([int(match[1]) for _, match in found])
    if by_line < _NEARLY_ALL * len(found) and not (step == 1 and share >= _NEARLY_ALL):
        return text
    rests = [match.string[match.end() :] for _, match in found]
    numbers = [len(_DIGITS.findall(rest)) for rest in rests]
    several = sum(n > 1 for n in numbers) >= _MOSTLY * len(rests)
    many = sum(n >= _LEAST_NUMBERS for n in numbers) >= _MOSTLY * len(rests)
    from_the_top = int(found[0][1][1]) <= 1
    count = count_of(rests)
    told = several and count is not None and (abs(count.step) > 1 or count.place == 0 or from_the_top)
    if not told and not (many and from_the_top):
        return text
    return _without(text, _NUMBERED, [match for _, match in found])


def _without(text: bytes, prefix: re.Pattern[bytes], found: Sequence[re.Match[bytes]]) -> bytes:
    """Return a text without what stands before its lines, nor the blanks that follow it on every one."""
    rests = [rest for match in found if (rest := match.string[match.end() :]).strip()]
    tab = all(rest.startswith(b"\t") for rest in rests)
    blanks = 1 if tab else min((len(rest) - len(rest.lstrip(b" ")) for rest in rests), default=0)
    gap = b"\t" if tab else b" " * blanks
    lines = []
    for line in text.split(b"\n"):
        match = prefix.match(line)
        lines.append(line[match.end() :].removeprefix(gap) if match else line)
    return b"\n".join(lines)


# --- a mark before every line -------------------------------------------------------------------------------------

_ENDS_MARK = re.compile(rb"^.*[ \t>|\]:]", re.DOTALL)
_ALNUM = re.compile(rb"[0-9A-Za-z]+")
_HEX_DIGITS = string.hexdigits.encode()


def _without_mark(text: bytes) -> bytes:
    """Return a text without the few characters with which all of its lines begin, unless these may be numbers."""
    lines = whole_lines(text, _SAMPLE)
    mark = _mark_of(lines)
    if not mark:
        return text
    return b"\n".join(line.removeprefix(mark) for line in text.split(b"\n"))


def _mark_of(lines: Sequence[bytes]) -> bytes:
    """Return the mark before nearly all of some lines, or nothing."""
    if len(lines) < LEAST_LINES:
        return b""
    mark = b""
    for length in range(1, _LONGEST_MARK + 1):
        start, number = Counter(line[:length] for line in lines).most_common(1)[0]
        if number < (1 + _NEARLY_ALL) / 2 * len(lines):
            break
        mark = start
    whole = _ENDS_MARK.match(mark)
    mark = whole[0] if whole else b""
    words = _ALNUM.findall(mark)
    told = all(word.translate(None, _HEX_DIGITS) for word in words) if words else bool(mark.strip(b" \t:"))
    return mark if told else b""
