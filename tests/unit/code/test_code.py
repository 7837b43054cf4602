"""The CPU, the origin and the entries of programs that are put together for the test."""

from __future__ import annotations

import random
from pathlib import Path

import numpy as np
import pytest

import romassay
from romassay.code import code_of
from romassay.code.evidence import weigh
from romassay.code.identify import CALIBRATION, candidates
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.likeness import adjacent_scores, byte_scores, likeness, padding

FOG = Path(romassay.__file__).parent / "twin" / "demo" / "fog_signal.bin"

Z80 = """
 org 0
 jp start
 ds 53,255
 org 38h
 push af
 ld a,(8000h)
 inc a
 ld (8000h),a
 pop af
 ei
 ret
start: di
 ld sp,9000h
 im 1
 ld hl,8000h
 ld bc,100
 call clear
 ld hl,text
 call print
loop: call keys
 or a
 jr z,loop
 ld c,a
 call send
 ld a,c
 cp 13
 jr nz,loop
 ld hl,text
 call print
 jp loop
clear: ld (hl),0
 inc hl
 dec bc
 ld a,b
 or c
 jr nz,clear
 ret
print: ld a,(hl)
 or a
 ret z
 ld c,a
 call send
 inc hl
 jr print
send: in a,(11h)
 bit 0,a
 jr z,send
 ld a,c
 out (10h),a
 ret
keys: ld b,4
 ld e,1
row: ld a,e
 out (20h),a
 in a,(21h)
 and 0fh
 jr nz,hit
 rlc e
 djnz row
 xor a
 ret
hit: push bc
 ld b,200
wait: djnz wait
 pop bc
 ret
"""


def array(data: bytes) -> np.ndarray:
    return np.frombuffer(data, np.uint8)


def z80() -> bytes:
    source = Z80 + 'text: db "sluice 2 ready",13,10,0\n'
    body = assemble(cpu_of("Z80"), source).data
    return body + b"\xff" * (512 - len(body))


def test_a_program_that_no_training_has_seen() -> None:
    """The rehearsal's invented firmware: its CPU, its origin from the vectors, and its own check (see its source)."""
    found = code_of(array(FOG.read_bytes()))
    assert found.cpu == "6502"
    assert found.origin == 0xFC00
    assert dict(found.entries) == {"reset": 0xFC00, "nmi": 0xFE4D, "irq": 0xFE55}
    assert [check.kind for check in found.checks] == ["sum-8", "sum-8"]


def test_512_bytes_of_z80_code() -> None:
    found = code_of(array(z80()))
    assert (found.cpu, found.origin) == ("Z80", 0)
    assert ("reset", 0) in found.entries
    assert ("rst7", 0x38) in found.entries


def test_code_of_the_8080_is_legal_z80_code_and_is_called_8080() -> None:
    lines = ["lxi h,100h", "mvi b,20", "mov a,m", "inx h", "out 3", "dcr b", "jnz 105h", "call 100h", "ret"] * 40
    found = code_of(array(assemble(cpu_of("8080"), [" " + line for line in lines], origin=0x100).data))
    assert found.cpu == "8080"


@pytest.mark.parametrize(
    "data",
    [
        random.Random(3).randbytes(2048),
        b"\xff" * 1024,
        b"the tide is in and the lamp is lit, please wait for the pilot " * 20,
        bytes(range(256)) * 4,
        bytes(int(128 + 100 * np.sin(i / 20)) for i in range(1024)),
        b"",
        b"\x4c",
    ],
)
def test_what_is_no_code(data: bytes) -> None:
    found = code_of(array(data))
    assert found.cpu is None
    assert found.candidates[0][0] is None
    assert found.no_code > 0.5


@pytest.mark.parametrize("data", [FOG.read_bytes(), z80(), random.Random(1).randbytes(600)])
def test_probabilities_add_up_and_are_ranked(data: bytes) -> None:
    found = candidates(array(data), weigh(array(data)), CALIBRATION)
    chances = [chance for _, chance in found]
    assert sum(chances) == pytest.approx(1)
    assert chances == sorted(chances, reverse=True)
    assert len({name for name, _ in found}) == len(found)


def test_the_same_code_at_a_wrong_order_of_data_lines_scores_less() -> None:
    data = array(FOG.read_bytes())
    swapped = (data & 0xFC) | (data & 1) << 1 | (data & 2) >> 1
    assert likeness(data)["6502"] > 2 * likeness(swapped)["6502"]
    kept, lost = ((byte_scores(np.bincount(d[~padding(d)], minlength=256))).max() for d in (data, swapped))
    assert kept > lost
    assert adjacent_scores(data.tobytes()).max() > adjacent_scores(swapped.tobytes()).max()
