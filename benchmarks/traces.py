"""Bus traces: how long a value change dump takes beside two readers from PyPI, and how much memory a large one needs.

    python -m benchmarks.traces [MEGABYTES of the comparison] [MEGABYTES of the large one]

Each reader runs in a process of its own, on the same file. vcdvcd builds every change of every signal, pyvcd yields
tokens, which are only counted; this program finds the reads of the bus.
"""

from __future__ import annotations

import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np

MAP = "address=A0-A15 data=D0-D7 sample=PHI2:fall require=R/W:1"


def write_trace(path: Path, size: int) -> None:
    """Write a bus of 26 wires that runs through a program: about `size` bytes."""
    rng = np.random.default_rng(1)
    names = [f"A{i}" for i in range(16)] + [f"D{i}" for i in range(8)] + ["PHI2", "R/W"]
    codes = [chr(33 + i) for i in range(len(names))]
    with path.open("w") as file:
        file.write("$timescale 1 ns $end\n$scope module bus $end\n")
        file.writelines(f"$var wire 1 {code} {name} $end\n" for code, name in zip(codes, names, strict=True))
        file.write("$upscope $end\n$enddefinitions $end\n#0\n" + "".join(f"0{code}\n" for code in codes))
        last_address, last_data, cycle, at = 0, 0, 0, 0
        memory = rng.integers(0, 256, 1 << 16)
        while file.tell() < size:
            rows = []
            for _ in range(5000):
                at = (at + 1 if rng.random() < 0.9 else int(rng.integers(0, 1 << 16))) & 0xFFFF
                start, data = cycle * 1000, int(memory[at])
                rows.append(f"#{start + 200}\n1{codes[25]}\n" + changed(last_address, at, codes[:16]))
                rows.append(f"#{start + 500}\n1{codes[24]}\n#{start + 800}\n" + changed(last_data, data, codes[16:24]))
                rows.append(f"#{start + 1000}\n0{codes[24]}\n")
                last_address, last_data, cycle = at, data, cycle + 1
            file.write("".join(rows))


def changed(before: int, now: int, codes: list[str]) -> str:
    """Return the changes of a bus from one value to the next."""
    return "".join(f"{now >> i & 1}{code}\n" for i, code in enumerate(codes) if (before ^ now) >> i & 1)


READERS = {
    "romassay": (
        "from romassay.formats import load; from romassay.formats.model import Hints;"
        f"print(len(load(FILE, Hints(layout={MAP!r})).readings[0]))"
    ),
    "vcdvcd": "from vcdvcd import VCDVCD; print(len(VCDVCD(FILE).data))",
    "pyvcd": "from vcd.reader import tokenize; print(sum(1 for _ in tokenize(open(FILE, 'rb'))))",
}


def timed(name: str, path: Path) -> tuple[float, float]:
    """Return seconds and peak megabytes of a reader on a file, its start taken off."""
    code = READERS[name].replace("FILE", repr(str(path)))
    measure = (
        "import resource, time; start = time.process_time(); "
        f"exec({code!r}); "
        "print(time.process_time() - start, resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)"
    )
    run = subprocess.run([sys.executable, "-c", measure], capture_output=True, text=True, check=True)
    seconds, peak = run.stdout.split()[-2:]
    return float(seconds), float(peak)


def main() -> None:
    """Measure and print."""
    small, large = (int(word) << 20 for word in (sys.argv[1:] + ["20", "100"][len(sys.argv) - 1 :]))
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "trace.vcd"
        write_trace(path, small)
        figures = {name: timed(name, path) for name in READERS}
        ours = figures["romassay"][0]
        for name, (seconds, peak) in figures.items():
            print(
                f"{name:10} {small >> 20} MB: {seconds:6.2f} s CPU, {seconds / ours:5.2f} of ours, peak {peak:.0f} MB"
            )
        write_trace(path, large)
        seconds, peak = timed("romassay", path)
        print(f"romassay   {large >> 20} MB: {seconds:6.2f} s CPU, peak {peak:.0f} MB")
    print(f"written in {time.process_time():.0f} s; peak of this process {peak_here():.0f} MB")


def peak_here() -> float:
    """Return the peak memory of this process in megabytes."""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


if __name__ == "__main__":
    main()
