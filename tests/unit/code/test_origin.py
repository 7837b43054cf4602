"""Where code belongs: by its absolute addresses, by the 11 bits of an address, by vectors."""

from __future__ import annotations

import random

import numpy as np

from romassay.code import code_of
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of

PLAIN_8048 = ("mov a,@r0", "inc r0", "add a,r2", "mov @r1,a", "anl a,#15", "in a,p1", "outl p2,a", "mov r3,a", "rl a")
PLAIN_8051 = (
    "mov a,@r0",
    "inc r0",
    "add a,r2",
    "movx @dptr,a",
    "anl a,#15",
    "mov 90h,a",
    "mov r3,a",
    "inc dptr",
    "rl a",
)
PLAIN_6809 = ("lda ,x+", "ldb #5", "sta ,y+", "std 1000h", "leax 1,x", "anda #0fh", "ldd 1002h", "tfr a,b", "inc 1004h")


def routines(name: str, plain: tuple[str, ...], call: str, origin: int, seed: int, size: int) -> bytes:
    """Return a program of small routines that call each other; the last bytes are a table of small numbers."""
    rng = random.Random(seed)
    lines: list[str] = [f" org {origin}"]
    for number in range(120):
        lines += [f"q{number}:", *(" " + rng.choice(plain) for _ in range(rng.randrange(3, 7)))]
        if number:
            lines += [f" {call} q{rng.randrange(number)}"]
        lines += [" rts" if name == "6809" else " ret"]
    data = assemble(cpu_of(name), lines).data
    assert len(data) > size
    return data[:size]


def found(data: bytes) -> list[tuple[int, float]]:
    return list(code_of(np.frombuffer(data, np.uint8)).origins)


def test_a_piece_of_an_8048_program_is_put_where_its_calls_land() -> None:
    whole = routines("8048", PLAIN_8048, "call", 0, 1, 800)
    piece = found(whole[0x100:0x300])
    assert piece[0][0] == 0x100
    assert dict(piece)[0x900] < piece[0][1]
    assert found(whole)[0][0] == 0


def test_a_jump_to_the_reset_tells_nothing_of_where_a_program_stands() -> None:
    code = routines("8051", PLAIN_8051, "lcall", 0x4000, 2, 700)
    resets = assemble(cpu_of("8051"), [" ljmp 0"] * 8).data
    assert found(resets + code)[0][0] == 0x4000 - len(resets)
    assert found(code)[0] == (0x4000, found(code)[0][1])
    assert found(code)[0][1] > 0.9


def test_small_numbers_at_the_end_are_no_vectors() -> None:
    rng = random.Random(3)
    code = routines("6809", PLAIN_6809, "jsr", 0x5400, 3, 1000)
    table = bytes(rng.choice((0, 0x0D, 0x0E)) if at % 2 == 0 else rng.randrange(256) for at in range(24))
    assert found(code + table)[0][0] == 0x5400
