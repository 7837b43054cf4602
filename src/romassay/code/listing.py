"""A listing: instructions where the flow goes, everything else as data; labels, texts, tables of pointers.

The text that comes out is source for the dialect's assembler, which makes the same bytes of it.
"""

from __future__ import annotations

import itertools
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from romassay.code.charsets import charset
from romassay.code.dialects import DIALECTS, Dialect, takes_back
from romassay.code.flow import Followed, follow
from romassay.cpus.decode import decode
from romassay.cpus.model import CODE_KINDS, Cpu, Instruction, Value
from romassay.cpus.registers import register_names

_ROW = 8
_TEXT_ROW = 16
_LEAST_TEXT = 4
_LEAST_POINTERS = 3
_PADDING_ROW = 16
_LEAST_PADDING = 32
_COMMENT_AT = 40
_TOP = 0xFFFF


@dataclass(frozen=True, slots=True)
class Place:
    """A register of a part on the bus: the name that the listing gives it, and what it is in words."""

    name: str
    note: str = ""


@dataclass(frozen=True, slots=True)
class Piece:
    """A run of data: its offsets, what it was taken for, and the places its words point at."""

    first: int
    end: int
    kind: str
    targets: tuple[int, ...] = ()


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
    """

    cpu: Cpu
    data: bytes
    origin: int
    entries: tuple[tuple[str, int], ...]
    followed: Followed
    pieces: tuple[Piece, ...]
    labels: Mapping[int, str]
    registers: Mapping[int, Place] = field(default_factory=dict)

    @property
    def code_bytes(self) -> int:
        """Bytes of the image that are instructions."""
        return sum(instruction.size for instruction in self.followed.instructions.values())


def listing(
    cpu: Cpu,
    data: bytes,
    origin: int,
    entries: Sequence[tuple[str, int]],
    *,
    characters: str = "ascii",
    registers: Mapping[int, Place] | None = None,
) -> Listing:
    """Follow the flow and divide what it leaves.

    Args:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: (name, address) at which the program may begin.
        characters: the character set of its texts, as in `romassay.code.charsets`.
        registers: by address, of parts on the bus.
    """
    places = [address for _, address in entries]
    followed = follow(cpu, data, origin, places)
    tables = _pointer_tables(cpu, data, origin, followed)
    while True:
        wider = [origin + target for table in tables for target in table.targets]
        again = follow(cpu, data, origin, [*places, *wider])
        more = _pointer_tables(cpu, data, origin, again)
        if len(again.instructions) <= len(followed.instructions) or len(more) < len(tables):
            break
        followed, tables = again, more
    pieces = tuple(_pieces(data, followed, tables, charset(characters)))
    return Listing(
        cpu=cpu,
        data=data,
        origin=origin,
        entries=tuple(entries),
        followed=followed,
        pieces=pieces,
        labels=_labels(origin, entries, followed, pieces, len(data)),
        registers=dict(registers or {}),
    )


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


def _pointer_tables(cpu: Cpu, data: bytes, origin: int, followed: Followed) -> list[Piece]:
    """Return the tables of pointers that an instruction refers to: words that lead to code or to free bytes."""
    order = "big" if cpu.big_endian else "little"
    named = _data_targets(origin, followed, len(data))
    tables = list(_vectors(cpu, data, origin, followed))
    tables += [Piece(at, at + 2, "pointers", (target,)) for at, target in followed.inline.items()]
    for first, end in _free(data, followed):
        for start in sorted(target for target in named if first <= target < end):
            targets: list[int] = []
            for at in range(start, end - 1, 2):
                target = int.from_bytes(data[at : at + 2], "big" if order == "big" else "little") - origin
                if not 0 <= target < len(data) or not _may_begin(cpu, data, origin, target, followed):
                    break
                if at > start and at in named:
                    break
                targets.append(target)
            if len(targets) >= _LEAST_POINTERS and len(set(targets)) > 1:
                tables.append(Piece(start, start + 2 * len(targets), "pointers", tuple(targets)))
    return _apart(sorted(tables, key=lambda table: table.first))


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


def _may_begin(cpu: Cpu, data: bytes, origin: int, at: int, followed: Followed) -> bool:
    """Tell whether an instruction is known to begin here, or some would follow each other from here."""
    if at in followed.instructions:
        return True
    for _ in range(_LOOK_AHEAD):
        instruction = decode(cpu, data, at, origin + at)
        if instruction is None:
            return False
        if instruction.flow in ("jump", "return", "stop"):
            return True
        at += instruction.size
        if at in followed.instructions:
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


def _plain(data: bytes, first: int, end: int, character: Callable[[int], str]) -> Iterable[Piece]:
    """Divide a run of data into padding, texts and other bytes."""
    at = start = first
    while at < end:
        run = at
        while run < end and data[run] == data[at]:
            run += 1
        text = at
        while text < end and character(data[text]):
            text += 1
        kind, stop = ("padding", run) if run - at >= _LEAST_PADDING else ("text", text)
        if stop - at >= (_LEAST_PADDING if kind == "padding" else _LEAST_TEXT):
            if start < at:
                yield Piece(start, at, "bytes")
            yield Piece(at, stop, kind)
            at = start = stop
        else:
            at = max(at + 1, text)
    if start < end:
        yield Piece(start, end, "bytes")


def _labels(
    origin: int,
    entries: Sequence[tuple[str, int]],
    followed: Followed,
    pieces: Sequence[Piece],
    size: int,
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
    for name, address in reversed(entries):
        if address - origin in followed.instructions and name:
            names[address] = f"on_{name}"
    return names


def source(shown: Listing, *, title: str = "", characters: str = "ascii") -> str:
    """Return the listing as source for the assembler of its CPU's dialect."""
    dialect = DIALECTS[shown.cpu.name]
    lines = [*_head(shown, dialect, title), *dialect.header]
    used = _used_registers(shown)
    for address, place in sorted(used.items()):
        line = dialect.equate.format(place.name, dialect.number(address, 4))
        lines.append(f"{line:<{_COMMENT_AT}}; {place.note}" if place.note else line)
    lines += [dialect.org.format(dialect.number(shown.origin, 4)), ""]
    writer = _Writer(
        shown,
        dialect,
        charset(characters),
        {**shown.labels, **{address: place.name for address, place in used.items()}},
    )
    rows: list[tuple[int, Instruction | Piece]] = [
        *shown.followed.instructions.items(),
        *((piece.first, piece) for piece in shown.pieces),
    ]
    for offset, row in sorted(rows, key=lambda item: item[0]):
        lines += writer.instruction(offset, row) if isinstance(row, Instruction) else writer.piece(row)
    lines = lines if dialect.colon else _beside(lines)
    return "\n".join([*lines, *dialect.end, ""])


def _beside(lines: Sequence[str]) -> list[str]:
    """Put each label on the line that it names, for an assembler that wants it there."""
    out: list[str] = []
    label = ""
    for line in lines:
        if line and not line[0].isspace() and line.isalnum() | ("_" in line and line.isidentifier()):
            label = line
        elif label:
            out.append(label + line[min(len(label), 7) :])
            label = ""
        else:
            out.append(line)
    return out


def _head(shown: Listing, dialect: Dialect, title: str) -> list[str]:
    last = shown.origin + len(shown.data) - 1
    lines = [f"; {title}"] if title else []
    lines += [f"; {len(shown.data)} bytes at {shown.origin:04X}-{last:04X}, {shown.cpu.title}"]
    lines += [f"; {name} at {address:04X}" for name, address in shown.entries]
    if dialect.assembler != "romassay":
        lines += [f"; assemble with: {dialect.command.format(**{'in': 'IN', 'out': 'OUT'})}"]
    if dialect.assembler == "as31" and last == _TOP:
        lines += ["; as31 puts nothing at FFFF: leave out the last byte, and add it to what comes out"]
    return [*lines, ""]


def _used_registers(shown: Listing) -> dict[int, Place]:
    """Return the registers of parts that the code touches."""
    inside = range(shown.origin, shown.origin + len(shown.data))
    touched = {
        value.number
        for instruction in shown.followed.instructions.values()
        for value in instruction.values
        if value.kind in ("data", "direct", "word")
    }
    return {at: place for at, place in shown.registers.items() if at in touched and at not in inside}


class _Writer:
    """Writes rows of a listing."""

    def __init__(
        self, shown: Listing, dialect: Dialect, character: Callable[[int], str], names: Mapping[int, str]
    ) -> None:
        self.shown, self.dialect, self.character, self.names = shown, dialect, character, names
        self.known_registers = register_names(shown.cpu.name)

    def instruction(self, offset: int, instruction: Instruction) -> list[str]:
        code = self.shown.data[offset : offset + instruction.size]
        text = self._text(instruction)
        notes = self._notes(instruction)
        if not takes_back(self.shown.cpu.name, instruction, code):
            notes = [text, *notes]
            text = self._bytes(code)
        lines = self._label(instruction.address)
        comment = f"{instruction.address:04X} {code.hex(' ').upper():<14}"
        lines.append(f"{'        ' + text:<{_COMMENT_AT}}; {' '.join([comment, *notes]).rstrip()}")
        if instruction.flow in ("jump", "return", "stop"):
            lines.append("")
        return lines

    def piece(self, piece: Piece) -> list[str]:
        lines: list[str] = []
        if piece.kind == "pointers":
            lines += self._label(self.shown.origin + piece.first)
            for number, target in enumerate(piece.targets):
                at = piece.first + 2 * number
                lines.append(self._word(at, target))
            return [*lines, ""] if len(piece.targets) > 1 else lines
        step = {"text": _TEXT_ROW, "padding": _PADDING_ROW}.get(piece.kind, _ROW)
        starts = {piece.first}
        starts |= {
            at - self.shown.origin for at in self.shown.labels if piece.first <= at - self.shown.origin < piece.end
        }
        marks = [*sorted(starts), piece.end]
        for first, end in itertools.pairwise(marks):
            lines += self._label(self.shown.origin + first)
            lines += [self._data(at, min(at + step, end)) for at in range(first, end, step)]
        return [*lines, ""]

    def _label(self, address: int) -> list[str]:
        name = self.shown.labels.get(address)
        return [name + self.dialect.colon] if name else []

    def _data(self, first: int, end: int) -> str:
        code = self.shown.data[first:end]
        shown = "".join(self.character(byte) or "." for byte in code)
        note = f"  {shown}" if any(sign not in ". " for sign in shown) else ""
        return f"{'        ' + self._bytes(code):<{_COMMENT_AT}}; {self.shown.origin + first:04X}{note}"

    def _bytes(self, code: bytes) -> str:
        return f"{self.dialect.byte} {','.join(self.dialect.number(byte) for byte in code)}"

    def _word(self, at: int, target: int) -> str:
        address = self.shown.origin + target
        name = self.names.get(address)
        text = f"{self.dialect.word} {name or self.dialect.number(address, 4)}"
        return f"{'        ' + text:<{_COMMENT_AT}}; {self.shown.origin + at:04X}"

    def _text(self, instruction: Instruction) -> str:
        operands = [self._operand(instruction, value) for value in instruction.values]
        return instruction.form.text.format(*operands).replace("+-", "-")

    def _operand(self, instruction: Instruction, value: Value) -> str:
        if value.kind in ("pair", "set") or "{}" not in value.text:
            return value.text
        return value.text.format(self._number(instruction, value))

    def _number(self, instruction: Instruction, value: Value) -> str:
        number, kind = value.number, value.kind
        named = kind in CODE_KINDS or kind == "data" or (kind == "word" and number > 0xFF and "," not in value.text)
        if named and number in self.names:
            return self.names[number]
        if kind == "shift":
            return str(number)
        wide = kind in ("word", "data", "code", "near", "far", "page", "block")
        if kind == "offset" and instruction.form.mnemonic:
            return self.dialect.number(number)
        return self.dialect.number(number, 4 if wide else 2)

    def _notes(self, instruction: Instruction) -> list[str]:
        names = [
            self.known_registers[value.kind, value.number]
            for value in instruction.values
            if (value.kind, value.number) in self.known_registers
        ]
        letters = [
            f"'{self.character(value.number)}'"
            for value in instruction.values
            if value.kind == "byte" and self.character(value.number).strip()
        ]
        return [*names, *letters]
