"""How long a start takes, as a ratio to the interpreter's own; and a whole assay of a 40 KiB log in seconds.

    python benchmarks/startup.py [ROUNDS]

Each command runs ROUNDS times (15 unless said), taking turns, so that whatever else the machine does hits all alike;
the fastest of each counts. Nothing is asserted.
"""

from __future__ import annotations

import random
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROM = random.Random(6530).randbytes(1024)


def log(folder: Path) -> Path:
    """Write a text dump of about 40 KiB: a ROM of 1 KiB at every second KiB of the window."""
    window = (b"\xff" * 1024 + ROM) * 5
    lines = (f"{0x8000 + i:04X}: {window[i : i + 16].hex(' ').upper()}\n" for i in range(0, len(window), 16))
    path = folder / "pass.log"
    path.write_text("".join(lines))
    return path


def seconds(command: list[str]) -> float:
    """Time one run."""
    start = time.perf_counter()
    subprocess.run(command, stdout=subprocess.DEVNULL, check=False)
    return time.perf_counter() - start


def main(rounds: int) -> None:
    """Print the ratios."""
    with tempfile.TemporaryDirectory() as folder:
        dump = log(Path(folder))
        romassay = [sys.executable, "-m", "romassay"]
        commands = {
            "python -c pass": [sys.executable, "-c", "pass"],
            "romassay --version": [*romassay, "--version"],
            "romassay --help": [*romassay, "--help"],
            "romassay assay --help": [*romassay, "assay", "--help"],
            "import numpy": [sys.executable, "-c", "import numpy"],
            f"romassay assay ({dump.stat().st_size / 1024:.0f} KiB)": [*romassay, "assay", str(dump)],
        }
        best = dict.fromkeys(commands, float("inf"))
        for _ in range(rounds):
            for name, command in commands.items():
                best[name] = min(best[name], seconds(command))
    floor = best["python -c pass"]
    for name, best_time in best.items():
        print(f"{name:<30} {best_time * 1000:7.1f} ms   {best_time / floor:5.1f} x python -c pass")


if __name__ == "__main__":
    main(int(sys.argv[1]) if len(sys.argv) > 1 else 15)
