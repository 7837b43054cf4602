"""Count the corpus and write the table of likeness that `romassay.cpus.likeness` reads.

    PYTHONPATH=training python training/fit_likeness.py

The numbers are log-likelihood ratios against uniform bytes, in tenths of a nat, as int8. Counts are raised to a power
below one, so that a routine that the corpus repeats does not count as often as it stands there.
"""

from __future__ import annotations

import random
import re
from collections.abc import Callable
from itertools import pairwise
from pathlib import Path

import compiled
import hand
import numpy as np

from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.columns import ident_of, idents, pages
from romassay.cpus.decode import decode
from romassay.cpus.likeness import OPERANDS, SCALE, padding
from romassay.cpus.model import Form

OUT = Path(__file__).parent.parent / "src" / "romassay" / "cpus" / "likeness.npz"
POWER = 0.4
KAPPA = 100.0
KAPPA_WORDS = 50.0
COUNTED, FACTORED = 0.3, 0.5
TRAIN_SEEDS = range(24)
RELATIVES = {
    "6502": ("6502",),
    "65C02": ("65C02", "6502"),
    "6800": ("6800", "6801"),
    "6801": ("6801", "6800"),
    "8080": ("8080", "8085", "Z80"),
    "8085": ("8080", "8085", "Z80"),
    "Z80": ("8080", "8085", "Z80"),
}
"""Whose programs teach a CPU: those that share its opcodes. What it cannot decode is left out."""

LENDERS = {"6809": "6801", "6800": "6809", "6801": "6809"}
LENT = 0.3
"""Whose shared instructions count besides, and how much."""

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


def fitted(
    programs: list[hand.Program], name: str, lent: tuple[np.ndarray, np.ndarray] | None = None
) -> dict[str, np.ndarray]:
    cpu = cpu_of(name)
    count = idents(name)
    pairs = np.zeros((count, count))
    single = np.zeros(count)
    operands = np.zeros((len(OPERANDS), 256))
    byte = np.zeros(256)
    adjacent = np.zeros((256, 256))
    for program in programs:
        weight = 1.0 if program.source.startswith("hand") else 0.5
        places = (at - program.origin for at in program.instructions)
        decoded = {at: decode(cpu, program.data, at, program.origin + at) for at in places}
        found = {at: each for at, each in decoded.items() if each is not None}
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
    raw = (single.copy(), pairs.copy())
    if lent:
        single += LENT * lent[0]
        pairs += LENT * lent[1]
    page = pages(name)
    legal = page.size > 0
    words = mnemonics(name)
    unigram = smoothed(single, legal, page.opcode_bytes, words, modes(name))
    chance = conditional(pairs, unigram, words)
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
        "raw": raw,
    }


def main() -> None:
    out = tables_of(corpus())
    with OUT.open("wb") as file:
        np.savez_compressed(file, **out)
    print(OUT.stat().st_size)


def borrowed(name: str, lender: str, counts: tuple[np.ndarray, np.ndarray]) -> tuple[np.ndarray, np.ndarray]:
    """Return another CPU's counts of those instructions that mean the same here under the same opcode."""

    def meanings(cpu: str) -> dict[int, str]:
        forms = (form for form in cpu_of(cpu).forms if len(form.code) == 1)
        return {
            form.code[0]: re.sub(r"^(ld|st|or)a([ab]) ", r"\1\2 ", form.text).replace("{},x", "{}") for form in forms
        }

    mine, theirs = meanings(name), meanings(lender)
    shared = [code for code in mine if theirs.get(code) == mine[code]]
    single = np.zeros(idents(name))
    pairs = np.zeros((idents(name), idents(name)))
    single[shared] = counts[0][shared]
    pairs[np.ix_(shared, shared)] = counts[1][np.ix_(shared, shared)]
    return single, pairs


def mnemonics(name: str) -> np.ndarray:
    """Return for each ident the number of its mnemonic."""
    return _numbered(name, lambda form: form.mnemonic)


def modes(name: str) -> np.ndarray:
    """Return for each ident the number of its way of addressing: the text less its mnemonic, registers made alike."""
    return _numbered(name, lambda form: re.sub(r"\b[a-ehl]\b|r\d+|\d", "r", form.text.partition(" ")[2]))


def _numbered(name: str, key: Callable[[Form], str]) -> np.ndarray:
    out = np.zeros(idents(name), int)
    known: dict[str, int] = {}
    for form in cpu_of(name).forms:
        out[ident_of(cpu_of(name), form)] = known.setdefault(key(form), len(known) + 1)
    return out


def smoothed(
    single: np.ndarray, legal: np.ndarray, lengths: np.ndarray, words: np.ndarray, ways: np.ndarray
) -> np.ndarray:
    """Return the chance of each instruction: as counted, as mnemonic times addressing, and as any that is legal."""
    flat = np.where(legal, np.exp(-1.5 * (lengths - 1)), 0)
    flat /= flat.sum()
    damped = single**POWER
    counted = damped / damped.sum()
    by_word = np.bincount(words, counted) + 0.003
    by_way = np.bincount(ways, counted) + 0.003
    factored = (
        np.where(
            legal,
            by_word[words]
            / np.maximum(np.bincount(words, flat), 1e-12)[words]
            * by_way[ways]
            / np.maximum(np.bincount(ways, flat), 1e-12)[ways],
            0,
        )
        * flat
    )
    factored /= factored.sum()
    return COUNTED * counted + FACTORED * factored + (1 - COUNTED - FACTORED) * flat


def conditional(pairs: np.ndarray, unigram: np.ndarray, words: np.ndarray) -> np.ndarray:
    """Return the chance of each instruction behind each: by pairs, by pairs of mnemonics, by itself."""
    damped = pairs**POWER
    count = words.max() + 1
    by_words = np.zeros((count, count))
    np.add.at(by_words, (words[:, None], words[None, :]), damped)
    word_chance = np.bincount(words, unigram, minlength=count)
    by_words = (by_words + KAPPA_WORDS * word_chance) / (by_words.sum(1, keepdims=True) + KAPPA_WORDS)
    within = unigram / np.maximum(word_chance[words], 1e-12)
    backed = by_words[words][:, words] * within
    return (damped + KAPPA * backed) / (damped.sum(1, keepdims=True) + KAPPA)


def tables_of(programs: dict[str, list[hand.Program]]) -> dict[str, np.ndarray]:
    out: dict[str, np.ndarray] = {}
    operands = np.zeros((len(OPERANDS), 256))
    for name in NAMES:
        more = [program for other in RELATIVES.get(name, (name,)) for program in programs[other]]
        tables = fitted(more, name)
        if name in LENDERS:
            other = LENDERS[name]
            lender = fitted([p for n in RELATIVES.get(other, (other,)) for p in programs[n]], other)
            tables = fitted(more, name, borrowed(name, other, lender["raw"]))
        del tables["raw"]
        operands += tables.pop("operands")
        for kind, table in tables.items():
            step = STEPS[kind]
            out[f"{kind}_{name}"] = (np.clip(np.round(table * SCALE / step), -126 // step, 126 // step) * step).astype(
                np.int8
            )
    kernel = np.array([1, 2, 3, 2, 1]) / 9
    smooth = np.apply_along_axis(lambda row: np.convolve(np.r_[row[-2:], row, row[:2]], kernel, "valid"), 1, operands)
    mixed = 0.5 * operands**0.8 + 0.5 * smooth**0.8
    chance = 0.85 * mixed / mixed.sum(1, keepdims=True) + 0.15 / 256
    out["operands"] = np.clip(np.round(np.log(chance * 256) * SCALE), -127, 127).astype(np.int8)
    return out


if __name__ == "__main__":
    main()
