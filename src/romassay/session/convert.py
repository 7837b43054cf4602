"""Turn the readings of one file into the content of one or more image files. No disk, no screen.

The order of the steps is fixed: choose the pass, cut to the ranges, move, fill, repeat, pad, split, write.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, fields
from pathlib import PurePath
from typing import Literal

import numpy as np

from romassay.address import MAX_ADDRESS_BITS, Range, merge_ranges
from romassay.errors import BadInput, BadValue
from romassay.formats import FORMATS
from romassay.formats.model import Loaded, Piece, WriteOptions
from romassay.formats.pieces import Laid, gaps, joined, lay_out, within
from romassay.reading import Reading

Writer = Callable[[Sequence[Piece], WriteOptions], bytes]

MOST_FILLING = 1 << 28
"""Bytes of filling, copies and padding that are still written: 256 MiB."""

ERASED = 0xFF
"""What an erased EPROM holds, and so what `size` pads with where no fill is given (common practice, no source)."""

LANES: dict[str, tuple[str, ...]] = {
    "even,odd": ("even", "odd"),
    "0,1": ("0", "1"),
    "0,1,2,3": ("0", "1", "2", "3"),
}
"""Ways to split: a name for each lane. Lane i holds the bytes whose address modulo the number of lanes is i."""

_SHOWN = 3
_LONGEST_HEADER = 64
"""Characters; the writer would cut longer ones, and write '?' for what is not ASCII."""
_NO_GAPS = ("raw-binary",)
"""Formats that can't show a gap."""


@dataclass(frozen=True, slots=True)
class ConvertOptions:
    """What is to be made of the input.

    Attributes:
        to: name of the output format.
        ranges: addresses to take; empty for all.
        at: address that the first byte gets in the output; None to leave it.
        fill: byte for what is not known; None to refuse where something is missing.
        size: bytes of the output before splitting; padded with `fill`, or with 0xFF.
        repeat: how many copies follow each other; 'size' for as many as fill the size.
        split: a key of `LANES`, or None.
        pass_number: which pass of a log, from 1; None for all where they agree.
        writing: what the writer is told.
    """

    to: str
    ranges: tuple[Range, ...] = ()
    at: int | None = None
    fill: int | None = None
    size: int | None = None
    repeat: int | Literal["size"] | None = None
    split: str | None = None
    pass_number: int | None = None
    writing: WriteOptions = field(default_factory=WriteOptions)


@dataclass(frozen=True, slots=True)
class Output:
    """One file to be.

    Attributes:
        lane: the lane's name; empty where nothing is split.
        content: the file's bytes.
        size: image bytes in it, in the order of their addresses; the digests below are theirs, not the file's.
        first, last: addresses.
        sum16: sum of the bytes modulo 65536, as device programmers show it (common practice, no source).
        crc32: CRC-32/ISO-HDLC.
        sha256: lower-case hex.
    """

    lane: str
    content: bytes
    size: int
    first: int
    last: int
    sum16: int
    crc32: int
    sha256: str


@dataclass(frozen=True, slots=True)
class Converted:
    """What came out, and a line for each thing that the person should know."""

    format: str
    outputs: tuple[Output, ...]
    notes: tuple[str, ...]


def convert(loaded: Loaded, options: ConvertOptions) -> Converted:
    """Make the output of what was read.

    Raises:
        BadInput: passes disagree, or bytes are missing and no fill was given; the message says where.
        BadValue: the options cannot be followed.
    """
    write = _writer(options.to)
    _refuse_what_has_no_place(options)
    readings, notes = _chosen(loaded, options.pass_number)
    laid = lay_out(readings)
    _refuse_contradictions(loaded, laid, readings, options)
    pieces = laid.pieces
    if not pieces:
        raise BadInput("no byte is wholly known", place=loaded.name, advice="read the chip again")
    if laid.mask != ERASED:
        notes.append(f"only data bits {laid.mask:02X} are known; the others are written as 0")
    pieces, more = _cut_and_filled(loaded, laid, readings, options)
    notes += more
    pieces = _moved(pieces, options.at)
    pieces = _sized(pieces, options)
    lanes = _lanes(pieces, options.split)
    outputs = tuple(_output(lane, part, write(part, options.writing)) for lane, part in lanes)
    return Converted(options.to, outputs, tuple(notes))


def format_of_name(name: str) -> str:
    """Return the format whose usual ending a file name has; BadValue where none has it."""
    ending = PurePath(name).suffix.lower()
    known: dict[str, str] = {}
    for each in writable():
        for suffix in FORMATS[each].suffixes:
            known.setdefault(suffix, each)
    if ending not in known:
        told = f"its ending '{ending}' is that of no format" if ending else "its name has no ending"
        raise BadValue(f"{told} to write", place=name, advice=f"give --to with one of {', '.join(writable())}")
    return known[ending]


def writable() -> tuple[str, ...]:
    """Return the names of the formats that can be written."""
    return tuple(name for name in FORMATS if FORMATS[name].write is not None)


def name_of_lane(name: str, lane: str) -> str:
    """Return the file name of a lane: 'image.bin' and 'even' give 'image.even.bin'."""
    path = PurePath(name)
    return str(path.with_name(f"{path.stem}.{lane}{path.suffix}")) if lane else name


def _writer(name: str) -> Writer:
    write = FORMATS[name].write if name in FORMATS else None
    if write is None:
        raise BadValue(f"'{name}' is no format to write", advice=f"choose one of {', '.join(writable())}")
    return write


def _refuse_what_has_no_place(options: ConvertOptions) -> None:
    """Refuse what the writer would pass over in silence."""
    followed, usual = FORMATS[options.to].follows, WriteOptions()
    for item in fields(WriteOptions):
        name = item.name
        if name not in followed and getattr(options.writing, name) != getattr(usual, name):
            others = ", ".join(each for each in writable() if name in FORMATS[each].follows)
            raise BadValue(
                f"{options.to} has no place for it", place=f"--{name}", advice=f"leave it out; these have: {others}"
            )
    header = options.writing.header
    if not header.isascii() or not header.isprintable() or len(header) > _LONGEST_HEADER:
        raise BadValue(
            f"'{header}' does not go into a header",
            place="--header",
            advice=f"write {_LONGEST_HEADER} ASCII characters at most",
        )


def _chosen(loaded: Loaded, number: int | None) -> tuple[tuple[Reading, ...], list[str]]:
    """Return the readings to take: the pass asked for, or all."""
    count = len(loaded.readings)
    if number is None:
        notes = [f"{count} passes that agree were taken together"] if count > 1 else []
        return loaded.readings, notes
    if not 1 <= number <= count:
        raise BadValue(
            f"there is no pass {number}", place=loaded.name, advice=f"the file holds {_plural(count, 'pass', 'passes')}"
        )
    return (loaded.readings[number - 1],), []


def _refuse_contradictions(loaded: Loaded, laid: Laid, readings: Sequence[Reading], options: ConvertOptions) -> None:
    """Refuse where an address was read more than once, differently, and is wanted."""
    wanted = _overlap(laid.contradicted, options.ranges)
    if not wanted:
        return
    if len(readings) > 1:
        problem = f"its {len(readings)} passes disagree at {_told(wanted)}"
        advice = "'romassay assay' settles them from all passes; --pass N takes one as it is"
    else:
        problem = f"the same addresses come with different bytes: {_told(wanted)}"
        advice = "'romassay assay' weighs them; or leave them out with --range"
    raise BadInput(problem, place=loaded.name, advice=advice)


def _cut_and_filled(
    loaded: Loaded, laid: Laid, readings: Sequence[Reading], options: ConvertOptions
) -> tuple[tuple[Piece, ...], list[str]]:
    """Cut the pieces to the ranges, and fill what is missing or refuse."""
    ranges = merge_ranges(options.ranges)
    pieces = within(laid.pieces, ranges) if ranges else laid.pieces
    if not pieces and options.fill is None:
        raise BadInput(
            f"holds nothing in {_told(ranges)}", place=loaded.name, advice=f"it holds {_told(_spans(laid.pieces))}"
        )
    lost = _lost(laid, readings, options.ranges)
    extent = _extent((*_spans(pieces), *lost), ranges)
    missing = gaps(pieces, (extent,))
    unplaced = min(sum(hole.first is None for hole in reading.holes) for reading in readings)
    if options.fill is None:
        _refuse_holes(loaded, lost, unplaced if not ranges or gaps(pieces, ranges) else 0)
        if missing and _needs_no_gaps(options):
            raise BadInput(
                f"nothing is known of {_told(missing)}", place=loaded.name, advice="give --fill BYTE, or a --range"
            )
    notes = []
    if missing and options.fill is not None:
        pieces = _filled(loaded, pieces, missing, options.fill)
        notes.append(f"filled {_told(missing)} with {options.fill:02X}")
    if unplaced:
        notes.append(f"{_plural(unplaced, 'damaged record has', 'damaged records have')} no certain address")
    return pieces, notes


def _filled(loaded: Loaded, pieces: Sequence[Piece], missing: Sequence[Range], fill: int) -> tuple[Piece, ...]:
    amount = sum(r.size for r in missing)
    if amount > MOST_FILLING:
        raise BadInput(
            f"{amount} bytes would have to be filled between {missing[0].first:X} and {missing[-1].last:X}",
            place=loaded.name,
            advice="give a --range",
        )
    return joined((*pieces, *(Piece(r.first, bytes((fill,)) * r.size) for r in missing)))


def _needs_no_gaps(options: ConvertOptions) -> bool:
    return options.to in _NO_GAPS or options.repeat is not None


def _extent(spans: Sequence[Range], ranges: Sequence[Range]) -> Range:
    """Return the addresses from the first to the last: of the ranges, where some were given, else of the bytes."""
    of = ranges or spans
    return Range(min(r.first for r in of), max(r.last for r in of))


def _lost(laid: Laid, readings: Sequence[Reading], ranges: Sequence[Range]) -> tuple[Range, ...]:
    """Return the addresses that damage took, that no other pass gave, and that are wanted."""
    holes = [
        Range(hole.first, hole.last)
        for reading in readings
        for hole in reading.holes
        if hole.first is not None and hole.last is not None
    ]
    return _overlap(gaps(laid.pieces, merge_ranges((*holes, *laid.half_known))), ranges)


def _refuse_holes(loaded: Loaded, lost: Sequence[Range], unplaced: int) -> None:
    if not lost and not unplaced:
        return
    first = next((left for left in loaded.left if left.damage), None)
    where = f" (first on line {first.line}: {first.reason})" if first else ""
    problem = f"damage took {_told(lost)}" if lost else ""
    if unplaced:
        problem += " and " if lost else "damage took "
        problem += _plural(unplaced, "record", "records") + " whose address is not certain"
    raise BadInput(
        f"{problem}{where}", place=loaded.name, advice="read again, or give --fill BYTE to write it all the same"
    )


def _moved(pieces: tuple[Piece, ...], at: int | None) -> tuple[Piece, ...]:
    if at is None:
        return pieces
    by = at - pieces[0].first
    if _end(pieces) + by > 1 << MAX_ADDRESS_BITS:
        raise BadValue(f"the bytes do not fit above {at:X}", advice=f"there are {MAX_ADDRESS_BITS} address bits")
    return tuple(Piece(piece.first + by, piece.data) for piece in pieces)


def _sized(pieces: tuple[Piece, ...], options: ConvertOptions) -> tuple[Piece, ...]:
    """Repeat and pad."""
    first = pieces[0].first
    length = _end(pieces) - first
    copies = _copies(length, options)
    total = max(length * copies, options.size or 0)
    if total - length > MOST_FILLING:
        raise BadValue(f"an image of {total} bytes is too large", advice=f"at most {MOST_FILLING} bytes are added")
    if first + total > 1 << MAX_ADDRESS_BITS:
        raise BadValue(f"{total} bytes do not fit above {first:X}", advice="put them lower with --at")
    if options.size is not None and length * copies > options.size:
        raise BadValue(
            f"{length * copies} bytes do not fit a size of {options.size}", advice="give a --range or a larger --size"
        )
    if copies > 1:
        pieces = (Piece(first, pieces[0].data * copies),)
    if total > length * copies:
        padding = bytes((ERASED if options.fill is None else options.fill,)) * (total - length * copies)
        pieces = joined((*pieces, Piece(first + length * copies, padding)))
    return pieces


def _copies(length: int, options: ConvertOptions) -> int:
    if options.repeat is None:
        return 1
    if options.repeat != "size":
        if options.repeat < 1:
            raise BadValue(f"{options.repeat} copies cannot be written", advice="give 1 or more")
        return options.repeat
    if options.size is None:
        raise BadValue("--repeat needs to know how often", advice="give --repeat N, or --size")
    if options.size % length:
        raise BadValue(
            f"copies of {length} bytes do not fill a size of {options.size} evenly",
            advice="cut to a power of two with --range, or leave out --repeat to pad",
        )
    return options.size // length


def _lanes(pieces: tuple[Piece, ...], split: str | None) -> list[tuple[str, tuple[Piece, ...]]]:
    """Deal the bytes out by address: lane i of n gets those at i, i + n …, as its addresses 0, 1 …, counted from 0."""
    if split is None:
        return [("", pieces)]
    if split not in LANES:
        raise BadValue(f"'{split}' is no way to split", advice=f"choose one of {' or '.join(LANES)}")
    names = LANES[split]
    dealt = []
    for lane, name in enumerate(names):
        part = joined(_every(piece, lane, len(names)) for piece in pieces)
        part = tuple(piece for piece in part if piece.data)
        if not part:
            raise BadValue(f"nothing is left for '{name}'", advice="leave out --split")
        dealt.append((name, part))
    return dealt


def _every(piece: Piece, lane: int, lanes: int) -> Piece:
    skip = (lane - piece.first) % lanes
    return Piece((piece.first + skip) // lanes, piece.data[skip::lanes])


def _output(lane: str, pieces: tuple[Piece, ...], content: bytes) -> Output:
    digest, crc, total = hashlib.sha256(), 0, 0
    for piece in pieces:
        digest.update(piece.data)
        crc = zlib.crc32(piece.data, crc)
        total += int(np.frombuffer(piece.data, np.uint8).sum(dtype=np.int64))
    return Output(
        lane=lane,
        content=content,
        size=sum(len(piece.data) for piece in pieces),
        first=pieces[0].first,
        last=_end(pieces) - 1,
        sum16=total & 0xFFFF,
        crc32=crc,
        sha256=digest.hexdigest(),
    )


def _end(pieces: Sequence[Piece]) -> int:
    return pieces[-1].first + len(pieces[-1].data)


def _spans(pieces: Sequence[Piece]) -> tuple[Range, ...]:
    return tuple(Range(piece.first, piece.first + len(piece.data) - 1) for piece in pieces)


def _overlap(some: Sequence[Range], ranges: Sequence[Range]) -> tuple[Range, ...]:
    """Return what of some ranges is also in others; all of them where there are no others."""
    if not ranges:
        return tuple(some)
    return merge_ranges(both for a in some for b in ranges if (both := a.intersect(b)))


def _told(ranges: Sequence[Range]) -> str:
    """Return a few ranges in words."""
    shown = ", ".join(f"{r.first:04X}" if r.size == 1 else str(r) for r in ranges[:_SHOWN])
    more = len(ranges) - _SHOWN
    return f"{shown} and {_plural(more, 'more place', 'more places')}" if more > 0 else shown


def _plural(number: int, one: str, many: str) -> str:
    return f"{number} {one if number == 1 else many}"
