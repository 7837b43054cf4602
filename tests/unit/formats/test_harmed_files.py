"""Files of every format, cut, spliced and with characters changed: a reading or one line for a person, nothing else."""

from __future__ import annotations

import random

from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.errors import RomassayError
from romassay.formats import FORMATS, Loaded, read
from romassay.formats.model import Piece, WriteOptions

_WRITERS = sorted(name for name in FORMATS if FORMATS[name].write is not None)
_STRANGE = (b":", b"S1", b"@", b"%", b"/", b";", b"\0", b"\x1b[", b"\x08", b"\xff\xfe", b"\n", b"\r", b"*\n", b"\xc3")


def dump(data: bytes) -> bytes:
    return b"".join(b"%04X: %s\r\n" % (i, data[i : i + 8].hex(" ").encode()) for i in range(0, len(data), 8))


def loop(data: bytes) -> bytes:
    return b"".join(b"%d %d\n" % (0xD000 + i, value) for i, value in enumerate(data))


def content(name: str, data: bytes) -> bytes:
    if name in ("dump", "loop"):
        return dump(data) if name == "dump" else loop(data)
    write = FORMATS[name].write
    assert write is not None
    return write([Piece(0x400, data)], WriteOptions())


def harmed(text: bytes, other: bytes, chance: random.Random) -> bytes:
    """Some characters changed, some lost, strange ones put in, another file spliced in, or the rest cut off."""
    found = bytearray(text)
    for _ in range(chance.randrange(1, 8)):
        at = chance.randrange(len(found) + 1)
        kind = chance.randrange(5)
        if kind == 0:
            found[at : at + 1] = bytes([chance.randrange(256)])
        elif kind == 1:
            del found[at : at + chance.choice((1, 2, 40))]
        elif kind == 2:
            found[at:at] = chance.choice(_STRANGE)
        elif kind == 3:
            found[at:at] = other[: chance.randrange(80)]
        else:
            del found[at if at > len(found) // 2 else len(found) :]
    return bytes(found)


@settings(max_examples=60, deadline=None)
@given(
    name=st.sampled_from([*_WRITERS, "dump", "loop"]),
    other=st.sampled_from([*_WRITERS, "dump", "loop"]),
    seed=st.integers(0, 1 << 32),
)
def test_a_harmed_file_gives_readings_or_one_line(name: str, other: str, seed: int) -> None:
    chance = random.Random(seed)
    text = harmed(content(name, chance.randbytes(96)), content(other, chance.randbytes(32)), chance)
    loaded: Loaded | None = None
    told = ""
    try:
        loaded = read(text, "a.log")
    except RomassayError as error:
        told = str(error)
    assert loaded or (told.startswith("a.log") and "\n" not in told)
    for reading in loaded.readings if loaded else ():
        assert int(reading.runs[:, 2].sum()) == len(reading.value) > 0
        assert 0 <= int(reading.runs[:, 0].min()) <= int(reading.addresses().max()) < 1 << 32
