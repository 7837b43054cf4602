"""Fit the constants that turn evidence into probability, on code of which the model has seen nothing.

    PYTHONPATH=training python training/fit_calibration.py [CACHE]

The routines and the C programs are parted in two halves. What one half teaches is tried on programs made of the
other, and the other way round, so that neither a routine nor a program was seen in training. Prints the constants for
`romassay.code.identify.CALIBRATION`, and how often the likeliest answer is right.
"""

from __future__ import annotations

import pickle
import random
import sys
from collections import Counter
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import compiled
import fit_likeness
import hand
import numpy as np
import others
from scipy.optimize import minimize

from romassay.code.evidence import weigh
from romassay.code.wider import gains as gains_of
from romassay.code.wider import wides
from romassay.cpus import likeness
from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.model import Name

CACHE = Path(sys.argv[1] if len(sys.argv) > 1 else "/tmp/romassay-calibration")  # noqa: S108
PROGRAMS = 12
OTHERS = 500
RARE = 12
LEAST = 48
"""Instructions that a piece holds at least; one of padding alone is no code."""

SIZES = (512, 1024, 1024, 2048, 4096)
MARKS = tuple(
    bytes(int(value.rstrip("h"), 16) for value in line.split()[-1].split(","))
    for lines in hand.wide_blocks("Z80")
    for line in lines
    if " db " in line
)
"""What tells that a routine of `Z80-in-8080.asm` is in a program."""


HALVES = (("clock", "frames", "control", "maths"), ("words", "life", "logger", "pump"))


@dataclass(frozen=True)
class Trial:
    """A piece of a program, or of other data: its CPU or None, what it is, its bytes, and where they belong."""

    cpu: str | None
    kind: str
    data: bytes
    origin: int | None = None


def samples(half: int) -> tuple[dict[str, list[hand.Program]], list[Trial]]:
    """Return the programs of one half by CPU, and pieces of them to be tried."""
    rng = random.Random(f"half {half}")
    programs: dict[str, list[hand.Program]] = {name: [] for name in NAMES}
    for program in compiled.programs():
        if program.source.startswith(HALVES[half]):
            programs[program.cpu].append(program)
    for name in NAMES:
        programs[name] += [hand.program(name, rng, rng.choice(SIZES), half) for _ in range(PROGRAMS)]
    pieces: list[Trial] = []
    for name, items in programs.items():
        for item in items:
            size = rng.choice(SIZES)
            at = rng.randrange(max(1, len(item.data) - size)) if rng.random() < 0.5 else 0
            piece = item.data[at : at + size]
            starts = [place - item.origin - at for place in item.instructions]
            if sum(0 <= start < len(piece) for start in starts) < LEAST:
                continue
            truth = plainest(name, piece, starts)
            pieces.append(Trial(truth, item.source, piece, item.origin + at if item.absolute else None))
            if rng.random() < 0.4:
                kind, extra = others.data(rng, rng.choice((512, 1024)))
                pieces.append(Trial(truth, item.source + "+" + kind, piece + extra))
    pieces += [Trial(None, *others.data(rng, rng.choice(SIZES))) for _ in range(OTHERS // 2)]
    return programs, [*pieces, *rare(rng, half)]


def rare(rng: random.Random, half: int) -> list[Trial]:
    """Return programs in the style of a plainer CPU, with one to four routines for a wider one."""
    found = []
    for name in hand.WIDER:
        for number in range(RARE):
            item = hand.program(name, rng, rng.choice(SIZES[1:]), half, 1 + number % 4)
            known = [place - item.origin for place in item.instructions]
            of_z80 = name == "Z80" and any(mark in item.data for mark in MARKS)
            if of_z80 or plainest(name, item.data, known) == name != "Z80":
                found.append(Trial(name, f"rare-{name}", item.data, item.origin))
    return found


def plainest(name: Name, data: bytes, starts: list[int]) -> Name:
    """Return the CPU that a piece of code needs: the plainer one where no instruction of the wider one is in it."""
    base = cpu_of(name).base
    if base is None:
        return name
    known = {form.code for form in cpu_of(base).forms}
    codes = tuple(form.code for form in cpu_of(name).forms if form.code not in known)
    used = any(data.startswith(codes, at) for at in starts if 0 <= at < len(data))
    return name if used or not starts else base


def cached(path: Path, make: Callable[[], Any]) -> Any:
    """Return what an earlier run has made, or make it."""
    if path.exists():
        return pickle.loads(path.read_bytes())  # noqa: S301
    made = make()
    path.write_bytes(pickle.dumps(made))
    return made


Row = tuple[str | None, str, int, list[tuple[tuple[str, ...], float]], dict[str, float]]


def tried() -> list[Row]:
    """Return for each piece its CPU, kind, size, the evidence for each family, and that for each wider CPU."""
    halves = cached(CACHE.with_suffix(".halves"), lambda: [samples(0), samples(1)])
    rows = []
    for (programs, _), (_, pieces) in (halves, halves[::-1]):
        tables = fit_likeness.tables_of(programs)
        likeness._tables = lambda tables=tables: tables  # noqa: SLF001
        for trial in pieces:
            cpu, kind, data = trial.cpu, trial.kind, trial.data
            raw = np.frombuffer(data, np.uint8)
            evidence = weigh(raw)
            found = [((item.plain, *wides(item.plain)), item.nats) for item in evidence]
            gains = dict(gains_of(raw, evidence[0].plain))
            rows.append((cpu, kind, len(data), found, gains))
    return rows


def fit(rows: list[Row]) -> tuple[float, float, float, float]:
    """Return slope, none, wide_slope, wide_start of the greatest likelihood."""
    roots = np.array([[np.sqrt(nats) for _, nats in evidence] for *_, evidence, _ in rows])
    truth = np.array(
        [
            -1 if cpu is None else next(i for i, (family, _) in enumerate(evidence) if cpu in family)
            for cpu, _, _, evidence, _ in rows
        ]
    )

    def loss(x: np.ndarray) -> float:
        logits = np.concatenate([np.full((len(rows), 1), x[1]), x[0] * roots], 1)
        logits -= logits.max(1, keepdims=True)
        chance = np.exp(logits) / np.exp(logits).sum(1, keepdims=True)
        return float(-np.log(chance[np.arange(len(rows)), truth + 1] * 0.999 + 0.0001).sum() + 2 * x[0] ** 2)

    best = minimize(loss, np.array([0.5, 7.0]), method="Nelder-Mead")
    shared = [
        (cpu, gains) for cpu, _, _, evidence, gains in rows if cpu and any(gains.values()) and cpu in evidence[0][0]
    ]

    def loss_wide(x: np.ndarray) -> float:
        total = 0.0
        for cpu, gains in shared:
            odds = {wide: np.exp(x[0] * np.sqrt(gain) + x[1]) for wide, gain in gains.items() if gain > 0}
            chance = odds.get(cpu, 0.0 if cpu in gains else 1.0) / (1 + sum(odds.values()))
            total -= np.log(chance * 0.999 + 0.0005)
        return float(total + 0.5 * x[0] ** 2)

    second = minimize(loss_wide, np.array([0.5, -2.0]), method="Nelder-Mead")
    return (*map(float, best.x), *map(float, second.x))


def main() -> None:
    rows = tried()
    print("slope, none, wide_slope, wide_start:", *(round(x, 3) for x in fit(rows)))
    for least in (0, 1024):
        code = [row for row in rows if row[0] and row[2] >= least]
        wrong = [row for row in code if row[0] not in row[3][0][0]]
        print(f"family right on {len(code) - len(wrong)} of {len(code)} pieces of {least} bytes and more")
        tally = Counter((cpu, evidence[0][0][-1] if evidence[0][1] > 0 else None) for cpu, _, _, evidence, _ in wrong)
        print("  ", tally.most_common(14))
    print("most evidence in no code:", sorted((round(row[3][0][1]), row[1]) for row in rows if row[0] is None)[-8:])
    print("least in code:", sorted((round(row[3][0][1]), row[0], row[1], row[2]) for row in rows if row[0])[:8])


if __name__ == "__main__":
    main()
