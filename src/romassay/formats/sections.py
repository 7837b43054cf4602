"""What TI-TXT and Verilog memory files share: '@' and an address, then numbers of hex digits in a row.

Such lines carry neither an address of their own nor a checksum. A number with an illegal character is a hole of its
own size where all numbers have the same number of digits, so that its place is certain. Where it is not, everything
down to the next '@' has no certain address and is left out. So it is behind a line that has not as many numbers as all
others, where these are regular.
"""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import dataclass

from romassay.formats.collecting import Collector, numbered_lines
from romassay.formats.tracks import ADDRESS_SPACE

_HEX_DIGITS = b"0123456789ABCDEFabcdef"
_UNKNOWN_DIGITS = b"xXzZ?"
_LEGAL = _HEX_DIGITS + _UNKNOWN_DIGITS + b"_ \t\r"
_REGULAR = 0.95
_FEWEST_LINES = 8
_ADDRESS = re.compile(rb"@([0-9A-Fa-f]{1,16})(?!\S)")
_LIKE_AN_ADDRESS = re.compile(rb"\S{3,10}")


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
        lengths: how many numbers have so many digits.
        padded: lengths of numbers that begin with 0.
        per_line: numbers on each line that another one follows; None where that varies.
    """

    lengths: Counter[int]
    padded: frozenset[int]
    per_line: int | None


def habits_of(text: bytes) -> Habits:
    """Look at all lines that hold nothing but numbers and addresses."""
    lengths: Counter[int] = Counter()
    padded: set[int] = set()
    counts: Counter[int] = Counter()
    last = 0
    for _, line in numbered_lines(text):
        if not line:
            continue
        if line.translate(None, _LEGAL + b"@"):
            last = 0
            continue
        tokens = [token for token in line.replace(b"_", b"").split() if b"@" not in token]
        if b"@" in line:
            last = 0
        else:
            counts[last] += 1
            last = len(tokens)
        lengths.update(map(len, tokens))
        if len(padded) < len(lengths):
            padded.update(len(token) for token in tokens if token.startswith(b"0"))
    del counts[0]
    total = counts.total()
    usual = counts.most_common(1)
    regular = total >= _FEWEST_LINES and usual[0][1] >= _REGULAR * total
    return Habits(lengths, frozenset(padded), usual[0][0] if regular else None)


def collect(text: bytes, style: Style) -> Collector:
    """Read a cleaned text in one of the styles."""
    reader = _Reader(style)
    for number, line in numbered_lines(text):
        if line:
            reader.line(number, line)
    reader.finish()
    return reader.into


class _Reader:
    """Goes down the lines and knows the index of the next number, or None where that is not certain.

    Where lines are regular, one is held back until the next one is seen: only the last of a section may be shorter.
    """

    def __init__(self, style: Style) -> None:
        self.style = style
        self.into = Collector()
        self.index = style.start
        self.lost_way = False
        self.held: tuple[int, bytes] | None = None

    def line(self, number: int, line: bytes) -> None:
        if self.style.per_line is None or line.translate(None, _LEGAL):
            self.finish()
            self._read(number, line)
            return
        if self.held and self.held[0] != number and len(self.held[1].split()) % self.style.per_line:
            if self.index is not None:
                self._lose_way(*self.held, "a line of another length; what follows has no certain address")
            self.held = None
        self.finish()
        self.held = number, line

    def finish(self) -> None:
        """Read the line that was held back."""
        if self.held:
            self._read(*self.held)
            self.held = None

    def _read(self, number: int, line: bytes) -> None:
        style = self.style
        if style.end and line.lower() == style.end:
            self.into.end(number)
            self.index, self.lost_way = style.start, False
        elif b"@" not in line and self.index is not None and not line.translate(None, _HEX_DIGITS + b" \t\r"):
            self._digits_only(number, line)
        else:
            self._mixed(number, line)

    def _digits_only(self, number: int, line: bytes) -> None:
        tokens = line.split()
        wide = self.style.digits
        if wide % 2 == 0 and all(len(token) == wide for token in tokens):
            self._take(number, bytes.fromhex(line.decode("ascii")), None)
        else:
            self._tokens(number, line, tokens)

    def _mixed(self, number: int, line: bytes) -> None:
        """Read a line with an address, an unknown digit, or something illegal."""
        address = _ADDRESS.fullmatch(line)
        if address:
            self._go_to(number, line, int(address[1], 16))
        elif self._may_be_an_address(line):
            self._lose_way(number, line, "an address that is broken; what follows has none that is certain")
        elif self._looks_like_data(line):
            self._tokens(number, line, line.split())
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
        digits = token
        if self.style.unknown:
            digits = token.replace(b"_", b"")
        if not digits or len(digits) > self.style.digits or (self.style.fixed and len(digits) != self.style.digits):
            return False
        return not digits.translate(None, _HEX_DIGITS + (_UNKNOWN_DIGITS if self.style.unknown else b""))

    def _half_legal(self, token: bytes) -> bool:
        return len(token) == self.style.digits and len(token.translate(None, _HEX_DIGITS)) * 2 <= len(token)

    def _go_to(self, number: int, line: bytes, index: int) -> None:
        self.lost_way = False
        self.index = index
        if index * self.style.word >= ADDRESS_SPACE:
            self._lose_way(number, line, "an address beyond 32 bits")

    def _tokens(self, number: int, line: bytes, tokens: list[bytes]) -> None:
        for token in tokens:
            address = None if self.style.alone else _ADDRESS.fullmatch(token)
            if address:
                self._go_to(number, line, int(address[1], 16))
            elif self.index is None:
                if self.lost_way:
                    self.into.leave(number, line, "no certain address", damage=True)
                else:
                    self.into.leave(number, line, "no address before it", damage=False)
                if self.style.alone:
                    return
            elif self._legal(token):
                self._take(number, *self._value(token.replace(b"_", b"")))
            elif self.style.fixed and len(token) == self.style.digits and b"@" not in token:
                first = self.index * self.style.word
                self.into.lose(number, "a character that is no digit", (first, first + self.style.word - 1))
                self.into.leave(number, line, "a character that is no digit", damage=True)
                self.index += 1
            else:
                self._lose_way(number, line, "a number that is broken; what follows has no certain address")

    def _lose_way(self, number: int, line: bytes, reason: str) -> None:
        self.into.lose(number, reason)
        self.into.leave(number, line, reason, damage=True)
        self.index, self.lost_way = None, True

    def _value(self, token: bytes) -> tuple[bytes, bytes | None]:
        """Return a number's bytes, and the mask of known bits where one is not."""
        wide = 2 * self.style.word
        if self.style.fixed and self.style.digits == wide and not token.translate(None, _HEX_DIGITS):
            return bytes.fromhex(token.decode("ascii")), None
        known = bytes(b"F"[0] if c in _HEX_DIGITS else b"0"[0] for c in token)
        if known[0] == b"F"[0]:
            known = known.rjust(self.style.digits, b"F")
        known = known.rjust(self.style.digits, b"0").rjust(wide, b"0")
        digits = bytes(c if c in _HEX_DIGITS else b"0"[0] for c in token).rjust(wide, b"0")
        mask = bytes.fromhex(known.decode("ascii"))
        return bytes.fromhex(digits.decode("ascii")), None if mask == b"\xff" * len(mask) else mask

    def _take(self, number: int, data: bytes, known: bytes | None) -> None:
        assert self.index is not None  # noqa: S101
        first = self.index * self.style.word
        if first + len(data) > ADDRESS_SPACE:
            self._lose_way(number, data.hex(" ").encode(), "bytes beyond 32 address bits")
            return
        self.into.take(number, first, data, known)
        self.index += len(data) // self.style.word
