"""The assembler: what it makes, what it refuses, and that it undoes the decoder."""

from __future__ import annotations

import pytest

from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.errors import BadValue


def made(cpu: str, *lines: str) -> str:
    return assemble(cpu_of(cpu), lines).data.hex(" ")


def test_short_and_long_addresses_are_told_by_their_value() -> None:
    assert made("6502", "zp = $20", " lda zp", " lda $1234", " lda later", "later: rts") == "a5 20 ad 34 12 a5 07 60"


def test_labels_may_come_later_and_expressions_may_be_of_them() -> None:
    assert (
        made("6502", " org $1000", " lda #<end", " ldx #>end", "end: dw end+2,end-$1000") == "a9 04 a2 10 06 10 04 00"
    )


def test_strings_characters_and_comments() -> None:
    assert made("Z80", ' db "A;B",0,";" ; the end', " ld a,';'") == "41 3b 42 00 3b 3e 3b"


def test_the_order_of_words_is_the_cpus() -> None:
    assert made("6809", " fdb $1234") == "12 34"
    assert made("8080", " dw 1234h") == "34 12"


def test_registers_of_a_6809() -> None:
    assert made("6809", " pshs a,b,x", " puls d,pc", " tfr x,y", " pshu s") == "34 16 35 86 1f 12 36 40"


def test_space_and_equates_of_other_assemblers() -> None:
    assert made("8051", " .equ port,90h", " .org 3", " mov port,#1", " ds 2,0ffh") == "75 90 01 ff ff"


@pytest.mark.parametrize(
    ("cpu", "line", "problem"),
    [
        ("6502", " lad #1", "line 1: 'lad' is no instruction of the 6502"),
        ("6502", " lda #300", "line 1: '300' is 300, which does not fit"),
        ("6502", " bne $2000", "line 1: '$2000' is 8190, which does not fit"),
        ("6502", " lda nowhere", "line 1: 'nowhere' has no value"),
        ("6502", " lda #(1", "line 1: '(1' lacks a ')'"),
        ("8048", " jz 300h", "line 1: '300h' is in another page"),
        ("8051", " ajmp 1800h", "line 1: '1800h' is in another block of 2 KiB"),
        ("Z80", " ld a", "line 1: 'ld a' is no instruction of the Z80"),
    ],
)
def test_what_cannot_be_meant_is_refused_with_its_line(cpu: str, line: str, problem: str) -> None:
    with pytest.raises(BadValue) as caught:
        assemble(cpu_of(cpu), [line])
    assert str(caught.value).startswith(problem)
