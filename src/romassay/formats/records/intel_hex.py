"""Intel HEX: all six record types.

Standard: 'Hexadecimal Object File Format Specification', Revision A, 6 January 1988. A record is ':', length, offset,
type, data, checksum; all its bytes add up to 0 modulo 256. Types: 00 data, 01 end, 02 segment base (times 16), 03 start
CS:IP, 04 linear base (times 65536), 05 start EIP. Within a segment the offset wraps at 64 KiB; with a linear base the
address wraps at 4 GiB (both from memory). Before any base record, addresses are linear from 0; an end record takes the
base back to 0, so that files set one behind the other read as each would alone.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import groupby

import numpy as np

from romassay.formats.model import ADDRESS_SPACE, Format, Hints, Left, Parsed, Piece, WriteOptions
from romassay.formats.records.digits import big_endian, row_sums
from romassay.formats.records.losses import losses
from romassay.formats.records.model import GOOD, WRONG_FORM, WRONG_SUM, Damaged, Decoded, Grammar, Scan
from romassay.formats.records.scan import scan
from romassay.formats.records.sniffing import share_of_records
from romassay.formats.records.tracks import Lost, Track, parsed_from
from romassay.formats.records.writing import (
    address_columns,
    byte_column,
    cut_rows,
    hex_lines,
    last_address,
    need_address_bits,
)
from romassay.formats.text.plain import plain
from romassay.reading import Bytes, Index, Mask

DATA, END, SEGMENT, START_SEGMENT, LINEAR, START_LINEAR = range(6)
_LENGTHS = {END: 0, SEGMENT: 2, START_SEGMENT: 4, LINEAR: 2, START_LINEAR: 4}
_SEGMENT_SIZE = 1 << 16
_IN_REACH = 255
_LIKE_A_BASE = 18
"""A base record has 15 characters; a damaged one may have a few more."""


def _decode(_lead: int, rows: Bytes) -> Decoded:
    length = rows.shape[1] - 5
    kind = rows[:, 3]
    address = big_endian(rows[:, 1:3])
    count = np.full(len(rows), length)
    verdict = np.full(len(rows), GOOD, np.uint8)
    if kind.any():
        known = kind == DATA
        count[~known] = 0
        address[~known] = big_endian(rows[:, 4 : min(8, 4 + length)])[~known]
        for number, wanted in _LENGTHS.items():
            if length == wanted:
                known |= kind == number
        verdict[~known] = WRONG_FORM
    verdict[row_sums(rows) != 0] = WRONG_SUM
    return Decoded(kind, address, count, 4, verdict)


_GRAMMAR = Grammar(mark=":", lead=0, head=4, length_at=0, pairs=lambda length: length + 5, decode=_decode)


def sniff(source: bytes) -> float:
    """Tell how surely this is Intel HEX, from a sample's good records."""
    return share_of_records(source, _GRAMMAR)


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log. Damaged records are holes; so are records behind a damaged base record."""
    found = scan(plain(source, hints.encoding), _GRAMMAR)
    left = _notes(found)
    return parsed_from(_track(found), hints, "record-checked", left=left, left_total=found.left_total)


def _notes(found: Scan) -> tuple[Left, ...]:
    """Return the lines that were left, and a word on start addresses, which have no place in a reading."""
    starts = np.flatnonzero((found.kind == START_SEGMENT) | (found.kind == START_LINEAR))[:100]
    notes = [
        Left(
            int(found.line[i]), "", f"a start address, {int(found.address[i]):08X}: no part of the bytes", damage=False
        )
        for i in starts.tolist()
    ]
    return tuple(sorted((*found.left, *notes), key=lambda item: item.line))


def _track(found: Scan) -> Track:
    """Work out the addresses from offsets and bases; cut records that wrap at the end of their space."""
    is_data = (found.kind == DATA) & (found.count > 0)
    stretches = _stretches(found)
    start = found.address + np.repeat(stretches.base, stretches.length) if stretches.base.any() else found.address
    limit = np.repeat(stretches.limit, stretches.length)
    unsure = _unsure(found, is_data, stretches)
    taken = is_data & ~unsure
    wraps = taken & (start + found.count > limit)
    before = np.r_[0, np.cumsum(taken)]
    value, first, count, line = found.value, start[taken], found.count[taken], found.line[taken]
    if wraps.any():
        before += np.r_[0, np.cumsum(wraps)]
        back = np.repeat(np.where(stretches.limit == ADDRESS_SPACE, 0, stretches.base), stretches.length)
        first, count, line = _cut(first, count, line, limit[taken], back[taken])
    lost = losses(found, before, lambda item: _claim(item.digits, int(stretches.base[stretches.at(item.after)])))
    if unsure.any():
        value = value[np.repeat(taken[is_data], found.count[is_data])]
        lost = _with_unsure(lost, found, unsure, before)
    ends = np.flatnonzero(found.kind == END)
    return Track(first, count, line, value, ends=before[ends], end_lines=found.line[ends], lost=lost)


@dataclass(frozen=True, slots=True)
class _Stretches:
    """Records in a row that have the same base; the base record itself is the first of them.

    Attributes:
        first: int64[k], index of the first record.
        length: int64[k], records.
        base: int64[k], what is added to offsets.
        limit: int64[k], the address at which they wrap.
        is_set: bool[k], whether the first record is a base record.
    """

    first: Index
    length: Index
    base: Index
    limit: Index
    is_set: Mask

    def at(self, record: int) -> int:
        """Return the stretch of what stands before a record."""
        return max(0, int(np.searchsorted(self.first, record)) - 1)


def _stretches(found: Scan) -> _Stretches:
    n = len(found.kind)
    setters = np.flatnonzero((found.kind == SEGMENT) | (found.kind == LINEAR))
    behind_end = np.flatnonzero(found.kind == END) + 1
    first = np.unique(np.r_[0, setters, behind_end[behind_end < n]])
    kind, number = (column[first] if n else np.zeros(1, np.int64) for column in (found.kind, found.address))
    segment, linear = kind == SEGMENT, kind == LINEAR
    base = np.where(segment, number << 4, np.where(linear, number << 16, 0))
    limit = np.where(segment, base + _SEGMENT_SIZE, ADDRESS_SPACE)
    return _Stretches(first, np.diff(np.r_[first, n]), base, limit, segment | linear)


def _unsure(found: Scan, is_data: Mask, stretches: _Stretches) -> Mask:
    """Return the data records whose base is not certain: from a doubt to the end of its stretch."""
    unsure = np.zeros(len(is_data), bool)
    if not stretches.is_set.any() and not any(_looks_like_a_base(item) for item in found.damaged):
        return unsure
    doubtful = _where_a_base_may_be_lost(found, is_data, stretches)
    if found.damaged_total > len(found.damaged):
        unsure[found.damaged[-1].after :] = True
    ends = stretches.first + stretches.length
    for i in doubtful[np.unique(np.searchsorted(ends, doubtful, "right"), return_index=True)[1]].tolist():
        unsure[i : int(ends[np.searchsorted(ends, i, "right")])] = True
    return unsure & is_data


def _looks_like_a_base(item: Damaged) -> bool:
    """Tell whether a damaged record begins like one of type 02 or 04: but for two digits, or as far as it goes."""
    head = item.digits[:8]
    off = min(sum(a != b for a, b in zip(head, base, strict=False)) for base in ("02000002", "02000004"))
    return off <= 2 and head[6:] != "00" if len(head) == 8 else len(head) > 4 and not off


def _where_a_base_may_be_lost(found: Scan, is_data: Mask, stretches: _Stretches) -> Index:
    """Return the records, in a log with base records, before which one may be damaged or missing without a trace.

    That is where something short, or something like one, is damaged; where, behind anything damaged, the offset does
    not go on to within reach of the one before, or does so behind other text; and where it goes over the end of 64 KiB
    to 0. It is not where the damaged lines are as many data records as make up the step from the one before.
    """
    rows = np.flatnonzero(is_data)
    zero = np.flatnonzero(found.address[rows] == 0).tolist()
    doubtful = [i for i in zero if _step(found, rows, i, stretches) == -_SEGMENT_SIZE]
    behind_text = np.unique(np.searchsorted(found.line[rows], [item.line for item in found.left]))
    doubtful += [
        i for i in behind_text.tolist() if i < len(rows) and not 0 <= _step(found, rows, i, stretches) <= _IN_REACH
    ]
    for i, items in _damage_before(found, rows):
        row, at = int(rows[i]), stretches.at(int(rows[i]) + 1)
        items = [item for item in items if item.after >= int(stretches.first[at]) + int(stretches.is_set[at])]
        if not items:
            continue
        before = int(rows[i - 1]) if i and rows[i - 1] >= stretches.first[at] else None
        lines = len({item.line for item in items})
        start = _offset_of(items[0]) if before is None else int(found.address[before] + found.count[before])
        step = int(found.address[row]) - start
        accounted = before is not None and step == lines * int(found.count[before])
        in_reach = start >= 0 and 0 <= step <= _IN_REACH * (lines + 1)
        likely = any(_looks_like_a_base(item) for item in items)
        short = any(item.span <= _LIKE_A_BASE for item in items)
        if likely or not in_reach or (short and not accounted):
            doubtful.append(i)
    return rows[sorted(doubtful)]


def _step(found: Scan, rows: Index, i: int, stretches: _Stretches) -> int:
    """Return how far a data record's offset is from the end of the one before, 0 where the base is another."""
    if not i:
        return 0
    before, row = int(rows[i - 1]), int(rows[i])
    if stretches.at(before + 1) != stretches.at(row + 1):
        return 0
    return int(found.address[row] - found.address[before] - found.count[before])


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
    rows = np.concatenate(columns, axis=1)
    return hex_lines(":", [rows, (-row_sums(rows))[:, None]])


FORMAT = Format(
    name="intel-hex",
    title="Intel HEX",
    standard="Hexadecimal Object File Format Specification, Revision A, 6 January 1988",
    suffixes=(".hex", ".ihx", ".ihex"),
    sniff=sniff,
    read=read,
    write=write,
    follows=("record", "start"),
)
