"""Intel HEX: all six record types.

Standard: 'Hexadecimal Object File Format Specification', Revision A, 6 January 1988. A record is ':', length, offset,
type, data, checksum; all its bytes add up to 0 modulo 256. Types: 00 data, 01 end, 02 segment base (times 16), 03 start
CS:IP, 04 linear base (times 65536), 05 start EIP. Within a segment the offset wraps at 64 KiB; with a linear base the
address wraps at 4 GiB (both from memory). Before any base record, addresses are linear from 0; an end record takes the
base back to 0, so that files set one behind the other read as each would alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import groupby

import numpy as np

from romassay.formats.model import Format, Hints, Left, Parsed, Piece, WriteOptions
from romassay.formats.records import (
    GOOD,
    WRONG_FORM,
    WRONG_SUM,
    Damaged,
    Decoded,
    Grammar,
    Mask,
    Scan,
    big_endian,
    losses,
    plain,
    row_sums,
    scan,
)
from romassay.formats.sniffing import share_of_records
from romassay.formats.tracks import ADDRESS_SPACE, Lost, Track, parsed_from
from romassay.formats.writing import (
    address_columns,
    byte_column,
    cut_rows,
    hex_lines,
    last_address,
    need_address_bits,
)
from romassay.reading import Bytes, Index

DATA, END, SEGMENT, START_SEGMENT, LINEAR, START_LINEAR = range(6)
_LENGTHS = {END: 0, SEGMENT: 2, START_SEGMENT: 4, LINEAR: 2, START_LINEAR: 4}
_SEGMENT_SIZE = 1 << 16
_LIKE_A_BASE = 18
"""A base record has 15 characters; a damaged one may have a few more."""


def _decode(_lead: int, rows: Bytes) -> Decoded:
    length = rows.shape[1] - 5
    kind = rows[:, 3]
    count = np.full(len(rows), length)
    extra = np.zeros(len(rows), np.int64)
    verdict = np.full(len(rows), GOOD, np.uint8)
    if kind.any():
        known = kind == DATA
        count[~known] = 0
        extra = big_endian(rows[:, 4 : min(8, 4 + length)])
        for number, wanted in _LENGTHS.items():
            if length == wanted:
                known |= kind == number
        verdict[~known] = WRONG_FORM
    verdict[row_sums(rows) != 0] = WRONG_SUM
    return Decoded(kind, big_endian(rows[:, 1:3]), extra, count, 4, verdict)


_GRAMMAR = Grammar(mark=":", lead=0, head=4, length_at=0, pairs=lambda length: length + 5, decode=_decode)


def sniff(source: bytes) -> float:
    """Tell how surely this is Intel HEX, from a sample's good records."""
    return share_of_records(source, _GRAMMAR)


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log. Damaged records are holes; so are records behind a damaged base record."""
    found = scan(plain(source), _GRAMMAR)
    left = _notes(found)
    return parsed_from(_track(found), hints, "record-checked", left=left, left_total=found.left_total)


def _notes(found: Scan) -> tuple[Left, ...]:
    """Return the lines that were left, and a word on start addresses, which have no place in a reading."""
    starts = np.flatnonzero((found.kind == START_SEGMENT) | (found.kind == START_LINEAR))[:100]
    notes = [
        Left(int(found.line[i]), "", f"a start address, {int(found.extra[i]):08X}: no part of the bytes", damage=False)
        for i in starts.tolist()
    ]
    return tuple(sorted((*found.left, *notes), key=lambda item: item.line))


def _track(found: Scan) -> Track:
    """Work out the addresses from offsets and bases; cut records that wrap at the end of their space."""
    is_data = (found.kind == DATA) & (found.count > 0)
    base, limit, sure = _bases(found)
    taken = is_data & sure
    start = base + found.address
    wraps = taken & (start + found.count > limit)
    before = np.r_[0, np.cumsum(taken + wraps.astype(np.int64))]
    lost = losses(found, before, lambda item: _claim(item.digits, int(base[item.after - 1]) if item.after else 0))
    value = found.value
    unsure = is_data & ~sure
    if unsure.any():
        value = value[np.repeat(taken[is_data], found.count[is_data])]
        lost = _with_unsure(lost, found, unsure, before)
    first, count, line = start[taken], found.count[taken], found.line[taken]
    if wraps.any():
        back = np.where(limit == ADDRESS_SPACE, 0, base)[taken]
        first, count, line = _cut(first, count, line, limit[taken], back)
    ends = found.kind == END
    return Track(first, count, line, value, ends=before[:-1][ends], end_lines=found.line[ends], lost=lost)


def _bases(found: Scan) -> tuple[Index, Index, Mask]:
    """Return for each record its base, the address at which it wraps, and whether the base is certain."""
    n = len(found.kind)
    base, limit, sure = np.zeros(n, np.int64), np.full(n, ADDRESS_SPACE), np.ones(n, bool)
    setters = (found.kind == SEGMENT) | (found.kind == LINEAR)
    anew = np.r_[False, found.kind[:-1] == END][:n]
    latest = np.maximum.accumulate(np.where(setters | anew, np.arange(n), -1))
    if setters.any():
        segment, linear = (_has(found.kind == kind, latest) for kind in (SEGMENT, LINEAR))
        base[segment] = found.extra[latest[segment]] << 4
        base[linear] = found.extra[latest[linear]] << 16
        limit[segment] = base[segment] + _SEGMENT_SIZE
    doubt = np.full(n + 1, -1, np.int64)
    if setters.any() or any(_looks_like_a_base(item) for item in found.damaged):
        doubt[_where_a_base_may_be_lost(found, setters | anew)] = 0
    doubt = np.where(doubt < 0, doubt, np.arange(n + 1))
    if found.damaged_total > len(found.damaged) and setters.any():
        sure[found.damaged[-1].after :] = False
    return base, limit, sure & (np.maximum.accumulate(doubt[:n]) <= latest)


def _has(setters: Mask, latest: Index) -> Mask:
    return (latest >= 0) & setters[latest]


def _looks_like_a_base(item: Damaged) -> bool:
    """Tell whether a damaged record begins like one of type 02 or 04: but for two digits, or as far as it goes."""
    head = item.digits[:8]
    off = min(sum(a != b for a, b in zip(head, base, strict=False)) for base in ("02000002", "02000004"))
    return off <= 2 and head[6:] != "00" if len(head) == 8 else len(head) > 4 and not off


def _where_a_base_may_be_lost(found: Scan, breaks: Mask) -> Index:
    """Return the records, in a log with base records, before which one may be damaged or missing without a trace.

    That is where something short, or something like one, is damaged; where, behind anything damaged, the offset does
    not go on to within reach of the one before; and where it goes over the end of 64 KiB to 0. It is not where the
    damaged lines are as many data records as make up the step from the one before.
    """
    rows = np.flatnonzero((found.kind == DATA) & (found.count > 0))
    if not len(rows):
        return rows
    offset, end = found.address[rows], (found.address + found.count)[rows]
    group = np.cumsum(breaks)[rows]
    goes_on = np.r_[False, group[1:] == group[:-1]]
    before = np.r_[-1, end[:-1]]
    doubtful = goes_on & (before == _SEGMENT_SIZE) & (offset == 0)
    for i, items in _damage_before(found, rows):
        last = items[0].after - 1
        if last >= 0 and np.cumsum(breaks[last + 1 : rows[i] + 1]).any():
            continue
        lines = len({item.line for item in items})
        start = int(before[i]) if goes_on[i] else _offset_of(items[0])
        step = int(offset[i]) - start
        accounted = goes_on[i] and step == lines * int(found.count[rows[i - 1]])
        in_reach = start >= 0 and 0 <= step <= 255 * (lines + 1)
        likely = any(_looks_like_a_base(item) for item in items)
        short = any(item.span <= _LIKE_A_BASE for item in items)
        doubtful[i] |= likely or not in_reach or (short and not accounted)
    found_there: Index = rows[doubtful]
    return found_there


def _damage_before(found: Scan, rows: Index) -> Iterator[tuple[int, list[Damaged]]]:
    """Yield the damaged records before each data record, by its place among these."""
    places = np.searchsorted(rows, [item.after for item in found.damaged]).tolist()
    for i, group in groupby(zip(places, found.damaged, strict=True), key=lambda pair: pair[0]):
        if i < len(rows):
            yield i, [item for _, item in group]


def _offset_of(item: Damaged) -> int:
    """Return the offset of a damaged data record by its own word, or -1."""
    return int(item.digits[2:6], 16) if len(item.digits) >= 8 and item.digits[6:8] == "00" else -1


def _claim(digits: str, base: int) -> tuple[int, int] | None:
    """Return the first and last address of a damaged record, by its own word."""
    length = int(digits[:2], 16) if len(digits) >= 8 else 0
    if not length or digits[6:8] != "00" or len(digits) != 2 * length + 10:
        return None
    first = base + int(digits[2:6], 16)
    return first, first + length - 1


def _with_unsure(lost: tuple[Lost, ...], found: Scan, unsure: Mask, before: Index) -> tuple[Lost, ...]:
    """Add each stretch of records whose base record is damaged."""
    rows = np.flatnonzero(unsure)
    starts = rows[np.r_[True, np.diff(rows) > 1]]
    reason = "records without a certain address, behind a damaged base record"
    added = (Lost(int(before[i]), int(found.line[i]), reason) for i in starts.tolist())
    return tuple(sorted((*lost, *added), key=lambda item: (item.at, item.line)))


def _cut(first: Index, count: Index, line: Index, limit: Index, back: Index) -> tuple[Index, Index, Index]:
    """Cut the runs that pass `limit` in two; the second part goes on at `back`."""
    room = limit - first
    wraps = count > room
    rows = np.repeat(np.arange(len(first)), 1 + wraps)
    second = np.r_[False, rows[1:] == rows[:-1]]
    return (
        np.where(second, back[rows], first[rows]),
        np.where(second, (count - room)[rows], np.minimum(count, room)[rows]),
        line[rows],
    )


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write data records of 16 bytes (or `options.record`), linear bases above FFFF, a start and an end record."""
    need_address_bits(pieces, 32, "Intel HEX")
    parts: list[bytes] = []
    upper = 0 if last_address(pieces) < _SEGMENT_SIZE else -1
    for first, rows in cut_rows(pieces, options.record or 16, _SEGMENT_SIZE):
        if int(first[0]) >> 16 != upper:
            upper = int(first[0]) >> 16
            parts.append(_record(LINEAR, upper.to_bytes(2, "big")))
        head = (byte_column(rows.shape[1], rows), address_columns(first & 0xFFFF, 2), byte_column(DATA, rows))
        parts.append(_lines((*head, rows)))
    if options.start is not None:
        parts.append(_record(START_LINEAR, options.start.to_bytes(4, "big")))
    parts.append(_record(END, b""))
    return b"".join(parts)


def _record(kind: int, data: bytes) -> bytes:
    return _lines([np.frombuffer(bytes((len(data), 0, 0, kind)) + data, np.uint8).reshape(1, -1)])


def _lines(columns: Sequence[Bytes]) -> bytes:
    total = sum((row_sums(c) for c in columns), np.zeros(len(columns[0]), np.uint8))
    return hex_lines(":", [*columns, (-total)[:, None]])


FORMAT = Format(
    name="intel-hex",
    title="Intel HEX",
    standard="Hexadecimal Object File Format Specification, Revision A, 6 January 1988",
    suffixes=(".hex", ".ihx", ".ihex"),
    sniff=sniff,
    read=read,
    write=write,
)
