"""Motorola S-records: S0 to S9.

Standard: 'M68000 Family Programmer's Reference Manual', Appendix C; the same table in the M68EVB912B32 user's manual,
Appendix A. A record is 'S', type, count of the bytes that follow, address, data, checksum: the one's complement of the
low byte of the sum of count, address and data. S0 header; S1, S2, S3 data with 2, 3, 4 bytes of address; S5, S6 number
of data records; S7, S8, S9 end, with a start address of 4, 3, 2 bytes.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from romassay.formats.model import ADDRESS_SPACE, Format, Hints, Left, Parsed, Piece, WriteOptions
from romassay.formats.records.digits import big_endian, row_sums
from romassay.formats.records.losses import count_losses, track_of, without
from romassay.formats.records.model import GOOD, WRONG_FORM, WRONG_SUM, Decoded, Grammar, Scan
from romassay.formats.records.scan import scan
from romassay.formats.records.sniffing import share_of_records
from romassay.formats.records.tracks import parsed_from
from romassay.formats.records.writing import (
    address_columns,
    byte_column,
    cut_rows,
    hex_lines,
    last_address,
    need_address_bits,
)
from romassay.formats.text.plain import plain
from romassay.reading import Bytes

HEADER = 0
_ADDRESS_BYTES = {0: 2, 1: 2, 2: 3, 3: 4, 5: 2, 6: 3, 7: 4, 8: 3, 9: 2}
_DATA = (1, 2, 3)
_COUNTS = (5, 6)
_ENDS = (7, 8, 9)
_MOST_WRONG = 10_000


def _decode(kind: int, rows: Bytes) -> Decoded:
    n, width = rows.shape
    address_bytes = _ADDRESS_BYTES.get(kind, 0)
    carried = width - 2 - address_bytes
    verdict = np.full(n, GOOD, np.uint8)
    address = big_endian(rows[:, 1 : 1 + min(address_bytes, width - 2)])
    count = carried if kind in _DATA else 0
    if not address_bytes or carried < 0 or (kind >= _COUNTS[0] and carried):
        verdict[:] = WRONG_FORM
        count = 0
    verdict[address + count > ADDRESS_SPACE] = WRONG_FORM
    verdict[row_sums(rows) != 0xFF] = WRONG_SUM
    zeros = np.zeros(n, np.int64)
    return Decoded(np.full(n, kind, np.uint8), address, zeros + count, 1 + address_bytes, verdict)


_GRAMMAR = Grammar(mark="S", lead=1, head=3, length_at=0, pairs=lambda length: length + 1, decode=_decode)


def sniff(source: bytes) -> float:
    """Tell how surely these are S-records, from a sample's good ones."""
    return share_of_records(source, _GRAMMAR)


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log. Damaged records are holes, and so are those that a count record finds missing."""
    found = _without_wrong_types(scan(plain(source, hints.encoding), _GRAMMAR))
    is_data = found.count > 0
    ends = found.kind >= _ENDS[0]
    counts = (found.kind == _COUNTS[0]) | (found.kind == _COUNTS[1])
    all_data = (found.kind >= _DATA[0]) & (found.kind <= _DATA[-1])
    track = track_of(found, is_data, ends, lambda item: _claim(item.digits))
    track = count_losses(found, track, all_data, is_data, counts, ends | (found.kind == HEADER))
    return parsed_from(track, hints, "record-checked", left=_notes(found), left_total=found.left_total)


def _without_wrong_types(found: Scan) -> Scan:
    """Take out records whose type digit is wrong: no checksum covers it.

    Such a record is not of the type that most data records have, and read as one of that type it goes on where the data
    record before it ends, or ends where the one behind it begins. The number of address bytes is then wrong, too. So is
    a header with an address, or one amid the data.
    """
    data = np.flatnonzero((found.kind >= _DATA[0]) & (found.kind <= _DATA[-1]))
    if not len(data):
        return found
    wrong = np.zeros(len(found.kind), bool)
    usual = int(np.bincount(found.kind[data]).argmax())
    start = np.cumsum(found.count) - found.count
    header = np.flatnonzero(found.kind == HEADER)
    wrong[header] = found.address[header] != 0
    for i in data[found.kind[data] != usual][:_MOST_WRONG].tolist():
        body = _body(found, i, int(start[i]))
        first = int.from_bytes(body[: usual + 1], "big")
        at = int(np.searchsorted(data, i))
        before, behind = (int(data[k]) if 0 <= k < len(data) else None for k in (at - 1, at + 1))
        joins = before is not None and first == int(found.address[before] + found.count[before])
        meets = behind is not None and first + len(body) - usual - 1 == int(found.address[behind])
        wrong[i] = joins or meets
    if not wrong.any():
        return found
    return without(found, wrong, WRONG_FORM, lambda i: _digits(usual, _body(found, i, int(start[i]))))


def _body(found: Scan, i: int, start: int) -> bytes:
    """Return a record's address and data bytes as they stand."""
    data = found.value[start : start + int(found.count[i])].tobytes()
    return int(found.address[i]).to_bytes(_ADDRESS_BYTES[int(found.kind[i])], "big") + data


def _digits(kind: int, body: bytes) -> str:
    return f"{kind}{len(body) + 1:02X}{body.hex()}00"


def _notes(found: Scan) -> tuple[Left, ...]:
    """Return the lines that were left, and a word on start addresses, which have no place in a reading."""
    starts = np.flatnonzero((found.kind >= _ENDS[0]) & (found.address > 0))[:100]
    notes = [
        Left(int(found.line[i]), "", f"a start address, {int(found.address[i]):X}: no part of the bytes", damage=False)
        for i in starts.tolist()
    ]
    return tuple(sorted((*found.left, *notes), key=lambda item: item.line))


def _claim(digits: str) -> tuple[int, int] | None:
    """Return the first and last address of a damaged record, by its own word."""
    kind = int(digits[:1] or "0", 16)
    wide = 2 * _ADDRESS_BYTES.get(kind, 0)
    length = (len(digits) - 5 - wide) // 2
    if kind not in _DATA or length < 1 or len(digits) != 3 + 2 * int(digits[1:3], 16):
        return None
    first = int(digits[3 : 3 + wide], 16)
    return first, first + length - 1


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write a header, data records of 16 bytes (or `options.record`), their number, and an end with the start address.

    The address has as many bytes as the last one needs, 2 to 4.
    """
    need_address_bits(pieces, 32, "a Motorola S-record")
    size = options.record or 16
    address_bytes = max(2, (max(last_address(pieces), options.start or 0).bit_length() + 7) // 8)
    if size > 254 - address_bytes:
        size = 254 - address_bytes
    kind = address_bytes - 1
    header = options.header.encode("ascii", "replace")[:64]
    parts = [_record(HEADER, 2, 0, header)]
    number = 0
    for first, rows in cut_rows(pieces, size):
        length = byte_column(rows.shape[1] + address_bytes + 1, rows)
        parts.append(_lines(kind, [length, address_columns(first, address_bytes), rows]))
        number += len(rows)
    if number < 1 << 24:
        parts.append(_record(5, 2, number) if number < 1 << 16 else _record(6, 3, number))
    parts.append(_record(10 - kind, address_bytes, options.start or 0))
    return b"".join(parts)


def _record(kind: int, address_bytes: int, address: int, data: bytes = b"") -> bytes:
    body = bytes((address_bytes + len(data) + 1,)) + address.to_bytes(address_bytes, "big") + data
    return _lines(kind, [np.frombuffer(body, np.uint8).reshape(1, -1)])


def _lines(kind: int, columns: Sequence[Bytes]) -> bytes:
    total = sum((row_sums(c) for c in columns), np.zeros(len(columns[0]), np.uint8))
    return hex_lines(f"S{kind}", [*columns, (~total)[:, None]])


FORMAT = Format(
    name="s-record",
    title="Motorola S-record",
    standard="M68000 Family Programmer's Reference Manual, Appendix C",
    suffixes=(".s19", ".srec", ".s28", ".s37", ".mot", ".s"),
    sniff=sniff,
    read=read,
    write=write,
    follows=("record", "start", "header"),
)
