"""Record formats against bincopy and intelhex (libraries) and objcopy of GNU binutils (a program).

What differs, and why it may: objcopy fills gaps in raw output, and the last block of 32 bytes in tekhex with zeros.
"""

from __future__ import annotations

import random
import subprocess
from io import StringIO
from pathlib import Path

import bincopy
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from intelhex import IntelHex

from romassay.formats import FORMATS
from romassay.formats.model import Hints, Piece, WriteOptions
from strategies_records import content, content_of, images
from tools import need

DICE = random.Random(6530)
SPARSE = [
    Piece(0x10, DICE.randbytes(100)),
    Piece(0xFFF0, DICE.randbytes(0x11000)),
    Piece(0x80000000, DICE.randbytes(33)),
]


def written(name: str, pieces: list[Piece], options: WriteOptions | None = None) -> str:
    write = FORMATS[name].write
    assert write is not None
    return write(pieces, options or WriteOptions()).decode("ascii")


def read(name: str, text: str) -> dict[int, int]:
    (reading,) = FORMATS[name].read(text.encode("ascii"), Hints()).readings
    assert reading.holes == ()
    return content([reading])


def in_bincopy(pieces: list[Piece]) -> bincopy.BinFile:
    file = bincopy.BinFile()
    for piece in pieces:
        file.add_binary(piece.data, piece.first)
    return file


def out_of_bincopy(file: bincopy.BinFile) -> dict[int, int]:
    return {s.address + i: byte for s in file.segments for i, byte in enumerate(s.data)}


@given(images(), st.sampled_from([8, 16, 32]))
@settings(max_examples=60)
def test_what_bincopy_writes_is_read(pieces: list[Piece], size: int) -> None:
    file = in_bincopy(pieces)
    assert read("intel-hex", file.as_ihex(number_of_data_bytes=size)) == content_of(pieces)
    assert read("s-record", file.as_srec(number_of_data_bytes=size)) == content_of(pieces)
    assert read("ti-txt", file.as_ti_txt()) == content_of(pieces)
    assert read("verilog-memory", file.as_verilog_vmem()) == content_of(pieces)


@given(images(), st.sampled_from([None, 8, 32]))
@settings(max_examples=60)
def test_bincopy_reads_what_is_written(pieces: list[Piece], size: int | None) -> None:
    options = WriteOptions(record=size)
    for name, add in (("intel-hex", "add_ihex"), ("s-record", "add_srec"), ("ti-txt", "add_ti_txt")):
        file = bincopy.BinFile()
        getattr(file, add)(written(name, pieces, options))
        assert out_of_bincopy(file) == content_of(pieces), name


@given(images())
@settings(max_examples=60)
def test_intelhex_both_ways(pieces: list[Piece]) -> None:
    theirs = IntelHex()
    for piece in pieces:
        theirs.puts(piece.first, piece.data)
    text = StringIO()
    theirs.write_hex_file(text)
    assert read("intel-hex", text.getvalue()) == content_of(pieces)
    back = IntelHex(StringIO(written("intel-hex", pieces)))
    assert back.todict() == content_of(pieces)


def objcopy(folder: Path, *arguments: str) -> None:
    subprocess.run([need("objcopy"), *arguments], cwd=folder, check=True, timeout=60)


@pytest.mark.parametrize(("name", "target"), [("intel-hex", "ihex"), ("s-record", "srec")])
def test_objcopy_reads_what_is_written(tmp_path: Path, name: str, target: str) -> None:
    """Raw output has the gaps filled, so the sparse image goes by way of S-records.

    Not tekhex: objcopy forgets the addresses of its sections.
    """
    (tmp_path / "in").write_text(written(name, SPARSE))
    objcopy(tmp_path, "-I", target, "-O", "srec", "in", "out")
    assert read("s-record", (tmp_path / "out").read_text()) == content_of(SPARSE)


@pytest.mark.parametrize(
    ("name", "target"),
    [("intel-hex", "ihex"), ("s-record", "srec"), ("tektronix-extended", "tekhex"), ("verilog-memory", "verilog")],
)
def test_what_objcopy_writes_is_read(tmp_path: Path, name: str, target: str) -> None:
    data = DICE.randbytes(70_000)
    (tmp_path / "raw").write_bytes(data)
    objcopy(tmp_path, "-I", "binary", "-O", target, "--change-addresses", "0x8000", "raw", "out")
    back = read(name, (tmp_path / "out").read_text())
    padding = {a: 0 for a in back if a >= 0x8000 + len(data)}
    assert len(padding) < 32 if target == "tekhex" else not padding
    assert back == content_of([Piece(0x8000, data)]) | padding


def test_objcopy_restores_the_same_bytes(tmp_path: Path) -> None:
    data = DICE.randbytes(70_000)
    for name, target in (("intel-hex", "ihex"), ("s-record", "srec"), ("tektronix-extended", "tekhex")):
        (tmp_path / "in").write_text(written(name, [Piece(0, data)]))
        objcopy(tmp_path, "-I", target, "-O", "binary", "in", "out")
        assert (tmp_path / "out").read_bytes() == data


def test_a_wrong_checksum_that_the_others_refuse_is_a_hole() -> None:
    text = written("intel-hex", [Piece(0, bytes(range(64)))])
    bad = text.replace(":10002000", ":10002001", 1)
    with pytest.raises(bincopy.Error):
        bincopy.BinFile().add_ihex(bad)
    (reading,) = FORMATS["intel-hex"].read(bad.encode(), Hints()).readings
    assert [(h.first, h.last, h.line) for h in reading.holes] == [(0x20, 0x2F, 3)]
