"""Writing records of hex digits in bulk: pieces cut into rows, rows into lines."""

from __future__ import annotations

import binascii
from collections.abc import Iterator, Sequence

import numpy as np

from romassay.errors import BadValue
from romassay.formats.model import Piece
from romassay.reading import Bytes, Index

_ROWS = 1 << 16


def cut_rows(pieces: Sequence[Piece], size: int, boundary: int = 1 << 32) -> Iterator[tuple[Index, Bytes]]:
    """Cut pieces into rows of `size` bytes and a shorter last one, none across a multiple of `boundary`.

    Yields the first address of each row, int64[n], and the rows, uint8[n, k]; at most 65536 rows at a time.
    """
    if not 0 < size <= 255:
        raise BadValue(f"{size} bytes in a record cannot be written", advice="give 1 to 255")
    for piece in pieces:
        data = np.frombuffer(piece.data, np.uint8)
        at = 0
        while at < len(data):
            first = piece.first + at
            room = min(len(data) - at, boundary - first % boundary)
            whole = min(room // size, _ROWS)
            width = size if whole else room
            rows = data[at : at + max(whole, 1) * width].reshape(-1, width)
            yield first + np.arange(len(rows), dtype=np.int64) * width, rows
            at += rows.size


def last_address(pieces: Sequence[Piece]) -> int:
    """Return the highest address in sorted pieces; 0 where there are none."""
    return max((p.first + len(p.data) - 1 for p in pieces), default=0)


def need_address_bits(pieces: Sequence[Piece], bits: int, title: str) -> None:
    """Raise BadValue where an address needs more bits than a format has."""
    last = last_address(pieces)
    if last >> bits:
        raise BadValue(
            f"{title} reaches address {(1 << bits) - 1:X} only, and the bytes go to {last:X}",
            advice="choose another format, or move them down with --at",
        )


def address_columns(first: Index, width: int) -> Bytes:
    """Return addresses as bytes, high byte first: int64[n] to uint8[n, width]."""
    return (first[:, None] >> np.arange(8 * (width - 1), -1, -8)).astype(np.uint8)


def hex_lines(mark: str, columns: Sequence[Bytes], end: str = "\n") -> bytes:
    """Return a line for each row: the mark, the columns' bytes in hex, the end."""
    rows = np.concatenate(columns, axis=1)
    if len(rows) == 1:
        return (mark + rows.tobytes().hex().upper() + end).encode("ascii")
    digits = row_digits(rows)
    lines = np.empty((len(digits), len(mark) + digits.shape[1] + len(end)), np.uint8)
    lines[:, : len(mark)] = np.frombuffer(mark.encode("ascii"), np.uint8)
    lines[:, len(mark) : lines.shape[1] - len(end)] = digits
    lines[:, lines.shape[1] - len(end) :] = np.frombuffer(end.encode("ascii"), np.uint8)
    return lines.tobytes()


def row_digits(rows: Bytes) -> Bytes:
    """Return the hex digits of each row as ASCII codes: uint8[n, k] to uint8[n, 2k]."""
    digits = binascii.hexlify(np.ascontiguousarray(rows).data).upper()
    return np.frombuffer(digits, np.uint8).reshape(len(rows), 2 * rows.shape[1])


def byte_column(value: int, rows: Bytes) -> Bytes:
    """Return the same byte for each row, uint8[n, 1]."""
    return np.full((len(rows), 1), value, np.uint8)


def spaced_lines(rows: Bytes, word: int = 1) -> bytes:
    """Return a line for each row: words of `word` bytes in hex with blanks between, uint8[n, k]."""
    n, width = rows.shape
    lines = np.full((n, width // word, 2 * word + 1), ord(" "), np.uint8)
    lines[:, :, :-1] = row_digits(rows).reshape(n, width // word, 2 * word)
    lines[:, -1, -1] = ord("\n")
    return lines.tobytes()
