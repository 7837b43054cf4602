"""Count how often the findings of a fault are right: `src/romassay/diagnose/calibration.toml`.

    PYTHONPATH=training:. python training/fit_faults.py [--cases COUNT] [--seed SEED] [--rows FILE] [--jobs JOBS]
    PYTHONPATH=training:. python training/fit_faults.py --held-out FILE --cases EACH --seed SEED [--programs COUNT]

Benches are drawn with a fault in them, or with none, and read; what the diagnosis says of each is right or wrong. The
faults are those of `benchmarks.faults`, but programs, seeds and rigs are others: programs of eleven CPUs (`hand.py`)
and compiled ones (`compiled.py`), what is no code (`others.py`), and rigs in which the ROM answers once, alone, or in
many places. For each kind of finding a rising curve is fitted to right and wrong by stated probability
(pooling adjacent violators: Ayer and others, Annals of Mathematical Statistics 26, 1955), drawn towards what all kinds
together say, the more the fewer findings there are.

A line that stands where the bus floats may be broken or held there, which nothing in a log tells apart: a finding
counts as right where it names the fault itself (`truly`), and `benchmarks.faults` draws the one as rarely as it is
taken to be.
"""

from __future__ import annotations

import argparse
import json
import random
import zlib
from collections import defaultdict
from collections.abc import Iterator
from dataclasses import dataclass, replace
from multiprocessing import Pool
from pathlib import Path

import compiled
import hand
import numpy as np
import others
from benchmarks.blind.world import random_bus
from benchmarks.faults.__main__ import ASIDE, directly, truly
from benchmarks.faults.bench import Answer, Bench
from benchmarks.faults.draws import Draws
from benchmarks.faults.faults import CASES, Case
from benchmarks.faults.programs import Program, pool
from scipy.optimize import minimize

from romassay.cpus.catalogue import NAMES
from romassay.diagnose import stage
from romassay.diagnose.calibration import class_of
from romassay.finding import Finding

TABLE = Path("src/romassay/diagnose/calibration.toml")
EACH = 14
"""Programs of each CPU."""

SHARES = {
    "faultless": 4.0, "data-stuck": 1.5, "data-open": 1.5, "data-bridged": 1.0, "data-swapped": 0.6,
    "data-inverted": 0.6, "address-stuck": 1.5, "address-open": 1.0, "address-bridged": 1.0, "address-swapped": 0.8,
    "both-swapped": 0.4, "several": 2.0,
}  # fmt: skip
"""How often each case is drawn, for one of the others; those that are searched long for are drawn less."""

NO_CODE = 0.35
"""Share of the faultless benches that hold no code."""

TABLES = 0.3
"""As how many findings one counts on a bench without a fault: mostly tables, which are far rarer in ROMs than here."""

FEW = 10
"""Findings of one stated probability, and of those next to it, from which a point of a curve is drawn."""

NEAR = 0.04
"""Stated probabilities that are next to each other."""

ENDS = (0.01, 0.99)
"""Where a curve that no finding reaches ends, with what all kinds together say."""

DRAWN = 1.0
"""As many findings as which what all kinds say together counts in each point."""

LEAST, MOST = 0.005, 0.99
"""The lowest and the highest probability that is given."""

OBSERVED = ("blank", "undriven-bits")
"""Kinds that are simply observed."""

Row = tuple[str, bool, bool, float, bool, str]
"""Class of the finding (`romassay.diagnose.calibration`), what it was stated with, whether it is right, the case."""


@dataclass(frozen=True)
class Rigs(Draws):
    """Programs of the training, in rigs of their own."""

    def bench(self, rng: np.random.Generator, rom: np.ndarray, *, combination: bool) -> Bench:
        """Lay a ROM out where it answers once, in many places, or as the fault bench does."""
        if combination or rng.random() < 0.3:
            return super().bench(rng, rom, combination=combination)
        own = len(rom).bit_length() - 1
        width = own + int(rng.integers(2, 5))
        base = int(rng.integers(0, 1 << (16 - width))) << width if width < 16 else 0
        inside = range(own, width)
        chosen = inside if rng.random() < 0.4 else rng.choice(list(inside), int(rng.integers(1, 3)), replace=False)
        selects = {int(line): int(rng.integers(0, 2)) for line in chosen}
        bus = random_bus(rng, str(rng.choice(["ff", "ff", "00", "high", "opcode", "previous", "mixture"])))
        return Bench(rom, own, selects, (base, 1 << width), bus)

    def drawn(self, rng: np.random.Generator, size: int | None = None) -> tuple[Bench, list[str], dict]:
        """Return a bench; where no size is asked for, some hold the ROM alone, as a reader of its socket gives it."""
        bench, options, note = super().drawn(rng, size)
        if size is None and bench.ram is None and rng.random() < 0.2:
            address = bench.addresses()
            first = next(int(a) for a in address if all((a >> line & 1) == up for line, up in bench.selects.items()))
            bench = replace(bench, window=(first & ~(len(bench.rom) - 1), len(bench.rom)))
        return bench, options, note


def programs(seed: int) -> list[Program]:
    """Return programs of eleven CPUs."""
    rng = random.Random(seed)
    made = [hand.program(name, rng, rng.choice((1024, 2048, 4096))) for name in NAMES for _ in range(EACH)]
    return [Program(each.cpu, each.origin, each.data) for each in (*made, *compiled.programs())]


def drawn(rng: np.random.Generator, rigs: Rigs) -> tuple[str, Case]:
    """Draw a bench with a fault or with none, and read it."""
    share = np.array([SHARES.get(name, 1.0) for name in CASES])
    name = str(rng.choice(list(CASES), p=share / share.sum()))
    if name == "faultless" and rng.random() < NO_CODE:
        size = int(rng.choice([512, 1024, 2048]))
        data = others.data(random.Random(int(rng.integers(1 << 31))), size)[1]
        bench = rigs.bench(rng, np.frombuffer(data, np.uint8), combination=False)
        count = int(rng.integers(1, 5))
        readings = [(bench.addresses(), bench.read(rng)) for _ in range(count)]
        return name, Case(readings, ["--size", str(size)] if rng.random() < 0.6 else [], (), bench.rom)
    if name == "half" and rng.random() < 0.5:
        return name, floating_half(rng, rigs)
    return name, CASES[name](rng, rigs)


def floating_half(rng: np.random.Generator, rigs: Rigs) -> Case:
    """Draw a specimen of half the declared size that does not answer in the other half."""
    bench, _, note = rigs.drawn(rng, int(rng.choice([1024, 2048])))
    bench.ram = bench.registers = None
    bench.selects[bench.own] = int(rng.integers(0, 2))
    readings = [(bench.addresses(), bench.read(rng)) for _ in range(int(rng.integers(1, 5)))]
    return Case(readings, ["--size", str(2 * len(bench.rom))], (Answer(("half-image",)),), None, note)


def found(job: tuple[int, int, list[Program]]) -> list[Row]:
    """Return what the diagnosis states of one bench, before it is calibrated."""
    seed, number, made = job
    name, case = drawn(np.random.default_rng([seed, number]), Rigs(made))
    return [(*class_of(f), f.probability, truly(case, as_said(f)), name) for f in stated(case)]


def stated(case: Case) -> list[Finding]:
    """Return the findings of the diagnosis as its constants state them; what is simply observed is left out."""
    findings: list[Finding] = []

    def kept(some: tuple[Finding, ...]) -> tuple[Finding, ...]:
        findings.extend(some)
        return tuple(some)

    stage.calibrated = kept
    directly(case)
    return [f for f in findings if f.kind not in (*ASIDE, *OBSERVED)]


def held_out(seed: int, each: int, count: int) -> Iterator[str]:
    """Yield lines of what is stated of benches as `benchmarks.faults` draws them, and whether it is right there."""
    draws = Draws(pool(Path("benchmarks/faults/.programs"), seed, count))
    yield "kind,alternative,mapped,stated,right"
    for name, make in CASES.items():
        for number in range(each):
            case = make(np.random.default_rng([seed, zlib.crc32(name.encode()), number]), draws)
            for f in stated(case):
                kind, alternative, mapped = class_of(f)
                yield f"{kind},{alternative:d},{mapped:d},{f.probability:.3f},{truly(case, as_said(f)):d}"


def as_said(finding: Finding) -> dict:
    """Return a finding as the record has it."""
    return {"kind": finding.kind, "lines": finding.lines, "mapping": dict(finding.mapping)}


def logit(p: np.ndarray) -> np.ndarray:
    """Return the logarithm of the odds."""
    inside = np.clip(p, LEAST, 1 - LEAST)
    return np.log(inside / (1 - inside))


def pooled(rows: list[Row]) -> dict[bool, np.ndarray]:
    """Return start and slope of the logistic that all kinds together give, for first findings and for alternatives."""
    found = {}
    for alternative in (False, True):
        some = [row for row in rows if row[1] == alternative]
        x, y = logit(np.array([row[3] for row in some])), np.array([1.0 if row[4] else -1.0 for row in some])

        def loss(w: np.ndarray, x: np.ndarray = x, y: np.ndarray = y) -> float:
            return float(np.logaddexp(0, -y * (w[0] + w[1] * x)).sum() + (w[0] ** 2 + (w[1] - 1) ** 2) / 2)

        found[alternative] = minimize(loss, np.array([0.0, 1.0]), bounds=[(None, None), (0.05, None)]).x
    return found


def weight_of(row: Row) -> float:
    """Return as how many findings one counts."""
    return TABLES if row[5] == "faultless" else 1.0


def curve(rows: list[Row], start: float, slope: float) -> tuple[list[float], list[float]]:
    """Return the points of one rising curve: stated probabilities, and how often they were right."""
    rows = sorted(rows, key=lambda row: row[3])
    points: list[list[float]] = []  # sum of what was said, right ones, number
    for level in sorted({row[3] for row in rows}):
        some = [row for row in rows if row[3] == level]
        weight = sum(map(weight_of, some))
        last = [level * weight, sum(row[4] * weight_of(row) for row in some), weight]
        if points and (points[-1][2] < FEW or last[2] < FEW) and level - points[-1][0] / points[-1][2] < NEAR:
            points[-1] = [a + b for a, b in zip(points[-1], last, strict=True)]
        else:
            points.append(last)
    blocks: list[list[float]] = []  # sum of right ones, weight, points
    for total, hits, count in points:
        drawn_to = 1 / (1 + np.exp(-(start + slope * logit(np.array(total / count)))))
        blocks.append([hits + DRAWN * float(drawn_to), count + DRAWN, 1])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            upper = blocks.pop()
            blocks[-1] = [a + b for a, b in zip(blocks[-1], upper, strict=True)]
    said = [round(total / count, 4) for total, _, count in points]
    height = [hits / weight for hits, weight, several in blocks for _ in range(int(several))]
    ends = [1 / (1 + float(np.exp(-(start + slope * logit(np.array(end)))))) for end in ENDS]
    if said[0] > ENDS[0] + NEAR:
        said, height = [ENDS[0], *said], [min(ends[0], height[0]), *height]
    if said[-1] < ENDS[1] - NEAR:
        said, height = [*said, ENDS[1]], [*height, max(ends[1], height[-1])]
    return said, [round(float(np.clip(p, LEAST, MOST)), 4) for p in height]


def written(rows: list[Row], options: argparse.Namespace) -> str:
    """Return the table."""
    whole = pooled(rows)
    groups: dict[tuple[str, bool, bool], list[Row]] = defaultdict(list)
    for row in rows:
        groups[row[:3]].append(row)
    command = f"PYTHONPATH=training:. python training/fit_faults.py --cases {options.cases} --seed {options.seed}"
    lines = [
        "# How often findings of a fault are right, by the probability that the diagnosis states them with.",
        f"# Written by `{command}`; do not edit.",
        f'command = "{command}"',
        f"seed = {options.seed}",
        f"cases = {options.cases}",
    ]
    for (kind, alternative, mapped), some in sorted(groups.items()):
        said, height = curve(some, *whole[alternative])
        lines += ["", "[[curves]]", f'kind = "{kind}"', f"alternative = {str(alternative).lower()}"]
        lines += [f"mapped = {str(mapped).lower()}"]
        lines += [f"said = {said}", f"right = {height}", f"found = {len(some)}"]
    return "\n".join(lines) + "\n"


def main() -> None:
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--cases", type=int, default=1500)
    parser.add_argument("--seed", type=int, default=17)
    parser.add_argument("--rows", type=Path, default=Path("/tmp/romassay-fault-rows.json"))  # noqa: S108
    parser.add_argument("--jobs", type=int, default=1)
    parser.add_argument("--held-out", type=Path, help="only write what is stated of benches of the fault bench")
    parser.add_argument("--programs", type=int, default=40, help="programs for each CPU of the fault bench")
    options = parser.parse_args()
    if options.held_out:
        options.held_out.write_text("\n".join(held_out(options.seed, options.cases, options.programs)) + "\n")
        return
    kept = json.loads(options.rows.read_text()) if options.rows.exists() else []
    made = programs(options.seed)
    with Pool(options.jobs) as workers:
        jobs = ((options.seed, number, made) for number in range(len(kept), options.cases))
        for number, rows in enumerate(workers.imap(found, jobs, chunksize=4)):
            kept.append(rows)
            if number % 20 == 0:
                options.rows.write_text(json.dumps(kept))
    options.rows.write_text(json.dumps(kept))
    TABLE.write_text(written([tuple(row) for rows in kept[: options.cases] for row in rows], options))


if __name__ == "__main__":
    main()
