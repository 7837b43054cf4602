"""A place where readers that go token by token, or block by block, put what they find."""

from __future__ import annotations

from array import array
from dataclasses import dataclass, field

import numpy as np

from romassay.formats.model import MAX_LEFT, Hints, Left, Parsed
from romassay.formats.records.left_over import shorten
from romassay.formats.records.model import MAX_DAMAGED
from romassay.formats.records.tracks import Lost, Track, parsed_from
from romassay.reading import Bytes, Index, Unit

MOST_RUNS = 1 << 21
"""Runs that are told apart by line. Behind so many of them, those whose addresses go on become one: memory counts."""


@dataclass(slots=True)
class Collector:
    """Bytes, ends, losses and other lines in the order of a log."""

    first: array[int] = field(default_factory=lambda: array("q"))
    count: array[int] = field(default_factory=lambda: array("q"))
    line: array[int] = field(default_factory=lambda: array("q"))
    value: bytearray = field(default_factory=bytearray)
    known: bytearray | None = None
    ends: array[int] = field(default_factory=lambda: array("q"))
    end_lines: array[int] = field(default_factory=lambda: array("q"))
    lost: list[Lost] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)
    left_total: int = 0

    def take(self, line: int, first: int, data: bytes, known: bytes | None = None) -> None:
        """Add bytes from an address on; `known` has the bits that were seen, None where all were.

        Bytes that go on where those before them on the same line ended are put to these.
        """
        self._add_bytes(data, known)
        if self.line and self.line[-1] == line and self.first[-1] + self.count[-1] == first:
            self.count[-1] += len(data)
            return
        self.first.append(first)
        self.count.append(len(data))
        self.line.append(line)

    def extend(self, first: Index, count: Index, line: Index, data: Bytes, known: Bytes | None) -> None:
        """Add many runs at once: int64[n] each, and their bytes in a row."""
        self._add_bytes(data.tobytes(), None if known is None else known.tobytes())
        if len(self.first) > MOST_RUNS:
            new = np.flatnonzero(np.r_[True, first[1:] != (first + count)[:-1]])
            first, count, line = first[new], np.add.reduceat(count, new), line[new]
            if self.first[-1] + self.count[-1] == first[0]:
                self.count[-1] += int(count[0])
                first, count, line = first[1:], count[1:], line[1:]
        self.first.frombytes(first.astype(np.int64).tobytes())
        self.count.frombytes(count.astype(np.int64).tobytes())
        self.line.frombytes(line.astype(np.int64).tobytes())

    def _add_bytes(self, data: bytes, known: bytes | None) -> None:
        if known is not None and self.known is None:
            self.known = bytearray(b"\xff" * len(self.value))
        self.value += data
        if self.known is not None:
            self.known += b"\xff" * len(data) if known is None else known

    def end(self, line: int) -> None:
        """Note an end record."""
        self.ends.append(len(self.first))
        self.end_lines.append(line)

    def lose(self, line: int, reason: str, claim: tuple[int, int] | None = None) -> None:
        """Note bytes that were not taken."""
        if len(self.lost) < MAX_DAMAGED:
            self.lost.append(Lost(len(self.first), line, reason, claim))

    def leave(self, line: int, text: bytes, reason: str, *, damage: bool) -> None:
        """Note a line, or the rest of one, that was not taken."""
        if self.left and self.left[-1].line == line:
            return
        self.left_total += 1
        if len(self.left) < MAX_LEFT:
            self.left.append(Left(line, shorten(text[:400].decode("ascii", "replace")), reason, damage=damage))

    def parsed(self, hints: Hints, unit: Unit, layout: str = "") -> Parsed:
        """Return the readings; BadInput where there is no data."""
        track = Track(
            first=np.frombuffer(self.first, np.int64),
            count=np.frombuffer(self.count, np.int64),
            line=np.frombuffer(self.line, np.int64),
            value=np.frombuffer(self.value, np.uint8),
            known=None if self.known is None else np.frombuffer(self.known, np.uint8),
            ends=np.frombuffer(self.ends, np.int64),
            end_lines=np.frombuffer(self.end_lines, np.int64),
            lost=tuple(self.lost),
        )
        return parsed_from(track, hints, unit, left=self.left, left_total=self.left_total, layout=layout)
