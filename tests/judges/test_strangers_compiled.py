"""Code that a compiler makes for CPUs that are not known here is not taken for a Z80's."""

from __future__ import annotations

import subprocess
from pathlib import Path

import numpy as np
import pytest
from tests.tools import need

from romassay.code import code_of

PIECES = Path(__file__).parent.parent.parent / "benchmarks" / "faults" / "pieces.c"


def text_of(listing: Path) -> bytes:
    """Return the bytes of an Intel HEX file, its records joined in the order of their addresses."""
    rows = [bytes.fromhex(line[1:]) for line in listing.read_text().splitlines()]
    return b"".join(row[4:-1] for row in sorted((row for row in rows if row[3] == 0), key=lambda row: row[1:3]))


@pytest.mark.parametrize(("machine", "cpu"), [("sm83", None), ("z80", "Z80")])
def test_one_program_compiled_for_the_sm83_and_for_the_z80(tmp_path: Path, machine: str, cpu: str | None) -> None:
    picks = [f"-DPICK_{number}" for number in range(5)]
    out = tmp_path / "program.ihx"
    command = [
        need("sdcc"),
        f"-m{machine}",
        "--code-loc",
        "0x200",
        "-DPORTS=0xA000",
        "-DCALLS=",
        *picks,
        str(PIECES),
        "-o",
        str(out),
    ]
    done = subprocess.run(command, cwd=tmp_path, capture_output=True, text=True, check=False)
    assert out.exists(), done.stderr
    data = text_of(out)
    assert len(data) > 600
    found = code_of(np.frombuffer(data, np.uint8))
    assert found.cpu == cpu
    assert found.candidates[0][1] > 0.9
