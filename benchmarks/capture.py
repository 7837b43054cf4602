"""Captures over bad lines: how many bytes are asked for beyond those that must be, and whether the image is exact.

    python -m benchmarks.capture [SEEDS]

A monitor answers over a line whose clock is simulated, ten bit times a character, so that 300 baud costs no waiting.
The window is 2 KiB with a ROM of 1 KiB in it, read twice. 'Asked' is the ratio of bytes asked for to bytes needed,
'time' the ratio of the line's time to that of a line without errors.
"""

from __future__ import annotations

import random
import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.monitors import DIALOGUE, Clock, Line, Monitor

from romassay.address import Range
from romassay.rig import Serial
from romassay.session.capture import Captured, capture
from romassay.session.order import Order

ROM = random.Random(17).randbytes(1024)
WINDOW = Range(0x3E00, 0x45FF)
ERRORS = ((0.0, 0.0), (0.001, 0.0), (0.005, 0.0), (0.005, 0.001), (0.01, 0.001), (0.02, 0.002))
BAUDS = (300, 9600, 115200)


def memory(address: int) -> int:
    """A ROM at 4000-43FF, and what was left on the lines elsewhere."""
    return ROM[address & 0x3FF] if address & 0xFC00 == 0x4000 else address >> 8


class Paced(Line):
    """A line on which each character takes its time."""

    character_s = 0.0

    def write(self, data: bytes) -> None:
        self.clock.now += len(data) * self.character_s
        super().write(data)

    def read(self, timeout: float) -> bytes:
        before = self.clock.now
        data = super().read(timeout)
        if data:
            self.clock.now = before + len(data) * self.character_s
        return data


def run(folder: Path, baud: int, corrupt: float, drop: float, seed: int) -> tuple[Captured, float, bool]:
    """Capture once; return what came of it, the line's seconds, and whether the image is exact."""
    clock = Clock()
    line = Paced(Monitor(memory).feed, clock, corrupt=corrupt, drop=drop, seed=seed)
    line.character_s = 10 / baud
    order = Order(
        port="simulated",
        host="a monitor",
        dialogue=DIALOGUE,
        serial=Serial(kind="ttl", baud=baud),
        window=(WINDOW,),
        passes=2,
        docket=folder,
        settings={"size": 1024},
    )
    result = capture(order, clock=clock, open_port=lambda _url, _serial: line)
    return result, clock.now, (folder / "image.bin").read_bytes() == ROM


def main() -> None:
    """Measure and print."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 10
    print(" baud  corrupted  dropped   asked (most)   time   exact  verdicts")
    for baud in BAUDS:
        ideal = 0.0
        for corrupt, drop in ERRORS:
            asked, seconds, exact = [], [], 0
            verdicts: Counter[str] = Counter()
            for seed in range(seeds):
                with tempfile.TemporaryDirectory() as folder:
                    result, took, same = run(Path(folder) / "d", baud, corrupt, drop, seed)
                asked.append(result.asked / (2 * WINDOW.size))
                seconds.append(took)
                exact += same
                verdicts[result.outcome.assay.verdict] += 1
            mean = sum(seconds) / seeds
            ideal = ideal or mean
            print(
                f"{baud:6} {corrupt:9.1%} {drop:8.1%} {sum(asked) / seeds:7.2f} ({max(asked):.2f})"
                f" {mean / ideal:6.2f} {exact:4}/{seeds}  {dict(verdicts)}"
            )


if __name__ == "__main__":
    main()
