"""BNPF: each bit a letter, as the makers of programmable ROMs took orders on paper tape.

From memory (data books of the 1970s): 'B' begins a word, then a 'P' for each 1 and an 'N' for each 0, the highest bit
first, and 'F' finishes it. Words follow each other from address 0; what stands between 'F' and 'B' is comment, often a
decimal number at the start of a line: the address of the word behind it. Words have as many bits as the ROM outputs.

Numbers are taken for addresses only where all of them agree with the number of words between them, or where the file
says so before its first word, as those written here do. Where a word is
broken so that one cannot tell how many are lost, what follows has no certain address down to the next such number.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from romassay.formats.collecting import Collector, numbered_lines
from romassay.formats.model import Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records import plain
from romassay.formats.sniffing import sample_of
from romassay.formats.tracks import ADDRESS_SPACE
from romassay.formats.writing import cut_rows, need_address_bits
from romassay.reading import Bytes

_WORDS = re.compile(rb"(?:B[NP]{1,8}F[ \t\r]*)+")
_WORD = re.compile(rb"B([NP]{1,8})F")
_NUMBER = re.compile(rb"(\d{1,10})[:.]?[ \t]*(?=B)")
_AS_BITS = bytes.maketrans(b"NP", b"01")
_PER_LINE = 8
_REGULAR = 0.95
_FEWEST_LINES = 8
_LOST = "a broken word; what follows has no certain address"
_SAYS_ADDRESSES = b"ADDRESS"
_HEADING = b"DECIMAL ADDRESSES\n"
"""What a numbered file begins with; no letter of it can be taken for part of a word."""


@dataclass(frozen=True, slots=True)
class _Line:
    """What stands on a line.

    Attributes:
        number: of the line.
        stated: a decimal number before the first word.
        words: letters between 'B' and 'F'; empty where they are broken, None where it is not certain how many words
            there were.
        text: the whole line.
    """

    number: int
    stated: int | None
    words: list[bytes | None]
    text: bytes


def sniff(source: bytes) -> float:
    """Tell how surely this is BNPF, from the share of the letters that stand in whole words."""
    text = plain(sample_of(source)).upper()
    taken = sum(len(match) + 2 for match in _WORD.findall(text))
    ink = len(text) - sum(text.count(c) for c in (b" ", b"\t", b"\r", b"\n"))
    return min(1.0, 1.2 * taken / ink) if taken else 0.0


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log; the first word goes to `hints.base` where that is given."""
    text = plain(source).upper()
    bits = _bits_in_a_word(text)
    reader = _Reader(bits, hints.base or 0, use_numbers=hints.base is None and _numbers_are_addresses(text, bits))
    usual = None if reader.use_numbers else _words_on_a_line(text, bits)
    last: _Line | None = None
    for line in _lines(text, bits):
        if last:
            reader.line(last, short=bool(usual and last.words and line.words and len(last.words) % usual))
        last = line
    if last:
        reader.line(last, short=False)
    return reader.into.parsed(hints, "record", f"words of {bits} bits")


def _bits_in_a_word(text: bytes) -> int:
    """Return the commonest number of bits in a word."""
    lengths = Counter(len(match[1]) for match, _ in zip(_WORD.finditer(text), range(100_000), strict=False))
    return max(lengths, key=lambda length: (lengths[length], length)) if lengths else 8


def _words_on_a_line(text: bytes, bits: int) -> int | None:
    """Return how many words stand on each line that another one follows; None where that varies."""
    counts: Counter[int] = Counter()
    last = 0
    for line in _lines(text, bits):
        counts[last] += bool(line.words)
        last = len(line.words)
    del counts[0]
    usual, total = counts.most_common(1), counts.total()
    return usual[0][0] if total >= _FEWEST_LINES and usual[0][1] >= _REGULAR * total else None


def _lines(text: bytes, bits: int) -> Iterator[_Line]:
    for number, line in numbered_lines(text):
        if not line:
            continue
        match = _NUMBER.match(line)
        stated = int(match[1]) if match else None
        rest = line[match.end() :] if match else line
        if _WORDS.fullmatch(rest):
            yield _Line(number, stated, list(_WORD.findall(rest)), line)
        else:
            yield _Line(number, stated, _tokens(rest, bits), line)


def _tokens(rest: bytes, bits: int) -> list[bytes | None]:
    """Return the words of a line that holds other text, too; None for each that is broken."""
    found: list[bytes | None] = []
    for token in rest.split():
        if _WORDS.fullmatch(token):
            found += _WORD.findall(token)
        elif len(token) == bits + 2 and token.startswith(b"B") and token.endswith(b"F"):
            found.append(b"")
        elif _is_broken(token, bits):
            found.append(None)
    return found


def _is_broken(token: bytes, bits: int) -> bool:
    """Tell a broken word from a comment: it is about as long, and made of the same letters for the most part."""
    return 3 * sum(token.count(c) for c in (b"B", b"N", b"P", b"F")) >= 2 * max(len(token), bits)


def _numbers_are_addresses(text: bytes, bits: int) -> bool:
    """Tell whether the numbers at the starts of lines agree with the words between them.

    Each must be the one before it and the words since then, or more where something is left out; and one at least must
    be just that, unless the file says that they are addresses, or there is just one, before the first word. One that is
    the first again begins a new pass.
    """
    told = _SAYS_ADDRESSES in text[: max(0, text.find(b"B"))]
    start: int | None = None
    due, numbers, exact, before_all = 0, 0, 0, False
    for line in _lines(text, bits):
        if line.stated is not None and line.words:
            if start is not None and line.stated < due and line.stated != start:
                return False
            if start is None:
                start, before_all = line.stated, due == 0
            exact += line.stated == due
            numbers += 1
            due = line.stated
        due += len(line.words)
    return exact > 0 or (numbers > 0 and told) or (numbers == 1 and before_all)


class _Reader:
    """Goes down the lines and knows the address of the next word, or None where that is not certain."""

    def __init__(self, bits: int, base: int, *, use_numbers: bool) -> None:
        self.bits = bits
        self.use_numbers = use_numbers
        self.into = Collector()
        self.address: int | None = base

    def line(self, line: _Line, *, short: bool) -> None:
        """Take a line's words; `short` tells that it has not as many as it should."""
        if line.stated is not None and self.use_numbers and line.words:
            self.address = line.stated
        if not line.words:
            self.into.leave(line.number, line.text, "no words", damage=False)
            return
        if short:
            self._broken(line, None, "a line of another length; what follows has no certain address")
            return
        run = bytearray()
        for word in line.words:
            if word is not None and len(word) == self.bits:
                run += word
                continue
            self._take(line, bytes(run))
            run.clear()
            reason = "a letter that is neither N nor P" if word == b"" else _LOST
            self._broken(line, word, reason)
        self._take(line, bytes(run))

    def _take(self, line: _Line, letters: bytes) -> None:
        if not letters:
            return
        count = len(letters) // self.bits
        if self.address is None or self.address + count > ADDRESS_SPACE:
            self.into.leave(line.number, line.text, "no certain address", damage=True)
            return
        data = bytes(_values(letters, self.bits))
        known = None if self.bits == 8 else bytes([(1 << self.bits) - 1]) * count
        self.into.take(line.number, self.address, data, known)
        self.address += count

    def _broken(self, line: _Line, word: bytes | None, reason: str) -> None:
        """Note a broken word. With all letters between 'B' and 'F' just one is lost, else none knows how many."""
        certain = word == b""
        at = self.address
        self.into.lose(line.number, reason, (at, at) if certain and at is not None else None)
        self.into.leave(line.number, line.text, reason, damage=True)
        self.address = at + 1 if certain and at is not None else None


def _values(letters: bytes, bits: int) -> Iterable[int]:
    digits = letters.translate(_AS_BITS)
    if bits == 8:
        return int(digits, 2).to_bytes(len(letters) // 8, "big")
    return (int(digits[i : i + bits], 2) for i in range(0, len(digits), bits))


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write 8 words on a line (or `options.record`); with a decimal address before each line unless all starts at 0."""
    need_address_bits(pieces, 32, "BNPF")
    numbered = len(pieces) > 1 or (len(pieces) == 1 and pieces[0].first > 0)
    parts = [_HEADING] if numbered else []
    for first, rows in cut_rows(pieces, options.record or _PER_LINE):
        lines = _letters(rows)
        if not numbered:
            parts.append(lines.tobytes())
            continue
        text = lines.tobytes()
        size = lines.shape[1]
        parts += (b"%d " % at + text[i * size : (i + 1) * size] for i, at in enumerate(first.tolist()))
    return b"".join(parts)


def _letters(rows: Bytes) -> Bytes:
    """Return a line of words for each row, uint8[n, k] to uint8[n, 11 k]."""
    n, width = rows.shape
    words = np.full((n, width, 11), ord(" "), np.uint8)
    words[:, :, 0], words[:, :, 9] = ord("B"), ord("F")
    words[:, :, 1:9] = np.where(np.unpackbits(rows.reshape(n, width, 1), axis=2), ord("P"), ord("N"))
    words[:, -1, -1] = ord("\n")
    return words.reshape(n, 11 * width)


FORMAT = Format(
    name="bnpf",
    title="BNPF",
    standard="from memory: order formats of programmable-ROM makers, 1970s",
    suffixes=(".bnpf",),
    sniff=sniff,
    read=read,
    write=write,
)
