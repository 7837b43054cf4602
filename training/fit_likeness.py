"""Count the corpus and write the table of likeness that `romassay.cpus.likeness` reads.

    PYTHONPATH=training python training/fit_likeness.py

The numbers are log-likelihood ratios against uniform bytes, in tenths of a nat, as int8. Counts are raised to a power
below one, so that a routine that the corpus repeats does not count as often as it stands there.
"""

from __future__ import annotations

import random
from itertools import pairwise
from pathlib import Path

import compiled
import hand
import numpy as np

from romassay.code.flow import follow
from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.columns import ident_of, idents, pages
from romassay.cpus.likeness import OPERANDS, SCALE, padding

OUT = Path(__file__).parent.parent / "src" / "romassay" / "cpus" / "likeness.npz"
POWER = 0.7
KAPPA = 6.0
TRAIN_SEEDS = range(24)
STEPS = {"single": 1, "byte": 1, "pair": 2, "adjacent": 4}
"""Table units to which each kind is rounded, so that the file stays small."""

HELD_OUT = ("life", "pump", "maths")
"""C programs that are kept for testing."""


def corpus() -> dict[str, list[hand.Program]]:
    found: dict[str, list[hand.Program]] = {name: [] for name in NAMES}
    for program in compiled.programs():
        if not program.source.startswith(HELD_OUT):
            found[program.cpu].append(program)
    for name in NAMES:
        for seed in TRAIN_SEEDS:
            rng = random.Random(f"train {name} {seed}")
            found[name].append(hand.program(name, rng, rng.choice((1024, 2048))))
    return found


def fitted(programs: list[hand.Program], name: str) -> dict[str, np.ndarray]:
    cpu = cpu_of(name)
    count = idents(name)
    pairs = np.zeros((count, count))
    single = np.zeros(count)
    operands = np.zeros((len(OPERANDS), 256))
    byte = np.zeros(256)
    adjacent = np.zeros((256, 256))
    for program in programs:
        weight = 1.0 if program.routines else 0.35
        entries = program.routines or (*program.entries, program.origin)
        found = follow(cpu, program.data, program.origin, entries).instructions
        blank = padding(np.frombuffer(program.data, np.uint8))
        found = {offset: each for offset, each in found.items() if not blank[offset]}
        for offset, instruction in found.items():
            ident = ident_of(cpu, instruction.form)
            single[ident] += weight
            code = program.data[offset : offset + instruction.size]
            byte += weight * np.bincount(np.frombuffer(code, np.uint8), minlength=256)
            following = program.data[offset : offset + instruction.size + 1]
            for a, b in pairwise(following):
                adjacent[a, b] += weight
            for operand in instruction.form.operands:
                if operand.kind in OPERANDS:
                    operands[OPERANDS.index(operand.kind), program.data[offset + operand.at]] += weight
            after = found.get(offset + instruction.size)
            if after is not None:
                pairs[ident, ident_of(cpu, after.form)] += weight
    page = pages(name)
    legal = page.size > 0
    prior = np.where(legal, np.exp(-1.5 * (page.opcode_bytes - 1)), 0)
    prior /= prior.sum()
    damped = single**POWER
    unigram = 0.9 * damped / damped.sum() + 0.1 * prior
    damped = pairs**POWER
    chance = (damped + KAPPA * unigram) / (damped.sum(1, keepdims=True) + KAPPA)
    uniform = np.log(256) * page.opcode_bytes - np.log(np.maximum(page.spread, 1))
    byte = byte**0.9
    byte_chance = 0.97 * byte / byte.sum() + 0.03 / 256
    adjacent = adjacent**POWER
    next_chance = (adjacent + 20 * byte_chance) / (adjacent.sum(1, keepdims=True) + 20)
    return {
        "single": np.where(legal, np.log(unigram + 1e-12) + uniform, -12),
        "pair": np.where(legal, np.log(chance + 1e-12) + uniform, -12),
        "byte": np.log(byte_chance * 256),
        "adjacent": np.log(next_chance * 256),
        "operands": operands,
    }


def main() -> None:
    programs = corpus()
    out: dict[str, np.ndarray] = {}
    operands = np.zeros((len(OPERANDS), 256))
    for name in NAMES:
        more = programs[name] + (programs[hand.CONTAINS[name]] if name in hand.CONTAINS and name != "8085" else [])
        if name == "8085":
            more = programs[name] + programs["8080"]
        tables = fitted(more, name)
        operands += tables.pop("operands")
        for kind, table in tables.items():
            step = STEPS[kind]
            out[f"{kind}_{name}"] = (np.clip(np.round(table * SCALE / step), -126 // step, 126 // step) * step).astype(
                np.int8
            )
        print(name, sum(len(p.data) for p in programs[name]))
    kernel = np.array([1, 2, 3, 2, 1]) / 9
    smooth = np.apply_along_axis(lambda row: np.convolve(np.r_[row[-2:], row, row[:2]], kernel, "valid"), 1, operands)
    mixed = 0.5 * operands**0.8 + 0.5 * smooth**0.8
    chance = 0.85 * mixed / mixed.sum(1, keepdims=True) + 0.15 / 256
    out["operands"] = np.clip(np.round(np.log(chance * 256) * SCALE), -127, 127).astype(np.int8)
    with OUT.open("wb") as file:
        np.savez_compressed(file, **out)
    print(OUT.stat().st_size)


if __name__ == "__main__":
    main()
