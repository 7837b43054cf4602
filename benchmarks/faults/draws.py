"""What the fault bench draws before a fault is put in: a program in a ROM, a rig around it, and what is declared."""

from dataclasses import dataclass

import numpy as np

from .bench import Bench, Bytes, bench_of
from .programs import Program, image

PARTS = {11: "2316", 12: "2332"}


@dataclass(frozen=True)
class Draws:
    """Programs to draw from, and how a rig is drawn around one."""

    programs: list[Program]

    def image(self, rng: np.random.Generator, size: int) -> tuple[Bytes, Program]:
        """Return a ROM with a program that fills most of it."""
        cpu = str(rng.choice(sorted({p.cpu for p in self.programs})))
        while True:
            some = [p for p in self.programs if p.cpu == cpu and len(p.data) >= size * 0.6]
            if some:
                break
            cpu = str(rng.choice(sorted({p.cpu for p in self.programs})))
        program = some[int(rng.integers(0, len(some)))]
        return image(program, size, rng), program

    def bench(self, rng: np.random.Generator, rom: Bytes, *, combination: bool) -> Bench:
        """Lay a ROM out in a window of four to eight times its size."""
        return bench_of(rng, rom, combination=combination)

    def drawn(self, rng: np.random.Generator, size: int | None = None) -> tuple[Bench, list[str], dict]:
        """Return a bench without a fault, the options of the call, and a note of what was drawn."""
        size = size or int(rng.choice([1024, 1024, 2048, 4096]))
        rom, program = self.image(rng, size)
        combination = size == 1024 and rng.random() < 0.7
        bench = self.bench(rng, rom, combination=combination)
        own = bench.own
        how = rng.random()
        if how < 0.45:
            options = ["--size", str(size)]
        elif how < 0.75 and (combination or own in PARTS):
            options = ["--part", "6530" if combination else PARTS[own]]
        else:
            options = []
        note = {"cpu": program.cpu, "size": size, "bus": bench.floating.kind, "combination": combination}
        return bench, options, note
