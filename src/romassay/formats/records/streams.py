"""Texts of blank-separated tokens, read in bulk: what the formats without checksums share.

A text is cut into blocks, a block into tokens. Lines that hold nothing but values and addresses are taken together, by
numpy; every other line goes to its format one by one. Between them passes the index of the next value, or None where
that is not certain.
"""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np

from romassay.formats.model import ADDRESS_SPACE
from romassay.formats.records.collecting import Collector
from romassay.reading import Bytes, Index, Mask

OTHER, VALUE, ADDRESS, COMMENT = range(4)
"""What a token is found to be. A comment is passed over; lines with any other are read one by one."""

REGULAR = 0.9
FEWEST_LINES = 8
MOST_ODD_LINES = 100_000
"""Lines that are no data, or damaged; behind so many of them the rest of a text is not read."""

LONG_LINE = 1 << 10
"""Tokens on a line that is no line of print: such a one is not read whole where one token is odd."""

_BLOCK = 1 << 20
_NEWLINE, _BLANK = 10, 32


@dataclass(frozen=True, slots=True)
class Tokens:
    """The tokens of a block of text.

    Attributes:
        block: the text, uint8.
        start, length: int64[n], of each token.
        line: int64[n], the line that it is on, from 0 for the first line of the block.
        first: bool[n], first on its line.
    """

    block: Bytes
    start: Index
    length: Index
    line: Index
    first: Mask

    def windows(self, which: Index, width: int) -> Bytes:
        """Return the first `width` characters of some tokens, uint8[k, width]; none may be shorter."""
        view = np.lib.stride_tricks.sliding_window_view(self.block, width)
        rows: Bytes = view[self.start[which]]
        return rows

    def count(self, characters: Mask) -> Index:
        """Return how many of the characters that a mask of the block marks each token has."""
        total = np.cumsum(characters)
        last = self.start + self.length - 1
        counted: Index = total[last] - total[self.start] + characters[self.start]
        return counted


def tokens_of(block: Bytes) -> Tokens:
    """Cut a block into tokens."""
    ink = block > _BLANK
    change = np.flatnonzero(np.diff(ink, prepend=False, append=False))
    start = change[::2]
    newlines = np.flatnonzero(block == _NEWLINE)
    line: Index = np.searchsorted(newlines, start)
    first = np.r_[True, line[1:] != line[:-1]][: len(start)]
    return Tokens(block, start, change[1::2] - start, line, first)


def blocks_of(text: bytes) -> Iterator[tuple[Bytes, int, bool]]:
    """Yield blocks of a text, where each ends, and whether it ends with a line.

    Cut behind a line's end, else at a blank, else anywhere.
    """
    whole = np.frombuffer(text, np.uint8)
    start = 0
    while start < len(text):
        end = start + _BLOCK
        at_line = True
        if end < len(text):
            cut = text.rfind(b"\n", start, end) + 1
            at_line = cut > start
            cut = cut or text.rfind(b" ", start, end) + 1
            end = cut if cut > start else end
        yield whole[start:end], min(end, len(text)), at_line
        start = end


def usual_count(counts: Index) -> int | None:
    """Return how many values stand on each line that another one follows; None where that varies.

    `counts` holds, for so many values, the number of such lines.
    """
    total = int(counts.sum())
    usual = int(counts.argmax()) if total else 0
    return usual if total >= FEWEST_LINES and counts[usual] >= REGULAR * total else None


def counts_before_lines(tokens: Tokens, kind: Bytes) -> Index:
    """Return how many lines of nothing but values have 0, 1, 2 … of them and are followed by another such line."""
    number, plain = _plain_lines(tokens, kind)
    followed = plain[:-1] & plain[1:]
    return np.bincount(number[:-1][followed])


def _plain_lines(tokens: Tokens, kind: Bytes) -> tuple[Index, Mask]:
    """Return for each line with tokens how many values it has, and whether it has nothing else but comments."""
    row = np.cumsum(tokens.first) - 1
    number = np.bincount(row, kind == VALUE).astype(np.int64)
    plain: Mask = (number > 0) & (np.bincount(row, (kind == VALUE) | (kind == COMMENT)) == np.bincount(row))
    return number, plain


class StreamReader(ABC):
    """Reads a text; a format says what its tokens are, and reads the lines that are not plain.

    Attributes:
        into: what was found.
        index: of the next value, or None.
        word: bytes in a value.
        per_line: values on each line that another one follows, or None where that varies.
    """

    def __init__(self, index: int | None, word: int, per_line: int | None) -> None:
        self.into = Collector()
        self.index = index
        self.word = word
        self.per_line = per_line
        self.odd_lines = 0

    @abstractmethod
    def classify(self, tokens: Tokens) -> Bytes:
        """Return what each token is, uint8[n]."""

    @abstractmethod
    def values(self, tokens: Tokens, which: Index) -> tuple[Bytes, Bytes | None]:
        """Return the bytes of some values, uint8[k, word], and their known bits where not all are."""

    @abstractmethod
    def addresses(self, tokens: Tokens, which: Index) -> Index:
        """Return the indices that some address tokens give, int64[k]."""

    @abstractmethod
    def odd_line(self, number: int, line: bytes) -> None:
        """Read a line that is not plain."""

    @abstractmethod
    def odd_tokens(self, number: int, line: bytes, tokens: list[bytes]) -> None:
        """Read tokens of a line of data of which one at least is no value."""

    @abstractmethod
    def lose_way(self, number: int, line: bytes, reason: str) -> None:
        """Note that from here on no address is certain."""

    def read(self, text: bytes) -> Collector:
        """Read a cleaned text."""
        number = 1
        for block, end, at_line in blocks_of(text):
            self._block(block, number, text[end : end + 200] if at_line else b"", at_line=at_line)
            number += int(np.count_nonzero(block == _NEWLINE))
            if self.odd_lines > MOST_ODD_LINES:
                self.lose_way(number, b"", f"more than {MOST_ODD_LINES} odd lines: the rest was not read")
                break
        return self.into

    def _block(self, block: Bytes, number: int, following: bytes, *, at_line: bool) -> None:
        tokens = tokens_of(block)
        if not len(tokens.start):
            return
        kind = self.classify(tokens)
        newlines = np.flatnonzero(block == _NEWLINE)
        short = self._short_lines(tokens, kind, following, at_line=at_line)
        is_short = set(short.tolist())
        at = 0
        for line in np.union1d(tokens.line[kind == OTHER], short).tolist():
            first_token, stop = (int(np.searchsorted(tokens.line, line, side)) for side in ("left", "right"))
            self._bulk(tokens, kind, at, first_token, number)
            at = stop
            first = int(newlines[line - 1]) + 1 if line else 0
            last = int(newlines[line]) if line < len(newlines) else len(block)
            self.odd_lines += 1
            if self.odd_lines > MOST_ODD_LINES:
                return
            if line in is_short:
                if self.index is not None:
                    content = block[first : min(last, first + 400)].tobytes()
                    self.lose_way(
                        number + line, content, "a line of another length; what follows has no certain address"
                    )
            elif stop - first_token > LONG_LINE:
                self._long_line(tokens, kind, first_token, stop, number)
            else:
                self.odd_line(number + line, block[first:last].tobytes().strip())
        self._bulk(tokens, kind, at, len(kind), number)

    def _long_line(self, tokens: Tokens, kind: Bytes, at: int, stop: int, number: int) -> None:
        """Read a very long line with odd tokens: these one by one, all between them in bulk."""
        for i in (np.flatnonzero(kind[at:stop] == OTHER) + at).tolist():
            self._bulk(tokens, kind, at, i, number)
            at = i + 1
            self.odd_lines += 1
            if self.odd_lines > MOST_ODD_LINES:
                return
            start = int(tokens.start[i])
            token = tokens.block[start : start + min(int(tokens.length[i]), 400)].tobytes()
            self.odd_tokens(number + int(tokens.line[i]), token, [token])
        self._bulk(tokens, kind, at, stop, number)

    def _short_lines(self, tokens: Tokens, kind: Bytes, following: bytes, *, at_line: bool) -> Index:
        """Return the lines that should have as many values as the others, being followed by one, and have not."""
        if self.per_line is None:
            return np.zeros(0, np.int64)
        number, plain = _plain_lines(tokens, kind)
        last = at_line and bool(self._starts_plain(following))
        followed = plain & np.r_[plain[1:], last]
        lines: Index = tokens.line[tokens.first][followed & (number % self.per_line > 0)]
        return lines

    def _starts_plain(self, following: bytes) -> bool:
        """Tell whether the text behind a block starts with a value."""
        tokens = tokens_of(np.frombuffer(following, np.uint8))
        return len(tokens.start) > 0 and int(self.classify(tokens)[0]) == VALUE

    def _bulk(self, tokens: Tokens, kind: Bytes, at: int, stop: int, number: int) -> None:
        """Take the tokens from `at` to `stop`, all values and addresses."""
        if at >= stop:
            return
        places = np.flatnonzero(kind[at:stop] == ADDRESS) + at
        which = np.flatnonzero(kind[at:stop] == VALUE) + at
        base = np.r_[-1 if self.index is None else self.index, self.addresses(tokens, places)]
        values_before = np.r_[0, np.searchsorted(which, places)]
        section = np.searchsorted(places, which)
        index = base[section] + np.arange(len(which)) - values_before[section]
        beyond = (base[section] < 0) | ((index + 1) * self.word > ADDRESS_SPACE)
        last = int(base[-1]) + len(which) - int(values_before[-1])
        if beyond.any():
            self._leave(tokens, which[beyond], number)
            which, section, index = which[~beyond], section[~beyond], index[~beyond]
        self._take(tokens, which, section, index, number)
        self.index = last if base[-1] >= 0 and last * self.word <= ADDRESS_SPACE else None

    def _leave(self, tokens: Tokens, which: Index, number: int) -> None:
        """Note the lines of values that have no certain address."""
        newlines = np.flatnonzero(tokens.block == _NEWLINE)
        lines = np.unique(tokens.line[which]).tolist()
        for line in lines[:MOST_ODD_LINES]:
            first = int(newlines[line - 1]) + 1 if line else 0
            content = tokens.block[first : first + 200].tobytes().split(b"\n")[0]
            self.into.leave(number + line, content, "no certain address", damage=True)

    def _take(self, tokens: Tokens, which: Index, section: Index, index: Index, number: int) -> None:
        if not len(which):
            return
        data, known = self.values(tokens, which)
        line = tokens.line[which]
        new = np.flatnonzero(np.r_[True, (np.diff(line) != 0) | (np.diff(section) != 0)])
        count = np.diff(np.r_[new, len(which)]) * self.word
        self.into.extend(index[new] * self.word, count, line[new] + number, data, known)
