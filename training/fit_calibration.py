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

from romassay.code import identify
from romassay.cpus import likeness
from romassay.cpus.catalogue import NAMES

CACHE = Path(sys.argv[1] if len(sys.argv) > 1 else "/tmp/romassay-calibration")  # noqa: S108
PROGRAMS = 12
OTHERS = 500
SIZES = (512, 1024, 1024, 2048, 4096)

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
            pieces.append(Trial(name, item.source, piece, item.origin + at if item.absolute else None))
            if rng.random() < 0.4:
                kind, extra = others.data(rng, rng.choice((512, 1024)))
                pieces.append(Trial(name, item.source + "+" + kind, piece + extra))
    pieces += [Trial(None, *others.data(rng, rng.choice(SIZES))) for _ in range(OTHERS // 2)]
    return programs, pieces


def cached(path: Path, make: Callable[[], Any]) -> Any:
    """Return what an earlier run has made, or make it."""
    if path.exists():
        return pickle.loads(path.read_bytes())  # noqa: S301
    made = make()
    path.write_bytes(pickle.dumps(made))
    return made


def identify_family(item: identify.Evidence) -> tuple[str, ...]:
    """Return the CPUs of a family, the plainest first, the one with the most evidence last."""
    wides = dict(identify.FAMILIES)[item.plain]
    return (item.plain, *(wide for wide in wides if wide != item.wide), item.wide)


def tried() -> list[tuple[str | None, str, int, list[tuple[tuple[str, ...], float]], float]]:
    """Return for each piece its CPU, kind, size, the evidence for each family, and that for the widest CPU."""
    halves = cached(CACHE.with_suffix(".halves"), lambda: [samples(0), samples(1)])
    rows = []
    for (programs, _), (_, pieces) in (halves, halves[::-1]):
        tables = fit_likeness.tables_of(programs)
        likeness._tables = lambda tables=tables: tables  # noqa: SLF001
        for trial in pieces:
            cpu, kind, data = trial.cpu, trial.kind, trial.data
            raw = np.frombuffer(data, np.uint8)
            evidence = identify.weigh(raw)
            gain = identify.wider(raw, evidence[0]) if evidence[0].wide != evidence[0].plain else 0
            rows.append((cpu, kind, len(data), [(identify_family(item), item.nats) for item in evidence], gain))
    return rows


def fit(rows: list) -> tuple[float, float, float, float]:
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
    wide = [
        (cpu == evidence[0][0][-1], gain)
        for cpu, _, _, evidence, gain in rows
        if cpu and gain and cpu in evidence[0][0]
    ]

    def loss_wide(x: np.ndarray) -> float:
        total = 0.0
        for is_wide, gain in wide:
            chance = 1 / (1 + np.exp(-(x[0] * np.sqrt(gain) + x[1])))
            total -= np.log((chance if is_wide else 1 - chance) * 0.999 + 0.0005)
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
