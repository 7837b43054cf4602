"""Captures from boards unlike one another, by the host files that the guide leads to.

    python -m benchmarks.boards [SEEDS]

The boards are those of tests/hosts.py: other prompts, layouts and numbers, keys that act at once, rub-outs only, no
echo, paging, steps of one byte, dumps without an end, resets in the middle, ten characters a second in software. The
line's clock costs no waiting; characters take their time both ways. The window is 1 KiB with a ROM of 512 bytes in it,
read twice. 'asked' is the ratio of bytes asked for to bytes needed, 'harm' the commands that would have written or run.
"""

from __future__ import annotations

import sys
import tempfile
from collections import Counter
from pathlib import Path

from tests.hosts import BOARDS, ROM, Wire
from tests.monitors import Clock

from romassay.address import Range
from romassay.catalogue import load_host
from romassay.errors import RomassayError
from romassay.session.capture import capture
from romassay.session.order import Order, dialogue_of

WINDOW = Range(0x3F00, 0x42FF)
NOISE = ((0.0, 0.0), (0.005, 0.0005))


def run(name: str, folder: Path, corrupt: float, drop: float, seed: int) -> tuple[str, bool, float, int]:
    """Capture once; return the verdict, whether the image is exact, asked over needed, and commands that did harm."""
    board = BOARDS[name]
    (folder / "my.toml").write_text(board.file)
    host = load_host(str(folder / "my.toml"))
    clock, machine = Clock(), board.make()
    wire = Wire(machine, clock, baud=board.baud, corrupt=corrupt, drop=drop, seed=seed)
    order = Order(
        port="simulated",
        host="my.toml",
        dialogue=dialogue_of(host, "my.toml"),
        serial=host.serial,  # type: ignore[arg-type]
        window=(WINDOW,),
        passes=2,
        docket=folder / "docket",
        settings={"size": len(ROM)},
    )
    try:
        result = capture(order, clock=clock, open_port=lambda _url, _serial: wire)  # type: ignore[arg-type]
    except RomassayError as e:
        return f"failed: {e.problem}", False, 0.0, len(machine.harm)
    exact = (folder / "docket" / "image.bin").read_bytes() == ROM
    return result.outcome.assay.verdict, exact, result.asked / (2 * WINDOW.size), len(machine.harm)


def main() -> None:
    """Measure and print."""
    seeds = int(sys.argv[1]) if len(sys.argv) > 1 else 5
    print("board        corrupted  exact  asked (most)  harm  verdicts")
    for name in BOARDS:
        for corrupt, drop in NOISE:
            results = []
            for seed in range(seeds if corrupt else 1):
                with tempfile.TemporaryDirectory() as folder:
                    results.append(run(name, Path(folder), corrupt, drop, seed))
            asked = [ratio for _, _, ratio, _ in results]
            verdicts = dict(Counter(verdict for verdict, *_ in results))
            print(
                f"{name:12} {corrupt:9.1%} {sum(exact for _, exact, _, _ in results):3}/{len(results)}"
                f" {sum(asked) / len(asked):7.2f} ({max(asked):.2f}) {sum(harm for *_, harm in results):5}  {verdicts}",
                flush=True,
            )


if __name__ == "__main__":
    main()
