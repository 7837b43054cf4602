"""The marks of a block of text, what stands behind each, and what the blocks gave so far."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from romassay.formats.model import Left
from romassay.formats.records.digits import hex_values
from romassay.formats.records.model import GOOD, Damaged, Grammar, Scan
from romassay.reading import Bytes, Index, Mask

TAB, NEWLINE, RETURN, BLANK = 9, 10, 13, 32


@dataclass(slots=True)
class Gathered:
    """What the blocks gave so far."""

    brief: bool
    columns: list[tuple[Index | Bytes, ...]] = field(default_factory=list)
    values: list[Bytes] = field(default_factory=list)
    records: int = 0
    newlines: int = 0
    damaged: list[Damaged] = field(default_factory=list)
    damaged_total: int = 0
    left: list[Left] = field(default_factory=list)
    left_total: int = 0
    left_line: int = 0
    ink: int = 0
    taken: int = 0
    torn: int = 0

    def finish(self) -> Scan:
        """Return all that the blocks gave."""
        empty = np.zeros(0, np.int64)
        columns = list(zip(*self.columns, strict=True)) or [(empty,)] * 4
        line, kind, address, count = (np.concatenate(c) for c in columns)
        value = np.concatenate(self.values) if self.values else np.zeros(0, np.uint8)
        return Scan(
            line=line,
            kind=kind.astype(np.uint8, copy=False),
            address=address,
            count=count,
            value=value,
            damaged=tuple(self.damaged),
            damaged_total=self.damaged_total,
            left=tuple(self.left),
            left_total=self.left_total,
            lines=self.newlines + 1,
            ink=self.ink,
            taken=self.taken,
            torn=self.torn,
        )


@dataclass(slots=True)
class Marks:
    """The marks of one block, and what stands behind each: n marks.

    Attributes:
        block: the text, uint8.
        at: int64[n], where the mark stands.
        digits: int64[n], hex digits behind it.
        line: int64[n], in the source.
        verdict: uint8[n].
        kind, address, count: as in `Decoded`, where the length is right.
        groups: (which marks, their pairs as bytes, column of the first data byte) for each length.
    """

    block: Bytes
    at: Index
    digits: Index
    line: Index
    verdict: Bytes
    kind: Bytes
    address: Index
    count: Index
    groups: list[tuple[Index, Bytes, int]] = field(default_factory=list)

    @property
    def good(self) -> Mask:
        """Tell which marks begin good records: bool[n]."""
        good: Mask = self.verdict == GOOD
        return good


def wanted_digits(block: Bytes, at: Index, grammar: Grammar) -> Index:
    """Return how many digits records want by their length field; `at` is where their marks stand."""
    place = at + (1 + grammar.lead + 2 * grammar.length_at)
    length = hex_values(np.stack((block[place], block[place + 1]), axis=1))[:, 0]
    return grammar.lead + 2 * grammar.pairs(length.astype(np.int64))
