"""Lines of a dump as columns of numbers: what each line said, before addresses are judged against each other."""

from __future__ import annotations

from array import array
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from romassay.formats.model import MAX_LEFT, Left
from romassay.formats.text.terminal import in_words
from romassay.reading import Bytes, Index, Mask

T = TypeVar("T", bound=np.generic)

CLEAN, DAMAGED, SHORT, CUT, STAR, MARK = range(6)
"""State of a line: prints back just as it stands; put together from what is certain; has fewer cells; breaks off; says
that lines like the one before were left out; is an address and nothing else."""
OVERLONG = 8
"""Characters by which a line's text column is too long: another line stands behind it, its line end lost."""


NO_REASON = ""
WRONG_SUM = "the sum of the line is wrong"
NO_SUM = "the sum of the line can't be read"
NOT_A_DIGIT = "a character is no digit"
LOST_COLUMNS = "characters are missing or too many"
TOO_LARGE = "a number is too large for its cell"
CONTRADICTED = "the text beside it says otherwise"
REASONS = (NO_REASON, WRONG_SUM, NO_SUM, NOT_A_DIGIT, LOST_COLUMNS, TOO_LARGE, CONTRADICTED)
"""Why bytes of a line are unknown; columns hold the index."""
CODES = {reason: code for code, reason in enumerate(REASONS)}
NO_TEXT = 0
"""Stands for the character of a byte beside which no text stands, or none that can be told."""


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
        shown: the bytes as the text column shows them, one character each; None where there is none.
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
    shown: bytes | None = None


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
        shown: uint8[m], the character beside each byte, `NO_TEXT` for none; None where there is no text column.
        reason: uint8[n], why bytes are unknown: index into `REASONS`.
        foreign: int64[k], numbers of lines, not blank, that are none of the dump.
        damaged: int64[k], numbers of lines that are lines of the dump, but too damaged to be among the rows.
        suspect: int64[k], those of foreign lines that are about as long as a line of the dump.
        left: what was not taken.
        left_total: how many lines that were.
        ink: characters of all lines, also of those that were not taken; without their ends.
        passed_over: lines that were not looked at, being behind too many damaged ones; they count as damaged.
    """

    line: Index
    address: Index
    start: Index
    count: Index
    state: Bytes
    checked: Mask
    edits: npt.NDArray[np.int32]
    length: npt.NDArray[np.int32]
    value: Bytes
    known: Bytes | None
    shown: Bytes | None
    reason: Bytes
    foreign: Index
    damaged: Index
    suspect: Index
    left: tuple[Left, ...]
    left_total: int
    ink: int
    passed_over: int = 0

    def __len__(self) -> int:
        return len(self.line)


NO_ADDRESS, UNSURE_ADDRESS = -1, -2


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Some lines of data, as columns; a number instead of a column counts for all of them.

    Attributes:
        value: uint8[m], the bytes of the lines one after the other.
        known: uint8[m], the bits of each that were read; None for all.
        shown: uint8[m], the character beside each, `NO_TEXT` for none; None where none has one.

    The others are as in `Rows`.
    """

    line: Index
    address: Index
    count: int | Index
    value: Bytes
    known: Bytes | None
    length: int | npt.NDArray[np.generic]
    state: int | npt.NDArray[np.generic] = CLEAN
    checked: bool | npt.NDArray[np.generic] = False
    edits: int | npt.NDArray[np.generic] = 0
    reason: int | npt.NDArray[np.generic] = 0
    shown: Bytes | None = None

    def __len__(self) -> int:
        return len(self.line)


def _block_of(rows: Sequence[Row], lengths: Sequence[int]) -> Block:
    """Return single lines as columns."""
    count = np.array([len(row.values) for row in rows], np.int64)
    known = None
    if any(row.known is not None for row in rows):
        known = _flat(b"\xff" * len(row.values) if row.known is None else row.known for row in rows)
    shown = None
    if any(row.shown is not None for row in rows):
        shown = _flat(bytes(len(row.values)) if row.shown is None else row.shown for row in rows)
    return Block(
        line=np.array([row.line for row in rows], np.int64),
        address=np.array([_printed(row) for row in rows], np.int64),
        count=count,
        value=_flat(row.values for row in rows),
        known=known,
        length=np.array(lengths, np.int32),
        state=np.array([row.state for row in rows], np.uint8),
        checked=np.array([row.checked for row in rows], np.bool_),
        edits=np.array([row.edits for row in rows], np.int32),
        reason=np.array([CODES[row.reason] for row in rows], np.uint8),
        shown=shown,
    )


def _flat(texts: Iterable[bytes]) -> Bytes:
    return np.frombuffer(b"".join(texts), np.uint8)


def _printed(row: Row) -> int:
    if not row.sure:
        return UNSURE_ADDRESS
    return NO_ADDRESS if row.address is None else row.address


def _column(blocks: Sequence[Block], of: Callable[[Block], object], kind: type[T]) -> npt.NDArray[T]:
    """Return a column of blocks one after the other."""
    total = sum(map(len, blocks))
    same = {value if isinstance(value, int) else None for value in map(of, blocks)}
    if len(same) == 1 and None not in same:
        value = same.pop()
        return np.full(total, value, kind) if value else np.zeros(total, kind)
    column = np.empty(total, kind)
    at = 0
    for block in blocks:
        column[at : at + len(block)] = of(block)
        at += len(block)
    return column


def _of_bytes(blocks: Sequence[Block], of: Callable[[Block], Bytes | None], usual: int) -> Bytes | None:
    """Return what is noted of each byte of blocks, uint8[m], the usual where nothing is; None if it never is."""
    if all(of(block) is None for block in blocks):
        return None
    noted = np.full(sum(len(block.value) for block in blocks), usual, np.uint8)
    at = 0
    for block in blocks:
        own = of(block)
        if own is not None:
            noted[at : at + len(block.value)] = own
        at += len(block.value)
    return noted


def _known(blocks: Sequence[Block]) -> Bytes | None:
    return _of_bytes(blocks, lambda b: b.known, 0xFF)


def _shown(blocks: Sequence[Block]) -> Bytes | None:
    return _of_bytes(blocks, lambda b: b.shown, NO_TEXT)


def joined(blocks: Sequence[Block]) -> Block:
    """Return blocks as one, in the order of lines."""
    line = _column(blocks, lambda b: b.line, np.int64)
    count = _column(blocks, lambda b: b.count, np.int64)
    whole = Block(
        line=line,
        address=_column(blocks, lambda b: b.address, np.int64),
        count=count,
        value=np.concatenate([b.value for b in blocks]),
        known=_known(blocks),
        length=_column(blocks, lambda b: b.length, np.int32),
        state=_column(blocks, lambda b: b.state, np.uint8),
        checked=_column(blocks, lambda b: b.checked, np.bool_),
        edits=_column(blocks, lambda b: b.edits, np.int32),
        reason=_column(blocks, lambda b: b.reason, np.uint8),
        shown=_shown(blocks),
    )
    return whole if (line[1:] > line[:-1]).all() else _sorted(whole, count)


def _sorted(block: Block, count: Index) -> Block:
    """Return a block that has nothing but columns in the order of lines, its bytes too."""
    order = np.argsort(block.line, kind="stable")
    start = (np.cumsum(count) - count)[order]
    count = count[order]
    place = np.arange(int(count.sum())) + np.repeat(start - (np.cumsum(count) - count), count)
    columns = {name: getattr(block, name)[order] for name in ("line", "address", "length", "state", "checked", "edits")}
    return replace(
        block,
        **columns,
        reason=np.asarray(block.reason)[order],
        count=count,
        value=block.value[place],
        known=None if block.known is None else block.known[place],
        shown=None if block.shown is None else block.shown[place],
    )


@dataclass(slots=True)
class Gatherer:
    """Collects rows from the bulk path and the slow one, chunk by chunk."""

    blocks: list[Block] = field(default_factory=list)
    parts: list[Block] = field(default_factory=list)
    single: list[Row] = field(default_factory=list)
    lengths: list[int] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)
    left_total: int = 0
    foreign: array[int] = field(default_factory=lambda: array("q"))
    damaged: array[int] = field(default_factory=lambda: array("q"))
    suspect: array[int] = field(default_factory=lambda: array("q"))
    passed_over: int = 0
    kept_to: int = 1 << 62
    """Line behind which no more lines that were left are kept, not even damaged ones."""

    def bulk(
        self, line: Index, address: Index, data: Bytes, length: int | Index, checked: bool, shown: Bytes | None
    ) -> None:
        """Take clean lines: numbers, addresses, bytes uint8[lines, n], their lengths, and the text beside them."""
        text = None if shown is None else shown.ravel()
        self.take(Block(line, address, data.shape[1], data.ravel(), None, length, checked=checked, shown=text))

    def take(self, block: Block) -> None:
        """Take lines of the chunk."""
        if len(block):
            self.parts.append(block)

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
        if line < self.kept_to and (len(self.left) < MAX_LEFT or damage):
            self.left.append(Left(line, in_words(text), reason, damage))
        if len(self.left) > 2 * MAX_LEFT:
            self._trim()

    def pass_over(self, line: Index) -> None:
        """Note lines that were not looked at."""
        self.left_total += len(line)
        self.passed_over += len(line)
        self.damaged.frombytes(line.astype(np.int64).tobytes())

    def _trim(self) -> None:
        """Keep damage before prompts and the like, the first lines before later ones."""
        self.left.sort(key=lambda item: (not item.damage, item.line))
        del self.left[MAX_LEFT:]
        if len(self.left) == MAX_LEFT and self.left[-1].damage:
            self.kept_to = self.left[-1].line

    def end_chunk(self) -> None:
        """Put the lines of a chunk in order: all that come later stand behind it."""
        in_order = len(self.parts) == 1 and not self.single
        if self.single:
            self.parts.append(_block_of(self.single, self.lengths))
            self.single.clear()
            self.lengths.clear()
        if self.parts:
            self.blocks.append(self.parts[0] if in_order else joined(self.parts))
            self.parts.clear()

    def rows(self, ink: int) -> Rows:
        """Return everything, in the order of lines, and keep nothing; `ink` counts the characters of all lines."""
        self._trim()
        self.left.sort(key=lambda item: item.line)
        blocks = self.blocks
        count = _column(blocks, lambda b: b.count, np.int64)
        rows = Rows(
            line=_column(blocks, lambda b: b.line, np.int64),
            address=_column(blocks, lambda b: b.address, np.int64),
            start=np.cumsum(count) - count,
            count=count,
            state=_column(blocks, lambda b: b.state, np.uint8),
            checked=_column(blocks, lambda b: b.checked, np.bool_),
            edits=_column(blocks, lambda b: b.edits, np.int32),
            length=_column(blocks, lambda b: b.length, np.int32),
            value=np.concatenate([np.zeros(0, np.uint8), *(b.value for b in blocks)]),
            known=_known(blocks),
            shown=_shown(blocks),
            reason=_column(blocks, lambda b: b.reason, np.uint8),
            foreign=np.sort(np.array(self.foreign, np.int64)),
            damaged=np.sort(np.array(self.damaged, np.int64)),
            suspect=np.sort(np.array(self.suspect, np.int64)),
            left=tuple(self.left),
            left_total=self.left_total,
            ink=ink,
            passed_over=self.passed_over,
        )
        blocks.clear()
        return rows


_OF_A_ROW = ("line", "address", "start", "count", "state", "checked", "edits", "length", "reason")


def subset(rows: Rows, chosen: Mask) -> Rows:
    """Return the rows that are marked in a bool[n]."""
    return replace(rows, **{name: getattr(rows, name)[chosen] for name in _OF_A_ROW})
