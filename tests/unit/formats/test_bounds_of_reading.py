"""What bounds the reading of huge or hostile files changes nothing in what is read, and says what it left."""

from __future__ import annotations

import itertools
import random
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.chain import gather
from romassay.errors import BadInput
from romassay.formats import load, read
from romassay.formats.lines import chunk, reader
from romassay.formats.model import Hints
from romassay.formats.traces import csv_trace, vcd
from romassay.reading import Reading, edges_of, reading_of
from romassay.survey.stack import GRANULE, granules_seen

DATA = random.Random(8).randbytes(4096)
SIGNALS = "address=A data=D sample=PHI2:fall require=R/W:1"


def dump(damaged: range) -> bytes:
    """4 KiB, 16 bytes a line, a character of some lines struck."""
    text = [bytearray(b"%04X: %s" % (at, DATA[at : at + 16].hex(" ").encode())) for at in range(0, 4096, 16)]
    for number in damaged:
        text[number][20] = ord("#")
    return b"\n".join(text) + b"\n"


def test_behind_too_many_damaged_lines_only_whole_ones_are_read(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(chunk, "_CHUNK", 1 << 10)
    damaged = range(40, 256, 9)
    all_of_it = read(dump(damaged), "a.log")
    monkeypatch.setattr(reader, "_MOST_DOUBTFUL", 5)
    some_of_it = read(dump(damaged), "a.log")
    assert not all_of_it.notes
    assert "lines were not looked at" in some_of_it.notes[0]
    assert 0 < some_of_it.left_total <= len(damaged) - 5
    (whole,), (part,) = all_of_it.readings, some_of_it.readings
    seen = dict(zip(part.addresses().tolist(), part.value.tolist(), strict=True))
    assert seen.items() <= dict(zip(whole.addresses().tolist(), whole.value.tolist(), strict=True)).items()
    clean = {at for at in range(4096) if at // 16 not in damaged}
    assert clean <= seen.keys()
    lost = {at for hole in part.holes if hole.first is not None for at in range(hole.first, (hole.last or 0) + 1)}
    assert lost.isdisjoint(clean)


@pytest.mark.parametrize("text", [b"0" * 70_000, b"1234: " + b"9" * 70_000, b"12 " * 40_000 + b"\n" + b"7" * 6_000])
def test_numbers_of_thousands_of_digits_are_no_dump(text: bytes) -> None:
    with pytest.raises(BadInput):
        read(text, "a.log")


@given(st.lists(st.tuples(st.integers(0, 4000), st.integers(1, 90)), max_size=12))
def test_granules_and_stretches_are_those_of_the_addresses_seen(pieces: list[tuple[int, int]]) -> None:
    reading = reading_of([(first, bytes(count)) for first, count in pieces])
    addresses = {at for first, count in pieces for at in range(first, first + count)}
    assert granules_seen([reading]).tolist() == sorted({at // GRANULE for at in addresses})
    edges = edges_of(reading.runs).tolist()
    assert [at for first, last in edges for at in range(first, last + 1)] == sorted(addresses)
    assert all(a[1] + 1 < b[0] for a, b in itertools.pairwise(edges))


def test_bytes_in_more_places_than_a_dump_has_are_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr("romassay.chain.MOST_PLACES", 3)
    assert len(gather(reading_of([(at, b"x") for at in (1, 3, 5)])).readings) == 1
    with pytest.raises(BadInput, match="no dump is so scattered"):
        gather(reading_of([(at, b"x") for at in (1, 3, 5, 7)]))


def trace(cycles: list[tuple[int, int]], end: str = "\n") -> bytes:
    head = "".join(f"$var wire {w} {c} {n} $end\n" for w, c, n in ((16, "a", "A"), (8, "d", "D"), (1, "p", "PHI2")))
    text = f"$timescale 1 ns $end\n{head}$var wire 1 r R/W $end\n$enddefinitions $end\n#0\n1r\n0p\n"
    for number, (address, value) in enumerate(cycles):
        start = 1000 * number
        text += f"#{start + 200}\nb{address:b} a\n#{start + 500}\n1p\nb{value:b} d\n#{start + 1000}\n0p\n"
    return text.replace("\n", end).encode()


def table(cycles: list[tuple[int, int]]) -> bytes:
    rows = ["time,A,D,PHI2,R/W"]
    for number, (address, value) in enumerate(cycles):
        rows += [f"{number},{address:04X},{value:02X},1,1", f"{number}.5,{address:04X},{value:02X},0,1"]
    return "\r\n".join(rows).encode()


CYCLES = st.lists(st.tuples(st.integers(0, 0xFFFF), st.integers(0, 0xFF)), min_size=4, max_size=40)


def same(one: Reading, other: Reading) -> bool:
    return bool(np.array_equal(one.runs, other.runs) and np.array_equal(one.value, other.value))


@settings(deadline=None, max_examples=30)
@given(CYCLES, st.integers(16, 600), st.sampled_from(["\n", "\r\n", "\r"]))
def test_a_trace_in_pieces_says_what_it_says_as_a_whole(
    tmp_path_factory: pytest.TempPathFactory, cycles: list[tuple[int, int]], piece: int, end: str
) -> None:
    for module, content in ((vcd, trace(cycles, end)), (csv_trace, table(cycles))):
        path: Path = tmp_path_factory.mktemp("trace") / "bus"
        path.write_bytes(content)
        hints = Hints(layout=SIGNALS)
        whole = read(content, "bus", hints)
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr(module, "_BLOCK", piece)
            in_pieces = load(path, hints)
        assert (in_pieces.sha256, in_pieces.format) == (whole.sha256, whole.format)
        assert same(in_pieces.readings[0], whole.readings[0])
        assert set(zip(whole.readings[0].addresses().tolist(), whole.readings[0].value.tolist(), strict=True)) == set(
            cycles
        )


def test_a_moment_without_end_is_refused(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(vcd, "_BLOCK", 1 << 10)
    monkeypatch.setattr(vcd, "_HEAD", 1 << 10)
    monkeypatch.setattr(vcd, "_MOST_AT_ONCE", 1 << 14)
    with pytest.raises(BadInput, match="stand behind one time mark"):
        read(trace([(1, 2)]) + b"1p\n" * 10_000, "a.vcd", Hints(layout=SIGNALS))
