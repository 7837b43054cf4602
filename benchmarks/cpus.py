"""How often the code is read right, and how fast.

    PYTHONPATH=training python -m benchmarks.cpus [CACHE]

The routines of `training/firmware` and the programs of `training/c` are parted in two halves. The tables counted from
one half are tried on programs made of the other, and the other way round: neither a routine nor a C program was seen in
training. The shipped tables know both halves. Prints the share of right answers, the expected calibration error of the
probabilities, and the listing's speed as a ratio to capstone's in the same run; draws the reliability diagram as
`cpus-reliability.svg` beside this.
"""

from __future__ import annotations

import sys
import time
from collections import Counter
from pathlib import Path

import numpy as np
from benchmarks.reliability import draw, error, tenths
from fit_calibration import Trial, cached, samples
from fit_likeness import tables_of

from romassay.code import code_of
from romassay.code.listing import listing
from romassay.code.model import Code
from romassay.code.source import source
from romassay.cpus import likeness
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import NAMES, cpu_of

CACHE = Path(sys.argv[1] if len(sys.argv) > 1 else "/tmp/romassay-cpus-benchmark")  # noqa: S108
PICTURE = Path(__file__).parent / "cpus-reliability.svg"


def tried() -> list[tuple[Trial, Code]]:
    """Read every piece with tables that were counted from the other half."""
    halves = cached(CACHE, lambda: [samples(0), samples(1)])
    found = []
    for (programs, _), (_, pieces) in (halves, halves[::-1]):
        tables = tables_of(programs)
        likeness._tables = lambda tables=tables: tables  # noqa: SLF001
        found += [(trial, code_of(np.frombuffer(trial.data, np.uint8))) for trial in pieces]
    return found


def share(right: int, total: int) -> str:
    return f"{right} of {total} ({right / total:.1%})" if total else "none"


def accuracy(rows: list[tuple[Trial, Code]]) -> None:
    for least, most in ((512, 1023), (1024, 1 << 16)):
        code = [(t, c) for t, c in rows if t.cpu and least <= len(t.data) <= most]
        wrong = Counter((t.cpu, c.cpu) for t, c in code if t.cpu != c.cpu)
        right = share(len(code) - sum(wrong.values()), len(code))
        print(f"CPU right, {least} bytes and more: {right}; {wrong.most_common(8)}")
    other = [(t, c) for t, c in rows if t.cpu is None]
    wrong_kinds = Counter((t.kind, c.cpu) for t, c in other if c.cpu)
    print(f"no code right: {share(sum(c.cpu is None for _, c in other), len(other))}; {wrong_kinds.most_common(5)}")
    placed = [(t, c) for t, c in rows if t.cpu and t.origin is not None and c.cpu == t.cpu and c.references >= 2]
    right = share(sum(c.origin == t.origin for t, c in placed), len(placed))
    print(f"origin right where there are two references: {right}")
    given = [(t, c) for t, c in placed if c.origin is not None]
    print(f"  of those that were given: {share(sum(c.origin == t.origin for t, c in given), len(given))}")


def speed() -> None:
    """Time the listing of 6502 code beside capstone's plain disassembly of the same bytes."""
    import capstone

    halves = cached(CACHE, lambda: [samples(0), samples(1)])
    programs = [p for programs, _ in halves for p in programs["6502"] if len(p.data) >= 1024]
    begun = time.process_time()
    total = sum(
        len(source(listing(cpu_of("6502"), p.data, p.origin, [("", at) for at in p.entries]))) for p in programs
    )
    mine = time.process_time() - begun
    judge = capstone.Cs(capstone.CS_ARCH_MOS65XX, capstone.CS_MODE_MOS65XX_6502)
    begun = time.process_time()
    lines = sum(1 for p in programs for _ in judge.disasm(p.data, p.origin))
    theirs = time.process_time() - begun
    size = sum(len(p.data) for p in programs)
    ratio = f"{mine / theirs:.1f} times capstone's time"
    print(f"listing: {size / mine / 1024:.0f} KiB/s; {ratio} ({total} signs, {lines} lines)")


def round_trips(count: int = 10_000) -> None:
    """List random byte strings and all programs, and put them together again."""
    import random

    for name in NAMES:
        rng = random.Random(name)
        cpu = cpu_of(name)
        bad = 0
        for _ in range(count):
            data = rng.randbytes(rng.randint(1, 24))
            shown = listing(cpu, data, 0x4000, [("", 0x4000 + rng.randrange(len(data))) for _ in range(2)])
            bad += assemble(cpu, source(shown)).data != data
        print(f"{name}: {count - bad} of {count} random strings come back")


def main() -> None:
    rows = tried()
    accuracy(rows)
    bins = tenths((c.candidates[0][1], c.cpu == t.cpu) for t, c in rows)
    print(f"expected calibration error of the likeliest answer: {error(bins):.3f}")
    for said, right, count in bins:
        print(f"  said {said:.2f}  right {right:.2f}  ({count})")
    PICTURE.write_text(draw(bins), encoding="utf-8")
    speed()
    round_trips()


if __name__ == "__main__":
    main()
