"""Captures at real rates: a board in a process of its own behind a pseudo-terminal, each character in its own time.

    python -m benchmarks.pacing [SECONDS]

The 6502 board of the tests runs its monitor in py65; characters take ten bit times each, both ways. The window is as
large as the rate can send twice in at most so many SECONDS (40). 'of the line' is the rate that the screen showed last,
over what the line could carry; 'left' the largest error of a time left that was shown, as a share of the whole time.
"""

from __future__ import annotations

import random
import re
import subprocess
import sys
import tempfile
import time
from pathlib import Path

HERE = Path(__file__).parent.parent
BOARD = HERE / "tests" / "board"
BAUDS = (300, 1200, 9600, 38400, 115200)
NOISE = ((0.0, 0.0), (0.005, 0.0005))
CHARACTERS = 32 / 8
"""Characters that the board's monitor prints for a byte: eight bytes on a line of 32."""
FIRST, ROM = 0xD000, 512
_LINE = re.compile(r"(\d+) bytes/s(?:, about (?:(\d+) h )?(?:(\d+) min )?(?:(\d+) s )?left)?")


def run(baud: int, corrupt: float, drop: float, seconds: float) -> tuple[str, bool, float, float, float]:
    """Capture once; return the verdict, whether the image is exact, asked over needed, share of the line, error."""
    most = int(seconds * baud / 10 / CHARACTERS / 2)
    size = 1 << min(ROM.bit_length(), most.bit_length()) - 1
    with tempfile.TemporaryDirectory() as folder:
        command = [sys.executable, str(BOARD / "board.py"), "--pattern", "1101 000a aaaa aaaa", "--size", str(ROM)]
        command += ["--baud", str(baud), "--corrupt", str(corrupt), "--drop", str(drop)]
        with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as board:
            place = next(iter(board.stdout or ())).strip()
            try:
                return _captured(place, baud, size, Path(folder) / "docket")
            finally:
                board.terminate()


def _captured(place: str, baud: int, size: int, docket: Path) -> tuple[str, bool, float, float, float]:
    words = ["capture", place, "--host", str(BOARD / "host.toml"), "--baud", str(baud), "-o", str(docket)]
    words += ["--window", f"0x{FIRST:04X}-0x{FIRST + size - 1:04X}", "--size", str(size)]
    shown: list[tuple[float, int, float | None]] = []
    start = time.monotonic()
    asked = needed = 1
    command = [sys.executable, "-m", "romassay", *words]
    with subprocess.Popen(command, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True) as capture:
        for line in capture.stderr or ():
            if found := _LINE.search(line):
                hours, minutes, secs = (int(part or 0) for part in found.groups()[1:])
                left = hours * 3600 + minutes * 60 + secs if "left" in line else None
                shown.append((time.monotonic() - start, int(found[1]), left))
            if found := re.search(r"asked for (\d+) bytes; (\d+) were", line):
                asked, needed = int(found[1]), int(found[2])
        said = list(capture.stdout or ())
        verdict = said[0].split(":")[0].lower()
    exact = (docket / "image.bin").read_bytes() == random.Random(1).randbytes(ROM)[:size]
    end, rate, _ = shown[-1]
    errors = [abs(at + left - end) / end for at, _, left in shown if left is not None]
    return verdict, exact, asked / needed, rate / (baud / 10 / CHARACTERS), max(errors, default=0.0)


def main() -> None:
    """Measure and print."""
    seconds = float(sys.argv[1]) if len(sys.argv) > 1 else 40
    print("  baud  corrupted  dropped  verdict      exact  asked  of the line  left")
    for baud in BAUDS:
        for corrupt, drop in NOISE:
            verdict, exact, asked, share, error = run(baud, corrupt, drop, seconds)
            line = f"{baud:6} {corrupt:9.1%} {drop:9.2%}  {verdict:11}  {exact!s:5} {asked:6.2f}"
            print(f"{line} {share:11.0%} {error:6.0%}", flush=True)


if __name__ == "__main__":
    main()
