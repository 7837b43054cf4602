"""Firmware as compilers make it: the C programs of this folder, built with sdcc and cc65 in several ways."""

from __future__ import annotations

import subprocess
import tempfile
from concurrent.futures import ThreadPoolExecutor
from pathlib import Path

from hand import Program

from romassay.code.flow import follow
from romassay.cpus.catalogue import cpu_of

GAP = 128
SOURCES = sorted((Path(__file__).parent / "c").glob("*.c"))
SDCC: dict[str, tuple[tuple[str, ...], ...]] = {
    "Z80": (
        ("-mz80",),
        ("-mz80", "--opt-code-size", "--fomit-frame-pointer"),
        ("-mz80", "--sdcccall", "0", "--opt-code-speed"),
        ("-mz80", "--code-loc", "0x8100"),
    ),
    "8051": (
        ("-mmcs51",),
        ("-mmcs51", "--model-large"),
        ("-mmcs51", "--opt-code-size", "--stack-auto"),
        ("-mmcs51", "--model-medium"),
    ),
}
CC65: dict[str, tuple[tuple[str, ...], ...]] = {
    "6502": (
        ("-t", "sim6502", "-O"),
        ("-t", "sim6502", "-Oirs"),
        (
            "-t",
            "sim6502",
        ),
        ("-t", "none", "-O", "-Cl"),
    ),
    "65C02": (
        ("-t", "sim65c02", "-O"),
        ("-t", "sim65c02", "-Oirs"),
        ("-t", "sim65c02", "--cpu", "65c02", "-Osir", "-Cl"),
    ),
}


def programs() -> list[Program]:
    """Build everything; a way that the compiler refuses is left out."""
    jobs = [(cpu, ways, source, "sdcc") for cpu, all_ways in SDCC.items() for ways in all_ways for source in SOURCES]
    jobs += [(cpu, ways, source, "cl65") for cpu, all_ways in CC65.items() for ways in all_ways for source in SOURCES]
    with ThreadPoolExecutor(2) as pool:
        return [found for found in pool.map(_built, jobs) if found]


def _built(job: tuple[str, tuple[str, ...], Path, str]) -> Program | None:
    cpu, ways, source, tool = job
    with tempfile.TemporaryDirectory() as folder:
        out = Path(folder) / ("p.ihx" if tool == "sdcc" else "p.bin")
        copy = Path(folder) / source.name
        copy.write_bytes(source.read_bytes())
        options = [*ways, str(copy), "-o", str(out)]
        done = subprocess.run([tool, *options], cwd=folder, capture_output=True, text=True, check=False)
        if done.returncode or not out.exists():
            print(source.name, ways, "not built")
            return None
        if tool == "sdcc":
            first, data, whole = hex_file(out.read_text())
            entry, start = 0, 0
        else:
            data = out.read_bytes()
            first, data = (0x1000, data) if "none" in ways else (0x0200, data[12:])
            entry, start, whole = first, first, data
    reached = follow(cpu_of(cpu), whole, start, (entry,)).instructions
    instructions = tuple(start + at for at in reached if first <= start + at < first + len(data))
    return Program(cpu, first, data, (entry,), f"{source.stem} {' '.join(ways)}", "none" not in ways, instructions)


def hex_file(text: str) -> tuple[int, bytes, bytes]:
    """Return the address and bytes of the largest part of an Intel HEX file, and all of it from 0 on; gaps are FF."""
    memory: dict[int, int] = {}
    for line in text.splitlines():
        raw = bytes.fromhex(line[1:])
        if raw[3] == 0:
            memory |= {(raw[1] << 8 | raw[2]) + i: b for i, b in enumerate(raw[4:-1])}
    runs: list[list[int]] = []
    for address in sorted(memory):
        if runs and address - runs[-1][1] < GAP:
            runs[-1][1] = address
        else:
            runs.append([address, address])
    first, last = max(runs, key=lambda run: run[1] - run[0])
    whole = bytes(memory.get(a, 0xFF) for a in range(max(memory) + 1))
    return first, whole[first : last + 1], whole
