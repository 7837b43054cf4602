from __future__ import annotations

import io
import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

import romassay
from romassay.chain import Options
from romassay.errors import BadInput, BadValue
from romassay.formats import read
from romassay.formats.model import Hints
from romassay.formats.traces import vcd as ours
from romassay.formats.traces.signals import MOST_TIMES, listed, parse_map

MAP = "address=A0-A15 data=D0-D7 sample=PHI2:fall require=R/W:1 setup=50ns"
ROM = random.Random(3).randbytes(256)

Cycle = tuple[int, int, bool]
"""Address, data, read."""


def traced(cycles: list[Cycle], *, vectors: bool = False, late: frozenset[int] = frozenset()) -> bytes:
    """Write a bus of 1 MHz with pyvcd: address 200 ns into the cycle, data at 800 ns, or 30 ns before the end."""
    from vcd import VCDWriter

    out = io.StringIO()
    with VCDWriter(out, timescale="1 ns", date="") as writer:
        if vectors:
            address = [writer.register_var("bus", "A", "wire", 16, init=0)]
            data = [writer.register_var("bus", "D", "wire", 8, init=0)]
        else:
            address = [writer.register_var("bus", f"A{i}", "wire", 1, init=0) for i in range(16)]
            data = [writer.register_var("bus", f"D{i}", "wire", 1, init=0) for i in range(8)]
        clock = writer.register_var("bus", "PHI2", "wire", 1, init=0)
        read_write = writer.register_var("bus", "R/W", "wire", 1, init=1)

        def put(wires: list[object], at: int, value: int) -> None:
            for bit, wire in enumerate(wires):
                writer.change(wire, at, value if vectors else value >> bit & 1)

        for number, (place, value, reads) in enumerate(cycles):
            start = number * 1000
            put(address, start + 200, place)
            writer.change(read_write, start + 200, int(reads))
            writer.change(clock, start + 500, 1)
            put(data, start + (970 if number in late else 800), value)
            writer.change(clock, start + 1000, 0)
    return out.getvalue().encode()


cycles_of = st.lists(st.tuples(st.integers(0, 0xFFFF), st.integers(0, 0xFF), st.booleans()), min_size=1, max_size=30)


def seen(reading: romassay.Reading) -> set[tuple[int, int]]:
    return set(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


@settings(max_examples=40, deadline=None)
@given(cycles_of, st.booleans())
def test_reads_become_observations_and_writes_do_not(cycles: list[Cycle], vectors: bool) -> None:
    names = "address=A data=D sample=PHI2:fall require=R/W:1" if vectors else MAP.replace(" setup=50ns", "")
    wanted = {(address, value) for address, value, reads in cycles if reads}
    data = traced(cycles, vectors=vectors)
    if not wanted:
        with pytest.raises(BadInput, match="no read is in this trace"):
            read(data, "a.vcd", Hints(layout=names))
        return
    (reading,) = read(data, "a.vcd", Hints(layout=names)).readings
    assert seen(reading) == wanted
    assert reading.unit == "trace"
    assert reading.address_bits == 16


def test_blocks_of_any_size_say_the_same(monkeypatch: pytest.MonkeyPatch) -> None:
    chance = random.Random(1)
    cycles = [(chance.randrange(1 << 16), chance.randrange(256), chance.random() < 0.8) for _ in range(300)]
    data = traced(cycles)
    whole = read(data, "a.vcd", Hints(layout=MAP)).readings
    for size in (60, 1000, 20_000):
        monkeypatch.setattr(ours, "_BLOCK", size)
        assert read(data, "a.vcd", Hints(layout=MAP)).readings == whole


def test_data_that_come_within_the_set_up_time_are_not_seen() -> None:
    cycles = [(0x1000 + i, 0xFF if i % 2 else 0x00, True) for i in range(8)]
    loaded = read(traced(cycles, late=frozenset({3})), "a.vcd", Hints(layout=MAP))
    (reading,) = loaded.readings
    assert 0x1003 not in reading.addresses().tolist()  # all eight bits changed too late
    assert loaded.notes == ("1 of 8 reads had data that came too late",)


def test_a_thousand_reads_of_one_address_keep_their_proportion() -> None:
    cycles = [(0x2000, 0x3F, True)] * 900 + [(0x2000, 0x3E, True)] * 100 + [(0x2001, 0x11, True)]
    (reading,) = read(traced(cycles), "a.vcd", Hints(layout=MAP)).readings
    at = reading.value[reading.addresses() == 0x2000].tolist()
    assert (at.count(0x3F), at.count(0x3E)) == (MOST_TIMES, 1)
    assert reading.value[reading.addresses() == 0x2001].tolist() == [0x11]


def test_a_multiplexed_bus_has_its_address_at_the_latch_pulse() -> None:
    rows = ["time [ns],ALE,/RD,AD0,AD1,AD2,AD3,A4"]
    for number, (address, value) in enumerate([(0x05, 0x3), (0x12, 0xC)]):
        start, high = number * 100, address >> 4

        def row(at: int, ale: int, rd: int, bus: int, a4: int) -> str:
            return f"{at},{ale},{rd},{bus & 1},{bus >> 1 & 1},{bus >> 2 & 1},{bus >> 3 & 1},{a4}"

        rows += [
            row(start, 1, 1, address & 15, high), row(start + 20, 0, 1, address & 15, high),
            row(start + 40, 0, 0, value, high), row(start + 80, 0, 1, value, high),
        ]  # fmt: skip
    layout = "address=AD0-AD3,A4 data=AD0-AD3 sample=/RD:rise latch=ALE:fall"
    (reading,) = read("\n".join(rows).encode(), "a.csv", Hints(layout=layout)).readings
    assert seen(reading) == {(0x05, 0x3), (0x12, 0xC)}
    assert set(reading.known_bits().tolist()) == {0x0F}


def test_csv_says_what_vcd_says() -> None:
    chance = random.Random(2)
    cycles = [(chance.randrange(1 << 16), chance.randrange(256), chance.random() < 0.8) for _ in range(200)]
    rows = ["Time(ns);ADDR;DATA;PHI2;R/W"]
    for number, (address, value, reads) in enumerate(cycles):
        rows.append(f"{number * 1000 + 500};{address:04X};{value:02X};1;{int(reads)}")
        rows.append(f"{number * 1000 + 1000};{address:04X};{value:02X};0;{int(reads)}")
    layout = "address=ADDR data=DATA sample=PHI2:fall require=R/W:1"
    (table,) = read("\r\n".join(rows).encode(), "a.csv", Hints(layout=layout)).readings
    (dump,) = read(traced(cycles), "a.vcd", Hints(layout=MAP.replace(" setup=50ns", ""))).readings
    assert seen(table) == seen(dump)


def test_several_traces_grow_together_to_an_image() -> None:
    chance = random.Random(4)

    def run(count: int) -> bytes:
        places = [chance.randrange(0x4000, 0x4200) for _ in range(count)]
        return traced([(a, ROM[a & 0xFF] if a < 0x4100 else 0xFF, True) for a in places])

    loaded = [read(run(3000), f"{n}.vcd", Hints(layout=MAP)) for n in range(2)]
    result = romassay.assay(loaded, Options(size=256))
    assert result.image is not None
    assert bytes(result.image) == ROM


@pytest.mark.parametrize(
    ("layout", "says"),
    [
        ("address=A0-A15 data=D0-D7", "lacks sample"),
        ("address=A0-A15 data=D0-D7 sample=PHI2", "'PHI2' is no edge"),
        ("address=A0-A15 data=D0-D7 sample=PHI2:fall require=R/W", "'R/W' is no level"),
        ("address=A0-A15 data=D0-D7 sample=PHI2:fall setup=50", "'50' is no time"),
        ("address=A0-A15 data=D0-D7 sample=PHI2:fall sample=X:rise", "sample stands there twice"),
        ("address=A0,A0 data=D0-D7 sample=PHI2:fall", "names a signal twice"),
        ("adress=A0 data=D0-D7 sample=PHI2:fall", "'adress=A0' is no part"),
        ("address=A0-A99 data=D0 sample=PHI2:fall", "spans more lines"),
    ],
)
def test_a_broken_map_is_named(layout: str, says: str) -> None:
    with pytest.raises(BadValue, match=says):
        parse_map(layout)


def test_what_a_trace_lacks_is_named_with_what_it_has() -> None:
    data = traced([(1, 2, True)])
    with pytest.raises(BadInput, match=r"nothing says which.* its signals are A0 to A15, D0 to D7, PHI2, R/W$"):
        read(data, "a.vcd")
    with pytest.raises(BadInput, match=r"no signal 'PHI1'; did you mean 'PHI2'\?"):
        read(data, "a.vcd", Hints(layout=MAP.replace("PHI2", "PHI1")))


def test_signals_are_listed_short_where_that_is_plain() -> None:
    assert listed(["u1.A1", "u1.A0", "u2.A0", "u1.X"]) == "A1, u1.A0, u2.A0, X"
    assert listed(["A2", "A1", "A0", "B0", "B1", "D0", "D2", "D4"]) == "A2 to A0, B0, B1, D0, D2, D4"
    assert listed(["top.A0", "top.A1", "top.A2", "A0", "A1", "A2"]) == "A0 to A2"
    assert listed([f"N{i}x" for i in range(50)]).endswith("N39x and 10 more")


@given(st.binary(max_size=300))
def test_rubbish_behind_the_declarations_is_no_crash(rubbish: bytes) -> None:
    data = traced([(0x1234, 0x56, True)]) + b"\n" + rubbish
    try:
        (reading,) = read(data, "a.vcd", Hints(layout=MAP)).readings
    except BadInput:
        return
    assert np.all(reading.addresses() < 1 << 16)
