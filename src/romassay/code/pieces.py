"""What is no code, divided: tables of pointers, texts, padding, other bytes."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from romassay.code.flow import Followed
from romassay.code.texts import LEADING, TRAILING, is_wordlike, texts_begin
from romassay.cpus.decode import Decoder
from romassay.cpus.model import ENDS, Cpu

_LEAST_TEXT = 4
_LEAST_POINTERS = 3
_LEAST_PADDING = 32
_TABLES_OF_RETURNS = ("6502", "65C02")
"""CPUs whose return goes on one past the address on the stack: tables of addresses less one are usual with them."""


@dataclass(frozen=True, slots=True)
class Piece:
    """A run of data: its offsets, what it was taken for, and the places its words point at, each so much lower.

    `texts` are those of the places that are texts and no code.
    """

    first: int
    end: int
    kind: str
    targets: tuple[int, ...] = ()
    less: int = 0
    texts: frozenset[int] = frozenset()


@dataclass(frozen=True, slots=True)
class Guess:
    """What the likeness of code says: the offsets of instructions, and of those with which a routine begins.

    `texts` are the (first, end) of what is text beyond doubt.
    """

    starts: tuple[int, ...] = ()
    heads: frozenset[int] = frozenset()
    texts: tuple[tuple[int, int], ...] = ()


def _free(data: bytes, followed: Followed) -> list[tuple[int, int]]:
    """Return the runs of offsets that no instruction covers."""
    runs: list[tuple[int, int]] = []
    at = 0
    for offset, instruction in followed.instructions.items():
        if offset > at:
            runs.append((at, offset))
        at = offset + instruction.size
    if at < len(data):
        runs.append((at, len(data)))
    return runs


def data_references(origin: int, followed: Followed, size: int) -> Iterator[tuple[int, int]]:
    """Yield (offset of an instruction, offset to which its word or data address points)."""
    for at, instruction in followed.instructions.items():
        for value in instruction.values:
            if value.kind in ("word", "data") and 0 <= value.number - origin < size:
                yield at, value.number - origin


def data_targets(origin: int, followed: Followed, size: int) -> set[int]:
    """Return the offsets to which an instruction's word or data address points."""
    return {target for _, target in data_references(origin, followed, size)}


def pointer_tables(decoder: Decoder, followed: Followed, guess: Guess) -> list[Piece]:
    """Return the tables of pointers: words that lead to code or to free bytes."""
    cpu, data, origin = decoder.cpu, decoder.data, decoder.origin
    order: Literal["big", "little"] = "big" if cpu.big_endian else "little"
    named = data_targets(origin, followed, len(data))
    tables = list(_vectors(cpu, data, origin, followed))
    tables += [Piece(at, at + 2, "pointers", (target,)) for at, target in followed.inline.items()]
    begins = _Begins(decoder, followed, guess)
    leads = _leads(data, origin, order, begins.heads)
    shifts = (0, 1) if cpu.name in _TABLES_OF_RETURNS else (0,)
    for first, end in _free(data, followed):
        for start in sorted(target for target in named if first <= target < end):
            stop = min([at for at in named if start < at < end and (at - start) % 2 == 0], default=end)
            words = [int.from_bytes(data[at : at + 2], order) - origin for at in range(start, stop - 1, 2)]
            found = max((_led(words, shift, start, begins) for shift in shifts), key=lambda table: table[0])
            _, shift, targets = found
            if len(targets) >= _LEAST_POINTERS and len(set(targets)) > 1:
                tables.append(begins.table(start, targets, shift))
        tables += _unnamed(data, origin, first, end, order, begins, leads)
    return _apart(sorted(tables, key=lambda table: table.first))


_BLANK_WORDS = (0x0000, 0xFFFF)
_SPACE = 0x10000


def _unnamed(
    data: bytes, origin: int, first: int, end: int, order: Literal["big", "little"], begins: _Begins, leads: bytes
) -> Iterable[Piece]:
    """Yield the tables that nothing is seen to refer to: runs of words that all lead to the beginning of a routine."""
    at = leads.find(1, first, end - 1)
    while at >= 0:
        stop = at
        while stop < end - 1 and leads[stop]:
            stop += 2
        targets = tuple(int.from_bytes(data[here : here + 2], order) - origin for here in range(at, stop, 2))
        if len(targets) >= _LEAST_POINTERS and len(set(targets)) > 1:
            yield begins.table(at, targets)
            at = leads.find(1, stop, end - 1)
        else:
            at = leads.find(1, at + 1, end - 1)


def _leads(data: bytes, origin: int, order: Literal["big", "little"], heads: Iterable[int]) -> bytes:
    """Return for each offset 1 where a word stands that leads to where something begins."""
    raw = np.frombuffer(data, np.uint8).astype(np.int64)
    words = raw[:-1] | raw[1:] << 8 if order == "little" else raw[:-1] << 8 | raw[1:]
    begun = np.zeros(_SPACE + 1, bool)
    begun[[origin + at for at in heads if 0 <= origin + at < _SPACE]] = True
    begun[list(_BLANK_WORDS)] = False
    return bytes(begun[words]) + b"\0"


def _led(words: Sequence[int], shift: int, start: int, begins: _Begins) -> tuple[int, int, tuple[int, ...]]:
    """Return how many of a table's words, each so much higher, lead to a routine, and those that lead to code."""
    targets: list[int] = []
    for word in words:
        end = start + 2 * len(targets) + 2
        if not begins.may(word + shift) or any(start <= target < end for target in (*targets, word + shift)):
            break
        targets.append(word + shift)
    behind = {start + 2 * len(targets), *(begins.behind(target) for target in targets)}
    return sum(target in begins.heads or target in behind for target in targets), shift, tuple(targets)


def _vectors(cpu: Cpu, data: bytes, origin: int, followed: Followed) -> Iterable[Piece]:
    """Yield the vectors at the top of memory, or where the image's end answers there too, that lead to code."""
    covered = {at for start, each in followed.instructions.items() for at in range(start, start + each.size)}
    for _, address in cpu.vectors:
        at = len(data) - (0x10000 - address)
        target = int.from_bytes(data[at : at + 2], "big" if cpu.big_endian else "little") - origin if at >= 0 else -1
        if target in followed.instructions and at not in covered and at + 1 not in covered:
            yield Piece(at, at + 2, "pointers", (target,))


def _apart(tables: Iterable[Piece]) -> list[Piece]:
    kept: list[Piece] = []
    for table in tables:
        if not kept or table.first >= kept[-1].end:
            kept.append(table)
    return kept


_LOOK_AHEAD = 4
_LONGEST = 64
"""Instructions within which a routine that a table names is looked through for its end."""


class _Begins:
    """Tells where an instruction may begin, and where a routine does."""

    def __init__(self, decoder: Decoder, followed: Followed, guess: Guess) -> None:
        self.decoder, self.followed = decoder, followed
        self.inside = {
            at for start, each in followed.instructions.items() for at in range(start + 1, start + each.size)
        }
        self.guessed = set(guess.starts)
        ends = {at + each.size for at, each in followed.instructions.items() if each.flow in ENDS}
        self.texts = frozenset(at for at in texts_begin(decoder.data, ends) if at not in followed.instructions)
        self.heads = guess.heads | set(followed.targets) | ends | self.texts

    def table(self, first: int, targets: tuple[int, ...], less: int = 0) -> Piece:
        """Return a table of pointers."""
        return Piece(first, first + 2 * len(targets), "pointers", targets, less, self.texts.intersection(targets))

    def behind(self, at: int) -> int:
        """Return the offset behind the end of the flow that begins here; -1 where it does not end soon."""
        for _ in range(_LONGEST):
            instruction = self.decoder.at(at)
            if instruction is None:
                return -1
            at += instruction.size
            if instruction.flow in ENDS:
                return at
        return -1

    def may(self, at: int) -> bool:
        """Tell whether an instruction is known to begin here, or some would follow each other from here."""
        if not 0 <= at < len(self.decoder.data) or at in self.inside:
            return False
        if at in self.texts or at in self.followed.instructions or at in self.guessed:
            return True
        for _ in range(_LOOK_AHEAD):
            instruction = self.decoder.at(at)
            if instruction is None:
                return False
            if instruction.flow in ENDS:
                return True
            at += instruction.size
            if at in self.followed.instructions:
                return True
        return True


_ENDS_OF_TEXT = frozenset(bytes([byte]) for byte in TRAILING)


def divide(
    data: bytes, followed: Followed, tables: Sequence[Piece], character: Callable[[int], str]
) -> Iterable[Piece]:
    """Yield everything that is no instruction, in order: the tables, and what stands between them by its kind."""
    by_start = {table.first: table for table in tables}
    for first, end in followed.behind.items():
        if is_wordlike(bytes(byte & _SEVEN_BITS for byte in data[first : end - 1]), character):
            by_start.setdefault(first, Piece(first, end, "text"))
    for first, end in _free(data, followed):
        at = first
        for table in (by_start[start] for start in sorted(by_start) if first <= start < end):
            yield from _plain(data, at, table.first, character)
            yield table
            at = table.end
        yield from _plain(data, at, end, character)


def _plain(data: bytes, first: int, end: int, character: Callable[[int], str]) -> Iterable[Piece]:
    """Divide a run of data into padding, texts and other bytes; a text takes the controls around it along."""
    at = start = first
    while at < end:
        run = at
        while run < end and data[run] == data[at]:
            run += 1
        stop = run
        if run - at >= _LEAST_PADDING:
            kind = "padding"
        else:
            kind, (stop, signs) = "text", _text_end(data, at, end, character)
            ended = stop - at > signs or data[stop : stop + 1] in _ENDS_OF_TEXT
            if stop - at < _LEAST_TEXT + (not ended) or not is_wordlike(data[at : at + signs], character):
                at = max(at + 1, stop)
                continue
            while at > start and data[at - 1] in LEADING:
                at -= 1
            while (
                stop < end
                and data[stop] in TRAILING
                and data[stop : stop + _LEAST_PADDING] != data[stop : stop + 1] * _LEAST_PADDING
            ):
                stop += 1
        if start < at:
            yield Piece(start, at, "bytes")
        yield Piece(at, stop, kind)
        at = start = stop
    if start < end:
        yield Piece(start, end, "bytes")


def _text_end(data: bytes, at: int, end: int, character: Callable[[int], str]) -> tuple[int, int]:
    """Return the offset behind a run of signs, with a last one whose high bit is set, and how many are without it."""
    stop = at
    while stop < end and character(data[stop]):
        stop += 1
    signs = stop - at
    if stop < end and signs >= _LEAST_BEFORE_HIGH and data[stop] & ~_SEVEN_BITS:
        stop += character(data[stop] & _SEVEN_BITS).isalnum()
    return stop, signs


_SEVEN_BITS = 0x7F
_LEAST_BEFORE_HIGH = 2
