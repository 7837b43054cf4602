r"""Transcripts of a capture: what was typed at a host, what it answered, and when. The project's own format.

The first line names the format. Each further line is one record: seconds since the start, what kind of record, and
its content:

    romassay transcript 1
    0.000 begin {"host":"…","port":"…","layout":"…","format":"…","session":null,"when":"2026-11-25T21:00:00Z"}
    0.001 ask 4000-40FF 1
    0.002 > 4000.40FF
    0.013 < 4000.40FF
    0.014 answer
    0.014 > \r
    0.031 < \r\n4000- 3F 2A
    0.900 done
    0.901 layout address=hex4 after=-\_ cells=16 cell=hex2

`>` is what was sent, `<` what came in, byte for byte: printable ASCII as it is, all else as \r, \n, \t, \\ or \xNN.
`ask` names the range and the pass that it is for, `answer` where the answer begins, `done` where it ends. A line that
breaks off at the end of the file is what a power cut leaves; it is left out.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from itertools import groupby
from typing import Literal

import msgspec
import numpy as np

from romassay.address import Range
from romassay.errors import BadInput, RomassayError
from romassay.formats.answers import Heard, damaged_lines, heard, learnt_habit, learnt_layout, unit_of
from romassay.formats.layout import Layout, parse_layout
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.text.respelt import Habit
from romassay.reading import Hole, Reading, Source, Unit

Kind = Literal["begin", "ask", ">", "<", "answer", "done", "layout", "note"]
KINDS = ("begin", "ask", ">", "<", "answer", "done", "layout", "note")

FIRST_LINE = b"romassay transcript 1\n"
SUFFIX = ".transcript"
_NOT_HEARD = "the host's answer could not be read"
_ESCAPE = re.compile(rb"\\(?:x([0-9a-f]{2})|([rnt\\]))")
_NAMED = {b"r": b"\r", b"n": b"\n", b"t": b"\t", b"\\": b"\\"}
_ESCAPED = {0x0D: b"\\r", 0x0A: b"\\n", 0x09: b"\\t", 0x5C: b"\\\\"}
_TABLE = tuple(_ESCAPED.get(byte, bytes([byte]) if 0x20 <= byte < 0x7F else b"\\x%02x" % byte) for byte in range(256))
_RECORD = re.compile(rb"(\d+\.\d{3}) ([a-z]+|[<>])(?: (.*))?")
_ASK = re.compile(rb"([0-9A-F]+)-([0-9A-F]+) (\d+)")
_NO_LAYOUT_ADVICE = "give --layout"
_MAX_PASS = 1 << 20


class Begin(msgspec.Struct, frozen=True, omit_defaults=True):
    """What is known when a capture begins. Keys that a later version adds are passed over."""

    host: str = ""
    port: str = ""
    layout: str = ""
    format: str = ""
    when: str = ""


@dataclass(frozen=True, slots=True)
class Record:
    """One line of a transcript.

    Attributes:
        at: seconds since the start.
        kind: see the module.
        data: its content, escapes resolved.
        line: its number in the file, from 1.
    """

    at: float
    kind: str
    data: bytes = b""
    line: int = 0


def escaped(data: bytes) -> bytes:
    """Return bytes as printable ASCII without a line end."""
    return b"".join(map(_TABLE.__getitem__, data))


def unescaped(text: bytes) -> bytes:
    """Return the bytes that `escaped` was given."""
    return _ESCAPE.sub(lambda m: bytes([int(m[1], 16)]) if m[1] else _NAMED[m[2]], text)


def line_of(record: Record) -> bytes:
    """Return a record as a line."""
    content = escaped(record.data) if record.kind in "<>" else record.data
    return b"%.3f %s%s%s\n" % (record.at, record.kind.encode(), b" " if content else b"", content)


def ask_line(at: float, asked: Range, number: int) -> bytes:
    """Return the line that says what is asked for and for which pass."""
    return line_of(Record(at, "ask", b"%04X-%04X %d" % (asked.first, asked.last, number)))


def records(data: bytes) -> Iterator[Record]:
    """Yield the records of a transcript; lines that are none are passed over."""
    lines = data.split(b"\n")
    for number, line in enumerate(lines[:-1], 1):
        found = _RECORD.fullmatch(line)
        if found and found[2].decode() in KINDS:
            kind, content = found[2].decode(), found[3] or b""
            yield Record(float(found[1]), kind, unescaped(content) if kind in "<>" else content, number)


def received(data: bytes) -> bytes:
    """Return all that came in, byte for byte."""
    return b"".join(record.data for record in records(data) if record.kind == "<")


@dataclass(slots=True)
class Answer:
    """What was asked and what came in answer.

    Attributes:
        asked: the range.
        number: the pass that it is for.
        line: where the asking stands in the transcript.
        text: what came after the return.
    """

    asked: Range
    number: int
    line: int
    text: bytes = b""


@dataclass(slots=True)
class Transcript:
    """A transcript taken apart: how it began, the layout that was found last, and the answers in the order of time."""

    begin: Begin = field(default_factory=Begin)
    layout: str = ""
    answers: list[Answer] = field(default_factory=list)


def transcript_of(data: bytes) -> Transcript:
    """Take a transcript apart; BadInput where its opening record is damaged."""
    result = Transcript()
    listening = False
    for record in records(data):
        if record.kind == "begin":
            try:
                result.begin = msgspec.json.decode(record.data, type=Begin)
            except (msgspec.DecodeError, UnicodeDecodeError) as e:
                raise BadInput("the transcript's opening record is damaged", place=str(record.line)) from e
        elif record.kind == "layout":
            result.layout = record.data.decode("ascii", "replace")
        elif record.kind == "ask":
            listening = False
            if asked := _asked(record):
                result.answers.append(asked)
        elif record.kind == "answer":
            listening = bool(result.answers)
        elif record.kind == "done":
            listening = False
        elif record.kind == "<" and listening:
            result.answers[-1].text += record.data
    return result


def _asked(record: Record) -> Answer | None:
    found = _ASK.fullmatch(record.data)
    if not found:
        return None
    first, last, number = int(found[1], 16), int(found[2], 16), int(found[3])
    if not (first <= last < 1 << 32 and 1 <= number <= _MAX_PASS):
        return None
    return Answer(Range(first, last), number, record.line)


def heard_of(transcript: Transcript, layout: str | None = None) -> Iterator[tuple[Answer, tuple[Heard, ...]]]:
    """Yield each answer with the bytes of it that are certain."""
    how, name = _how(transcript, layout)
    habit = _habit(transcript) if how else None
    for answer in transcript.answers:
        yield answer, heard(answer.text, answer.asked, layout=how, format_name=name, habit=habit)


def _habit(transcript: Transcript) -> Habit | None:
    return learnt_habit(b"\n".join(answer.text for answer in transcript.answers))


def _how(transcript: Transcript, layout: str | None) -> tuple[Layout | None, str]:
    """Return the layout of the answers, or the format that they are in."""
    text = layout or transcript.layout or transcript.begin.layout
    if not text and transcript.begin.format:
        return None, transcript.begin.format
    if text:
        return parse_layout(text), ""
    return learnt_layout(b"\n".join(answer.text for answer in transcript.answers)), ""


def sniff(data: bytes) -> float:
    """Tell a transcript by its first line."""
    return 1.0 if data.startswith(FIRST_LINE) else 0.0


def read(data: bytes, hints: Hints) -> Parsed:
    """Read a reading for each pass of a transcript.

    Raises:
        BadInput: no answer in it can be read.
    """
    transcript = transcript_of(data)
    layout, name = _how(transcript, hints.layout)
    try:
        answers = list(heard_of(transcript, str(layout) if layout else None))
    except RomassayError as e:
        raise BadInput(e.problem, place=e.place, advice=e.advice or _NO_LAYOUT_ADVICE) from e
    bits = hints.address_bits or _address_bits(transcript, layout)
    levels = _levels(answers)
    if not levels:
        raise BadInput("no answer of the host can be read", advice="see what came in, and resume the capture")
    missed = _missed(answers)
    habit = _habit(transcript) if layout else None
    readings = tuple(
        _reading(
            number,
            pieces,
            _holes(missed.get(number, {}), pieces),
            bits,
            unit_of(layout, name),
            sum(
                damaged_lines(answer.text, layout, habit)
                for answer, _ in answers
                if min(answer.number, len(levels)) == number
            ),
        )
        for number, pieces in enumerate(levels, 1)
    )
    return Parsed(readings, layout=str(layout) if layout else "")


_Piece = tuple[int, bytes, int]
"""Address, bytes, line of the asking."""


def _levels(answers: Iterable[tuple[Answer, tuple[Heard, ...]]]) -> list[list[_Piece]]:
    """Return what was heard, sorted out: the first time that an address was heard, the second, and so on.

    An answer often repeats bytes beside the one that it was asked for; each time is an observation of its own.
    """
    count: Counter[int] = Counter()
    levels: list[list[_Piece]] = []
    for answer, found in answers:
        for piece in found:
            times = [count[address] for address in range(piece.first, piece.first + len(piece.values))]
            count.update(range(piece.first, piece.first + len(piece.values)))
            start = 0
            for level, same in groupby(times):
                stop = start + len(list(same))
                while len(levels) <= level:
                    levels.append([])
                levels[level].append((piece.first + start, piece.values[start:stop], answer.line))
                start = stop
    return levels


def _address_bits(transcript: Transcript, layout: Layout | None) -> int:
    highest = max((answer.asked.last for answer in transcript.answers), default=0)
    printed = 0
    if layout and layout.address and layout.address.base == 16:
        printed = 4 * layout.address.width
    return max(highest.bit_length(), printed or 16)


def _reading(
    number: int, pieces: Sequence[_Piece], holes: tuple[Hole, ...], bits: int, unit: Unit, bad_lines: int
) -> Reading:
    counts = np.array([len(values) for _, values, _ in pieces], np.int64)
    starts = (np.cumsum(counts) - counts).tolist()
    runs = [(first, start, len(values), line) for (first, values, line), start in zip(pieces, starts, strict=True)]
    lines = [line for _, _, line in pieces]
    return Reading(
        runs=np.array(runs, np.int64).reshape(-1, 4),
        value=np.frombuffer(b"".join(values for _, values, _ in pieces), np.uint8).copy(),
        known=None,
        address_bits=bits,
        unit=unit,
        holes=holes,
        source=Source(pass_number=number, lines=(min(lines), max(lines)), bad_lines=bad_lines),
    )


def _missed(answers: Iterable[tuple[Answer, tuple[Heard, ...]]]) -> dict[int, dict[int, int]]:
    """Return for each pass the addresses that were asked for and came in none of its answers, with the line."""
    missed: dict[int, dict[int, int]] = {}
    heard_in: dict[int, set[int]] = {}
    for answer, found in answers:
        asked = range(answer.asked.first, answer.asked.last + 1)
        missed.setdefault(answer.number, {}).update(dict.fromkeys(asked, answer.line))
        seen = heard_in.setdefault(answer.number, set())
        for piece in found:
            seen.update(range(piece.first, piece.first + len(piece.values)))
    return {
        number: {a: line for a, line in left.items() if a not in heard_in[number]} for number, left in missed.items()
    }


def _holes(missed: Mapping[int, int], level: Sequence[_Piece]) -> tuple[Hole, ...]:
    """Return what a pass has missed, in the order of addresses; what was heard so often all the same is no hole."""
    seen = {address for first, values, _ in level for address in range(first, first + len(values))}
    result: list[Hole] = []
    for address in sorted(missed.keys() - seen):
        if result and result[-1].last == address - 1:
            result[-1] = Hole(result[-1].first, address, result[-1].line, _NOT_HEARD)
        else:
            result.append(Hole(address, address, missed[address], _NOT_HEARD))
    return tuple(result)


FORMAT = Format(
    name="transcript",
    title="transcript of a capture",
    standard="the project's own: docs/reference-transcript.md",
    suffixes=(SUFFIX,),
    sniff=sniff,
    read=read,
)
