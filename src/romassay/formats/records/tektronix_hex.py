"""Tektronix hex, the older of the two: '/' blocks.

Layout as restated in a public manual page: '/', address (4 digits), number of data bytes (2), sum of these six digits
(2), data, sum of the data's digits (2). Sums are of hex digits, not of bytes, modulo 256. The last block has the number
00 and ends behind its first sum.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from romassay.formats.model import Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.digits import big_endian, row_sums
from romassay.formats.records.losses import track_of
from romassay.formats.records.model import GOOD, WRONG_FORM, WRONG_SUM, Decoded, Grammar
from romassay.formats.records.scan import scan
from romassay.formats.records.sniffing import share_of_records
from romassay.formats.records.tracks import parsed_from
from romassay.formats.records.writing import address_columns, byte_column, cut_rows, hex_lines, need_address_bits
from romassay.formats.text.plain import plain
from romassay.reading import Bytes, Index

DATA, END = 0, 1
_ADDRESS_BITS = 16
_HEAD = 4


def _digit_sums(rows: Bytes) -> Bytes:
    """Return the sum of the hex digits of each row, modulo 256."""
    return row_sums(rows >> np.uint8(4)) + row_sums(rows & np.uint8(15))


def _pairs(length: Index) -> Index:
    return np.where(length > 0, length + _HEAD + 1, _HEAD)


def _decode(_lead: int, rows: Bytes) -> Decoded:
    n, width = rows.shape
    length = max(0, width - _HEAD - 1)
    address = big_endian(rows[:, :2])
    verdict = np.full(n, GOOD, np.uint8)
    verdict[address + length > 1 << _ADDRESS_BITS] = WRONG_FORM
    verdict[_digit_sums(rows[:, :3]) != rows[:, 3]] = WRONG_SUM
    if length:
        verdict[_digit_sums(rows[:, _HEAD:-1]) != rows[:, -1]] = WRONG_SUM
    zeros = np.zeros(n, np.int64)
    return Decoded(np.full(n, DATA if length else END, np.uint8), address, zeros + length, _HEAD, verdict)


_GRAMMAR = Grammar(mark="/", lead=0, head=_HEAD, length_at=2, pairs=_pairs, decode=_decode)


def sniff(source: bytes) -> float:
    """Tell how surely this is Tektronix hex, from a sample's good blocks."""
    return share_of_records(source, _GRAMMAR)


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log. Damaged blocks are holes."""
    found = scan(plain(source, hints.encoding), _GRAMMAR)
    track = track_of(found, found.kind == DATA, found.kind == END, lambda item: _claim(item.digits))
    return parsed_from(track, hints, "record-checked", left=found.left, left_total=found.left_total)


def _claim(digits: str) -> tuple[int, int] | None:
    """Return the first and last address of a damaged block, by its own word."""
    length = int(digits[4:6], 16) if len(digits) >= 2 * _HEAD else 0
    if not length or len(digits) != 2 * (length + _HEAD + 1):
        return None
    first = int(digits[:4], 16)
    return first, first + length - 1


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write blocks of 16 bytes (or `options.record`), and a last one with the start address."""
    need_address_bits(pieces, _ADDRESS_BITS, "Tektronix hex")
    parts = [
        hex_lines("/", [*_head(first, rows.shape[1]), rows, _digit_sums(rows)[:, None]])
        for first, rows in cut_rows(pieces, options.record or 16)
    ]
    start = np.array([(options.start or 0) & 0xFFFF], np.int64)
    return b"".join((*parts, hex_lines("/", _head(start, 0))))


def _head(first: Index, length: int) -> tuple[Bytes, Bytes]:
    head = address_columns(first, 2)
    head = np.concatenate([head, byte_column(length, head)], axis=1)
    return head, _digit_sums(head)[:, None]


FORMAT = Format(
    name="tektronix-hex",
    title="Tektronix hex",
    standard="as restated in a public manual page",
    suffixes=(".tek",),
    sniff=sniff,
    read=read,
    write=write,
    follows=("record", "start"),
)
