"""Checks that the firmware may make of its own image: sums and CRCs at a constant, or equal to a stored value.

A check is tried where firmware usually makes one: over the whole image, over all but a stored value at its end, at its
beginning or before the vectors, and block by block. Each trial comes out right by chance once in 2^bits. The chance
hits of everything that was tried up to a hit are added up, and a hit counts only where chance would hardly give one:
a single 8-bit sum never does, and it is blind to bytes in a wrong order besides.

CRC rows: G. Cook, Catalogue of parametrised CRC algorithms; each one's check value is in the tests.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import lru_cache

import numpy as np
import numpy.typing as npt

from romassay.code.model import Check

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]

ENOUGH = 0.01
"""Chance hits below which a hit counts."""

LEAST = 64
MOST = 1 << 16
"""Bytes of an image that is searched."""

_BLOCKS = (256, 512, 1024, 2048, 4096)


@dataclass(frozen=True, slots=True)
class Crc:
    """One row of the catalogue."""

    name: str
    width: int
    poly: int
    start: int
    reflected: bool
    final: int


CRCS: tuple[Crc, ...] = (
    Crc("crc-8/smbus", 8, 0x07, 0x00, False, 0x00),
    Crc("crc-8/maxim-dow", 8, 0x31, 0x00, True, 0x00),
    Crc("crc-8/rohc", 8, 0x07, 0xFF, True, 0x00),
    Crc("crc-8/sae-j1850", 8, 0x1D, 0xFF, False, 0xFF),
    Crc("crc-8/i-432-1", 8, 0x07, 0x00, False, 0x55),
    Crc("crc-16/arc", 16, 0x8005, 0x0000, True, 0x0000),
    Crc("crc-16/modbus", 16, 0x8005, 0xFFFF, True, 0x0000),
    Crc("crc-16/umts", 16, 0x8005, 0x0000, False, 0x0000),
    Crc("crc-16/ibm-3740", 16, 0x1021, 0xFFFF, False, 0x0000),
    Crc("crc-16/xmodem", 16, 0x1021, 0x0000, False, 0x0000),
    Crc("crc-16/kermit", 16, 0x1021, 0x0000, True, 0x0000),
    Crc("crc-16/spi-fujitsu", 16, 0x1021, 0x1D0F, False, 0x0000),
    Crc("crc-16/genibus", 16, 0x1021, 0xFFFF, False, 0xFFFF),
    Crc("crc-16/ibm-sdlc", 16, 0x1021, 0xFFFF, True, 0xFFFF),
    Crc("crc-16/mcrf4xx", 16, 0x1021, 0xFFFF, True, 0x0000),
    Crc("crc-32/iso-hdlc", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF),
    Crc("crc-32/bzip2", 32, 0x04C11DB7, 0xFFFFFFFF, False, 0xFFFFFFFF),
    Crc("crc-32/mpeg-2", 32, 0x04C11DB7, 0xFFFFFFFF, False, 0x00000000),
    Crc("crc-32/jamcrc", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0x00000000),
)

SUMS: tuple[tuple[str, int], ...] = (
    ("sum-8", 8),
    ("sum-8-carry", 8),
    ("xor-8", 8),
    ("sum-16", 16),
    ("sum-16-carry", 16),
    ("words-16-little", 16),
    ("words-16-big", 16),
)
"""Name and bits: bytes added up with and without the carry put back, bytes combined by exclusive or, words added up."""

KINDS: tuple[str, ...] = (*(name for name, _ in SUMS), *(crc.name for crc in CRCS))


def crc_of(crc: Crc, data: Bytes) -> int:
    """Return a CRC: the exclusive or of what each set bit contributes, which for a linear code is all that it is."""
    count = len(data)
    bits = np.unpackbits(data, bitorder="little" if crc.reflected else "big").astype(bool)
    powers = _powers(crc.poly, crc.width, 8 * count + 1)
    value = int(np.bitwise_xor.reduce(powers[1 : 8 * count + 1][::-1][bits], initial=np.uint64(0)))
    start = _reversed(crc.start, crc.width) if crc.reflected else crc.start
    value ^= _advanced(start, powers, 8 * count, crc.width)
    return (_reversed(value, crc.width) if crc.reflected else value) ^ crc.final


@lru_cache(maxsize=16)
def _all_powers(poly: int, width: int, count: int) -> Words:
    top, mask = 1 << (width - 1), (1 << width) - 1
    out = np.empty(count, np.uint64)
    value = top
    for i in range(count):
        out[i] = value
        value = (value << 1 & mask) ^ (poly if value & top else 0)
    return out


def _powers(poly: int, width: int, count: int) -> Words:
    """Return what a set bit, so many steps before the end, leaves in the register: [1] is one step."""
    size = 1 << max(9, (count - 1).bit_length())
    return _all_powers(poly, width, size)[:count]


def _advanced(start: int, powers: Words, steps: int, width: int) -> int:
    """Return the register `start` after so many steps with zeros."""
    value = 0
    for bit in range(width):
        if start >> bit & 1:
            distance = steps - (width - 1 - bit)
            value ^= int(powers[distance]) if distance >= 0 else 1 << (bit + steps)
    return value


def _reversed(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)


def sum_of(name: str, data: Bytes) -> int:
    """Return one of `SUMS` over the bytes; a last odd byte is a word's first."""
    if name == "xor-8":
        return int(np.bitwise_xor.reduce(data, initial=np.uint8(0)))
    if name.startswith("words"):
        even = np.append(data, np.uint8(0)) if len(data) % 2 else data
        return int(even.view(">u2" if name.endswith("big") else "<u2").astype(np.uint64).sum()) & 0xFFFF
    total = int(data.astype(np.uint64).sum())
    top = 0xFF if name.startswith("sum-8") else 0xFFFF
    if not name.endswith("carry"):
        return total & top
    while total > top:
        total = (total & top) + (total >> (8 if top == 0xFF else 16))
    return total


@dataclass(frozen=True, slots=True)
class _Span:
    """A range to be checked, and where its value would be stored."""

    first: int
    end: int
    stored_at: int | None


def own_checks(data: Bytes, *, vectors: int = 0) -> tuple[Check, ...]:
    """Return the checks that an image seems to make of itself, and that chance does not explain.

    Args:
        data: the image.
        vectors: bytes of the vectors at its end, before which a value may be stored.
    """
    size = len(data)
    if not LEAST <= size <= MOST or _repeats(data):
        return ()
    tried = 0.0
    for stage in (_whole, _before_vectors):
        found: list[tuple[str, _Span, int]] = []
        for name, width, span in stage(size, vectors):
            hits, chance = _try(name, width, span, data)
            tried += chance
            found += [(name, span, value) for value in hits]
        if found and tried < ENOUGH:
            return tuple(
                Check(name, span.first, span.end - 1, span.stored_at, value, tried) for name, span, value in found
            )
    return _by_blocks(data, tried)


def _repeats(data: Bytes) -> bool:
    """Tell whether the image is a shorter one several times, or almost blank: then sums come out even by themselves."""
    half = len(data) // 2
    return bool((data[:half] == data[half : 2 * half]).all()) or int(np.bincount(data).max()) > 0.9 * len(data)


def _rows() -> Iterator[tuple[str, int]]:
    yield from ((name, width) for name, width in SUMS if width > 8)
    yield from ((crc.name, crc.width) for crc in CRCS if crc.width > 8)


def _whole(size: int, vectors: int) -> Iterator[tuple[str, int, _Span]]:
    del vectors
    for name, width in _rows():
        stored = width // 8
        yield name, width, _Span(0, size - stored, size - stored)
        yield name, width, _Span(stored, size, 0)
        if not name.startswith("crc"):
            yield name, width, _Span(0, size, None)


def _before_vectors(size: int, vectors: int) -> Iterator[tuple[str, int, _Span]]:
    if vectors:
        for name, width in _rows():
            stored = width // 8
            yield name, width, _Span(0, size - vectors - stored, size - vectors - stored)


def _try(name: str, width: int, span: _Span, data: Bytes) -> tuple[list[int], float]:
    """Return the values that hit, and how many hits chance gives."""
    value = value_of(name, data[span.first : span.end])
    top = (1 << width) - 1
    if span.stored_at is None:
        return [value] if value in (0, top) else [], 2 / (1 << width)
    raw = data[span.stored_at : span.stored_at + width // 8].tobytes()
    stored = {int.from_bytes(raw, "big"), int.from_bytes(raw, "little")}
    wanted = {value} if name.startswith("crc") else {value, value ^ top, -value & top}
    return [value] if stored & wanted else [], len(stored) * len(wanted) / (1 << width)


def value_of(name: str, data: Bytes) -> int:
    """Return the value of one of `KINDS` over the bytes."""
    for crc in CRCS:
        if crc.name == name:
            return crc_of(crc, data)
    return sum_of(name, data)


def _by_blocks(data: Bytes, tried: float) -> tuple[Check, ...]:
    """Return 8-bit sums that come out at the same constant in each of several blocks."""
    size = len(data)
    found: list[Check] = []
    for block in _BLOCKS:
        count = size // block
        if count < 2 or size % block:
            continue
        for name in ("sum-8", "sum-8-carry", "xor-8"):
            values = {sum_of(name, data[at : at + block]) for at in range(0, size, block)}
            tried += 2 / 256**count
            if len(values) == 1 and values <= {0, 0xFF} and tried < ENOUGH and not found:
                value = values.pop()
                found += [Check(name, at, at + block - 1, None, value, tried) for at in range(0, size, block)]
    return tuple(found)
