"""A listing as text: source for the dialect's assembler, which makes the same bytes of it, with what a reader wants.

At the top a map of the image and what it touches outside of itself; at each label the places that refer to it; beside
each line its address and bytes.
"""

from __future__ import annotations

import itertools
import re
from collections.abc import Callable, Iterator, Mapping, Sequence

from romassay.code.charsets import charset
from romassay.code.dialects import DIALECTS, Dialect, takes_back
from romassay.code.flow import SEP_R5
from romassay.code.listing import Listing, Place, regions
from romassay.code.pieces import Piece
from romassay.cpus.model import CODE_KINDS, ENDS, Instruction, Kind, Value
from romassay.cpus.registers import register_names

_ROW = 8
_TEXT_ROW = 32
_PADDING_ROW = 16
_COMMENT_AT = 40
_DATA_COMMENT_AT = 56
_TOP = 0xFFFF
_SOURCES = 6
_REGIONS = 48
_OUTSIDE = 40
_SMALL = 64
"""Bytes below which a stretch of data is not shown apart on the map."""

_QUOTED = re.compile(rb"[A-Za-z0-9 .,:?!+\-*/=()<>#%&@$_]+")
"""What every assembler takes between quotes as it stands."""

_HIGH = 0x80
"""With this bit set the last sign of a text ends it."""

_MESSAGE_ENDS = frozenset(b"\x00\x03\x04\x0a\x0d\xff")
_KINDS = {"bytes": "data"}
_RECORD, _CROWD = 16, 2
"""Bytes of a linker's record; jumps in it behind which one more is parted from them."""


def source(
    shown: Listing,
    *,
    title: str = "",
    characters: str = "ascii",
    doubt: str = "",
    remarks: Mapping[int, str] | None = None,
) -> str:
    """Return the listing as source for the assembler of its CPU's dialect.

    Args:
        shown: the listing.
        title: what it is of.
        characters: the character set of its texts.
        doubt: a sentence on what is doubtful about all of it.
        remarks: by offset, what is to be said of a byte, such as what else it may be.
    """
    dialect = DIALECTS[shown.cpu.name]
    used = _used_registers(shown)
    lines = [*_head(shown, dialect, title, doubt), *_map(shown), *_outside(shown, used), "", *dialect.header]
    for address, place in sorted(used.items()):
        line = dialect.equate.format(place.name, dialect.number(address, 4))
        lines.append(f"{line:<{_COMMENT_AT}}; {place.note}" if place.note else line)
    lines += [dialect.org.format(dialect.number(shown.origin, 4)), ""]
    lines += _Writer(shown, dialect, characters, used, _spans(remarks or {})).lines()
    lines = lines if dialect.colon else _beside(lines)
    return "\n".join([*lines, *dialect.end, ""])


def _one_line(text: str) -> str:
    """Return a text that came from elsewhere so that it stays within its comment."""
    return " ".join(text.split())


def _spans(remarks: Mapping[int, str]) -> list[tuple[int, int, str]]:
    """Return the (first, last, remark) of bytes that follow each other with the same remark."""
    spans: list[tuple[int, int, str]] = []
    for at, text in sorted(remarks.items()):
        if spans and spans[-1][1] == at - 1 and spans[-1][2] == text:
            spans[-1] = (spans[-1][0], at, text)
        else:
            spans.append((at, at, text))
    return spans


def _beside(lines: Sequence[str]) -> list[str]:
    """Put each label on the line that it names, for an assembler that wants it there."""
    out: list[str] = []
    label = ""
    for line in lines:
        if line.isidentifier():
            label = line
        elif label:
            out.append(label + line[min(len(label), 7) :])
            label = ""
        else:
            out.append(line)
    return out


def _head(shown: Listing, dialect: Dialect, title: str, doubt: str) -> list[str]:
    last = shown.origin + len(shown.data) - 1
    lines = [f"; {_one_line(text)}" for text in (title, doubt) if text]
    what = shown.cpu.title if shown.followed.instructions else "data alone"
    lines += [f"; {len(shown.data)} bytes at {shown.origin:04X}-{last:04X}, {what}"]
    lines += [f"; {_one_line(name) or 'entry'} at {address:04X}" for name, address in shown.entries]
    if dialect.assembler != "romassay":
        lines += [f"; assemble with: {dialect.command.format(**{'in': 'IN', 'out': 'OUT'})}"]
    return lines


def _map(shown: Listing) -> Iterator[str]:
    """Yield the stretches of the image; small ones of data are told with what stands beside them."""
    yield ";"
    yield "; map"
    merged: list[tuple[int, int, list[str]]] = []
    for region in regions(shown):
        kind = "code" if region.first in shown.followed.inline else _KINDS.get(region.kind, region.kind)
        if merged and merged[-1][2] == ["code"] == [kind]:
            merged[-1] = (merged[-1][0], region.end, ["code"])
            continue
        joins = merged and "code" not in (kind, merged[-1][2][0]) and kind != "padding" != merged[-1][2][0]
        if merged and (joins and min(region.end - region.first, merged[-1][1] - merged[-1][0]) < _SMALL):
            first, _, kinds = merged[-1]
            merged[-1] = (first, region.end, kinds if kind in kinds else [*kinds, kind])
        else:
            merged.append((region.first, region.end, [kind]))
    for first, end, kinds in merged[:_REGIONS]:
        words = _fill_of(shown, first) if kinds == ["padding"] else ", ".join(kinds)
        yield f";   {shown.origin + first:04X}-{shown.origin + end - 1:04X}  {end - first:>5}  {words}"
    if len(merged) > _REGIONS:
        yield f";   and {len(merged) - _REGIONS} more"


def _fill_of(shown: Listing, first: int) -> str:
    return f"padding, {shown.data[first]:02X}"


def _outside(shown: Listing, used: Mapping[int, Place]) -> Iterator[str]:
    """Yield what lies outside of the image and is gone to, read or written, or is a port."""
    inside = range(shown.origin, shown.origin + len(shown.data))
    found = {("goes to", address): [shown.origin + at for at in by] for address, by in shown.followed.leaving.items()}
    for instruction in shown.followed.instructions.values():
        for value in instruction.values:
            if value.kind == "data" and value.number not in inside:
                found.setdefault(("touches", value.number), []).append(instruction.address)
            elif value.kind == "port":
                found.setdefault(("port", value.number), []).append(instruction.address)
    if not found:
        return
    yield ";"
    yield "; outside of it"
    for (what, number), by in sorted(found.items())[:_OUTSIDE]:
        name = f" {used[number].name}" if number in used and what == "touches" else ""
        yield f";   {what:<7}  {number:0{2 if what == 'port' else 4}X}{name}  {_told(by)}"
    if len(found) > _OUTSIDE:
        yield f";   and {len(found) - _OUTSIDE} more"


def _told(addresses: Sequence[int]) -> str:
    """Return where something comes from; of many places the first ones."""
    known = sorted(set(addresses))
    more = f" and {len(known) - _SOURCES} more" if len(known) > _SOURCES else ""
    return "from " + " ".join(f"{address:04X}" for address in known[:_SOURCES]) + more


def _used_registers(shown: Listing) -> dict[int, Place]:
    """Return the registers and other named places outside of the image that the code touches or goes to."""
    inside = range(shown.origin, shown.origin + len(shown.data))
    touched = {
        value.number
        for instruction in shown.followed.instructions.values()
        for value in instruction.values
        if value.kind in ("data", "direct", "word") or value.kind in CODE_KINDS
    }
    named = {name.lower() for name in shown.labels.values()}
    used: dict[int, Place] = {}
    for at, place in sorted(shown.registers.items()):
        if at in touched and at not in inside:
            name = f"{place.name}_{at:04x}" if place.name.lower() in named else place.name
            named.add(name.lower())
            used[at] = Place(name, place.note)
    return used


_WIDE: frozenset[Kind] = frozenset(("word", "data", "code", "near", "far", "page", "block"))
"""Operands that are written with four digits."""


_PAGE_ZERO = ("6502", "65C02", "6800", "6801", "6809")
"""CPUs whose short addresses are places on the bus, and not in an internal memory."""


class _Writer:
    """Writes rows of a listing."""

    def __init__(
        self,
        shown: Listing,
        dialect: Dialect,
        characters: str,
        used: Mapping[int, Place],
        remarks: Sequence[tuple[int, int, str]],
    ) -> None:
        self.shown, self.dialect, self.remarks = shown, dialect, list(reversed(remarks))
        self.character: Callable[[int], str] = charset(characters)
        self.quotes = characters == "ascii"
        self.names = {**shown.labels, **{address: place.name for address, place in used.items()}}
        self.known_registers = register_names(shown.cpu.name)
        self.blocks: list[int] = []

    def lines(self) -> list[str]:
        """Return everything between the head and the end."""
        rows: list[tuple[int, Instruction | Piece]] = [
            *self.shown.followed.instructions.items(),
            *((piece.first, piece) for piece in self.shown.pieces),
        ]
        out: list[str] = []
        kind, lonely = "", False
        for offset, row in sorted(rows, key=lambda item: item[0]):
            likely = offset in self.shown.followed.likely
            inline = offset in self.shown.followed.inline
            now = "code" if isinstance(row, Instruction) or inline else row.kind
            if kind and out[-1] and self._parts(kind, now, offset):
                out.append("")
            if likely and not lonely:
                out.append("; nothing is seen to lead here; it reads as code")
            out += self._remarks(offset + row.size if isinstance(row, Instruction) else row.end)
            out += self.instruction(offset, row) if isinstance(row, Instruction) else self.piece(row)
            kind, lonely = now, likely
        return out

    def _remarks(self, end: int) -> Iterator[str]:
        """Yield what is to be said of bytes before an offset, and was not yet."""
        while self.remarks and self.remarks[-1][0] < end:
            first, last, text = self.remarks.pop()
            where = f"{self.shown.origin + first:04X}" + (f"-{self.shown.origin + last:04X}" if last > first else "")
            yield f"; {where} {_one_line(text)}"

    def _parts(self, before: str, now: str, offset: int) -> bool:
        """Tell whether a blank line stands between two rows."""
        if before == now == "code":
            return False
        if before == now == "pointers":
            return self.shown.origin + offset in self.shown.labels
        return "code" in (before, now) or before != now or self.shown.origin + offset in self.shown.labels

    def instruction(self, offset: int, instruction: Instruction) -> list[str]:
        code = self.shown.data[offset : offset + instruction.size]
        text = self._text(instruction)
        notes = self._notes(instruction)
        if instruction.address in self.shown.halves:
            notes.append(f"-> {self.names[self.shown.halves[instruction.address]]}")
        if not takes_back(self.shown.cpu.name, instruction, code) or self._is_lost(instruction):
            notes = [text, *notes]
            text = self._bytes(code)
        lines = [*self._parted(instruction), *self._label(instruction.address)]
        comment = f"{instruction.address:04X} {code.hex(' ').upper():<14}"
        lines.append(f"{'        ' + text:<{_COMMENT_AT}}; {' '.join([comment, *notes]).rstrip()}")
        if instruction.flow in ENDS or (self.shown.followed.inline and instruction.form.code[0] == SEP_R5):
            lines.append("")
        return lines

    def _parted(self, instruction: Instruction) -> Iterator[str]:
        """Yield the line that parts a jump within a block from others close before it, for a linker that wants it."""
        if not self.dialect.parted or all(value.kind != "block" for value in instruction.values):
            return
        self.blocks = [at for at in self.blocks if at > instruction.address - _RECORD]
        if len(self.blocks) >= _CROWD:
            yield f"{'        ' + self.dialect.parted:<{_COMMENT_AT}}; for the linker, which takes no more in a row"
            self.blocks = []
        self.blocks.append(instruction.address)

    def _is_lost(self, instruction: Instruction) -> bool:
        """Tell whether an instruction branches to where no name is, and the assembler would err over that."""
        return self.dialect.lost_branches and any(
            value.kind == "near" and value.number not in self.names for value in instruction.values
        )

    def piece(self, piece: Piece) -> list[str]:
        lines: list[str] = []
        if piece.first in self.shown.followed.broken and piece.kind != "padding":
            lines.append("; the flow runs in here, into what is no instruction")
        if piece.kind == "pointers":
            lines += self._label(self.shown.origin + piece.first)
            words = enumerate(piece.targets)
            return [*lines, *(self._word(piece.first + 2 * number, target, piece.less) for number, target in words)]
        marks = [*self._starts(piece), piece.end]
        for first, end in itertools.pairwise(marks):
            lines += self._label(self.shown.origin + first)
            if piece.kind == "padding" and self.dialect.fill:
                lines.append(self._fill(first, end))
            elif piece.kind == "text" and self.quotes:
                lines += [line for row in self._messages(first, end) for line in self._quoted(*row)]
            else:
                step = _ROW if piece.kind == "bytes" else _PADDING_ROW
                lines += [self._data(at, min(at + step, end)) for at in range(first, end, step)]
        return lines

    def _starts(self, piece: Piece) -> list[int]:
        """Return the offsets in a piece at which a line must begin."""
        named = (at - self.shown.origin for at in self.shown.labels)
        return sorted({piece.first, *(at for at in named if piece.first <= at < piece.end)})

    def _label(self, address: int) -> list[str]:
        name = self.shown.labels.get(address)
        if not name:
            return []
        by = self.shown.sources.get(address, ())
        if not by:
            return [name + self.dialect.colon]
        if not self.dialect.colon:
            return [f"; {_told(by)}", name]
        return [f"{name + self.dialect.colon:<{_COMMENT_AT}}; {_told(by)}"]

    def _messages(self, first: int, end: int) -> Iterator[tuple[int, int]]:
        """Yield the offsets of the lines of a text: a message a line, long ones on several."""
        at, worded = first, False
        for here in range(first, end):
            worded = worded or not self._ends(here)
            last = here + 1 == end
            ends = worded and self._ends(here) and not last and not self._ends(here + 1)
            if last or ends or here + 1 - at >= _TEXT_ROW:
                yield at, here + 1
                at, worded = here + 1, False

    def _ends(self, at: int) -> bool:
        byte = self.shown.data[at]
        return byte in _MESSAGE_ENDS or byte >= _HIGH

    def _quoted(self, first: int, end: int) -> Iterator[str]:
        """Yield the lines of a text in quotes: one, or one for each of its parts where they may not be mixed."""
        code = self.shown.data[first:end]
        parts: list[tuple[int, str]] = []
        at = 0
        while at < len(code):
            match = _QUOTED.match(code, at)
            if match and len(match[0]) > 1:
                parts.append((at, f'"{match[0].decode()}"'))
                at = match.end()
            else:
                parts.append((at, self.dialect.number(code[at])))
                at += 1
        if self.dialect.mixed:
            has_text = any(part.startswith('"') for _, part in parts)
            directive = self.dialect.text if has_text else self.dialect.byte
            yield self._line(f"{directive} {','.join(part for _, part in parts)}", first)
            return
        for is_text, group in itertools.groupby(parts, key=lambda item: item[1].startswith('"')):
            items = list(group)
            for each in [[item] for item in items] if is_text else [items]:
                directive = self.dialect.text if is_text else self.dialect.byte
                yield self._line(f"{directive} {','.join(part for _, part in each)}", first + each[0][0])

    def _fill(self, first: int, end: int) -> str:
        value = self.dialect.number(self.shown.data[first])
        text = self.dialect.fill.format(count=end - first, value=value)
        last = self.shown.origin + end - 1
        return f"{self._line(text, first)}-{last:04X}"

    def _data(self, first: int, end: int) -> str:
        code = self.shown.data[first:end]
        shown = "".join(self.character(byte) or "." for byte in code)
        note = f"  {shown}" if any(sign not in ". " for sign in shown) else ""
        return self._line(self._bytes(code), first) + note

    def _line(self, text: str, first: int) -> str:
        return f"{'        ' + text:<{_DATA_COMMENT_AT - 1}} ; {self.shown.origin + first:04X}"

    def _bytes(self, code: bytes) -> str:
        return f"{self.dialect.byte} {','.join(self.dialect.number(byte) for byte in code)}"

    def _word(self, at: int, target: int, less: int) -> str:
        address = self.shown.origin + target
        name = self.names.get(address)
        text = f"{name}-{less}" if name and less else name or self.dialect.number(address - less, 4)
        return f"{f'        {self.dialect.word} {text}':<{_COMMENT_AT}}; {self.shown.origin + at:04X}"

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
        named = named or (kind == "direct" and self.shown.cpu.name in _PAGE_ZERO)
        if named and number in self.names and not self._is_short(value):
            return self.names[number]
        if kind == "data" and self._is_second(number):
            return f"{self.names[number - 1]}+1"
        if kind == "shift":
            return str(number)
        if kind == "offset" and instruction.form.mnemonic:
            return self.dialect.number(number)
        return self.dialect.number(number, 4 if kind in _WIDE else 2)

    def _is_short(self, value: Value) -> bool:
        """Tell whether a short address is that of a line: an assembler may take its label for a long one."""
        return value.kind == "direct" and value.number in self.shown.labels

    def _is_second(self, address: int) -> bool:
        """Tell whether an address is the second of a table whose first one has a name."""
        at = address - 1 - self.shown.origin
        return address - 1 in self.shown.labels and any(piece.first == at for piece in self.shown.pieces)

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
        lines = [f"-> {self.names[value.number]}" for value in instruction.values if self._is_short(value)]
        return [*names, *letters, *lines]
