"""Raw binary: only where the person says so."""

from __future__ import annotations

import pytest

from romassay.errors import BadInput, BadValue
from romassay.formats import FORMATS, read
from romassay.formats.model import Hints, Piece, WriteOptions

JUNK = bytes(range(256)) * 16


def test_content_never_chooses_it() -> None:
    assert FORMATS["raw-binary"].sniff(JUNK) == 0
    with pytest.raises(BadInput, match=r"^x: this holds no dump"):
        read(JUNK, "x")


@pytest.mark.parametrize("hints", [Hints(base=0xD000), Hints(format="raw-binary", base=0xD000)])
def test_a_base_or_its_name_does(hints: Hints) -> None:
    found = read(JUNK, "x", hints)
    (reading,) = found.readings
    assert (found.format, reading.unit, reading.address_bits) == ("raw-binary", "raw", 16)
    assert reading.runs.tolist() == [[0xD000, 0, 4096, 1]]
    assert reading.value.tobytes() == JUNK


def test_a_base_does_not_hide_a_text_format() -> None:
    assert read(b":0300300002337A1E\n", "x", Hints(base=0xD000)).format == "intel-hex"


def test_beyond_32_bits() -> None:
    with pytest.raises(BadInput, match="4096 bytes from FFFFFF00 on go beyond 32 address bits"):
        read(JUNK, "x", Hints(base=0xFFFFFF00))


def test_gaps_cannot_be_written() -> None:
    write = FORMATS["raw-binary"].write
    assert write is not None
    assert write([Piece(0, b"ab"), Piece(2, b"c")], WriteOptions()) == b"abc"
    with pytest.raises(BadValue, match="nothing is known from 0002 to 0003; give --fill or a --range"):
        write([Piece(0, b"ab"), Piece(4, b"c")], WriteOptions())
