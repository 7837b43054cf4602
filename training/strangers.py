"""Count what tells the code of the SM83 from that of the 8080's family, for `romassay.code.strangers`.

    PYTHONPATH=training python training/strangers.py

The C programs are built for the SM83 with sdcc; the others are those that teach the likeness. Prints the shares of
instructions at each kind of opcode, of one half of the programs, and the probabilities that come out for the other.
"""

from __future__ import annotations

import random
import subprocess
import tempfile
from pathlib import Path

import compiled
import fit_likeness
import numpy as np

from romassay.code.evidence import weigh
from romassay.code.strangers import counts, sm83

WAYS = ((), ("--opt-code-size",), ("--opt-code-speed", "--fomit-frame-pointer"), ("--sdcccall", "0"))
SIZES = (512, 1024, 2048)
PIECES = 4


def built() -> list[tuple[str, bytes]]:
    """Return (name of the source, bytes) of the C programs for the SM83."""
    found = []
    for source in compiled.SOURCES:
        for ways in WAYS:
            with tempfile.TemporaryDirectory() as folder:
                out = Path(folder) / "p.ihx"
                command = ["sdcc", "-msm83", "--code-loc", "0x200", *ways, str(source), "-o", str(out)]
                subprocess.run(command, cwd=folder, capture_output=True, check=False)
                if out.exists():
                    found.append((source.stem, compiled.hex_file(out.read_text())[1]))
    return found


def pieces(programs: list[tuple[str, bytes]]) -> list[tuple[str, np.ndarray]]:
    rng = random.Random("pieces")
    found = []
    for name, data in programs:
        for _ in range(PIECES):
            size = min(rng.choice(SIZES), len(data))
            at = rng.randrange(len(data) - size + 1)
            found.append((name, np.frombuffer(data[at : at + size], np.uint8)))
    return found


def main() -> None:
    corpus = fit_likeness.corpus()
    ours = [(program.source, program.data) for cpu in ("8080", "8085", "Z80") for program in corpus[cpu]]
    for title, programs in (("8080, 8085, Z80", ours), ("SM83", built())):
        tried = pieces(programs)
        rows, chances = [], []
        for number, (_, data) in enumerate(tried):
            item = next(item for item in weigh(data) if item.plain == "8080")
            if number % 2:
                chances.append(sm83(data, item.division))
            elif item.nats > 0:
                rows.append(counts(data, item.division))
        shares = np.array(rows, float)
        total = shares.sum(0)
        print(title, len(programs), "programs; absent, parity, sign:", np.round(total[:3] / total[3], 5))
        each = shares[shares[:, 3] > 0]
        print("  in the middle piece:", np.round(np.median(each[:, :3] / each[:, 3:], 0), 5))
        print("  taken for the SM83:", sum(chance > 0.5 for chance in chances), "of", len(chances))


if __name__ == "__main__":
    main()
