"""A listing: instructions where the flow goes and where code is likely, everything else as data.

Where nothing is seen to lead, but the bytes read as code, they are listed as code with a word on it: computed jumps
and calls from other ROMs leave no trace. `romassay.code.source` writes the listing out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Literal

import numpy as np

from romassay.code.charsets import charset
from romassay.code.flow import Followed, follow
from romassay.cpus.decode import decode
from romassay.cpus.likeness import plain_score, segment
from romassay.cpus.model import ENDS, Cpu

_LEAST_TEXT = 4
_LEAST_POINTERS = 3
_LEAST_PADDING = 32
_LIKELY = 15.0
"""Nats for a piece of code from which on it is listed as code though nothing is seen to lead there."""

_PLAINER = 1.2
"""Nats a byte that a piece of code may score more as mere data than as code."""

_TABLES_OF_RETURNS = ("6502", "65C02")
"""CPUs whose return goes on one past the address on the stack: tables of addresses less one are usual with them."""


@dataclass(frozen=True, slots=True)
class Place:
    """A register of a part on the bus: the name that the listing gives it, and what it is in words."""

    name: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """A run of data: its offsets, what it was taken for, and the places its words point at, each so much lower."""

    first: int
    end: int
    kind: str
    targets: tuple[int, ...] = ()
    less: int = 0


@dataclass(frozen=True, slots=True, eq=False)
class Listing:
    """What is known of an image, as far as a listing shows it.

    Attributes:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: (name, address), where the flow was followed from.
        followed: the instructions that it reached.
        pieces: everything else: 'pointers', 'text', 'padding' or 'bytes'.
        labels: names by address.
        registers: by address, for what lies outside of the image.
        sources: by address, the addresses of the instructions that refer to it.
        halves: by the address of an instruction, the address whose second half it loads.
    """

    cpu: Cpu
    data: bytes
    origin: int
    entries: tuple[tuple[str, int], ...]
    followed: Followed
    pieces: tuple[Piece, ...]
    labels: Mapping[int, str]
    registers: Mapping[int, Place] = field(default_factory=dict)
    sources: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    halves: Mapping[int, int] = field(default_factory=dict)

    @property
    def code_bytes(self) -> int:
        """Bytes of the image that are instructions."""
        return sum(instruction.size for instruction in self.followed.instructions.values())


@dataclass(frozen=True, slots=True)
class Region:
    """A stretch of one kind: 'code' or the kind of a piece; its offsets."""

    first: int
    end: int
    kind: str


def regions(shown: Listing) -> list[Region]:
    """Return the stretches of an image, in order; every byte is in one."""
    found = [Region(at, at + each.size, "code") for at, each in shown.followed.instructions.items()]
    found += [Region(piece.first, piece.end, piece.kind) for piece in shown.pieces]
    merged: list[Region] = []
    for region in sorted(found, key=lambda item: item.first):
        if merged and merged[-1].kind == region.kind and merged[-1].end == region.first:
            merged[-1] = Region(merged[-1].first, region.end, region.kind)
        else:
            merged.append(region)
    return merged


def listing(
    cpu: Cpu,
    data: bytes,
    origin: int,
    entries: Sequence[tuple[str, int]],
    *,
    characters: str = "ascii",
    registers: Mapping[int, Place] | None = None,
    likely: bool = True,
) -> Listing:
    """Follow the flow and divide what it leaves.

    Args:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: (name, address) at which the program may begin.
        characters: the character set of its texts, as in `romassay.code.charsets`.
        registers: by address, of parts on the bus.
        likely: whether bytes to which nothing leads are listed as code where they read as code.
    """
    character = charset(characters)
    places = [address for _, address in entries]
    guessed = _likely(cpu, data, origin, character) if likely else []
    followed, tables = _followed(cpu, data, origin, places, guessed, ())
    if guessed:
        held = {at for table in tables for at in range(table.first, table.end)}
        room = [at for at in guessed if at not in held]
        followed, tables = _followed(cpu, data, origin, places, guessed, room)
    pieces = tuple(_pieces(data, followed, tables, character))
    halves = dict(_halves(cpu, data, origin, followed, pieces))
    return Listing(
        cpu=cpu,
        data=data,
        origin=origin,
        entries=tuple(entries),
        followed=followed,
        pieces=pieces,
        labels=_labels(origin, entries, followed, pieces, len(data), halves),
        registers=dict(registers or {}),
        sources=_sources(origin, followed, pieces, len(data), halves),
        halves=halves,
    )


def _followed(
    cpu: Cpu, data: bytes, origin: int, places: Sequence[int], guessed: Sequence[int], likely: Sequence[int]
) -> tuple[Followed, list[Piece]]:
    """Follow the flow from the entries, and from what the tables that it uses point at, until no more comes of it."""
    followed = follow(cpu, data, origin, places, likely)
    tables = _pointer_tables(cpu, data, origin, followed, guessed)
    while True:
        wider = [origin + target for table in tables for target in table.targets]
        again = follow(cpu, data, origin, [*places, *wider], likely)
        more = _pointer_tables(cpu, data, origin, again, guessed)
        if _reached(again) <= _reached(followed) or len(more) < len(tables):
            return followed, tables
        followed, tables = again, more


def _reached(followed: Followed) -> int:
    return len(followed.instructions) - len(followed.likely)


def _likely(cpu: Cpu, data: bytes, origin: int, character: Callable[[int], str]) -> list[int]:
    """Return the offsets of the instructions in the pieces that read as code beyond doubt, and not as text."""
    raw = np.frombuffer(data, np.uint8)
    division = segment(cpu, raw, origin)
    starts = division.starts.tolist()
    ends = (division.starts + division.columns.size[division.starts]).tolist()
    found: list[int] = []
    begun = 0
    for number, end in enumerate(ends):
        if number + 1 < len(starts) and starts[number + 1] == end:
            continue
        first, worth = starts[begun], float(division.ahead[starts[begun]] - division.ahead[end])
        size = end - first
        excess = max(0.0, plain_score(raw[first:end]) - worth / size - _PLAINER) * size
        letters = sum(bool(character(byte)) for byte in data[first:end])
        if worth - excess >= _LIKELY and letters < _WORDLIKE * size:
            found += starts[begun : number + 1]
        begun = number + 1
    return found


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


def _data_targets(origin: int, followed: Followed, size: int) -> set[int]:
    """Return the offsets to which an instruction's word or data address points."""
    found = set()
    for instruction in followed.instructions.values():
        for value in instruction.values:
            if value.kind in ("word", "data") and 0 <= value.number - origin < size:
                found.add(value.number - origin)
    return found


def _pointer_tables(cpu: Cpu, data: bytes, origin: int, followed: Followed, guessed: Sequence[int]) -> list[Piece]:
    """Return the tables of pointers that an instruction refers to: words that lead to code or to free bytes."""
    order: Literal["big", "little"] = "big" if cpu.big_endian else "little"
    named = _data_targets(origin, followed, len(data))
    tables = list(_vectors(cpu, data, origin, followed))
    tables += [Piece(at, at + 2, "pointers", (target,)) for at, target in followed.inline.items()]
    begins = _Begins(cpu, data, origin, followed, guessed)
    shifts = (0, 1) if cpu.name in _TABLES_OF_RETURNS else (0,)
    for first, end in _free(data, followed):
        for start in sorted(target for target in named if first <= target < end):
            stop = min([at for at in named if start < at < end and (at - start) % 2 == 0], default=end)
            words = [int.from_bytes(data[at : at + 2], order) - origin for at in range(start, stop - 1, 2)]
            found = max((_led(words, shift, start, begins) for shift in shifts), key=lambda table: table[0])
            _, shift, targets = found
            if len(targets) >= _LEAST_POINTERS and len(set(targets)) > 1:
                tables.append(Piece(start, start + 2 * len(targets), "pointers", targets, shift))
        tables += _unnamed(data, origin, first, end, order, begins)
    return _apart(sorted(tables, key=lambda table: table.first))


def _unnamed(
    data: bytes, origin: int, first: int, end: int, order: Literal["big", "little"], begins: _Begins
) -> Iterable[Piece]:
    """Yield the tables that nothing is seen to refer to: runs of words that all lead to the beginning of a routine."""
    at = first
    while at < end - 1:
        targets: list[int] = []
        while at + 2 * len(targets) < end - 1:
            here = at + 2 * len(targets)
            target = int.from_bytes(data[here : here + 2], order) - origin
            if target not in begins.heads:
                break
            targets.append(target)
        if len(targets) >= _LEAST_POINTERS and len(set(targets)) > 1:
            yield Piece(at, at + 2 * len(targets), "pointers", tuple(targets))
            at += 2 * len(targets)
        else:
            at += 1


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

    def __init__(self, cpu: Cpu, data: bytes, origin: int, followed: Followed, guessed: Sequence[int]) -> None:
        self.cpu, self.data, self.origin, self.followed = cpu, data, origin, followed
        self.inside = {
            at for start, each in followed.instructions.items() for at in range(start + 1, start + each.size)
        }
        self.guessed = set(guessed)
        self.heads = set(followed.targets)
        for first, after in pairwise(guessed):
            instruction = decode(cpu, data, first, origin + first)
            if instruction is not None and (instruction.flow in ENDS or first + instruction.size != after):
                self.heads.add(after)

    def behind(self, at: int) -> int:
        """Return the offset behind the end of the flow that begins here; -1 where it does not end soon."""
        for _ in range(_LONGEST):
            instruction = decode(self.cpu, self.data, at, self.origin + at)
            if instruction is None:
                return -1
            at += instruction.size
            if instruction.flow in ENDS:
                return at
        return -1

    def may(self, at: int) -> bool:
        """Tell whether an instruction is known to begin here, or some would follow each other from here."""
        if not 0 <= at < len(self.data) or at in self.inside:
            return False
        if at in self.followed.instructions or at in self.guessed:
            return True
        for _ in range(_LOOK_AHEAD):
            instruction = decode(self.cpu, self.data, at, self.origin + at)
            if instruction is None:
                return False
            if instruction.flow in ENDS:
                return True
            at += instruction.size
            if at in self.followed.instructions:
                return True
        return True


def _pieces(
    data: bytes, followed: Followed, tables: Sequence[Piece], character: Callable[[int], str]
) -> Iterable[Piece]:
    by_start = {table.first: table for table in tables}
    for first, end in _free(data, followed):
        at = first
        for table in (by_start[start] for start in sorted(by_start) if first <= start < end):
            yield from _plain(data, at, table.first, character)
            yield table
            at = table.end
        yield from _plain(data, at, end, character)


_LEADING = frozenset(b"\x07\x08\x0a\x0c\x0d")
_TRAILING = frozenset(b"\x00\x03\x04\x07\x0a\x0d\xff")
_ENDS_OF_TEXT = frozenset(bytes([byte]) for byte in _TRAILING)
_WORDLIKE = 0.75
"""Share of a text's signs that are letters, digits and blanks."""


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
            kind, stop = "text", at
            while stop < end and character(data[stop]):
                stop += 1
            ends = data[stop : stop + 1] in _ENDS_OF_TEXT
            if stop - at < _LEAST_TEXT + (not ends) or not _is_wordlike(data[at:stop], character):
                at = max(at + 1, stop)
                continue
            while at > start and data[at - 1] in _LEADING:
                at -= 1
            while (
                stop < end
                and data[stop] in _TRAILING
                and data[stop : stop + _LEAST_PADDING] != data[stop : stop + 1] * _LEAST_PADDING
            ):
                stop += 1
        if start < at:
            yield Piece(start, at, "bytes")
        yield Piece(at, stop, kind)
        at = start = stop
    if start < end:
        yield Piece(start, end, "bytes")


def _is_wordlike(text: bytes, character: Callable[[int], str]) -> bool:
    signs = [character(byte) for byte in text]
    return sum(sign.isalnum() or sign == " " for sign in signs) >= _WORDLIKE * len(signs)


_HALVES = {"6502": ("lda", "ldx", "ldy"), "65C02": ("lda", "ldx", "ldy"), "1802": ("ldi",)}
"""Instructions that load a constant, of CPUs that load an address in two halves."""

_NEAR = 4
"""Instructions within which the second half follows the first."""


def _halves(
    cpu: Cpu, data: bytes, origin: int, followed: Followed, pieces: Sequence[Piece]
) -> Iterable[tuple[int, int]]:
    """Yield (address of the second load, address) for pairs of constants that point at a text, a table or a routine."""
    loads = _HALVES.get(cpu.name, ())
    pointed = {origin + at for at in _beginnings(data, followed, pieces)} if loads else set()
    recent: list[tuple[int, int]] = []
    for number, instruction in enumerate(followed.instructions.values()):
        value = instruction.values[0] if instruction.values else None
        if instruction.form.mnemonic not in loads or value is None or value.kind != "byte":
            continue
        recent = [(place, byte) for place, byte in recent if number - place <= _NEAR]
        met = {byte << 8 | value.number for _, byte in recent} | {value.number << 8 | byte for _, byte in recent}
        if len(met & pointed) == 1:
            yield instruction.address, (met & pointed).pop()
            recent = []
        else:
            recent.append((number, value.number & 0xFF))


def _beginnings(data: bytes, followed: Followed, pieces: Sequence[Piece]) -> Iterable[int]:
    """Yield the offsets at which something begins: routines, tables, and the messages of texts."""
    yield from (at for at in followed.targets if at in followed.instructions)
    for piece in pieces:
        if piece.kind == "padding":
            continue
        yield piece.first
        if piece.kind == "text":
            places = range(piece.first + 1, piece.end)
            yield from (at for at in places if _message_begins(data[at - 1], data[at]))


def _message_begins(before: int, here: int) -> bool:
    if here in _LEADING:
        return before not in _LEADING
    return before in _TRAILING and here not in _TRAILING


def _labels(
    origin: int,
    entries: Sequence[tuple[str, int]],
    followed: Followed,
    pieces: Sequence[Piece],
    size: int,
    halves: Mapping[int, int],
) -> dict[int, str]:
    """Name every place that something refers to and a line can begin at."""
    called = {
        instruction.target
        for instruction in followed.instructions.values()
        if instruction.flow == "call" and instruction.target is not None
    }
    called |= {origin + target for target in followed.inline.values()}
    names: dict[int, str] = {}
    for offset in followed.targets:
        if offset in followed.instructions:
            names[origin + offset] = f"{'S' if origin + offset in called else 'L'}{origin + offset:04X}"
    for piece in pieces:
        for target in piece.targets:
            if target in followed.instructions:
                names.setdefault(origin + target, f"L{origin + target:04X}")
    free = {at for piece in pieces if piece.kind != "pointers" for at in range(piece.first, piece.end)}
    free |= {piece.first for piece in pieces if piece.kind == "pointers"}
    for offset in sorted(_data_targets(origin, followed, size)):
        if offset in free:
            names.setdefault(origin + offset, f"T{origin + offset:04X}")
        elif offset in followed.instructions:
            names.setdefault(origin + offset, f"L{origin + offset:04X}")
    for address in halves.values():
        names.setdefault(address, f"{'L' if address - origin in followed.instructions else 'T'}{address:04X}")
    for name, address in reversed(entries):
        if address - origin in followed.instructions and name:
            names[address] = f"on_{name}"
    return names


def _sources(
    origin: int, followed: Followed, pieces: Sequence[Piece], size: int, halves: Mapping[int, int]
) -> dict[int, tuple[int, ...]]:
    """Return for each address of the image the places that refer to it: instructions, and words of tables."""
    found: dict[int, set[int]] = {}
    for goal, by in followed.targets.items():
        found.setdefault(origin + goal, set()).update(origin + at for at in by)
    for at, instruction in followed.instructions.items():
        for value in instruction.values:
            if value.kind in ("word", "data") and 0 <= value.number - origin < size:
                found.setdefault(value.number, set()).add(origin + at)
    for at, address in halves.items():
        found.setdefault(address, set()).add(at)
    for piece in pieces:
        for number, target in enumerate(piece.targets):
            found.setdefault(origin + target, set()).add(origin + piece.first + 2 * number)
    return {address: tuple(sorted(by)) for address, by in sorted(found.items())}
