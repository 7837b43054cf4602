"""Code that is for none of the eleven CPUs though it looks like it, and numbers that keep to words."""

from __future__ import annotations

import random

import numpy as np
import pytest

from romassay.code import code_of
from romassay.code.evidence import weigh, wider_words
from romassay.code.strangers import counts, sm83
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.likeness import Segmented

STORES = ("db 0E0h,{}", "db 0F0h,{}", "db 0EAh,{},0C0h", "db 0FAh,{},0C1h")
"""LDH (n),A; LDH A,(n); LD (nn),A; LD A,(nn): opcodes of the SM83 where the 8080 asks for parity and sign."""

LOADS = ("db 03Ah,0FEh,{}", "db 032h,0FEh,{}", "ld a,({}+0C000h)", "ld ({}+0C100h),a")
CONDITIONS = ("nz", "z", "c")
BODY = (
    "ld b,{}",
    "ld hl,{}+0C000h",
    "ld a,(hl)",
    "inc hl",
    "or a",
    "xor b",
    "cp {}",
    "and {}",
    "push bc",
    "pop bc",
    "ld (hl),a",
    "dec b",
)


def program(own: tuple[str, ...], seed: int, rare: tuple[str, ...] = ()) -> np.ndarray:
    """Return routines that a Z80 and an SM83 share but for their loads and what is rare."""
    rng = random.Random(seed)
    lines: list[str] = []
    for routine in range(40):
        lines += [f"q{routine}:"]
        for _ in range(rng.randrange(3, 7)):
            lines += [" " + rng.choice(BODY).format(rng.randrange(128))]
        lines += [" " + rng.choice(own).format(rng.randrange(128)), f" jr {rng.choice(CONDITIONS)},q{routine}"]
        if rare and routine % 6 == 0:
            lines += [" " + rng.choice(rare)]
        lines += [f" call q{rng.randrange(40)}", " ret"]
    return np.frombuffer(assemble(cpu_of("Z80"), lines).data, np.uint8)


def of_8080(data: np.ndarray) -> Segmented:
    return next(item.division for item in weigh(data) if item.plain == "8080")


@pytest.mark.parametrize("seed", range(4))
def test_code_of_the_sm83_is_no_code_for_a_z80(seed: int) -> None:
    data = program(STORES, seed)
    assert len(data) > 512
    assert sm83(data, of_8080(data)) > 0.95
    found = code_of(data)
    assert found.cpu is None
    assert found.no_code > 0.9


@pytest.mark.parametrize("rare", [(), ("ex de,hl",), ("ret m", "jp p,100h"), ("in a,(3)", "out (4),a", "ret p")])
def test_the_same_routines_with_loads_of_a_z80_are_for_one(rare: tuple[str, ...]) -> None:
    data = program(LOADS, 1, rare)
    assert sm83(data, of_8080(data)) < 0.5
    assert code_of(data).cpu == "Z80"


def test_opcodes_are_counted_in_step_with_the_instructions_of_the_sm83() -> None:
    """From the SM83's table: 08 nn nn, E0 n, 22 and 3A of one byte; D3 is none."""
    data = np.array([0x08, 0xD3, 0xD3, 0xE0, 0xEB, 0x22, 0x3A, 0xD3, 0xFA, 0xED, 0xC0, 0xC9], np.uint8)
    everywhere = np.ones(len(data), bool)
    division = Segmented(1.0, np.arange(len(data), dtype=np.int32), everywhere, of_8080(data).columns, np.zeros(13))
    assert counts(data, division) == (1, 1, 1, 7)


def test_words_of_two_and_four_bytes_are_told_from_instructions_of_any_length() -> None:
    rng = np.random.default_rng(3)
    samples = (1000 * np.sin(np.arange(256) / 9) + rng.normal(0, 20, 256)).astype(">i2")
    words = np.frombuffer(samples.tobytes(), np.uint8)
    assert wider_words(words, np.ones(len(words), bool)) > 100
    code = program(LOADS, 2, ("ex de,hl",))
    assert wider_words(code, np.ones(len(code), bool)) == 0
    assert wider_words(words, np.zeros(len(words), bool)) == 0


@pytest.mark.parametrize("size", [64, 512, 2000])
def test_random_bytes_keep_to_no_words(size: int) -> None:
    data = np.frombuffer(random.Random(size).randbytes(size), np.uint8)
    assert wider_words(data, np.ones(size, bool)) == 0
