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
from collections.abc import Sequence
from itertools import islice

import numpy as np

from romassay.formats.model import ADDRESS_SPACE, Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.streams import (
    ADDRESS,
    COMMENT,
    OTHER,
    VALUE,
    StreamReader,
    Tokens,
    blocks_of,
    counts_before_lines,
    tokens_of,
    usual_count,
)
from romassay.formats.records.writing import cut_rows, need_address_bits
from romassay.formats.text.plain import plain
from romassay.formats.text.sampling import sample_of
from romassay.reading import Bytes, Index, Mask

_WORD = re.compile(rb"B([NP]{1,8})F")
_NUMBER = re.compile(rb"(\d{1,10})[:.]?[ \t]*(?=B)")
_MOST_DIGITS = 10
_AS_BITS = bytes.maketrans(b"NP", b"01")
_PER_LINE = 8
_SAYS_ADDRESSES = b"ADDRESS"
_HEADING = b"DECIMAL ADDRESSES\n"
"""What a numbered file begins with; no letter of it can be taken for part of a word."""


def sniff(source: bytes) -> float:
    """Tell how surely this is BNPF, from the share of the letters that stand in whole words."""
    text = plain(sample_of(source)).upper()
    taken = sum(len(match) + 2 for match in _WORD.findall(text))
    ink = len(text) - sum(text.count(c) for c in (b" ", b"\t", b"\r", b"\n"))
    return min(1.0, 1.2 * taken / ink) if taken else 0.0


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log; the first word goes to `hints.base` where that is given."""
    text = plain(source, hints.encoding).upper().replace(b"FB", b"F B")
    bits = _bits_in_a_word(text)
    numbers, per_line = (False, None) if hints.base is not None else _habits(text, bits)
    reader = _Reader(bits, hints.base or 0, None if numbers else per_line, use_numbers=numbers)
    return reader.read(text).parsed(hints, "record", f"words of {bits} bits")


def _bits_in_a_word(text: bytes) -> int:
    """Return the commonest number of bits in a word."""
    lengths = Counter(len(match[1]) for match in islice(_WORD.finditer(text), 100_000))
    return max(lengths, key=lambda length: (lengths[length], length)) if lengths else 8


def _is_word(tokens: Tokens, bits: int) -> Mask:
    block = tokens.block
    letters = tokens.count((block == ord("N")) | (block == ord("P")))
    last = tokens.start + tokens.length - 1
    framed = (block[tokens.start] == ord("B")) & (block[last] == ord("F"))
    words: Mask = framed & (letters == bits) & (tokens.length == bits + 2)
    return words


def _is_number(tokens: Tokens, words: Mask) -> Mask:
    """Tell decimal numbers at the start of lines, with a word behind them and perhaps a colon or a full stop."""
    block = tokens.block
    digits = tokens.count((block >= ord("0")) & (block <= ord("9")))
    last = block[tokens.start + tokens.length - 1]
    marked = (last == ord(":")) | (last == ord("."))
    before_word = np.r_[words[1:] & ~tokens.first[1:], False]
    whole = (digits > 0) & (digits <= _MOST_DIGITS) & (digits + marked == tokens.length)
    numbers: Mask = tokens.first & before_word & whole
    return numbers


def _numbers(tokens: Tokens, which: Index) -> Index:
    total = np.zeros(len(which), np.int64)
    for length in np.unique(tokens.length[which]).tolist():
        some = np.flatnonzero(tokens.length[which] == length)
        for column in tokens.windows(which[some], length).T:
            digit = (column >= ord("0")) & (column <= ord("9"))
            total[some] = np.where(digit, total[some] * 10 + column - ord("0"), total[some])
    return total


def _habits(text: bytes, bits: int) -> tuple[bool, int | None]:
    """Tell whether the numbers at the starts of lines are addresses, and how many words stand on a line.

    For that each must be the one before it and the words since then, or more where something is left out; and one at
    least must be just that, unless the file says that they are addresses, or there is just one, before the first word.
    One that is the first again begins a new pass.
    """
    stated, before = [np.zeros(0, np.int64)], [np.zeros(0, np.int64)]
    words_so_far = 0
    lines = np.zeros(1 << 10, np.int64)
    for block, _, _ in blocks_of(text):
        tokens = tokens_of(block)
        if not len(tokens.start):
            continue
        words = _is_word(tokens, bits)
        which = np.flatnonzero(_is_number(tokens, words))
        stated.append(_numbers(tokens, which))
        before.append(np.cumsum(words)[which] + words_so_far)
        words_so_far += int(words.sum())
        counts = counts_before_lines(tokens, np.where(words, VALUE, OTHER).astype(np.uint8))[: len(lines)]
        lines[: len(counts)] += counts
    told = _SAYS_ADDRESSES in text[: max(0, text.find(b"B"))]
    return _agree(np.concatenate(stated), np.concatenate(before), told=told), usual_count(lines)


def _agree(stated: Index, before: Index, *, told: bool) -> bool:
    """Tell whether numbers agree with the count of words before each of them."""
    if not len(stated):
        return False
    due = np.r_[before[0], stated[:-1] + np.diff(before)]
    exact = bool((stated == due).any())
    agree = bool((stated >= due)[stated != stated[0]].all())
    return agree and (exact or told or (len(stated) == 1 and int(before[0]) == 0))


class _Reader(StreamReader):
    """Reads words of letters."""

    def __init__(self, bits: int, base: int, per_line: int | None, *, use_numbers: bool) -> None:
        super().__init__(base, 1, per_line)
        self.bits = bits
        self.use_numbers = use_numbers

    def classify(self, tokens: Tokens) -> Bytes:
        words = _is_word(tokens, self.bits)
        kind = np.where(words, VALUE, OTHER).astype(np.uint8)
        kind[_is_number(tokens, words)] = ADDRESS if self.use_numbers else COMMENT
        return kind

    def values(self, tokens: Tokens, which: Index) -> tuple[Bytes, Bytes | None]:
        bits = np.zeros((len(which), 8), bool)
        bits[:, 8 - self.bits :] = tokens.windows(which, self.bits + 1)[:, 1:] == ord("P")
        known = None if self.bits == 8 else np.full((len(which), 1), (1 << self.bits) - 1, np.uint8)
        return np.packbits(bits, axis=1), known

    def addresses(self, tokens: Tokens, which: Index) -> Index:
        return _numbers(tokens, which)

    def odd_line(self, number: int, line: bytes) -> None:
        """Read a line with something that is neither a word nor a number before one."""
        match = _NUMBER.match(line)
        tokens = line[match.end() :].split() if match else line.split()
        if not any(self._could_be_a_word(token) for token in tokens):
            self.into.leave(number, line, "no words", damage=False)
            return
        if match and self.use_numbers:
            self.index = int(match[1])
        self.odd_tokens(number, line, tokens)

    def odd_tokens(self, number: int, line: bytes, tokens: list[bytes]) -> None:
        """Take words; note broken ones. One with its 'B', its 'F' and the right length is a hole of just one byte."""
        for token in tokens:
            if _WORD.fullmatch(token) and len(token) == self.bits + 2:
                self._take_token(number, line, token)
            elif len(token) == self.bits + 2 and token[:1] == b"B" and token[-1:] == b"F":
                reason = "a letter that is neither N nor P"
                self.into.lose(number, reason, None if self.index is None else (self.index, self.index))
                self.into.leave(number, line, reason, damage=True)
                self.index = None if self.index is None else self.index + 1
            elif self._could_be_a_word(token):
                self.lose_way(number, line, "a broken word; what follows has no certain address")

    def _take_token(self, number: int, line: bytes, token: bytes) -> None:
        if self.index is None or self.index >= ADDRESS_SPACE:
            self.into.leave(number, line, "no certain address", damage=True)
            return
        known = None if self.bits == 8 else bytes([(1 << self.bits) - 1])
        self.into.take(number, self.index, bytes([int(token[1:-1].translate(_AS_BITS), 2)]), known)
        self.index += 1

    def _could_be_a_word(self, token: bytes) -> bool:
        """Tell a word, perhaps a broken one, from a comment: it is made of the same letters for the most part."""
        letters = sum(token.count(c) for c in (b"B", b"N", b"P", b"F"))
        if 1 < letters == len(token):
            return True
        return 3 * letters >= 2 * max(len(token), self.bits) or _WORD.search(token) is not None

    def lose_way(self, number: int, line: bytes, reason: str) -> None:
        self.into.lose(number, reason)
        self.into.leave(number, line, reason, damage=True)
        self.index = None


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
    follows=("record",),
)
