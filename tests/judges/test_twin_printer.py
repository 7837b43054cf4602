"""What the twin prints, held against programs and libraries that print or read the same layouts."""

from __future__ import annotations

import subprocess
from io import StringIO
from pathlib import Path

import bincopy
import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from intelhex import IntelHex

from romassay.twin import LAYOUTS, Layout, Terminal, print_log
from romassay.twin.chance import octets
from tools import need

UNIX = Terminal(newline="\n")
DATA = octets(1, np.arange(1000)).tobytes()


def run(tmp_path: Path, program: str, *arguments: str) -> bytes:
    file = tmp_path / "data"
    file.write_bytes(DATA)
    return subprocess.run([need(program), *arguments, file], check=True, capture_output=True).stdout


def test_xxd(tmp_path: Path) -> None:
    layout = Layout("xxd", digits=8, after=": ", upper=False, word=2, low_first=False, gutter="  ")
    assert print_log([[(0, DATA)]], layout, terminal=UNIX) == run(tmp_path, "xxd")


def test_xxd_of_single_bytes(tmp_path: Path) -> None:
    layout = Layout("xxd", digits=8, after=": ", upper=False, gutter="  ", per_line=24)
    assert print_log([[(0, DATA)]], layout, terminal=UNIX) == run(tmp_path, "xxd", "-g1", "-c24")


def test_hexdump(tmp_path: Path) -> None:
    layout = Layout(
        "hexdump", digits=8, after="  ", upper=False, gap="  ", gutter="  |", gutter_after="|", closing=("000003e8",)
    )
    assert print_log([[(0, DATA)]], layout, terminal=UNIX) == run(tmp_path, "hexdump", "-C")


@pytest.mark.parametrize(
    ("layout", "arguments"),
    [
        (Layout("od", digits=6, upper=False, closing=("0003e8",)), ("-Ax", "-tx1")),
        (Layout("od", base=8, digits=7, cell_base=8, closing=("0001750",)), ("-Ao", "-to1")),
        (Layout("od", base=8, digits=7, cell_base=8, word=2, closing=("0001750",)), ("-Ao", "-to2")),
        (Layout("od", base=10, digits=7, upper=False, word=2, closing=("0001000",)), ("-Ad", "-tx2")),
    ],
)
def test_od(tmp_path: Path, layout: Layout, arguments: tuple[str, ...]) -> None:
    assert print_log([[(0, DATA)]], layout, terminal=UNIX) == run(tmp_path, "od", *arguments)


pieces = st.lists(st.tuples(st.integers(0, 0xFFF), st.binary(min_size=1, max_size=100)), min_size=1, max_size=4).map(
    lambda items: [(number * 0x1800 + first, data) for number, (first, data) in enumerate(items)]
)


@given(pieces, st.sampled_from([0, 0x123000]))
def test_intel_hex_as_two_libraries_read_it(items: list[tuple[int, bytes]], base: int) -> None:
    moved = [(base + first, data) for first, data in items]
    text = print_log([moved], LAYOUTS["intel-hex"], address_bits=24, terminal=UNIX).decode()
    expected = {first + n: byte for first, data in moved for n, byte in enumerate(data)}
    one = IntelHex()
    one.loadhex(StringIO(text))
    assert one.todict() == expected
    other = bincopy.BinFile()
    other.add_ihex(text)
    assert {segment.address + n: byte for segment in other.segments for n, byte in enumerate(segment.data)} == expected
