"""What TI-TXT and Verilog memory files share: '@' and an address, then numbers of hex digits in a row.

Such lines carry neither an address of their own nor a checksum. A number with an illegal character is a hole of its
own size where all numbers have the same number of digits, so that its place is certain. Where it is not, everything
down to the next '@' has no certain address and is left out. So it is behind a line that has not as many numbers as all
others, where these are regular.
"""

from __future__ import annotations

import re
import string
from dataclasses import dataclass

import numpy as np

from romassay.formats.model import ADDRESS_SPACE
from romassay.formats.records.collecting import Collector
from romassay.formats.records.digits import hex_digits, hex_values, is_no_digit
from romassay.formats.records.streams import (
    ADDRESS,
    OTHER,
    VALUE,
    StreamReader,
    Tokens,
    blocks_of,
    counts_before_lines,
    tokens_of,
    usual_count,
)
from romassay.reading import Bytes, Index, Mask

_HEX_DIGITS = string.hexdigits.encode()
_UNKNOWN_DIGITS = b"xXzZ?"
_IS_UNKNOWN = np.isin(np.arange(256), list(_UNKNOWN_DIGITS))
_ADDRESS = re.compile(rb"@([0-9A-Fa-f]{1,16})(?!\S)")
_ADDRESS_DIGITS = 16
_LIKE_AN_ADDRESS = re.compile(rb"\S{3,10}")
MOST_DIGITS = 256
_AT, _ZERO, _F, _X = b"@0Fx"


@dataclass(frozen=True, slots=True)
class Style:
    """What tells the formats apart.

    Attributes:
        digits: digits of a number.
        fixed: True where every number has just so many; else it may have fewer, and leading zeros are left out.
        unknown: True where x, z and _ may stand in a number.
        alone: True where an address stands on a line of its own.
        per_line: numbers on each line that another one follows; None where that varies.
        end: a line that ends the data, in lower case; empty where there is none.
        start: index of the first number where no address stands before it, or None where one must.
    """

    digits: int
    fixed: bool
    unknown: bool
    alone: bool = False
    per_line: int | None = None
    end: bytes = b""
    start: int | None = None

    @property
    def word(self) -> int:
        """Bytes in a number."""
        return (self.digits + 1) // 2


@dataclass(frozen=True, slots=True)
class Habits:
    """How the numbers of a text are printed.

    Attributes:
        lengths: int64[257], how many numbers have so many digits.
        padded: bool[257], whether some of them begin with 0.
        per_line: numbers on each line that another one follows; None where that varies.
    """

    lengths: Index
    padded: Mask
    per_line: int | None


def habits_of(text: bytes) -> Habits:
    """Look at all tokens that are numbers, and all lines that hold nothing else."""
    lengths = np.zeros(MOST_DIGITS + 1, np.int64)
    padded = lengths.copy()
    lines = np.zeros(1 << 10, np.int64)
    for block, _, _ in blocks_of(text):
        tokens = tokens_of(block)
        if not len(tokens.start):
            continue
        legal = ~is_no_digit(block) | _IS_UNKNOWN[block]
        number = (tokens.count(~legal) == 0) & (tokens.length <= MOST_DIGITS)
        lengths += np.bincount(tokens.length[number], minlength=MOST_DIGITS + 1)
        zero = number & (block[tokens.start] == _ZERO)
        padded += np.bincount(tokens.length[zero], minlength=MOST_DIGITS + 1)
        counts = counts_before_lines(tokens, np.where(number, VALUE, OTHER).astype(np.uint8))[: len(lines)]
        lines[: len(counts)] += counts
    return Habits(lengths, padded > 0, usual_count(lines))


def collect(text: bytes, style: Style) -> Collector:
    """Read a cleaned text in one of the styles."""
    return _Reader(style).read(text)


class _Reader(StreamReader):
    """Reads tokens of hex digits."""

    def __init__(self, style: Style) -> None:
        super().__init__(style.start, style.word, style.per_line)
        self.style = style

    def classify(self, tokens: Tokens) -> Bytes:
        style, block = self.style, tokens.block
        no_digit = is_no_digit(block)
        illegal = no_digit & ~_IS_UNKNOWN[block] if style.unknown else no_digit
        fits = tokens.length == style.digits if style.fixed else tokens.length <= style.digits
        kind = np.where((tokens.count(illegal) == 0) & fits, VALUE, OTHER).astype(np.uint8)
        at = np.flatnonzero((block[tokens.start] == _AT) & (tokens.length > 1))
        if len(at):
            sole = tokens.first & np.r_[tokens.first[1:], True] if style.alone else np.ones(len(kind), bool)
            right = (tokens.count(no_digit)[at] == 1) & (tokens.length[at] <= 1 + _ADDRESS_DIGITS) & sole[at]
            kind[at[right & (self.addresses(tokens, at) * style.word < ADDRESS_SPACE)]] = ADDRESS
        return kind

    def values(self, tokens: Tokens, which: Index) -> tuple[Bytes, Bytes | None]:
        wide = 2 * self.style.word
        rows = np.full((len(which), wide), _ZERO, np.uint8)
        for length in np.unique(tokens.length[which]).tolist():
            some = np.flatnonzero(tokens.length[which] == length)
            rows[some, wide - length :] = tokens.windows(which[some], length)
            unknown = some[_IS_UNKNOWN[rows[some, wide - length]]]
            rows[unknown, wide - self.style.digits : wide - length] = _X
        no_digit = is_no_digit(rows)
        if wide == self.style.digits and not no_digit.any():
            return hex_values(rows), None
        known = np.where(no_digit, _ZERO, _F).astype(np.uint8)
        known[:, : wide - self.style.digits] = _ZERO
        return hex_values(np.where(no_digit, _ZERO, rows).astype(np.uint8)), hex_values(known)

    def addresses(self, tokens: Tokens, which: Index) -> Index:
        total = np.zeros(len(which), np.int64)
        for length in np.unique(tokens.length[which]).tolist():
            some = np.flatnonzero(tokens.length[which] == length)
            digits = tokens.windows(which[some], min(length, 1 + _ADDRESS_DIGITS))[:, 1:]
            for column in digits.T:
                total[some] = np.minimum(total[some] << 4, ADDRESS_SPACE) | hex_digits(column)
        return total

    def odd_line(self, number: int, line: bytes) -> None:
        """Read a line with something that is neither a whole number nor a whole address."""
        address = _ADDRESS.fullmatch(line)
        if self.style.end and line.lower() == self.style.end:
            self.into.end(number)
            self.index = self.style.start
        elif address:
            self._go_to(number, line, int(address[1], 16))
        elif self._may_be_an_address(line):
            self.lose_way(number, line, "an address that is broken; what follows has none that is certain")
        elif self._looks_like_data(line):
            self.odd_tokens(number, line, line.split())
        else:
            self.into.leave(number, line, "no data", damage=False)

    def _may_be_an_address(self, line: bytes) -> bool:
        """Tell a broken address from other text: what follows it must not go on from where the data before it ended."""
        if not _LIKE_AN_ADDRESS.fullmatch(line) or self._legal(line) or self._half_legal(line):
            return line.startswith(b"@") and self.style.alone
        return line.startswith(b"@") or 2 * len(line.translate(None, _HEX_DIGITS)) <= len(line)

    def _looks_like_data(self, line: bytes) -> bool:
        tokens = line.split()
        legal = sum(self._legal(token) or token.startswith(b"@") for token in tokens)
        return 2 * legal >= len(tokens) or (len(tokens) == 1 and self._half_legal(tokens[0]))

    def _legal(self, token: bytes) -> bool:
        digits = token.replace(b"_", b"") if self.style.unknown else token
        if not digits or len(digits) > self.style.digits or (self.style.fixed and len(digits) != self.style.digits):
            return False
        return not digits.translate(None, _HEX_DIGITS + (_UNKNOWN_DIGITS if self.style.unknown else b""))

    def _half_legal(self, token: bytes) -> bool:
        return len(token) == self.style.digits and len(token.translate(None, _HEX_DIGITS)) * 2 <= len(token)

    def _go_to(self, number: int, line: bytes, index: int) -> None:
        self.index = index
        if index * self.style.word >= ADDRESS_SPACE:
            self.lose_way(number, line, "an address beyond 32 bits")

    def odd_tokens(self, number: int, line: bytes, tokens: list[bytes]) -> None:
        for token in tokens:
            address = None if self.style.alone else _ADDRESS.fullmatch(token)
            if address:
                self._go_to(number, line, int(address[1], 16))
            elif self.index is None:
                self.into.leave(number, line, "no certain address", damage=True)
                if self.style.alone:
                    return
            elif self._legal(token):
                self._take_token(number, token.replace(b"_", b""))
            elif self.style.fixed and len(token) == self.style.digits and b"@" not in token:
                first = self.index * self.style.word
                self.into.lose(number, "a character that is no digit", (first, first + self.style.word - 1))
                self.into.leave(number, line, "a character that is no digit", damage=True)
                self.index += 1
            else:
                self.lose_way(number, line, "a number that is broken; what follows has no certain address")

    def lose_way(self, number: int, line: bytes, reason: str) -> None:
        self.into.lose(number, reason)
        self.into.leave(number, line, reason, damage=True)
        self.index = None

    def _take_token(self, number: int, token: bytes) -> None:
        at = self.index or 0
        first = at * self.style.word
        if first + self.style.word > ADDRESS_SPACE:
            self.lose_way(number, token, "bytes beyond 32 address bits")
            return
        if len(token) == 2 * self.style.word and not token.translate(None, _HEX_DIGITS):
            self.into.take(number, first, bytes.fromhex(token.decode("ascii")))
        else:
            data, known = self.values(tokens_of(np.frombuffer(token, np.uint8)), np.zeros(1, np.int64))
            self.into.take(number, first, data.tobytes(), None if known is None else known.tobytes())
        self.index = at + 1
