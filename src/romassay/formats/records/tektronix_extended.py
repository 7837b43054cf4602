"""Tektronix extended hex: '%' blocks.

Layout as restated in a public manual page: '%', number of the characters behind it (2 digits), type (1), checksum (2),
then for data (type 6) and end (type 8) an address: the number of its digits (1) and these, 0 for sixteen of them; then
data. The checksum is the sum modulo 256 of the values of all characters but '%' and the checksum itself: 0 to 9 for the
digits, A-Z 10 to 35, $ % . _ 36 to 39, a-z 40 to 65 (table from memory). Type 3 holds symbols, no part of the bytes.
"""

from __future__ import annotations

import re
import string
from collections.abc import Sequence
from string import ascii_lowercase, ascii_uppercase, digits

import numpy as np

from romassay.formats.model import ADDRESS_SPACE, Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.collecting import Collector
from romassay.formats.records.writing import cut_rows, last_address, need_address_bits, row_digits
from romassay.formats.text.plain import plain
from romassay.formats.text.sampling import sample_of
from romassay.reading import Bytes, Index

DATA, SYMBOL, END = b"6", b"3", b"8"
_ORDER = digits + ascii_uppercase + "$%._" + ascii_lowercase
_ILLEGAL = 255
_VALUES = bytes(_ORDER.index(chr(i)) if chr(i) in _ORDER else _ILLEGAL for i in range(256))
_HEX_DIGITS = frozenset(string.hexdigits.encode())
_LEAST = 5
_MARK = re.compile(rb"%(?=[0-9A-Fa-f]{5}|[0-9A-Fa-f]{1,4}[ \t\r]*\Z)")
"""A mark with the digits of a block's head behind it, or with fewer and then the end of the line."""
_NOTHING = np.zeros((1, 0), np.uint8)


def sniff(source: bytes) -> float:
    """Tell how surely this is extended Tektronix hex, from a sample's good blocks."""
    text = plain(sample_of(source))
    found = _Found()
    found.read(text)
    if not found.good:
        return 0.4 * min(1.0, len(found.into.lost) / max(1, text.count(b"\n")))
    ink = len(text) - sum(text.count(c) for c in (b" ", b"\t", b"\r", b"\n"))
    return 0.5 + 0.5 * found.taken / ink


def read(source: bytes, hints: Hints) -> Parsed:
    """Read all passes of a log. Damaged blocks are holes."""
    found = _Found()
    found.read(plain(source, hints.encoding))
    return found.into.parsed(hints, "record-checked")


class _Found:
    """What a text gave so far.

    Attributes:
        into: data, ends, losses.
        good: blocks that were whole.
        taken: characters in them.
    """

    def __init__(self) -> None:
        self.into = Collector()
        self.good = 0
        self.taken = 0

    def read(self, text: bytes) -> None:
        number, at = 1, 0
        while at < len(text):
            end = text.find(b"\n", at)
            end = len(text) if end < 0 else end
            self._line(text, at, end, number)
            number, at = number + 1, end + 1

    def _line(self, text: bytes, at: int, end: int, number: int) -> None:
        """Read the blocks of one line, and note what else stands there."""
        rest = bytearray()
        while match := _MARK.search(text, at, end):
            mark = match.start()
            rest += text[at : min(mark, at + 400)]
            at = self._block(text, mark, end, number)
        rest += text[at : min(end, at + 400)]
        if rest.strip():
            self.into.leave(number, bytes(rest), "no block, or more than that", damage=False)

    def _block(self, text: bytes, mark: int, end: int, number: int) -> int:
        """Take the block at a mark, or note it as damaged; return where it ends."""
        head = text[mark + 1 : min(end, mark + 1 + _LEAST)]
        if len(head.strip()) < _LEAST:
            return self._lose(text, mark, end, number, "block ends before its time")
        length = int(head[:2], 16)
        stop = mark + 1 + length
        block = text[mark + 1 : stop]
        if length < _LEAST or stop > end:
            return self._lose(text, mark, end, number, "block ends before its time")
        values = block.translate(_VALUES)
        if block[2:3] == SYMBOL and _ILLEGAL in values:
            return self._symbols(block, number, stop)
        if _ILLEGAL in values or (sum(values) - values[3] - values[4]) & 0xFF != int(head[3:5], 16):
            return self._lose(text, mark, end, number, "wrong checksum", _claim(block))
        if stop < end and text[stop : stop + 1].isalnum():
            return self._lose(text, mark, end, number, "block is longer than it says")
        if not self._take(block, number):
            return self._lose(text, mark, end, number, "a block that the format does not know")
        self.good += 1
        self.taken += 1 + length
        return stop

    def _symbols(self, block: bytes, number: int, stop: int) -> int:
        """Pass over symbols; some programs write names with characters that have no value in the table."""
        self.into.leave(number, block, "symbols: no part of the bytes", damage=False)
        return stop

    def _lose(
        self, text: bytes, mark: int, end: int, number: int, reason: str, claim: tuple[int, int] | None = None
    ) -> int:
        """Note a damaged block; it reaches to the next mark or the end of the line."""
        following = text.find(b"%", mark + 1, end)
        stop = end if following < 0 else following
        self.into.lose(number, reason, claim)
        self.into.leave(number, text[mark : min(stop, mark + 400)], reason, damage=True)
        return stop

    def _take(self, block: bytes, number: int) -> bool:
        """Take a whole block by its type; False where its content has no meaning."""
        kind = block[2:3]
        if kind == SYMBOL:
            self._symbols(block, number, 0)
            return True
        found = _address(block)
        if found is None or kind not in (DATA, END):
            return False
        address, data = found
        if kind == END:
            self.into.end(number)
            return not data
        if len(data) % 2 or not _HEX_DIGITS.issuperset(data) or address + len(data) // 2 > ADDRESS_SPACE:
            return False
        if data:
            self.into.take(number, address, bytes.fromhex(data.decode("ascii")))
        return True


def _address(block: bytes) -> tuple[int, bytes] | None:
    """Return a block's address and what stands behind it."""
    wide = block[_LEAST : _LEAST + 1]
    if wide not in {bytes((c,)) for c in _HEX_DIGITS}:
        return None
    count = int(wide, 16) or 16
    number = block[_LEAST + 1 : _LEAST + 1 + count]
    if len(number) < count or not _HEX_DIGITS.issuperset(number):
        return None
    return int(number, 16), block[_LEAST + 1 + count :]


def _claim(block: bytes) -> tuple[int, int] | None:
    """Return the first and last address of a damaged block, by its own word."""
    found = _address(block) if block[2:3] == DATA else None
    if found is None or len(found[1]) < 2 or len(found[1]) % 2:
        return None
    return found[0], found[0] + len(found[1]) // 2 - 1


def write(pieces: Sequence[Piece], options: WriteOptions) -> bytes:
    """Write blocks of 16 bytes (or `options.record`), a section for each piece, and an end block.

    All addresses have the digits of the last. Some readers take no bytes outside a section: its block holds its name,
    1, its first address and the one behind its last (layout as other programs write it).
    """
    need_address_bits(pieces, 32, "extended Tektronix hex")
    last = last_address(pieces) + 1
    wide = max(4, (max(last, options.start or 0).bit_length() + 3) // 4)
    size = min(options.record or 16, (255 - 6 - wide) // 2)
    parts = [_lines(DATA, _addresses(first, wide), row_digits(rows)) for first, rows in cut_rows(pieces, size)]
    for number, piece in enumerate(pieces, 1):
        name = f"rom{number}"
        edges = np.array([piece.first, piece.first + len(piece.data)], np.int64)
        content = f"{len(name):X}{name}1".encode() + _addresses(edges, wide).tobytes()
        parts.append(_lines(SYMBOL, np.frombuffer(content, np.uint8).reshape(1, -1), _NOTHING))
    start = np.array([options.start or 0], np.int64)
    return b"".join((*parts, _lines(END, _addresses(start, wide), _NOTHING)))


def _addresses(first: Index, wide: int) -> Bytes:
    """Return addresses as characters: the number of digits, and the digits. int64[n] to uint8[n, 1 + wide]."""
    digits = row_digits((first[:, None] >> np.arange(56, -8, -8)).astype(np.uint8))[:, 16 - wide :]
    return np.concatenate([np.full((len(first), 1), ord(f"{wide:X}"), np.uint8), digits], axis=1)


def _lines(kind: bytes, head: Bytes, data: Bytes) -> bytes:
    """Return a block for each row of characters."""
    fixed = np.frombuffer(b"%%%02X%c00" % (5 + head.shape[1] + data.shape[1], kind), np.uint8)
    end = np.full((len(head), 1), ord("\n"), np.uint8)
    lines = np.concatenate([np.broadcast_to(fixed, (len(head), len(fixed))), head, data, end], axis=1)
    values = np.frombuffer(_VALUES, np.uint8)
    total = values[lines[:, 1:-1]].sum(axis=1, dtype=np.int64).astype(np.uint8)
    lines[:, 4:6] = row_digits(total[:, None])
    return lines.tobytes()


FORMAT = Format(
    name="tektronix-extended",
    title="Tektronix extended hex",
    standard="as restated in a public manual page",
    suffixes=(".tekx", ".xtek"),
    sniff=sniff,
    read=read,
    write=write,
    follows=("record", "start"),
)
