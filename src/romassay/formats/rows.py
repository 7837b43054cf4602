"""Lines of a dump as columns of numbers: what each line said, before addresses are judged against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from romassay.formats.model import MAX_LEFT, Left
from romassay.formats.terminal import in_words

Index = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]
T = TypeVar("T", bound=np.generic)

CLEAN, DAMAGED, SHORT, CUT, STAR, MARK = range(6)
OVERLONG = 8
"""Characters by which a line's text column is too long: another line stands behind it, its line end lost."""
"""State of a line: prints back just as it stands; put together from what is certain; has fewer cells; breaks off; says
that lines like the one before were left out; is an address and nothing else."""


@dataclass(frozen=True, slots=True)
class Row:
    """One line of data from the slow path.

    Attributes:
        line: its number, from 1.
        address: byte address as printed, or None where the line has none.
        sure: False where an address stands there but can't be read with certainty.
        values: bytes in the order of addresses.
        known: the bits of each that were read; None for all.
        state: CLEAN, DAMAGED, SHORT, CUT, STAR or MARK.
        checked: True where a sum over the line was right.
        reason: why bytes are unknown, in words.
        edits: characters that had to be lost, added or changed to make it a line of the layout.
    """

    line: int
    address: int | None
    values: bytes
    known: bytes | None = None
    sure: bool = True
    state: int = CLEAN
    checked: bool = False
    reason: str = ""
    edits: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Rows:
    """All lines of data, in the order of lines.

    Attributes:
        line: int64[n], number in the source.
        address: int64[n], byte address as printed; -1 for a line that has none, -2 for one that can't be read.
        start: int64[n], where its bytes start in `value`.
        count: int64[n], how many there are.
        state: uint8[n], CLEAN, DAMAGED, SHORT, CUT, STAR or MARK.
        checked: bool[n], a sum over the line was right.
        edits: int32[n], characters that had to be lost, added or changed to make it a line of the layout.
        length: int32[n], characters of the line.
        value: uint8[m].
        known: uint8[m], bits that were read; None where all were.
        reasons: by index of line, why bytes are unknown.
        foreign: int64[k], numbers of lines, not blank, that are none of the dump.
        damaged: int64[k], numbers of lines that are lines of the dump, but too damaged to be among the rows.
        suspect: int64[k], those of foreign lines that are about as long as a line of the dump.
        left: what was not taken.
        left_total: how many lines that were.
        ink: characters of all lines, also of those that were not taken; without their ends.
    """

    line: Index
    address: Index
    start: Index
    count: Index
    state: npt.NDArray[np.uint8]
    checked: npt.NDArray[np.bool_]
    edits: npt.NDArray[np.int32]
    length: npt.NDArray[np.int32]
    value: Bytes
    known: Bytes | None
    reasons: dict[int, str]
    foreign: Index
    damaged: Index
    suspect: Index
    left: tuple[Left, ...]
    left_total: int
    ink: int

    def __len__(self) -> int:
        return len(self.line)


NO_ADDRESS, UNSURE_ADDRESS = -1, -2


@dataclass(frozen=True, slots=True, eq=False)
class _Block:
    """Clean lines: numbers, addresses, bytes uint8[lines, n], lengths, and whether a sum over each was right."""

    line: Index
    address: Index
    data: Bytes
    length: npt.NDArray[np.int32]
    checked: bool


@dataclass(slots=True)
class Gatherer:
    """Collects rows from the bulk path and the slow one, chunk by chunk."""

    blocks: list[_Block] = field(default_factory=list)
    single: list[Row] = field(default_factory=list)
    lengths: list[int] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)
    left_total: int = 0
    foreign: list[int] = field(default_factory=list)
    damaged: list[int] = field(default_factory=list)
    suspect: list[int] = field(default_factory=list)

    def bulk(self, line: Index, address: Index, data: Bytes, length: int | Index, checked: bool) -> None:
        """Take clean lines: numbers, addresses, bytes uint8[lines, n], and their lengths."""
        if len(line):
            lengths = np.full(len(line), length, np.int32) if isinstance(length, int) else length.astype(np.int32)
            self.blocks.append(_Block(line, address, data, lengths, checked))

    def one(self, row: Row, length: int) -> None:
        """Take a line from the slow path, and its length."""
        self.single.append(row)
        self.lengths.append(length)

    def leave(self, line: int, text: bytes, reason: str, *, damage: bool, suspect: bool = False) -> None:
        """Note a line that was not taken."""
        self.left_total += 1
        (self.damaged if damage else self.foreign).append(line)
        if suspect:
            self.suspect.append(line)
        if len(self.left) < MAX_LEFT or damage:
            self.left.append(Left(line, in_words(text), reason, damage))
        if len(self.left) > 2 * MAX_LEFT:
            self._trim()

    def _trim(self) -> None:
        """Keep damage before prompts and the like, the first lines before later ones."""
        self.left.sort(key=lambda item: (not item.damage, item.line))
        del self.left[MAX_LEFT:]

    def rows(self, ink: int) -> Rows:
        """Return everything, in the order of lines, and keep nothing; `ink` counts the characters of all lines."""
        self._trim()
        self.left.sort(key=lambda item: item.line)
        blocks, single = self.blocks, self.single
        line = _joined([b.line for b in blocks], [r.line for r in single])
        count = _joined([np.full(len(b.line), b.data.shape[1]) for b in blocks], [len(r.values) for r in single])
        bulk = len(line) - len(single)
        checked = [np.zeros(0, np.bool_), *(np.full(len(b.line), b.checked) for b in blocks)]
        start = np.cumsum(count) - count
        rows = Rows(
            line=line,
            address=_joined([b.address for b in blocks], [_printed(r) for r in single]),
            start=start,
            count=count,
            state=_joined([np.zeros(bulk, np.uint8)], [r.state for r in single]),
            checked=_joined(checked, [r.checked for r in single]),
            edits=_joined([np.zeros(bulk, np.int32)], [r.edits for r in single]),
            length=_joined([np.zeros(0, np.int32), *(b.length for b in blocks)], self.lengths),
            value=np.concatenate([np.zeros(0, np.uint8), *(b.data.ravel() for b in blocks), *map(_values, single)]),
            known=self._known(start[bulk:], int(count.sum())),
            reasons={i: r.reason for i, r in enumerate(single, bulk) if r.reason},
            foreign=np.array(sorted(self.foreign), np.int64),
            damaged=np.array(sorted(self.damaged), np.int64),
            suspect=np.array(sorted(self.suspect), np.int64),
            left=tuple(self.left),
            left_total=self.left_total,
            ink=ink,
        )
        blocks.clear()
        single.clear()
        return rows if (line[1:] > line[:-1]).all() else _in_order(rows)

    def _known(self, start: Index, size: int) -> Bytes | None:
        """Return the bits that were read, uint8[size], where not all were."""
        if all(row.known is None for row in self.single):
            return None
        known = np.full(size, 0xFF, np.uint8)
        for at, row in zip(start.tolist(), self.single, strict=True):
            if row.known is not None:
                known[at : at + len(row.known)] = np.frombuffer(row.known, np.uint8)
        return known


def _in_order(rows: Rows) -> Rows:
    """Return rows in the order of lines; bytes stay where they are."""
    order = np.argsort(rows.line, kind="stable")
    place = np.empty(len(order), np.int64)
    place[order] = np.arange(len(order))
    return subset(rows, order, place)


def subset(rows: Rows, chosen: npt.NDArray[np.generic], place: Index) -> Rows:
    """Return some rows, or all in another order.

    Args:
        rows: to choose from.
        chosen: indices, or bool[n].
        place: int64[n], where each row stands afterwards; below 0 where it is not chosen.
    """
    return replace(
        rows,
        line=rows.line[chosen],
        address=rows.address[chosen],
        start=rows.start[chosen],
        count=rows.count[chosen],
        state=rows.state[chosen],
        checked=rows.checked[chosen],
        edits=rows.edits[chosen],
        length=rows.length[chosen],
        reasons={int(place[i]): reason for i, reason in rows.reasons.items() if place[i] >= 0},
    )


def _values(row: Row) -> Bytes:
    return np.frombuffer(row.values, np.uint8)


def _printed(row: Row) -> int:
    if not row.sure:
        return UNSURE_ADDRESS
    return NO_ADDRESS if row.address is None else row.address


def _joined(blocks: Sequence[npt.NDArray[T]], single: Sequence[int]) -> npt.NDArray[T]:
    """Return columns of blocks one after the other, and behind them those of single lines."""
    kind = blocks[0].dtype if blocks else np.dtype(np.int64)
    return np.concatenate([*blocks, np.array(single, kind)])
