"""The flow alone: unusual code is told by where its branches and calls lead; regular data have no flow."""

from __future__ import annotations

import random

import numpy as np
import pytest

from romassay.code import code_of
from romassay.code.structure import structure
from romassay.code.wider import wider
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import NAMES, cpu_of

PLAIN = {
    "8080": ("mov b,m", "xthl", "daa", "sbb l", "stax d", "cmc", "adc h", "xra m", "dad sp", "mov m,e", "rar", "ana c"),
    "8048": ("movd p4,a", "xchd a,@r0", "rrc a", "da a", "inc @r1", "cpl f1", "swap a", "addc a,@r1", "anl a,r6"),
}
LOADS = {"8080": "mvi m,", "8048": "mov @r1,#"}
ENDS = {"8080": "ret", "8048": "ret"}
BRANCHES = {"8080": ("jpe", "jm", "jpo"), "8048": ("jtf", "jf1", "jnt1")}


def unusual(name: str, routines: int, seed: int) -> np.ndarray:
    """Return a program of instructions that are rare in such a row, whose branches and calls land."""
    rng = random.Random(seed)
    lines: list[str] = []
    for routine in range(routines):
        lines += [f"q{routine}:"]
        places = rng.randrange(2, 8)
        for place in range(places):
            lines += [f"p{routine}_{place}: {rng.choice(PLAIN[name])}"]
            lines += [f" {LOADS[name]}{rng.randrange(256)}"] * rng.randrange(3)
        lines += [
            f" {rng.choice(BRANCHES[name])} p{routine}_{rng.randrange(places)}",
            f" call q{rng.randrange(routines)}",
        ]
        lines += [f" {ENDS[name]}"]
        if name == "8048" and routine % 12 == 11:
            lines += [f" org {256 * (routine // 12 + 1)}"]
    return np.frombuffer(assemble(cpu_of(name), lines).data, np.uint8)


@pytest.mark.parametrize(("name", "routines"), [("8080", 50), ("8048", 50)])
def test_unusual_code_is_told_by_where_it_leads(name: str, routines: int) -> None:
    data = unusual(name, routines, 1)
    nats, division = structure(cpu_of(name), data)
    assert nats > 45
    assert division.code.mean() > 0.6
    assert code_of(data).cpu == name


def test_the_origin_of_unusual_code_is_found() -> None:
    assert code_of(unusual("8080", 60, 2)).origin == 0


@pytest.mark.parametrize(("origin", "name"), [(0x8123, "8080"), (0x0C10, "8080"), (0xE0F7, "6502")])
def test_an_origin_may_be_within_a_page(origin: int, name: str) -> None:
    calls = {"8080": " call s{}\n jmp s{}", "6502": " jsr s{}\n jmp s{}"}[name]
    routine = {
        "8080": "s{}: lda 2000h\n cpi {}\n jz t{}\n sta 2001h{}\nt{}: ret",
        "6502": "s{}: lda 32\n cmp #{}\n beq t{}\n sta 64{}\nt{}: rts",
    }[name]
    more = {"8080": "\n inr a", "6502": "\n asl a"}[name]
    lines = [routine.format(n, n, n, more * (n * n % 7), n) for n in range(40)]
    lines = [*lines, *(calls.format(n, n + 1) for n in range(0, 30, 2))]
    made = assemble(cpu_of(name), "\n".join(lines).splitlines(), origin=origin)
    assert code_of(np.frombuffer(made.data, np.uint8)).origin == origin


def test_addresses_behind_calls_of_the_1802_tell_the_origin() -> None:
    # MPM-201 (1976), standard call and return technique: SEP R4, then the address of the routine; SEP R5 returns
    lines = []
    for n in range(40):
        lines += [f"s{n}: ghi r7", " plo r8", f" ldi {n}", " phi r8", " sep r4", f" dw s{(7 * n + 3) % 40}"]
        lines += [" lda r8", " str r9", " inc r9", " sep r5"]
    made = assemble(cpu_of("1802"), lines, origin=0x4B00)
    found = code_of(np.frombuffer(made.data, np.uint8))
    assert (found.cpu, found.origin) == ("1802", 0x4B00)


@pytest.mark.parametrize(
    "data",
    [
        random.Random(3).randbytes(4096),
        b"\x00" * 4096,
        bytes(range(256)) * 16,
        b"".join((0xD000 + 8 * n).to_bytes(2, "little") for n in range(512)),
        b"".join((0x1800 + 3 * n).to_bytes(2, "big") for n in range(512)),
        b"It was a dark night, and the light turned once in ten seconds. " * 40,
    ],
    ids=["noise", "blank", "counter", "addresses", "addresses-high-first", "text"],
)
@pytest.mark.parametrize("name", NAMES)
def test_data_have_little_flow(name: str, data: bytes) -> None:
    assert structure(cpu_of(name), np.frombuffer(data, np.uint8))[0] < 30
    assert code_of(np.frombuffer(data, np.uint8)).cpu is None


def test_a_table_of_addresses_is_no_instruction_that_only_the_wider_cpu_has() -> None:
    lines = [
        f"q{n}: ldaa {n + 16}\n anda #{n}\n beq s{n}\n jsr q{n // 2}\ns{n}: staa {n + 48}\n rts" for n in range(60)
    ]
    addresses = [f" dw {0xDC00 + 19 * n}" for n in range(30)]  # DC xx is an instruction of the 6801
    code = assemble(cpu_of("6800"), "\n".join(lines).splitlines() + addresses, origin=0xDC00)
    data = np.frombuffer(code.data, np.uint8)
    assert code_of(data).cpu == "6800"
    assert wider(data, "6801") < 5


USUAL = [
    line
    for n in range(40)
    for line in (
        f"s{n}: lda {0x2000 + n}",
        f" cpi {n + 3}",
        f" jz s{n // 2}",
        " inr a",
        f" sta {0x2000 + n}",
        f" lxi h,{0x2100 + n}",
        " mov a,m",
        " ora a",
        f" cnz s{n // 3}",
        " ret",
    )
]
"""A program for the 8080; other CPUs' instructions go in where nothing but a `ret` stands before them."""


@pytest.mark.parametrize(
    ("more", "name"),
    [
        ([], "8080"),
        (["mvi a,0dh", "sim", "ei", "ret"], "8085"),
        (["lxi h,2100h", "lxi d,2200h", "lxi b,16", "db 0edh,0b0h", "ret"], "Z80"),
        (["call s3", 'db "0 TO 9 ",0', "ret"], "8080"),
        (["db 1,2,4,8,16,32,64,128"], "8080"),
        (["db 192,249,164,176,153,146,130,248,128,144", "db 0ffh,32,16,8,4,2,1"], "8080"),
    ],
    ids=["nothing", "SIM", "LDIR", "text", "bits", "segments"],
)
def test_one_instruction_of_a_wider_cpu_is_enough_and_a_text_is_none(more: list[str], name: str) -> None:
    lines = [*USUAL, *(f" {line}" for line in more), *(line.replace("s", "t", 1) for line in USUAL if ":" in line)]
    made = assemble(cpu_of("8085"), lines)
    assert code_of(np.frombuffer(made.data, np.uint8)).cpu == name


CALLED = """
 org 100h
main: lxi sp,9000h
 call clear
loop: call input
 call {mask}
 call show
 call wait
 call send
 jmp loop
clear: lxi h,8000h
 mvi b,64
 xra a
c1: mov m,a
 inx h
 dcr b
 jnz c1
 ret
input: in 3
 ani 1
 jz input
 in 2
 ret
wait: dcr b
 jnz wait
 ret
send: in 3
 rrc
 jnc send
 mov a,c
 out 2
 ret
show: out 5
 lda 8001h
 inr a
 sta 8001h
 ret
mask: mvi a,0bh
 sim
 daa
 ret
 db 3fh,6,5bh,4fh,66h,6dh,7dh,7,7fh,6fh
"""


@pytest.mark.parametrize(("mask", "more"), [("mask", True), ("clear", False)])
def test_an_instruction_of_the_8085_counts_where_it_is_called(mask: str, more: bool) -> None:
    """SIM behind a return, in a few bytes that are no code without it, may be a table unless a call leads there."""
    data = np.frombuffer(assemble(cpu_of("8085"), CALLED.format(mask=mask)).data, np.uint8)
    assert (wider(data, "8085") > 5) == more
