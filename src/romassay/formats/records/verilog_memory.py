"""Verilog memory files, as $readmemh reads them.

Standard: IEEE 1364-2005, section 17.2.8: white space, // and /* */ comments, hex numbers; '@' and hex digits set the
index of the next WORD, not of a byte. A number may hold x, z and _ and has no width or base prefix; a short one is
filled with zeros on the left, or with its leftmost digit where that is x or z (from memory). The file does not say how
wide a word is: it is taken to have as many digits as nearly all numbers, or the longest, high byte first.
"""

from __future__ import annotations

import re
import string
from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from romassay.errors import BadInput, BadValue
from romassay.formats.model import Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.sections import MOST_DIGITS, Habits, Style, collect, habits_of
from romassay.formats.records.writing import cut_rows, need_address_bits, row_digits, spaced_lines
from romassay.formats.text.counting import steady
from romassay.formats.text.plain import plain
from romassay.formats.text.sampling import sample_of
from romassay.formats.text.tables import is_table

_COMMENT = re.compile(rb"//[^\n]*|/\*.*?(?:\*/|\Z)", re.DOTALL)
_NEARLY_ALL = 0.9
_LINE_BYTES = 16
_NUMBERS = re.compile(rb"^(?:@[0-9A-Fa-f]{1,16}|[0-9A-Fa-fxXzZ_]+)(?:[ \t]+[0-9A-Fa-fxXzZ_]+)*[ \t\r]*$", re.MULTILINE)
_WITHOUT_ADDRESS = 0.3
_UNLIKELY = 0.2
_MANY = 24
_DIGITS_IN_BINARY = 8
_DIFFERENT = 4
"""Numbers that are no hex words: a few among zeros may be."""
_DIGITS_OF_BYTE = 3
"""Digits of a byte in decimal or octal."""


def _without_comments(text: bytes) -> bytes:
    """Return the text with blanks for comments, lines where they were."""
    if b"/" not in text:
        return text
    bare = bytearray()
    at = 0
    for match in _COMMENT.finditer(text):
        bare += text[at : match.start()] + b" " + b"\n" * text.count(b"\n", match.start(), match.end())
        at = match.end()
    return bytes(bare + text[at:])


_MANY_ADDRESSES = 6
_COLLIDE = 0.25
"""Share of the addresses that passes over the same range may set back."""
LEAST_NUMBERS = 8
"""Numbers without an address that are taken for a memory file: one alone may be anything."""


def sniff(source: bytes) -> float:
    """Tell how surely this is a memory file: all lines are numbers, and the first has an '@'.

    Numbers may stand before the first '@', but hardly do; and in a dump a garbled digit may become an '@'.
    """
    text = _without_comments(plain(sample_of(source)))
    lines = sum(1 for line in text.split(b"\n") if line.strip())
    if not lines:
        return 0.0
    found = _NUMBERS.findall(text)
    has_address = bool(found) and found[0].startswith(b"@")
    words = {len(word) for line in found[:200] for word in line.split() if not word.startswith(b"@")}
    if not has_address and sum(len(line.split()) for line in found) < LEAST_NUMBERS:
        return 0.0
    if not words or max(words) > MOST_DIGITS or (not has_address and len(words) > 1) or _lines_begin_wider(found):
        return 0.0
    if _addresses_collide(found) or (not has_address and (is_table(found) or _lines_begin_with_count(found))):
        return 0.0
    likely = _UNLIKELY if _are_small_numbers(found) else 1.0
    return len(found) / lines * (0.9 if has_address else _WITHOUT_ADDRESS) * likely


def _addresses_collide(lines: Sequence[bytes]) -> bool:
    """Tell whether many numbers with an '@' lie among those that the line before gives: then they are no addresses."""
    led = [line.split() for line in lines[:200] if line.startswith(b"@")]
    if len(led) < _MANY_ADDRESSES:
        return False
    first = [int(words[0][1:], 16) for words in led]
    steps = [b - a - len(words) + 1 for a, b, words in zip(first, first[1:], led, strict=False)]
    return sum(step < 0 for step in steps) > _COLLIDE * len(steps)


def _are_small_numbers(lines: Sequence[bytes]) -> bool:
    """Tell whether many numbers are all those of bytes in binary, octal or decimal: a dump's, then.

    In binary they have eight digits, and each number is an address further than the one before.
    """
    words = [word for line in lines[:200] for word in line.split() if not word.startswith(b"@")]
    if len(words) >= _MANY and all(len(word) == _DIGITS_IN_BINARY for word in words):
        return len(set(words)) >= _DIFFERENT and not b"".join(words).translate(None, b"01") and _count_bytes(lines)
    if len(words) < _MANY or max(map(len, words)) != _DIGITS_OF_BYTE or not all(word.isdigit() for word in words):
        return False
    octal = all(word.translate(None, b"89") == word and int(word, 8) < 1 << 8 for word in words)
    return octal or all(int(word) < 1 << 8 for word in words)


def _count_bytes(lines: Sequence[bytes]) -> bool:
    """Tell whether the addresses of most lines grow by one for each number before them."""
    led = [line.split() for line in lines[:200] if line.startswith(b"@")]
    steps = [int(b[0][1:], 16) - int(a[0][1:], 16) == len(a) - 1 for a, b in pairwise(led)]
    return len(steps) >= _MANY_ADDRESSES and sum(steps) > len(steps) // 2


def _lines_begin_wider(lines: Sequence[bytes]) -> bool:
    """Tell whether most lines begin with a longer number than the others on them: an address, as a dump has it."""
    widths = [[len(word) for word in line.split()] for line in lines[:200] if not line.startswith(b"@")]
    wider = sum(1 for first, *rest in widths if rest and first > max(rest))
    return wider > len(widths) / 2


def _lines_begin_with_count(lines: Sequence[bytes]) -> bool:
    """Tell whether the first numbers of the longest lines count: addresses, of a dump that a screen's edge broke."""
    words = [line.split() for line in lines[:200]]
    most = max(map(len, words))
    step, _ = steady([int(some[0], 16) for some in words if len(some) == most and _is_hex(some[0])])
    return most > 1 and step > most


def _is_hex(word: bytes) -> bool:
    return not word.translate(None, string.hexdigits.encode())


def read(source: bytes, hints: Hints) -> Parsed:
    """Read a memory file; numbers before the first '@' go to 0, or to `hints.base`."""
    text = _without_comments(plain(source, hints.encoding))
    habits = habits_of(text)
    digits, fixed = _digits(habits, cut=not text[-1:].isspace())
    word = (digits + 1) // 2
    start = (hints.base or 0) // word
    style = Style(digits=digits, fixed=fixed, unknown=True, per_line=habits.per_line, start=start)
    return collect(text, style).parsed(hints, "record", f"{4 * digits}-bit words")


def _digits(habits: Habits, *, cut: bool) -> tuple[int, bool]:
    """Return the digits of a word, and whether each number has all of them.

    Where nearly all numbers have the same even number of digits, a longer one is two that ran together. Where one of
    full length begins with 0, leading zeros are printed, and a shorter number is a broken one. So is the only shorter
    one where the text is cut, that is, where its last line has no end.
    """
    lengths = habits.lengths
    if not lengths.any():
        raise BadInput("holds no numbers of hex digits", advice="check that this is a memory file")
    usual = int(lengths.argmax())
    nearly_all = usual % 2 == 0 and lengths[usual] >= _NEARLY_ALL * lengths.sum()
    digits = usual if nearly_all else int(np.flatnonzero(lengths)[-1])
    alone = np.count_nonzero(lengths) == 1 or (cut and lengths[:digits].sum() == 1)
    return digits, bool(alone or habits.padded[digits])


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write words of `options.word` bytes, 16 bytes on a line, an '@' before each piece.

    Bytes that complete the first and last word of a piece but are not in it are written as x.
    """
    word = options.word
    if word not in (1, 2, 4, 8, 16):
        raise BadValue(f"words of {word} bytes cannot be written", advice="give 1, 2, 4, 8 or 16")
    need_address_bits(pieces, 32, "a Verilog memory file")
    per_line = max(word, (options.record or _LINE_BYTES) // word * word)
    parts = []
    for group in _by_words(pieces, word):
        parts.append(b"@%08X\n" % (group[0].first // word))
        parts += _words(group, word, per_line)
    return b"".join(parts)


def _by_words(pieces: Sequence[Piece], word: int) -> list[list[Piece]]:
    """Put pieces together that share a word."""
    groups: list[list[Piece]] = []
    for piece in pieces:
        if not piece.data:
            continue
        if groups and (groups[-1][-1].first + len(groups[-1][-1].data) - 1) // word == piece.first // word:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return groups


def _words(group: Sequence[Piece], word: int, per_line: int) -> list[bytes]:
    """Return the lines of pieces that lie in a row of words."""
    first = group[0].first // word * word
    end = -(-(group[-1].first + len(group[-1].data)) // word) * word
    if len(group) == 1 and first == group[0].first and end == first + len(group[0].data):
        return [spaced_lines(rows, word) for _, rows in cut_rows(group, per_line)]
    digits = np.full(2 * (end - first), ord("x"), np.uint8)
    for piece in group:
        at = 2 * (piece.first - first)
        digits[at : at + 2 * len(piece.data)] = row_digits(np.frombuffer(piece.data, np.uint8).reshape(1, -1))[0]
    text = digits.tobytes()
    words = [text[i : i + 2 * word] for i in range(0, len(text), 2 * word)]
    many = per_line // word
    return [b" ".join(words[i : i + many]) + b"\n" for i in range(0, len(words), many)]


FORMAT = Format(
    name="verilog-memory",
    title="Verilog memory file",
    standard="IEEE 1364-2005, section 17.2.8",
    suffixes=(".vmem", ".mem", ".readmemh"),
    sniff=sniff,
    read=read,
    write=write,
    follows=("record", "word"),
)
