"""TI-TXT: '@' and an address, bytes in hex, 'q' at the end.

Standard: TI SLAU101, section A.2, as restated in a public manual page: '@ADDR' on a line, then lines of up to 16 bytes
of two digits each, 'q' ends; no checksum.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

from romassay.formats.model import Format, Hints, Left, Parsed, Piece, WriteOptions
from romassay.formats.records.sections import Style, collect, habits_of
from romassay.formats.records.writing import cut_rows, need_address_bits, spaced_lines
from romassay.formats.text.plain import plain
from romassay.formats.text.sampling import sample_of

_LINE_BYTES = 16
_ADDRESS_LINE = re.compile(rb"^@[0-9A-Fa-f]{4,6}[ \t\r]*$", re.MULTILINE)
_DATA_LINE = re.compile(rb"^[0-9A-Fa-f]{2}(?: [0-9A-Fa-f]{2}){0,15}[ \t\r]*$", re.MULTILINE)
_END_LINE = re.compile(rb"^[qQ][ \t\r]*$", re.MULTILINE)


def sniff(source: bytes) -> float:
    """Tell how surely this is TI-TXT: from address and data lines, and from the 'q' that no other format has."""
    text = plain(sample_of(source))
    addresses, data = len(_ADDRESS_LINE.findall(text)), len(_DATA_LINE.findall(text))
    ends = len(_END_LINE.findall(text))
    if not addresses or not data:
        return 0.0
    lines = max(1, sum(1 for line in text.split(b"\n") if line.strip()))
    return min(1.0, (addresses + data + ends) / lines) * (1.0 if ends else 0.85)


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log."""
    text = plain(source, hints.encoding)
    habits = habits_of(text)
    style = Style(digits=2, fixed=True, unknown=False, alone=True, per_line=habits.per_line, end=b"q")
    found = collect(text, style)
    if not found.ends or found.ends[-1] < len(found.first):
        found.left.append(Left(text.count(b"\n") + 1, "", "no 'q' at the end: the log may stop early", damage=False))
        found.left_total += 1
    return found.parsed(hints, "record")


def write(pieces: Sequence[Piece], _options: WriteOptions) -> bytes:
    """Write sections of lines of 16 bytes, as the standard has them."""
    need_address_bits(pieces, 32, "TI-TXT")
    parts = []
    for piece in pieces:
        parts.append(b"@%04X\n" % piece.first)
        parts += (spaced_lines(rows) for _, rows in cut_rows([piece], _LINE_BYTES))
    return b"".join((*parts, b"q\n"))


FORMAT = Format(
    name="ti-txt",
    title="TI-TXT",
    standard="SLAU101, section A.2",
    suffixes=(".ti-txt",),
    sniff=sniff,
    read=read,
    write=write,
)
