"""Sums and CRCs over any range of an image, from running totals that are made once.

CRC rows: G. Cook, Catalogue of parametrised CRC algorithms, all of 8, 16 and 32 bits; each one's check value is in the
tests.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np
import numpy.typing as npt

Bytes = npt.NDArray[np.uint8]
Words = npt.NDArray[np.uint64]
Ints = npt.NDArray[np.int64]


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
    Crc("crc-8/autosar", 8, 0x2F, 0xFF, False, 0xFF),
    Crc("crc-8/bluetooth", 8, 0xA7, 0x00, True, 0x00),
    Crc("crc-8/cdma2000", 8, 0x9B, 0xFF, False, 0x00),
    Crc("crc-8/darc", 8, 0x39, 0x00, True, 0x00),
    Crc("crc-8/dvb-s2", 8, 0xD5, 0x00, False, 0x00),
    Crc("crc-8/gsm-a", 8, 0x1D, 0x00, False, 0x00),
    Crc("crc-8/gsm-b", 8, 0x49, 0x00, False, 0xFF),
    Crc("crc-8/hitag", 8, 0x1D, 0xFF, False, 0x00),
    Crc("crc-8/i-code", 8, 0x1D, 0xFD, False, 0x00),
    Crc("crc-8/lte", 8, 0x9B, 0x00, False, 0x00),
    Crc("crc-8/mifare-mad", 8, 0x1D, 0xC7, False, 0x00),
    Crc("crc-8/nrsc-5", 8, 0x31, 0xFF, False, 0x00),
    Crc("crc-8/opensafety", 8, 0x2F, 0x00, False, 0x00),
    Crc("crc-8/tech-3250", 8, 0x1D, 0xFF, True, 0x00),
    Crc("crc-8/wcdma", 8, 0x9B, 0x00, True, 0x00),
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
    Crc("crc-16/cdma2000", 16, 0xC867, 0xFFFF, False, 0x0000),
    Crc("crc-16/cms", 16, 0x8005, 0xFFFF, False, 0x0000),
    Crc("crc-16/dds-110", 16, 0x8005, 0x800D, False, 0x0000),
    Crc("crc-16/dect-r", 16, 0x0589, 0x0000, False, 0x0001),
    Crc("crc-16/dect-x", 16, 0x0589, 0x0000, False, 0x0000),
    Crc("crc-16/dnp", 16, 0x3D65, 0x0000, True, 0xFFFF),
    Crc("crc-16/en-13757", 16, 0x3D65, 0x0000, False, 0xFFFF),
    Crc("crc-16/gsm", 16, 0x1021, 0x0000, False, 0xFFFF),
    Crc("crc-16/iso-iec-14443-3-a", 16, 0x1021, 0xC6C6, True, 0x0000),
    Crc("crc-16/lj1200", 16, 0x6F63, 0x0000, False, 0x0000),
    Crc("crc-16/m17", 16, 0x5935, 0xFFFF, False, 0x0000),
    Crc("crc-16/maxim-dow", 16, 0x8005, 0x0000, True, 0xFFFF),
    Crc("crc-16/nrsc-5", 16, 0x080B, 0xFFFF, True, 0x0000),
    Crc("crc-16/opensafety-a", 16, 0x5935, 0x0000, False, 0x0000),
    Crc("crc-16/opensafety-b", 16, 0x755B, 0x0000, False, 0x0000),
    Crc("crc-16/profibus", 16, 0x1DCF, 0xFFFF, False, 0xFFFF),
    Crc("crc-16/riello", 16, 0x1021, 0xB2AA, True, 0x0000),
    Crc("crc-16/t10-dif", 16, 0x8BB7, 0x0000, False, 0x0000),
    Crc("crc-16/teledisk", 16, 0xA097, 0x0000, False, 0x0000),
    Crc("crc-16/tms37157", 16, 0x1021, 0x89EC, True, 0x0000),
    Crc("crc-16/usb", 16, 0x8005, 0xFFFF, True, 0xFFFF),
    Crc("crc-32/iso-hdlc", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0xFFFFFFFF),
    Crc("crc-32/bzip2", 32, 0x04C11DB7, 0xFFFFFFFF, False, 0xFFFFFFFF),
    Crc("crc-32/mpeg-2", 32, 0x04C11DB7, 0xFFFFFFFF, False, 0x00000000),
    Crc("crc-32/jamcrc", 32, 0x04C11DB7, 0xFFFFFFFF, True, 0x00000000),
    Crc("crc-32/aixm", 32, 0x814141AB, 0x00000000, False, 0x00000000),
    Crc("crc-32/autosar", 32, 0xF4ACFB13, 0xFFFFFFFF, True, 0xFFFFFFFF),
    Crc("crc-32/base91-d", 32, 0xA833982B, 0xFFFFFFFF, True, 0xFFFFFFFF),
    Crc("crc-32/cd-rom-edc", 32, 0x8001801B, 0x00000000, True, 0x00000000),
    Crc("crc-32/cksum", 32, 0x04C11DB7, 0x00000000, False, 0xFFFFFFFF),
    Crc("crc-32/iscsi", 32, 0x1EDC6F41, 0xFFFFFFFF, True, 0xFFFFFFFF),
    Crc("crc-32/mef", 32, 0x741B8CD7, 0xFFFFFFFF, True, 0x00000000),
    Crc("crc-32/xfer", 32, 0x000000AF, 0x00000000, False, 0x00000000),
)

SUMS: tuple[tuple[str, int], ...] = (
    ("sum-8", 8),
    ("sum-8-carry", 8),
    ("xor-8", 8),
    ("sum-16", 16),
    ("sum-16-carry", 16),
    ("words-16-little", 16),
    ("words-16-big", 16),
    ("words-16-little-carry", 16),
    ("words-16-big-carry", 16),
)
"""Name and bits: bytes added up with and without the carry put back, bytes combined by exclusive or, words added up."""

WIDTHS = {**dict(SUMS), **{crc.name: crc.width for crc in CRCS}}
CRC_BY_NAME = {crc.name: crc for crc in CRCS}

KINDS: tuple[str, ...] = tuple(WIDTHS)
WIDE = tuple(name for name, width in WIDTHS.items() if width > 8)
USUAL_CRCS = ("crc-16/arc", "crc-16/modbus", "crc-16/ibm-3740", "crc-16/xmodem", "crc-16/kermit")
USUAL_LONG = ("crc-32/iso-hdlc", "crc-32/bzip2", "crc-32/mpeg-2", "crc-32/jamcrc")
"""CRCs that are tried before the others of their width. Common practice, no source."""
KNOWN_CRCS = ("crc-16/umts", "crc-16/genibus", "crc-16/ibm-sdlc", "crc-16/mcrf4xx", "crc-16/spi-fujitsu", "crc-16/gsm")
"""CRCs of 16 bits that are tried next. Common practice, no source."""
NARROW = tuple(name for name, width in SUMS if width == 8)


def crc_of(crc: Crc, data: Bytes) -> int:
    """Return a CRC of all the bytes."""
    return Totals(data).crc(crc, ((0, len(data)),))


def sum_of(name: str, data: Bytes) -> int:
    """Return one of `SUMS` over the bytes; a last odd byte is a word's first."""
    return Totals(data).sum(name, ((0, len(data)),))


def value_of(name: str, data: Bytes) -> int:
    """Return the value of one of `KINDS` over the bytes."""
    return Totals(data).value(name, ((0, len(data)),))


Parts = Sequence[tuple[int, int]]
"""(first, end) of the ranges that a check covers, one behind the other."""


class Totals:
    """Sums and CRCs of any range of some bytes, from running totals that are made once."""

    def __init__(self, data: Bytes) -> None:
        self.data = data
        self._registers: dict[tuple[int, int, bool], Words] = {}
        self._moved: dict[tuple[int, int], Words] = {}

    @cached_property
    def _bytes(self) -> tuple[Ints, Ints]:
        """Running totals of the bytes at even and at odd offsets."""
        odd = np.arange(len(self.data)) % 2 == 1
        wide = self.data.astype(np.int64)
        zero = np.zeros(1, np.int64)
        return tuple(np.concatenate([zero, np.cumsum(np.where(odd == want, wide, 0))]) for want in (False, True))  # type: ignore[return-value]

    @cached_property
    def _mixed(self) -> Bytes:
        return np.concatenate([np.zeros(1, np.uint8), np.bitwise_xor.accumulate(self.data)])

    def value(self, name: str, parts: Parts) -> int:
        """Return the value of one of `KINDS` over the ranges."""
        crc = CRC_BY_NAME.get(name)
        return self.sum(name, parts) if crc is None else self.crc(crc, parts)

    def sum(self, name: str, parts: Parts) -> int:
        """Return one of `SUMS` over the ranges."""
        if name == "xor-8":
            out = 0
            for first, end in parts:
                out ^= int(self._mixed[end] ^ self._mixed[first])
            return out
        pair = [0, 0]
        before = 0
        for first, end in parts:
            for parity in (0, 1):
                running = self._bytes[parity]
                pair[(parity ^ first ^ before) & 1] += int(running[end] - running[first])
            before += end - first
        width = WIDTHS[name]
        if "little" in name:
            total = pair[0] + (pair[1] << 8)
        elif "big" in name:
            total = (pair[0] << 8) + pair[1]
        else:
            total = sum(pair)
        top = (1 << width) - 1
        while name.endswith("carry") and total > top:
            total = (total & top) + (total >> width)
        return total & top

    def crc(self, crc: Crc, parts: Parts) -> int:
        """Return a CRC over the ranges."""
        running = self._running(crc)
        value = crc.start
        for first, end in parts:
            moved = _power(crc.poly, crc.width, 8 * (end - first))
            value = _product(value ^ int(running[first]), moved, crc) ^ int(running[end])
        return (_reversed(value, crc.width) if crc.reflected else value) ^ crc.final

    def crc_to_each(self, crc: Crc, first: int) -> Words:
        """Return a CRC of the bytes from an offset up to each later one: uint64[n - first + 1], that of none first."""
        running = self._running(crc)[first:]
        held = crc.start ^ int(running[0])
        values = running.copy()
        for bit, row in enumerate(self._shifts(crc)):
            if held >> bit & 1:
                values ^= row[: len(values)]
        return (_all_reversed(values, crc.width) if crc.reflected else values) ^ np.uint64(crc.final)

    def crc_around(self, crc: Crc, width: int, held: int | None) -> Words:
        """Return a CRC of all the bytes but so many that stand at each offset: uint64[n - width + 1].

        Args:
            crc: which one.
            width: bytes of the cell at each offset.
            held: the byte that the cell counts as, or None where it is left out.
        """
        running, size = self._running(crc), len(self.data)
        count = size - width + 1
        register = self._shifted(crc, np.full(count, crc.start, np.uint64), np.arange(count)) ^ running[:count]
        if held is not None:
            cell = np.full(width, held, np.uint8)
            inside = _registers(crc, _TURNED[cell] if crc.reflected else cell)[-1]
            register = self._shifted(crc, register, np.full(count, width)) ^ inside
        rest = size - width - np.arange(count)
        values = self._shifted(crc, register ^ running[width:], rest) ^ running[-1]
        return (_all_reversed(values, crc.width) if crc.reflected else values) ^ np.uint64(crc.final)

    def _shifted(self, crc: Crc, registers: Words, counts: Ints) -> Words:
        """Return registers after so many bytes of zeros each."""
        values = np.zeros(len(registers), np.uint64)
        for bit, row in enumerate(self._shifts(crc)):
            values ^= np.where(registers >> np.uint64(bit) & np.uint64(1), row[counts], np.uint64(0))
        return values

    def _shifts(self, crc: Crc) -> Words:
        """Return what each bit of a register becomes after so many bytes of zeros: uint64[width, n + 1]."""
        key = crc.poly, crc.width
        if key not in self._moved:
            self._moved[key] = _shifted(crc, len(self.data) + 1)
        return self._moved[key]

    def _running(self, crc: Crc) -> Words:
        """Return the register behind each byte, and before the first, where it began with zeros."""
        key = crc.poly, crc.width, crc.reflected
        if key not in self._registers:
            self._registers[key] = _registers(crc, _TURNED[self.data] if crc.reflected else self.data)
        return self._registers[key]


_TURNED = np.packbits(np.unpackbits(np.arange(256, dtype=np.uint8)[:, None], axis=1)[:, ::-1], axis=1)[:, 0]


def _registers(crc: Crc, data: Bytes) -> Words:
    """Return the registers of a CRC behind each byte: of the rows of a square at once, then put behind each other."""
    size = len(data)
    rows = max(1, int(size**0.5))
    steps = -(-size // rows)
    square = np.zeros((rows, steps), np.int64)
    square.ravel()[:size] = data
    alone = np.zeros((rows, steps + 1), np.uint64)
    for j in range(steps):
        alone[:, j + 1] = _stepped(crc, alone[:, j], square[:, j])
    row = _power(crc.poly, crc.width, 8 * steps)
    begun = [0]
    for last in alone[:-1, steps].tolist():
        begun.append(last ^ _product(begun[-1], row, crc))
    before = np.array(begun, np.uint64)
    for j in range(steps + 1):
        alone[:, j] ^= before
        before = _stepped(crc, before, np.zeros(rows, np.int64))
    return np.append(alone[:, :steps].ravel(), alone[-1, steps])[: size + 1]


def _shifted(crc: Crc, count: int) -> Words:
    """Return for each bit of a register what it becomes after 0, 1, ... bytes of zeros: uint64[width, count]."""
    impulse = np.zeros(count, np.uint8)
    impulse[0] = 1
    first = np.concatenate([np.uint64(1) << np.arange(0, crc.width, 8, dtype=np.uint64), _registers(crc, impulse)[1:]])
    rows = np.zeros((crc.width, count), np.uint64)
    rows[0] = first[:count]
    top, mask = np.uint64(crc.width - 1), np.uint64((1 << crc.width) - 1)
    for bit in range(1, crc.width):
        before = rows[bit - 1]
        rows[bit] = (before << np.uint64(1) & mask) ^ (before >> top) * np.uint64(crc.poly)
    return rows


def _stepped(crc: Crc, registers: Words, data: Ints) -> Words:
    """Return registers after one byte each."""
    top = (registers >> np.uint64(crc.width - 8)).astype(np.int64) ^ data
    rest: Words = (registers << np.uint64(8)) & np.uint64((1 << crc.width) - 1)
    after: Words = rest ^ _steps(crc.poly, crc.width)[top]
    return after


@lru_cache(maxsize=16)
def _steps(poly: int, width: int) -> Words:
    """Return what each byte at the top of a register leaves in it after eight steps."""
    row = Crc("", width, poly, 0, False, 0)
    moved = _power(poly, width, width)
    return np.array([_product(moved, byte, row) for byte in range(256)], np.uint64)


def _product(one: int, other: int, crc: Crc) -> int:
    """Return the product of two polynomials modulo that of the CRC."""
    top, mask = 1 << (crc.width - 1), (1 << crc.width) - 1
    out = 0
    while other:
        if other & 1:
            out ^= one
        other >>= 1
        one = (one << 1 & mask) ^ (crc.poly if one & top else 0)
    return out


@lru_cache(maxsize=4096)
def _power(poly: int, width: int, steps: int) -> int:
    """Return x to the power of `steps` modulo the polynomial of a CRC."""
    row = Crc("", width, poly, 0, False, 0)
    base, out = 2, 1
    while steps:
        if steps & 1:
            out = _product(out, base, row)
        base = _product(base, base, row)
        steps >>= 1
    return out


def _all_reversed(values: Words, width: int) -> Words:
    """Return values with their bits in the other order."""
    turned = _TURNED[np.ascontiguousarray(values.astype("<u8")).view(np.uint8).reshape(-1, 8)][:, ::-1]
    out: Words = np.ascontiguousarray(turned).view("<u8").ravel() >> np.uint64(64 - width)
    return out


def _reversed(value: int, width: int) -> int:
    return int(f"{value:0{width}b}"[::-1], 2)
