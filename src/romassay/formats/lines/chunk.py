"""A chunk of whole lines of a text: where each begins and ends, and which are not taken yet."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from romassay.formats.lines.fixed_columns import CLASSES
from romassay.reading import Bytes, Index, Mask

_CHUNK = 1 << 18
LINE_END = ord("\n")
_IS_INK = np.array([not bytes([c]).isspace() for c in range(256)])


@dataclass(frozen=True)
class Chunk:
    """Lines of a text that stand one after the other.

    Attributes:
        first_line: number of the first.
        text: all of them.
        starts, ends: int64[lines], where each begins in `text`, and where it ends.
        left: bool[lines], those that nothing has taken yet; who takes lines strikes them here.
        unfinished: the last line has no end: the log may be cut there, and it is none for the bulk.
    """

    first_line: int
    text: bytes
    starts: Index
    ends: Index
    left: Mask
    unfinished: bool

    @cached_property
    def classes(self) -> Bytes:
        """The value of each character that is a digit, and a class of its own for each other one."""
        return np.frombuffer(self.text.translate(CLASSES), np.uint8)

    def line(self, i: int) -> bytes:
        """Return a line without its end."""
        return self.text[self.starts[i] : self.ends[i]]

    def left_with_ink(self) -> Index:
        """Return those lines left, the unfinished one too, that are not blank."""
        which = np.flatnonzero(self.left)
        if self.unfinished:
            which = np.append(which, len(self.left) - 1)
        if not len(which):
            return which
        before = np.concatenate([[0], np.cumsum(_IS_INK[np.frombuffer(self.text, np.uint8)])])
        return which[before[self.ends[which]] > before[self.starts[which]]]


def end_of_chunk(text: bytes, at: int) -> int:
    """Return where a chunk of whole lines ends that starts at a place; a file's last line may lack its end."""
    return text.rfind(b"\n", at, at + _CHUNK) + 1 or text.find(b"\n", at + _CHUNK) + 1 or len(text)


def chunk_of(first_line: int, text: bytes) -> Chunk:
    """Return lines with their places."""
    ends = np.flatnonzero(np.frombuffer(text, np.uint8) == LINE_END)
    whole = text.endswith(b"\n")
    if not whole:
        ends = np.append(ends, len(text))
    starts = np.concatenate([[0], ends[:-1] + 1])
    left = ends > starts
    unfinished = not whole and bool(left[-1])
    left[-1:] &= not unfinished
    return Chunk(first_line, text, starts, ends, left, unfinished)
