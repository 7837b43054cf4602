"""How fast text dumps are read, as ratios to `xxd -r`; and how time and memory grow with the size of a log.

    python benchmarks/text_dump.py [MIB [ROUNDS]]

The dump of MIB MiB (16 unless said) is printed by xxd itself. Contestants take turns over ROUNDS (5 unless said), so
that whatever else the machine does hits all alike; the fastest of each counts, in seconds on the clock and in seconds
of the processor, which other work on the machine disturbs less. Four are ours, for all are fair to ask about:

  the layout known    the bytes are in memory, and so is the layout: what reading lines alone costs
  load again          a file of a layout that this process has learnt before; digest and choice of format included
  load                the first file of a process that has the libraries loaded; the layout is learnt as well
  convert             a whole `romassay convert`, Python's start and the image on the disk included, as `xxd -r` has it

All of them find their modules compiled, as an installed program's are.

Then logs of 1, 4, 16 and 64 MB, each read by a process of its own. Nothing is asserted.
"""

from __future__ import annotations

import os
import random
import resource
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

LOAD = """
import sys, time
import numpy
from romassay.formats import load
for again in range(int(sys.argv[2])):
    clock, work = time.perf_counter(), time.process_time()
    loaded = load(sys.argv[1])
    print(time.perf_counter() - clock, time.process_time() - work, sum(map(len, loaded.readings)))
print(next(int(line.split()[1]) >> 10 for line in open("/proc/self/status") if line.startswith("VmHWM")))
"""
"""The peak is the kernel's for this program alone: `getrusage` counts what its parent had as well, before it began."""
COMPILED = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
"""The environment of the programs: they may keep their modules compiled, in a folder that `main` names."""

Spent = tuple[float, float]
"""Seconds on the clock, seconds of the processor."""

LAYOUTS: dict[str, Callable[[int, bytes], str]] = {
    "16 bytes": lambda at, data: f"{at:06X}: {data.hex(' ').upper()}",
    "text column": lambda at, data: f"{at:08x}  {data[:8].hex(' ')}  {data[8:].hex(' ')}  |{'.' * 16}|",
    "decimal": lambda at, data: f"{at:8d} {' '.join(map(str, data))}",
    "1 in 1000 wrong": lambda at, data: f"{at:06X}: {data.hex(' ').upper()}",
}


def own(work: Callable[[], object]) -> Spent:
    """Time work in this process."""
    clock, busy = time.perf_counter(), time.process_time()
    work()
    return time.perf_counter() - clock, time.process_time() - busy


def program(*command: str) -> Spent:
    """Time a program."""
    clock, before = time.perf_counter(), resource.getrusage(resource.RUSAGE_CHILDREN)
    subprocess.run(command, check=True, capture_output=True, env=COMPILED)
    after = resource.getrusage(resource.RUSAGE_CHILDREN)
    busy = after.ru_utime + after.ru_stime - before.ru_utime - before.ru_stime
    return time.perf_counter() - clock, busy


def loads(log: Path, count: int) -> tuple[list[Spent], int, int]:
    """Load a log so many times in a new process; return the times, the bytes found, and the peak in MiB."""
    done = subprocess.run(
        [sys.executable, "-c", LOAD, str(log), str(count)], check=True, capture_output=True, text=True, env=COMPILED
    )
    *rounds, peak = (line.split() for line in done.stdout.splitlines())
    return [(float(clock), float(busy)) for clock, busy, _ in rounds], int(rounds[0][2]), int(peak[0])


def race(folder: Path, mebibytes: int, rounds: int) -> None:
    """Print how each contestant does beside `xxd -r`."""
    from romassay.formats import load
    from romassay.formats.model import Hints
    from romassay.formats.text_dump import read

    image, dump, back, ours = (folder / name for name in ("image.bin", "dump.txt", "back.bin", "ours.bin"))
    image.write_bytes(random.Random(1).randbytes(mebibytes << 20))
    subprocess.run(["xxd", image, dump], check=True)
    loaded = load(dump)
    data, hints = dump.read_bytes(), Hints(layout=loaded.layout)
    best: dict[str, Spent] = {}
    for _ in range(rounds):
        (first, again), _, _ = loads(dump, 2)
        convert = [sys.executable, "-m", "romassay", "convert", str(dump), str(ours)]
        spent = {
            "xxd -r": program("xxd", "-r", str(dump), str(back)),
            "the layout known": own(lambda: read(data, hints)),
            "load again": again,
            "load": first,
            "convert": program(*convert),
        }
        for name, (clock, busy) in spent.items():
            before = best.get(name, (clock, busy))
            best[name] = min(clock, before[0]), min(busy, before[1])
    right = bytes(loaded.readings[0].value) == image.read_bytes() == ours.read_bytes()
    print(f"{len(data) / 1e6:.1f} MB of text, layout {loaded.layout}; right: {right}")
    theirs = best["xxd -r"]
    for name, (clock, busy) in best.items():
        print(
            f"{name:<18} {clock:6.2f} s, {theirs[0] / clock:5.2f} times as fast;"
            f" processor {busy:6.2f} s, {theirs[1] / busy:5.2f} times"
        )


def growth(folder: Path) -> None:
    """Print what logs of several sizes take."""
    noise = random.Random(2)
    print(f"\n{'layout':<18}{'MB':>6}{'s':>8}{'MB a s':>8}{'peak MiB':>10}{'bytes':>12}")
    for name, form in LAYOUTS.items():
        lines = (form(at, noise.randbytes(16)) + "\n" for at in range(0, 1 << 30, 16))
        text = bytearray()
        for megabytes in (1, 4, 16, 64):
            while len(text) < megabytes * 1_000_000:
                text += next(lines).encode()
            log = folder / "growth.log"
            harmed = bytearray(text)
            for place in noise.sample(range(len(text)), len(text) // 1000 if "wrong" in name else 0):
                harmed[place] = noise.randrange(33, 127)
            log.write_bytes(harmed)
            ((_, busy),), found, peak = loads(log, 1)
            print(f"{name:<18}{megabytes:6d}{busy:8.2f}{megabytes / busy:8.0f}{peak:10d}{found:12d}", flush=True)


def main(mebibytes: int, rounds: int) -> None:
    """Race, then show the growth."""
    with tempfile.TemporaryDirectory() as folder:
        COMPILED["PYTHONPYCACHEPREFIX"] = str(Path(folder, "compiled"))
        race(Path(folder), mebibytes, rounds)
        growth(Path(folder))


if __name__ == "__main__":
    main(*(int(word) for word in sys.argv[1:])) if len(sys.argv) > 2 else main(int((sys.argv[1:] or ["16"])[0]), 5)
