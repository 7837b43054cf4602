"""Value change dumps: what a simulator or a logic analyser writes. IEEE Std 1364-2005, clause 18.

The file is read in blocks that end before a time mark; each block becomes columns of numbers at once, and only the
signals of the map are looked at.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np
import numpy.typing as npt

from romassay.errors import BadInput
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.traces.signals import MAX_WIDTH, UNITS, Changes, Sampler, missing, parse_map, without_a_map
from romassay.reading import Bytes, Index, Mask

_BLOCK = 1 << 20
_HEAD = 1 << 20
_MOST_HEAD = 1 << 25
_MOST_AT_ONCE = 1 << 23
"""Bytes of text behind one time mark: a million signals that all change."""
_END = re.compile(rb"\$enddefinitions\s+\$end")
_DECLARATION = re.compile(rb"\$(\w+)\s+(.*?)\s*\$end", re.DOTALL)
_TIMESCALE = re.compile(r"(1|10|100)\s*(s|ms|us|ns|ps|fs)")
_COMMENT = re.compile(rb"\$comment\s.*?\$end", re.DOTALL)
_LONGEST_CODE = 8
_WIDTH_DIGITS = 7

Octets = Bytes


@dataclass(frozen=True, slots=True)
class Variable:
    """A declared variable: its code in the body, its width, and its name with its scopes before it."""

    code: bytes
    width: int
    name: str


@dataclass(frozen=True, slots=True)
class Header:
    """What stands before the changes.

    Attributes:
        variables: in the order of the file.
        scopes: how many were opened.
        tick: seconds of one unit of time.
        end: where the changes begin.
    """

    variables: tuple[Variable, ...]
    scopes: int
    tick: float
    end: int

    def by_name(self) -> dict[str, Variable]:
        """Return the variables by their full name, and by the last part of it where only one has that."""
        last: dict[str, list[Variable]] = {}
        for variable in self.variables:
            last.setdefault(variable.name.rsplit(".", 1)[-1], []).append(variable)
        short = {name: found[0] for name, found in last.items() if len({item.code for item in found}) == 1}
        return {**{variable.name: variable for variable in self.variables}, **short}


def header_of(data: bytes) -> Header:
    """Read the declarations; BadInput where they do not end, or break their form."""
    found = _END.search(data)
    if not found:
        raise BadInput("the declarations never end: $enddefinitions is missing", advice="save the trace again")
    scopes: list[str] = []
    opened = 0
    tick = 1.0
    variables: list[Variable] = []
    for match in _DECLARATION.finditer(data, 0, found.start()):
        keyword, words = match[1].decode("ascii", "replace"), match[2].decode("latin-1").split()
        if keyword == "scope" and len(words) >= 2:
            scopes.append(words[1])
            opened += 1
        elif keyword == "upscope" and scopes:
            scopes.pop()
        elif keyword == "timescale":
            tick = _tick(" ".join(words))
        elif keyword == "var":
            variables.append(_variable(words, scopes))
    return Header(tuple(variables), opened, tick, found.end())


def _tick(text: str) -> float:
    found = _TIMESCALE.fullmatch(text)
    if not found:
        raise BadInput(f"the time scale '{text}' is none of the standard's", advice="correct $timescale, such as 1 ns")
    return int(found[1]) * UNITS[found[2]]


def _variable(words: list[str], scopes: list[str]) -> Variable:
    width = words[1] if len(words) >= 4 else ""
    if not (width.isdecimal() and len(width) <= _WIDTH_DIGITS and 1 <= int(width) <= 1 << 20):
        raise BadInput(f"'$var {' '.join(words)[:60]}' declares no variable", advice="save the trace again")
    return Variable(words[2].encode("latin-1"), int(width), ".".join([*scopes, words[3].split("[")[0]]))


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """The changes of one block as columns, in the order of the file.

    Attributes:
        marks: float64[t], the time marks.
        time: float64[n], of each change.
        code: uint64[n], its variable's code packed into a number.
        vector: bool[n], changes that are written as a vector.
        start: int64[n], where its value begins in `text`.
        stop: int64[n], where it ends.
        text: uint8[m].
    """

    marks: npt.NDArray[np.float64]
    time: npt.NDArray[np.float64]
    code: npt.NDArray[np.uint64]
    vector: Mask
    start: Index
    stop: Index
    text: Octets


def blocks(file: BinaryIO, before: bytes = b"") -> Iterator[Block]:
    """Yield the changes behind the declarations, block by block; all changes of a moment are in one block.

    Args:
        file: to read on.
        before: what was read of the changes already.

    Raises:
        BadInput: so much stands in one moment that no trace can have it.
    """
    time = 0.0
    while before or (before := file.read(_BLOCK)):
        piece = file.read(_BLOCK)
        text = before + piece
        end = max(text.rfind(b"\n#"), text.rfind(b"\r#")) + 1 if piece else len(text)
        before = text[end:]
        if len(before) > _MOST_AT_ONCE:
            raise BadInput(
                f"{len(before) >> 20} MiB of changes stand behind one time mark",
                advice="save the trace again, each time mark on a line of its own",
            )
        block = _columns(_plain(text[:end]), time)
        if len(block.marks):
            time = float(block.marks[-1])
        yield block


def _plain(text: bytes) -> bytes:
    """Return a block with one change or mark a line, and nothing else."""
    if b"\r" in text:
        text = text.replace(b"\r", b"\n")
    if b"\t" in text:
        text = text.replace(b"\t", b" ")
    if b"$comment" in text:
        text = _COMMENT.sub(b"", text)
    if not text.endswith(b"\n"):
        text += b"\n"
    if not _is_plain(text):
        text = b"".join(_one_a_line(line) for line in text.split(b"\n"))
    return text


def _is_plain(text: bytes) -> bool:
    """Tell whether every line holds one change or mark, with one blank in each vector and real and none elsewhere."""
    raw = np.frombuffer(text, np.uint8)
    ends = np.flatnonzero(raw == 10)
    first = raw[np.concatenate([np.zeros(1, np.int64), ends[:-1] + 1])]
    long = np.isin(first, np.frombuffer(b"bBrR", np.uint8))
    if (first == ord("$")).any() or (first == ord(" ")).any():
        return False
    blanks = np.flatnonzero(raw == 32)
    return bool(np.array_equal(np.searchsorted(ends, blanks), np.flatnonzero(long)))


def _one_a_line(line: bytes) -> bytes:
    """Return the changes of a line, one a line; keywords such as $dumpall go."""
    words = iter(line.split())
    rows: list[bytes] = []
    for word in words:
        if word[:1] in b"bBrR" and len(word) > 1:
            rows.append(word + b" " + next(words, b""))
        elif not word.startswith(b"$"):
            rows.append(word)
    return b"".join(row + b"\n" for row in rows)


def _columns(text: bytes, time: float) -> Block:
    raw = np.frombuffer(text, np.uint8)
    ends = np.flatnonzero(raw == 10)
    starts = np.concatenate([np.zeros(1, np.int64), ends[:-1] + 1]) if len(ends) else ends
    filled = ends > starts
    starts, ends = starts[filled], ends[filled]
    first = raw[starts]
    is_mark = first == ord("#")
    vector = (first == ord("b")) | (first == ord("B"))
    scalar = np.isin(first, np.frombuffer(b"01xXzZ", np.uint8))
    marks = _decimals(raw, starts[is_mark] + 1, ends[is_mark])
    times = np.concatenate([np.array([time]), marks])[np.cumsum(is_mark)]
    chosen = np.flatnonzero(vector | scalar)
    starts, ends, vector = starts[chosen], ends[chosen], vector[chosen]
    code_at = starts + 1
    value_end = starts + 1
    if vector.any():
        blanks = np.flatnonzero(raw == 32)
        which = np.searchsorted(blanks, ends[vector]) - 1
        place = blanks[np.maximum(which, 0)] if len(blanks) else starts[vector]
        place = np.where(place > starts[vector], place, ends[vector] - 1)
        code_at[vector] = place + 1
        value_end[vector] = place
    return Block(marks, times[chosen], _codes(raw, code_at, ends), vector, starts + vector, value_end, raw)


def _decimals(raw: Octets, starts: Index, ends: Index) -> npt.NDArray[np.float64]:
    """Return the decimal numbers at some places; exact up to 2**53."""
    result = np.zeros(len(starts), np.float64)
    longest = int((ends - starts).max(initial=0))
    for digit in range(min(longest, 19)):
        at = starts + digit
        inside = at < ends
        value = raw[np.where(inside, at, 0)].astype(np.float64) - 48
        result = np.where(inside & (value >= 0) & (value <= 9), result * 10 + value, result)
    return result


def _codes(raw: Octets, starts: Index, ends: Index) -> npt.NDArray[np.uint64]:
    """Return identifier codes of up to eight characters, each packed into a number."""
    result = raw[np.minimum(starts, len(raw) - 1)].astype(np.uint64) if len(raw) else np.zeros(0, np.uint64)
    longest = int((ends - starts).max(initial=0))
    for place in range(1, min(longest, _LONGEST_CODE)):
        inside = np.flatnonzero(starts + place < ends)
        result[inside] |= raw[starts[inside] + place].astype(np.uint64) << np.uint64(8 * place)
    return result


def packed(code: bytes) -> int:
    """Return an identifier code as `Block.code` holds it."""
    return int.from_bytes(code[:_LONGEST_CODE], "little")


def changes_of(block: Block, variable: Variable) -> Changes:
    """Return the changes of one variable in a block. A shorter vector is extended on its left as the standard says."""
    rows = np.flatnonzero(block.code == np.uint64(packed(variable.code)))
    value = np.zeros(len(rows), np.uint64)
    unknown = np.zeros(len(rows), np.uint64)
    starts, stops = block.start[rows], block.stop[rows]
    if not block.vector[rows].any():
        digit = block.text[starts]
        return Changes(block.time[rows], (digit == 49).astype(np.uint64), ((digit | 1) != 49).astype(np.uint64))
    for bit in range(min(variable.width, MAX_WIDTH)):
        at = stops - 1 - bit
        beyond = at < starts
        digit = block.text[np.where(beyond, starts, at)]
        one = (digit == 49) & ~beyond  # clause 18.2.1: a leftmost 0 or 1 is extended by 0, x by x, z by z
        neither = (digit | 1) != 49
        value |= one.astype(np.uint64) << np.uint64(bit)
        unknown |= neither.astype(np.uint64) << np.uint64(bit)
    return Changes(block.time[rows], value, unknown)


def sniff(data: bytes) -> float:
    """Tell a value change dump by its declarations."""
    head = data[:_HEAD].lstrip()
    return 1.0 if head.startswith(b"$") and b"$var" in head and b"$enddefinitions" in data else 0.0


def read(data: bytes, hints: Hints) -> Parsed:
    """Read the cycles of a bus in a trace that is in memory; as `stream`."""
    return stream(io.BytesIO(data), hints)


def stream(file: BinaryIO, hints: Hints) -> Parsed:
    """Read the cycles of a bus, piece by piece.

    Raises:
        BadInput: no map of signals is given, the trace lacks one of its signals, or no read is in it.
    """
    head = _head(file)
    header = header_of(head)
    known = header.by_name()
    if hints.layout is None:
        raise without_a_map([variable.name for variable in header.variables])
    signal_map = parse_map(hints.layout)
    if error := missing(signal_map.names, known):
        raise error
    chosen = {name: known[name] for name in signal_map.names}
    sampler = Sampler(signal_map, {name: variable.width for name, variable in chosen.items()}, header.tick)
    for block in blocks(file, head[header.end :]):
        sampler.feed({name: changes_of(block, variable) for name, variable in chosen.items()})
    notes = () if not sampler.late else (f"{sampler.late} of {sampler.cycles} reads had data that came too late",)
    return Parsed((sampler.reading(hints.address_bits),), layout=hints.layout, notes=notes)


def _head(file: BinaryIO) -> bytes:
    """Return the file's beginning, with the declarations in it; as much as they may be where they do not end."""
    head = piece = file.read(_HEAD)
    while piece and len(head) < _MOST_HEAD and not _END.search(head):
        piece = file.read(_HEAD)
        head += piece
    return head


FORMAT = Format(
    name="vcd",
    title="value change dump of a bus",
    standard="IEEE Std 1364-2005, clause 18",
    suffixes=(".vcd",),
    sniff=sniff,
    read=read,
    stream=stream,
)
