"""Numbers that some hosts spell in their own way, written as the learner of layouts reads them.

Four ways, each told from a sample and then put right on every line that has it:

- an address in two parts: segment and offset, bank and offset, or two octal bytes;
- signed decimal numbers, as interpreters with 16-bit integers print the upper half of the memory and of a byte;
- an address before every byte, several of them on a line;
- an address behind the bytes of its line.

Lines stay lines and keep their numbers; a line that does not have the habit exactly stays as it is. All four are
common practice, no source.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from romassay.formats.text.binary_digits import with_whole_binary
from romassay.formats.text.counting import DIGIT, LEAST_LINES, MOSTLY, as_number, numbers_alone, steady, whole_lines
from romassay.formats.text.echoes import without_echoes
from romassay.formats.text.listings import without_instructions
from romassay.formats.text.mended import DIGITS_ALIKE
from romassay.formats.text.paged import with_whole_addresses
from romassay.formats.text.prefixes import without_prefixes
from romassay.formats.text.running_down import with_rows
from romassay.formats.text.wrapped import unwrapped

_SAMPLE = 1 << 15


def respelt(text: bytes) -> bytes:
    """Return a cleaned text with the numbers of such habits written plainly, and nothing foreign before its lines."""
    plain = without_prefixes(text)
    text = text if plain is text else unwrapped(plain)
    text = without_instructions(with_whole_binary(without_echoes(text)))
    habit = habit_of(text)
    return by_line(text, habit) if habit else with_rows(with_whole_addresses(text))


Habit = Callable[[bytes], bytes]
"""Writes the numbers of a line plainly."""


def habit_of(text: bytes) -> Habit | None:
    """Return the habit that the lines of a cleaned text have, or None where they have none or are too few to tell."""
    lines = [line for line in whole_lines(text, _SAMPLE) if DIGIT.search(line)]
    if len(lines) < LEAST_LINES:
        return None
    return _parted(lines) or _signed(lines) or _paired(lines) or _behind(lines)


def by_line(text: bytes, habit: Habit) -> bytes:
    """Return a text with each of its lines written plainly."""
    return b"\n".join(map(habit, text.split(b"\n")))


def _grows(values: Sequence[int | None]) -> bool:
    """Tell whether most of some addresses grow from line to line by one and the same step."""
    return steady(values)[0] > 0


# --- an address in two parts --------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Parts:
    """A way to print an address in two parts: what it looks like, and how the two make one."""

    form: re.Pattern[bytes]
    base: int
    shift: int
    digits: int


_LEAD = rb"^((?:[A-Za-z]{1,8}[^0-9A-Za-z\n]{1,4})?|[^0-9A-Za-z\n]{0,8})"
_END = rb"(?![0-9A-Za-z])"
_PARTS = (
    _Parts(re.compile(_LEAD + rb"([0-9A-Fa-f]{4}):([0-9A-Fa-f]{4})" + _END), 16, 4, 5),
    _Parts(re.compile(_LEAD + rb"([0-9A-Fa-f]{1,2})[:/.]([0-9A-Fa-f]{4})" + _END), 16, 16, 6),
    _Parts(re.compile(_LEAD + rb"([0-3][0-7]{2})[ .:]([0-3][0-7]{2})" + _END), 8, 8, 6),
)


def _parted(lines: list[bytes]) -> Habit | None:
    """Return what joins the parts of addresses: those whose first part stays while the second goes on."""
    for parts in _PARTS:
        matches = [parts.form.match(line) for line in lines]
        found = [m for m in matches if m]
        if len(found) < max(LEAST_LINES, MOSTLY * len(lines)):
            continue
        upper = [int(m[2], parts.base) for m in found]
        kept = sum(a == b for a, b in pairwise(upper)) >= MOSTLY * (len(found) - 1)
        lines_of_segments = parts.shift == 4 and {int(m[3], 16) for m in found} == {0}
        told = parts.shift != 8 or len(set(upper)) > 1
        if told and (kept or lines_of_segments) and _grows([_joined(m, parts) for m in found]):
            return lambda line, parts=parts: _with_one_address(line, parts)  # type: ignore[misc]
    return None


def _joined(match: re.Match[bytes], parts: _Parts) -> int:
    return (int(match[2], parts.base) << parts.shift) + int(match[3], parts.base)


def _with_one_address(line: bytes, parts: _Parts) -> bytes:
    """Return a line with its address in one part, as many columns wide as before."""
    match = parts.form.match(line)
    if not match:
        return line
    number = b"%0*o" if parts.base == 8 else b"%0*X"
    address = number % (parts.digits, _joined(match, parts))
    return match[1] + address.ljust(match.end() - match.end(1)) + line[match.end() :]


# --- signed numbers -----------------------------------------------------------------------------------------------

_NUMBER = re.compile(rb"(?<![0-9A-Za-z.])-?[0-9]+(?![0-9A-Za-z.])")
_NEGATIVE = re.compile(rb"(?:^|(?<=[\s,;:=(]))( *)-([0-9]{1,5})(?![0-9A-Za-z.-])")
_BLANKS = re.compile(rb"(?<=[0-9]) +(?=[-0-9])")
_WITH_LETTERS = re.compile(rb"(?<![0-9A-Za-z])[0-9]*[A-Fa-f][0-9A-Fa-f]*(?![0-9A-Za-z])")
_FEW = 0.03
_MOST_DIGITS = 12
_SMALL = 64
"""Signed numbers that are all smaller are no bytes of a program but a table of something."""


def _signed(lines: list[bytes]) -> Habit | None:
    """Return what takes the sign off numbers: of addresses in the upper half of 64 KiB, of bytes or of words."""
    signs = [len(_NEGATIVE.findall(line)) for line in lines]
    in_hex = sum(len(_WITH_LETTERS.findall(line)) > 1 for line in lines)
    if sum(map(bool, signs)) < LEAST_LINES or in_hex > _FEW * len(lines):
        return None
    leads = [_ADDRESS.match(line) for line in lines]
    first = [int(m[1]) if m and _NUMBER.fullmatch(m[1]) else None for m in leads]
    upper = _grows(first) and sum(n is not None and n < 0 for n in first) >= MOSTLY * len(lines)
    if not upper and not _grows(first) and not _grows([int(m[1], 16) if m else None for m in leads]):
        return None
    texts = [n for line, m in zip(lines, leads, strict=True) if m for n in _NUMBER.findall(line, m.end())]
    data = [int(n) for n in texts if len(n) <= _MOST_DIGITS]
    least, most = min(data, default=0), max(data, default=0)
    if least >= -_SMALL or most <= _SMALL:
        least = 0
    size = (
        0 if least >= 0 else 8 if least >= -128 and most < 128 else 16 if least >= -(1 << 15) and most < 1 << 15 else -1
    )
    if size < 0 or not (upper or size):
        return None
    uneven = [
        len({len(gap) for gap in _BLANKS.findall(line, m.end())}) > 1 for line, m in zip(lines, leads, strict=True) if m
    ]
    aligned = sum(uneven) > MOSTLY * len(uneven)
    return lambda line: _unsigned(line, size, aligned=aligned)


_ADDRESS = re.compile(rb"[^0-9A-Za-z-]{0,8}(-?[0-9A-Fa-f]{1,8})(?![0-9A-Za-z])")


def _unsigned(line: bytes, size: int, *, aligned: bool) -> bytes:
    """Return a line without signs: a negative first number is an address, the others bytes or words, maybe aligned."""
    address = _ADDRESS.match(line)
    start = address.start(1) if address else 0

    def plain(match: re.Match[bytes]) -> bytes:
        bits = 16 if match.end(1) == start else size
        value = -int(match[2]) + (1 << bits)
        if value < 0 or not bits:
            return match[0]
        text = b"%d" % value
        return text.rjust(match.end() - match.start()) if aligned else text

    return _NEGATIVE.sub(plain, line)


# --- an address before every byte ---------------------------------------------------------------------------------

_WORD = re.compile(rb"[$&#@]?[0-9A-Za-z]+(?:'[0-9A-Fa-f]+')?")
_PLAIN_NUMBER = re.compile(rb"(?:0[xX]|[$&#@]|[XxHh]')?([0-9A-Fa-f]+)[hH']?")
_SHORTEST_ADDRESS, _LONGEST_ADDRESS = 3, 8
_LONGEST_BYTE = 3
_MOST_ADDRESSES = 32
_LEAST_ADDRESSES = 2


def _paired(lines: list[bytes]) -> Habit | None:
    """Return what leaves the first address of a line only, where the others go on from it by the bytes between them."""
    for base in (10, 16, 8):
        plain = [_one_address(line, base) for line in lines]
        first = [None if line is None else int(line[: line.index(b":")], base) for line in plain]
        values = {byte for line in plain if line for byte in line.split()[1:]}
        mostly = sum(n is not None for n in first) >= MOSTLY * len(lines)
        quiet = mostly and _grows(first) and _go_on(plain, first)
        if len(values) >= LEAST_LINES and (quiet or _go_on_in_noise(plain, base)):
            most = Counter(n for line in lines if (n := _between_addresses(line, base))).most_common(1)[0][0]
            shape = _usual_shape([line for line, found in zip(lines, plain, strict=True) if found])
            return lambda line, base=base: (_in_shape(line, shape) and _one_address(line, base, most=most)) or line  # type: ignore[misc]
    return None


_OFTEN_WHOLE = 0.35
"""Share of the lines that come through whole on a noisy line."""
_MOST_LOST = 8
"""Lines that may be damaged between two whole ones."""
_SURELY = 0.8


def _go_on_in_noise(plain: list[bytes | None], base: int) -> bool:
    """Tell whether the lines of pairs that came through are so many bytes apart as whole lines hold."""
    found = [line for line in plain if line is not None]
    if len(found) < max(LEAST_LINES, _OFTEN_WHOLE * len(plain)):
        return False
    length = Counter(len(line.split()) - 1 for line in found).most_common(1)[0][0]
    at = [int(line[: line.index(b":")], base) for line in found]
    good = sum(0 < b - a <= _MOST_LOST * length and (b - a) % length == 0 for a, b in pairwise(at))
    return good >= _SURELY * (len(found) - 1)


_NUMBERS_ALIKE = DIGITS_ALIKE.translate(bytes(ord("0") if c == ord(" ") else c for c in range(256)))
_ONE_SHAPE = 0.7
"""Share of the lines that have the same columns where a host prints in columns at all."""


def _shape_of(line: bytes) -> bytes:
    """Return a line with all its digits and blanks alike: numbers in columns may have either."""
    return line.translate(_NUMBERS_ALIKE)


def _usual_shape(lines: list[bytes]) -> bytes:
    """Return the shape that most of some lines have; nothing where they have no columns."""
    shape, number = Counter(map(_shape_of, lines)).most_common(1)[0]
    return shape if number >= _ONE_SHAPE * len(lines) else b""


def _in_shape(line: bytes, shape: bytes) -> bool:
    """Tell whether a line has the usual shape, or is a shorter one: in others a character is lost or too many."""
    return not shape or shape.startswith(_shape_of(line))


def _go_on(plain: list[bytes | None], first: list[int | None]) -> bool:
    """Tell whether most lines of pairs begin where the one before ends."""
    ends = [
        None if line is None or at is None else at + len(line.split()) - 1
        for line, at in zip(plain, first, strict=True)
    ]
    return sum(a == b for a, b in zip(ends, first[1:], strict=False) if a is not None) >= MOSTLY * (len(plain) - 1)


def _one_address(line: bytes, base: int, *, most: int = 0) -> bytes | None:
    """Return a line of addresses, each with its bytes, as one address with all of them, or None where it is none.

    Args:
        line: cleaned.
        base: of the addresses.
        most: bytes between two of them; 0 where that is not known, and then there must be two.
    """
    numbers = numbers_alone(line, _WORD, _PLAIN_NUMBER)
    groups = _grouped(numbers, base)
    if not groups or len(groups) < _LEAST_ADDRESSES - (most > 0):
        return None
    if most and len(groups[-1]) == most + 1:
        groups[-1].pop()
    if most and max(map(len, groups)) > most:
        return None
    return numbers[0] + b": " + b" ".join(byte for group in groups for byte in group)


def _between_addresses(line: bytes, base: int) -> int:
    """Return how many bytes stand between the first two addresses of a line, or 0."""
    groups = _grouped(numbers_alone(line, _WORD, _PLAIN_NUMBER), base)
    return len(groups[0]) if len(groups) >= _LEAST_ADDRESSES else 0


def _grouped(numbers: Sequence[bytes], base: int) -> list[list[bytes]]:
    """Return the bytes behind each address among some numbers; none where the addresses do not go on by these."""
    long_enough = numbers and _SHORTEST_ADDRESS <= len(numbers[0]) <= _LONGEST_ADDRESS
    expected = as_number(numbers[0], base) if long_enough else None
    if expected is None:
        return []
    groups: list[list[bytes]] = [[]]
    width = len(numbers[0])
    for number in numbers[1:]:
        goes_on = groups[-1] and len(number) >= width and as_number(number, base) == expected
        if goes_on and len(groups) < _MOST_ADDRESSES:
            groups.append([])
        elif len(number) > _LONGEST_BYTE or (len(number) == _LONGEST_BYTE and base == 16):
            return []
        else:
            groups[-1].append(number)
            expected += 1
    return groups if groups[-1] else groups[:-1]


# --- an address behind its bytes ----------------------------------------------------------------------------------

_BEHIND = re.compile(
    rb"^(.*?)([^0-9A-Za-z\n]*[^0-9A-Za-z\n,;](?:0[xX])?)([0-9A-Fa-f]{3,8})([hH]?[^0-9A-Za-z\n]{0,4})$", re.DOTALL
)
_FIRST = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Fa-f]+)(?![0-9A-Za-z])")


def _behind(lines: list[bytes]) -> Habit | None:
    """Return what moves addresses from the end of lines to their front, where only those at the end count the bytes."""
    found = [_BEHIND.match(line) for line in lines]
    between, number = Counter(m[2] for m in found if m).most_common(1)[0] if any(found) else (b"", 0)
    if number < MOSTLY * len(lines):
        return None
    first = [m and _FIRST.search(m[1]) for m in found]
    for base in (16, 10):
        address = [as_number(m[3], base) if m else None for m in found]
        before = [as_number(m[1], base) if m else None for m in first]
        if _grows(address) and not steady(before)[0]:
            return lambda line: _with_address_first(line, between)
    return None


def _with_address_first(line: bytes, between: bytes) -> bytes:
    """Return a line with the address at its end, behind just that text, at its front."""
    match = _BEHIND.match(line)
    return match[3] + b": " + match[1] if match and match[2] == between else line
