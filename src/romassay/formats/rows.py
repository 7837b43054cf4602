"""Lines of a dump as columns of numbers: what each line said, before addresses are judged against each other."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from romassay.formats.model import MAX_LEFT, Left
from romassay.formats.terminal import in_words

Index = npt.NDArray[np.int64]
Bytes = npt.NDArray[np.uint8]

CLEAN, DAMAGED, SHORT, CUT, STAR, MARK = range(6)
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
        edits: int64[n], characters that had to be lost, added or changed to make it a line of the layout.
        value: uint8[m].
        known: uint8[m], bits that were read; None where all were.
        reasons: by index of line, why bytes are unknown.
        foreign: int64[k], numbers of lines, not blank, that are none of the dump.
        damaged: int64[k], numbers of lines that are lines of the dump, but too damaged to be among the rows.
        left: what was not taken.
        left_total: how many lines that were.
    """

    line: Index
    address: Index
    start: Index
    count: Index
    state: npt.NDArray[np.uint8]
    checked: npt.NDArray[np.bool_]
    edits: Index
    value: Bytes
    known: Bytes | None
    reasons: dict[int, str]
    foreign: Index
    damaged: Index
    left: tuple[Left, ...]
    left_total: int

    def __len__(self) -> int:
        return len(self.line)


NO_ADDRESS, UNSURE_ADDRESS = -1, -2


@dataclass(slots=True)
class Gatherer:
    """Collects rows from the bulk path and the slow one, chunk by chunk."""

    blocks: list[tuple[Index, Index, Bytes, bool]] = field(default_factory=list)
    single: list[Row] = field(default_factory=list)
    left: list[Left] = field(default_factory=list)
    left_total: int = 0
    foreign: list[int] = field(default_factory=list)
    damaged: list[int] = field(default_factory=list)

    def bulk(self, line: Index, address: Index, data: Bytes, checked: bool) -> None:
        """Take clean lines: numbers, addresses, bytes uint8[lines, n]."""
        if len(line):
            self.blocks.append((line, address, data, checked))

    def leave(self, line: int, text: bytes, reason: str, *, damage: bool) -> None:
        """Note a line that was not taken."""
        self.left_total += 1
        (self.damaged if damage else self.foreign).append(line)
        if len(self.left) < MAX_LEFT or damage:
            self.left.append(Left(line, in_words(text), reason, damage))
        if len(self.left) > 2 * MAX_LEFT:
            self._trim()

    def _trim(self) -> None:
        """Keep damage before prompts and the like, the first lines before later ones."""
        self.left.sort(key=lambda item: (not item.damage, item.line))
        del self.left[MAX_LEFT:]

    def rows(self) -> Rows:
        """Return everything, in the order of lines."""
        self._trim()
        self.left.sort(key=lambda item: item.line)
        values = [data.ravel() for _, _, data, _ in self.blocks] + [
            np.frombuffer(r.values, np.uint8) for r in self.single
        ]
        value = np.concatenate(values) if values else np.zeros(0, np.uint8)
        line = _joined([b[0] for b in self.blocks], [r.line for r in self.single])
        address = _joined([b[1] for b in self.blocks], [_printed(r) for r in self.single])
        count = _joined(
            [np.full(len(b[0]), b[2].shape[1], np.int64) for b in self.blocks], [len(r.values) for r in self.single]
        )
        bulk = len(line) - len(self.single)
        state = np.zeros(len(line), np.uint8)
        state[bulk:] = [r.state for r in self.single]
        checked = np.zeros(len(line), np.bool_)
        checked[:bulk] = np.repeat([b[3] for b in self.blocks], [len(b[0]) for b in self.blocks]) if bulk else False
        checked[bulk:] = [r.checked for r in self.single]
        edits = np.zeros(len(line), np.int64)
        edits[bulk:] = [r.edits for r in self.single]
        start = np.cumsum(count) - count
        known = None
        if any(r.known is not None for r in self.single):
            known = np.full(len(value), 0xFF, np.uint8)
            for i, row in enumerate(self.single, bulk):
                if row.known is not None:
                    known[start[i] : start[i] + count[i]] = np.frombuffer(row.known, np.uint8)
        order = np.argsort(line, kind="stable")
        place = np.empty(len(order), np.int64)
        place[order] = np.arange(len(order))
        reasons = {int(place[i]): r.reason for i, r in enumerate(self.single, bulk) if r.reason}
        return Rows(
            line=line[order],
            address=address[order],
            start=start[order],
            count=count[order],
            state=state[order],
            checked=checked[order],
            edits=edits[order],
            value=value,
            known=known,
            reasons=reasons,
            foreign=np.array(sorted(self.foreign), np.int64),
            damaged=np.array(sorted(self.damaged), np.int64),
            left=tuple(self.left),
            left_total=self.left_total,
        )


def _printed(row: Row) -> int:
    if not row.sure:
        return UNSURE_ADDRESS
    return NO_ADDRESS if row.address is None else row.address


def _joined(blocks: Sequence[Index], single: Sequence[int]) -> Index:
    return np.concatenate([*blocks, np.array(single, np.int64)])
