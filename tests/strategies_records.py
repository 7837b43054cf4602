"""Hypothesis strategies for record formats: sparse images, and what a line does to a log."""

from __future__ import annotations

import random
from collections.abc import Sequence

from hypothesis import strategies as st

from romassay.formats.model import Piece
from romassay.reading import Reading

CHECKED = ("intel-hex", "s-record", "tektronix-hex", "tektronix-extended", "paper-tape")
UNCHECKED = ("ti-txt", "verilog-memory", "bnpf")
RECORD_FORMATS = CHECKED + UNCHECKED
NARROW = ("tektronix-hex", "paper-tape")
"""Formats with 16 address bits."""


@st.composite
def images(draw: st.DrawFn, bits: int = 32, most: int = 400) -> list[Piece]:
    """Draw up to four pieces, sorted, with gaps between them, some across a 64 KiB border."""
    starts = [0, 1, 0x10, 0x7FFF, 0xD000, 0xFF00]
    if bits > 16:
        starts += [0xFFF8, 0x1FFF1, 0xFFFFF0, 0x80000000]
    at = draw(st.sampled_from(starts))
    pieces = []
    for _ in range(draw(st.integers(1, 4))):
        room = min(most, (1 << bits) - at)
        if room < 1:
            break
        data = draw(st.binary(min_size=1, max_size=min(room, draw(st.sampled_from([1, 20, most])))))
        pieces.append(Piece(at, data))
        at += len(data) + draw(st.sampled_from([1, 2, 15, 0x100, 0x2345]))
    return pieces


def bits_of(name: str) -> int:
    """Return the address bits that a format reaches."""
    return 16 if name in NARROW else 32


def content(readings: Sequence[Reading]) -> dict[int, int]:
    """Return what readings say, address by address; the last to name an address has it."""
    said: dict[int, int] = {}
    for reading in readings:
        known = reading.known_bits()
        said |= {
            a: v
            for a, v, k in zip(reading.addresses().tolist(), reading.value.tolist(), known.tolist(), strict=True)
            if k == 0xFF
        }
    return said


def content_of(pieces: Sequence[Piece]) -> dict[int, int]:
    """Return what pieces hold, address by address."""
    return {piece.first + i: byte for piece in pieces for i, byte in enumerate(piece.data)}


def disturbed(text: bytes, dice: random.Random, times: int) -> bytes:
    """Flip bits, drop, double, cut and insert, as lines and hands do."""
    log = bytearray(text)
    for _ in range(times):
        if not log:
            break
        i, kind = dice.randrange(len(log)), dice.randrange(6)
        if kind == 0:
            log[i] ^= 1 << dice.randrange(8)
        elif kind == 1:
            log[i] = dice.randrange(256)
        elif kind == 2:
            del log[i : i + dice.choice([1, 2, 30])]
        elif kind == 3:
            log[i:i] = dice.choice(
                [b"x", b"\r\n", b"\0\0", b"rom> dump\n", b"12:30:45 boot", b"\x1b[0m", b":", b"S1", b"@"]
            )
        elif kind == 4:
            del log[i:]
        else:
            log[i:i] = log[max(0, i - dice.choice([5, 44])) : i]
    return bytes(log)
