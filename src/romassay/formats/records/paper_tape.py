"""Paper-tape records of the 6502 family's monitors: ';' records.

Standard: user manual of a 6502 single-board microcomputer, second edition, August 1976 (publication 6500-15B), Appendix
F. A record is ';', count, address (high byte first), data, and the 16-bit sum of all these bytes, high byte first. The
last one has the count 00 and, in place of the address, the number of records; its sum is the usual one by the manual,
and the number again by other descriptions: both are taken. CR, LF and six NULs end a record; XOFF ends the tape.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from romassay.formats.model import Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.digits import big_endian
from romassay.formats.records.losses import count_losses, track_of
from romassay.formats.records.model import GOOD, WRONG_FORM, WRONG_SUM, Decoded, Grammar
from romassay.formats.records.scan import scan
from romassay.formats.records.sniffing import share_of_records
from romassay.formats.records.tracks import parsed_from
from romassay.formats.records.writing import address_columns, byte_column, cut_rows, hex_lines, need_address_bits
from romassay.formats.text.plain import plain
from romassay.reading import Bytes

DATA, END = 0, 1
_ADDRESS_BITS = 16
_USUAL = 24
_LINE_END = "\r\n" + "\0" * 6
_XOFF = b"\x13"


def _sums(rows: Bytes) -> Bytes:
    """Return the 16-bit sum of each row, as two columns."""
    return address_columns(rows.sum(axis=1, dtype=np.int64), 2)


def _decode(_lead: int, rows: Bytes) -> Decoded:
    n, width = rows.shape
    length = width - 5
    verdict = np.full(n, GOOD, np.uint8)
    stated = rows[:, -2:]
    right = (_sums(rows[:, :-2]) == stated).all(axis=1)
    address = big_endian(rows[:, 1:3])
    if not length:
        right |= (rows[:, 1:3] == stated).all(axis=1)
    verdict[address + length > 1 << _ADDRESS_BITS] = WRONG_FORM
    verdict[~right] = WRONG_SUM
    zeros = np.zeros(n, np.int64)
    kind = np.full(n, DATA if length else END, np.uint8)
    return Decoded(kind, address, zeros + length, 3, verdict)


_GRAMMAR = Grammar(mark=";", lead=0, head=3, length_at=0, pairs=lambda length: length + 5, decode=_decode)


def sniff(source: bytes) -> float:
    """Tell how surely these are paper-tape records, from a sample's good ones."""
    return share_of_records(source, _GRAMMAR)


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log. Damaged records are holes, and so are those that the last record finds missing."""
    found = scan(plain(source, hints.encoding), _GRAMMAR)
    is_data, ends = found.kind == DATA, found.kind == END
    track = track_of(found, is_data, ends, lambda item: _claim(item.digits))
    track = count_losses(found, track, counted=is_data, is_data=is_data, counts=ends, fresh=ends)
    return parsed_from(track, hints, "record-checked", left=found.left, left_total=found.left_total)


def _claim(digits: str) -> tuple[int, int] | None:
    """Return the first and last address of a damaged record, by its own word."""
    length = int(digits[:2], 16) if len(digits) >= 6 else 0
    if not length or len(digits) != 2 * length + 10:
        return None
    first = int(digits[2:6], 16)
    return first, first + length - 1


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write records of 24 bytes (or `options.record`) and a last one with their number."""
    need_address_bits(pieces, _ADDRESS_BITS, "a paper-tape record")
    parts = []
    number = 0
    for first, rows in cut_rows(pieces, options.record or _USUAL):
        parts.append(_lines([byte_column(rows.shape[1], rows), address_columns(first, 2), rows]))
        number += len(rows)
    last = np.frombuffer(b"\0" + (number & 0xFFFF).to_bytes(2, "big"), np.uint8).reshape(1, 3)
    return b"".join((*parts, _lines([last]), _XOFF))


def _lines(columns: Sequence[Bytes]) -> bytes:
    return hex_lines(";", [*columns, _sums(np.concatenate(columns, axis=1))], _LINE_END)


FORMAT = Format(
    name="paper-tape",
    title="paper-tape records of the 6502 family",
    standard="publication 6500-15B, second edition, August 1976, Appendix F",
    suffixes=(".ptp", ".pap"),
    sniff=sniff,
    read=read,
    write=write,
    follows=("record",),
)
