"""Logs made to be large or strange: bounded in time and memory, and an honest result.

Sizes are kept small for a test; `benchmarks/records.py` has the large ones.
"""

from __future__ import annotations

import random

import pytest

from romassay.errors import BadInput
from romassay.formats import FORMATS
from romassay.formats.model import Hints, Piece, WriteOptions
from romassay.formats.pieces import lay_out

SIZE = 1_500_000


def tile(text: bytes) -> bytes:
    return text * (SIZE // len(text))


@pytest.mark.parametrize(
    ("name", "log", "bytes_read"),
    [
        ("intel-hex", tile(b":0100000000FF\n"), SIZE // 14),
        ("intel-hex", b":0300300002337A1E\n:10" + b"0" * SIZE, 3),
        ("intel-hex", b":0300300002337A1E\n" + b":" * SIZE, 3),
        ("intel-hex", b":0300300002337A1E\n" + b":\n" * (SIZE // 20), 3),
        ("intel-hex", b":0300300002337A1E" + b"\n" * SIZE, 3),
        ("intel-hex", tile(b":0300300002337A1E"), 3 * (SIZE // 17)),
        ("intel-hex", b":0300300002337A1E\n" + tile(b":0000000001\n"), 3),
        ("intel-hex", tile(b":0100000001FE\n:00000001FF\n"), SIZE // 26),
        ("s-record", b"S1040000AA51\n" + b"S1" * SIZE, 1),
        ("tektronix-extended", b"%2A6DE80000006B48656C6C6F2C20576F726C64210A\n" + b"%" * SIZE, 14),
        ("ti-txt", b"@0000\n" + tile(b"00 "), SIZE // 3),
        ("ti-txt", b"@0000\n" + tile(b"00\n") + b"q\n", SIZE // 3),
        ("ti-txt", tile(b"@F000\n00\n"), SIZE // 9),
        ("verilog-memory", b"@0 x1 " + tile(b"1z "), 1 + SIZE // 3),
        ("verilog-memory", b"11 /*" + tile(b"*/ /*"), 1),
        ("bnpf", tile(b"BNNNNNNNPF"), SIZE // 10),
        ("bnpf", tile(b"BNNNNNNNPF\n"), SIZE // 11),
    ],
)
def test_long_logs(name: str, log: bytes, bytes_read: int) -> None:
    found = FORMATS[name].read(log, Hints())
    assert sum(len(reading) for reading in found.readings) == bytes_read


def test_records_over_4_gib_take_no_more_than_they_hold() -> None:
    dice = random.Random(4)
    starts = sorted(dice.sample(range(1 << 20), 2000))
    pieces = [Piece(start << 12, dice.randbytes(8)) for start in starts]
    for name in ("intel-hex", "s-record", "tektronix-extended", "ti-txt", "verilog-memory", "bnpf"):
        form = FORMATS[name]
        assert form.write is not None
        (reading,) = form.read(form.write(pieces, WriteOptions()), Hints()).readings
        assert reading.value.nbytes + reading.runs.nbytes < 100_000
        assert lay_out([reading]).pieces == tuple(pieces)


def test_too_many_pieces_are_refused() -> None:
    log = b"@0\n" + b"\n".join(b"@%X 00" % (2 * i) for i in range((1 << 20) + 1))
    with pytest.raises(BadInput, match="the bytes fall into 1048577 separate pieces"):
        lay_out(FORMATS["verilog-memory"].read(log, Hints()).readings)


def test_noise_over_a_whole_log_leaves_what_is_whole() -> None:
    dice = random.Random(1)
    form = FORMATS["intel-hex"]
    assert form.write is not None
    image = dice.randbytes(50_000)
    text = bytearray(form.write([Piece(0, image)], WriteOptions()))
    for at in range(0, len(text), 100):
        text[at + dice.randrange(100) if at + 100 < len(text) else at] ^= 1 << dice.randrange(7)
    (reading,) = form.read(bytes(text), Hints()).readings
    assert 15_000 < len(reading) < 40_000
    addresses = reading.addresses().tolist()
    assert all(image[a] == byte for a, byte in zip(addresses, reading.value.tolist(), strict=True))
    lost = {a for hole in reading.holes if hole.first is not None for a in range(hole.first, hole.last + 1)}  # type: ignore[operator]
    assert not lost & set(addresses)
    assert len(lost) > 10_000
