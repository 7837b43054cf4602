"""Reading and writing records, as ratios to objcopy, intelhex and bincopy; and what hostile logs cost.

    python -m benchmarks.records [MEBIBYTES [ROUNDS]]

One image of MEBIBYTES (16 unless said), in records of 16 bytes as objcopy writes them, checksums verified. Contestants
take turns over ROUNDS (5 unless said), so that whatever else the machine does hits all alike; the fastest round of each
counts. The libraries, being slow, run once. Two ratios are given for objcopy, for both are fair: a read in a process
that runs already, and a whole `romassay convert` from start to a file on the disk, Python's start included. The first
read of a process, which pays for its memory, is given apart. Nothing is asserted.
"""

from __future__ import annotations

import random
import shutil
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from io import StringIO
from pathlib import Path

from romassay.errors import BadInput
from romassay.formats import FORMATS
from romassay.formats.model import Hints, Piece, WriteOptions

TARGETS = {"intel-hex": "ihex", "s-record": "srec"}
COLD = """
import sys, time
from pathlib import Path
from romassay.formats import FORMATS
from romassay.formats.model import Hints
form, log = FORMATS[sys.argv[1]], Path(sys.argv[2]).read_bytes()
start = time.perf_counter()
form.read(log, Hints())
print(time.perf_counter() - start)
"""


def seconds(work: Callable[[], object]) -> float:
    """Time one run."""
    start = time.perf_counter()
    work()
    return time.perf_counter() - start


def run(*command: str) -> str:
    """Run a program."""
    return subprocess.run(command, check=True, capture_output=True, text=True).stdout


def fastest(contestants: dict[str, Callable[[], float]], rounds: int) -> dict[str, float]:
    """Let contestants take turns; return the best time of each."""
    best = dict.fromkeys(contestants, float("inf"))
    for _ in range(rounds):
        for name, contestant in contestants.items():
            best[name] = min(best[name], contestant())
    return best


def libraries(name: str, log: Path) -> dict[str, float]:
    """Time the two libraries, once."""
    here = Path(__file__).resolve().parent
    sys.path[:] = [place for place in sys.path if Path(place).resolve() != here]  # its `code` would hide Python's own
    import bincopy
    from intelhex import IntelHex

    text = log.read_text()
    file = bincopy.BinFile()
    add = file.add_ihex if name == "intel-hex" else file.add_srec
    times = {"bincopy": seconds(lambda: (add(text), file.as_binary()))}
    if name == "intel-hex":
        times["intelhex"] = seconds(lambda: IntelHex(StringIO(text)))
    return times


def race(name: str, folder: Path, image: bytes, rounds: int) -> None:
    """Race one format."""
    raw, log, out = folder / "image.bin", folder / f"image.{name}", folder / "out.bin"
    raw.write_bytes(image)
    target = TARGETS[name]
    run("objcopy", "-I", "binary", "-O", target, str(raw), str(log))
    form, content = FORMATS[name], log.read_bytes()
    write = form.write
    assert write is not None  # noqa: S101
    romassay = [sys.executable, "-m", "romassay", "convert", str(log), str(out)]
    best = fastest(
        {
            "objcopy to binary": lambda: seconds(
                lambda: run("objcopy", "-I", target, "-O", "binary", str(log), str(out))
            ),
            "read": lambda: seconds(lambda: form.read(content, Hints())),
            "first read": lambda: float(run(sys.executable, "-c", COLD, name, str(log))),
            "whole convert to binary": lambda: seconds(lambda: run(*romassay)),
            "objcopy from binary": lambda: seconds(
                lambda: run("objcopy", "-I", "binary", "-O", target, str(raw), str(out))
            ),
            "write": lambda: seconds(lambda: write([Piece(0, image)], WriteOptions())),
        },
        rounds,
    )
    best |= libraries(name, log)
    assert form.read(content, Hints()).readings[0].value.tobytes() == image  # noqa: S101
    print(f"{name}, {len(image) >> 20} MiB in {len(content) / 1e6:.0f} MB of text")
    for what, time_ in best.items():
        print(f"  {what:<26}{time_ * 1000:9.1f} ms")
    for what in ("read", "first read", "whole convert to binary"):
        print(f"  objcopy / {what:<32}{best['objcopy to binary'] / best[what]:8.2f}")
    print(f"  {'objcopy / write':<42}{best['objcopy from binary'] / best['write']:8.2f}")
    for library in ("intelhex", "bincopy"):
        if library in best:
            print(f"  {library + ' / read':<42}{best[library] / best['read']:8.1f}")


SIZE = 50_000_000


def tile(text: bytes) -> bytes:
    """Return 50 MB of a text over and over."""
    return text * (SIZE // len(text))


HOSTILE: dict[str, tuple[str, Callable[[], bytes]]] = {
    "one line of hex digits": ("intel-hex", lambda: b":10" + b"0" * SIZE),
    "one line of whole records": ("intel-hex", lambda: tile(b":0300300002337A1E")),
    "wrong checksums": ("intel-hex", lambda: tile(b":0300300002337A1F\n")),
    "marks and nothing else": ("intel-hex", lambda: tile(b":\n")),
    "an end behind each record": ("intel-hex", lambda: tile(b":0100000001FE\n:00000001FF\n")),
    "random bytes": ("intel-hex", lambda: random.Random(1).randbytes(SIZE)),
    "one percent marks": ("tektronix-extended", lambda: tile(b"%25")),
    "a byte a line": ("ti-txt", lambda: b"@0000\n" + tile(b"00\n")),
    "one line of bytes, half of them none": ("ti-txt", lambda: b"@0000\n" + tile(b"00 zz ")),
    "unknown digits": ("verilog-memory", lambda: b"@0\n" + tile(b"x1 ")),
    "comments": ("verilog-memory", lambda: b"11 /*" + tile(b"*/ /*")),
    "a word a line": ("bnpf", lambda: tile(b"BNNNNNNNPF\n")),
}

HOSTILE_RUN = """
import re, sys, time
from pathlib import Path
sys.path.insert(0, sys.argv[1])
import records
name, make = records.HOSTILE[sys.argv[2]]
log = make()
start = time.perf_counter()
said = records.outcome(name, log)
peak = int(re.search(r"VmHWM:\\s+(\\d+)", Path("/proc/self/status").read_text())[1]) >> 10
print(f"{time.perf_counter() - start:6.1f} s {peak:5d} MiB  {said}")
"""


def outcome(name: str, log: bytes) -> str:
    """Return what a log holds, or why it is refused, in a line."""
    try:
        found = FORMATS[name].read(log, Hints())
    except BadInput as e:
        return f"refused: {e}"
    return f"{sum(len(r) for r in found.readings)} bytes, {sum(len(r.holes) for r in found.readings)} holes"


def main(mebibytes: int, rounds: int) -> None:
    """Print the ratios, then the hostile logs."""
    if not shutil.which("objcopy"):
        sys.exit("objcopy is not installed")
    image = random.Random(16).randbytes(mebibytes << 20)
    with tempfile.TemporaryDirectory() as folder:
        for name in TARGETS:
            race(name, Path(folder), image, rounds)
    print(
        f"logs of {SIZE // 1_000_000} MB, each in a process of its own (Linux): seconds to read, peak memory, outcome"
    )
    for case in HOSTILE:
        print(f"  {case:<38}{run(sys.executable, '-c', HOSTILE_RUN, str(Path(__file__).parent), case).strip()}")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 16, int(sys.argv[2]) if len(sys.argv) > 2 else 5)
