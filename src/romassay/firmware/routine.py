"""Dump routines for hosts without a dump command: Intel HEX through the host's own character-output routine.

Each routine is a table: bytes beside what an assembler would call them. In the bytes, `.name` is an address in the
CPU's own order of bytes, and `%name` a branch. The character to print is in A (for the 8080 and the Z80 in C as well);
the host's routine may destroy every register. The Z80 runs the routine of the 8080.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from typing import Literal

from romassay.address import Range
from romassay.errors import BadValue
from romassay.formats.model import Piece, WriteOptions

ROUTINE_6502 = """
record: A9 3A        lda #$3a
        20 .out      jsr out
        A9 00        lda #$00
        8D .sum      sta sum
        38           sec
        AD .last     lda last
        ED .get+1    sbc get+1
        AA           tax
        AD .last+1   lda last+1
        ED .get+2    sbc get+2
        D0 %full     bne full
        E0 0F        cpx #$0f
        B0 %full     bcs full
        8A           txa
        69 01        adc #$01
        D0 %set      bne set
full:   A9 10        lda #$10
set:    8D .count    sta count
        20 .byte     jsr byte
        AD .get+2    lda get+2
        20 .byte     jsr byte
        AD .get+1    lda get+1
        20 .byte     jsr byte
        A9 00        lda #$00
        20 .byte     jsr byte
get:    AD .first    lda first
        20 .byte     jsr byte
        EE .get+1    inc get+1
        D0 %same     bne same
        EE .get+2    inc get+2
same:   CE .count    dec count
        D0 %get      bne get
        38           sec
        A9 00        lda #$00
        ED .sum      sbc sum
        20 .byte     jsr byte
        20 .crlf     jsr crlf
        AD .get+1    lda get+1
        0D .get+2    ora get+2
        F0 %done     beq done
        AD .last     lda last
        CD .get+1    cmp get+1
        AD .last+1   lda last+1
        ED .get+2    sbc get+2
        B0 %record   bcs record
done:   A9 3A        lda #$3a
        20 .out      jsr out
        A9 00        lda #$00
        20 .byte     jsr byte
        A9 00        lda #$00
        20 .byte     jsr byte
        A9 00        lda #$00
        20 .byte     jsr byte
        A9 01        lda #$01
        20 .byte     jsr byte
        A9 FF        lda #$ff
        20 .byte     jsr byte
crlf:   A9 0D        lda #$0d
        20 .out      jsr out
        A9 0A        lda #$0a
        4C .out      jmp out
byte:   48           pha
        18           clc
        6D .sum      adc sum
        8D .sum      sta sum
        68           pla
        48           pha
        4A           lsr a
        4A           lsr a
        4A           lsr a
        4A           lsr a
        20 .nibble   jsr nibble
        68           pla
        29 0F        and #$0f
nibble: C9 0A        cmp #$0a
        90 %digit    bcc digit
        69 06        adc #$06
digit:  69 30        adc #$30
        4C .out      jmp out
last:   .end         .word end
count:  00           .byte 0
sum:    00           .byte 0
"""

ROUTINE_6800 = """
        CE .first    ldx #first
        FF .ptr      stx ptr
record: 86 3A        ldaa #$3a
        BD .out      jsr out
        7F .sum      clr sum
        B6 .last+1   ldaa last+1
        B0 .ptr+1    suba ptr+1
        F6 .last     ldab last
        F2 .ptr      sbcb ptr
        26 %full     bne full
        81 0F        cmpa #$0f
        24 %full     bcc full
        4C           inca
        20 %set      bra set
full:   86 10        ldaa #$10
set:    B7 .count    staa count
        BD .byte     jsr byte
        B6 .ptr      ldaa ptr
        BD .byte     jsr byte
        B6 .ptr+1    ldaa ptr+1
        BD .byte     jsr byte
        4F           clra
        BD .byte     jsr byte
next:   FE .ptr      ldx ptr
        A6 00        ldaa 0,x
        08           inx
        FF .ptr      stx ptr
        BD .byte     jsr byte
        7A .count    dec count
        26 %next     bne next
        B6 .sum      ldaa sum
        40           nega
        BD .byte     jsr byte
        BD .crlf     jsr crlf
        FE .ptr      ldx ptr
        27 %done     beq done
        B6 .last+1   ldaa last+1
        B0 .ptr+1    suba ptr+1
        B6 .last     ldaa last
        B2 .ptr      sbca ptr
        24 %record   bcc record
done:   86 3A        ldaa #$3a
        BD .out      jsr out
        4F           clra
        BD .byte     jsr byte
        4F           clra
        BD .byte     jsr byte
        4F           clra
        BD .byte     jsr byte
        86 01        ldaa #$01
        BD .byte     jsr byte
        86 FF        ldaa #$ff
        BD .byte     jsr byte
crlf:   86 0D        ldaa #$0d
        BD .out      jsr out
        86 0A        ldaa #$0a
        7E .out      jmp out
byte:   36           psha
        BB .sum      adda sum
        B7 .sum      staa sum
        32           pula
        36           psha
        44           lsra
        44           lsra
        44           lsra
        44           lsra
        BD .nibble   jsr nibble
        32           pula
        84 0F        anda #$0f
nibble: 81 0A        cmpa #$0a
        25 %digit    bcs digit
        8B 07        adda #$07
digit:  8B 30        adda #$30
        7E .out      jmp out
last:   .end         dw end
ptr:    .zero        dw zero
count:  00           db 0
sum:    00           db 0
"""

ROUTINE_8080 = """
        21 .first    ld hl,first
        22 .ptr      ld (ptr),hl
record: 3E 3A        ld a,03ah
        CD .print    call print
        AF           xor a
        32 .sum      ld (sum),a
        2A .ptr      ld hl,(ptr)
        EB           ex de,hl
        2A .last     ld hl,(last)
        7D           ld a,l
        93           sub e
        6F           ld l,a
        7C           ld a,h
        9A           sbc a,d
        C2 .full     jp nz,full
        7D           ld a,l
        FE 0F        cp 00fh
        D2 .full     jp nc,full
        3C           inc a
        C3 .set      jp set
full:   3E 10        ld a,010h
set:    32 .count    ld (count),a
        CD .byte     call byte
        3A .ptr+1    ld a,(ptr+1)
        CD .byte     call byte
        3A .ptr      ld a,(ptr)
        CD .byte     call byte
        AF           xor a
        CD .byte     call byte
next:   2A .ptr      ld hl,(ptr)
        7E           ld a,(hl)
        23           inc hl
        22 .ptr      ld (ptr),hl
        CD .byte     call byte
        3A .count    ld a,(count)
        3D           dec a
        32 .count    ld (count),a
        C2 .next     jp nz,next
        3A .sum      ld a,(sum)
        2F           cpl
        3C           inc a
        CD .byte     call byte
        CD .crlf     call crlf
        2A .ptr      ld hl,(ptr)
        7C           ld a,h
        B5           or l
        CA .done     jp z,done
        EB           ex de,hl
        2A .last     ld hl,(last)
        7D           ld a,l
        93           sub e
        7C           ld a,h
        9A           sbc a,d
        D2 .record   jp nc,record
done:   3E 3A        ld a,03ah
        CD .print    call print
        AF           xor a
        CD .byte     call byte
        AF           xor a
        CD .byte     call byte
        AF           xor a
        CD .byte     call byte
        3E 01        ld a,001h
        CD .byte     call byte
        3E FF        ld a,0ffh
        CD .byte     call byte
crlf:   3E 0D        ld a,00dh
        CD .print    call print
        3E 0A        ld a,00ah
        C3 .print    jp print
byte:   F5           push af
        21 .sum      ld hl,sum
        86           add a,(hl)
        77           ld (hl),a
        F1           pop af
        F5           push af
        0F           rrca
        0F           rrca
        0F           rrca
        0F           rrca
        CD .nibble   call nibble
        F1           pop af
nibble: E6 0F        and 00fh
        FE 0A        cp 00ah
        DA .digit    jp c,digit
        C6 07        add a,007h
digit:  C6 30        add a,030h
print:  4F           ld c,a
        C3 .out      jp out
last:   .end         dw end
ptr:    .zero        dw zero
count:  00           db 0
sum:    00           db 0
"""

_TABLES: dict[str, tuple[str, Literal["little", "big"]]] = {
    "6502": (ROUTINE_6502, "little"),
    "6800": (ROUTINE_6800, "big"),
    "8080": (ROUTINE_8080, "little"),
    "z80": (ROUTINE_8080, "little"),
}
CPUS = tuple(_TABLES)

_WORD = r"(?:[0-9A-F]{2}|[.%]\w+(?:\+\d)?)"
_ROW = re.compile(rf"(?:(?P<label>\w+):)?\s+(?P<bytes>{_WORD}(?: {_WORD})*)\s{{2,}}(?P<words>.+)")
_KEYED = 8
_LAST = 0xFFFF


@dataclass(frozen=True, slots=True)
class Routine:
    """A routine in its place.

    Attributes:
        cpu: that runs it.
        load: its first address, which is also where it is started.
        code: its bytes.
        window: what it dumps.
        source: the same as text for an assembler.
    """

    cpu: str
    load: int
    code: bytes
    window: Range
    source: str


def routine_for(cpu: str, *, load: int, output: int, window: Range) -> Routine:
    """Return the dump routine for a host.

    Args:
        cpu: of the host, one of `CPUS`.
        load: where in the host's RAM the routine goes.
        output: address of the host's routine that prints the character in A.
        window: what to dump.

    Raises:
        BadValue: there is no routine for that CPU, or it does not fit where it is to go.
    """
    name = cpu.lower()
    if name not in _TABLES:
        raise BadValue(f"there is no routine for '{cpu}'", place="--host-routine", advice=f"choose {', '.join(CPUS)}")
    table, order = _TABLES[name]
    rows = [found for line in table.strip("\n").split("\n") if (found := _ROW.fullmatch(line))]
    names = {"out": output, "first": window.first, "end": window.last, "zero": 0}
    size = _placed(rows, load, names)
    if load + size - 1 > _LAST:
        raise BadValue(f"{size} bytes from {load:04X} on end beyond FFFF", place="--load", advice="load it lower")
    if window.last > _LAST:
        raise BadValue(f"{window} lies beyond FFFF", place="--window", advice="give a window of 16 address lines")
    if window.intersect(Range(load, load + size - 1)):
        raise BadValue("the routine would lie in the window that it dumps", place="--load", advice="load it elsewhere")
    code = b"".join(_encoded(row["bytes"], load, names, order, done) for row, done in _offsets(rows))
    return Routine(name, load, code, window, _source(rows))


def _placed(rows: list[re.Match[str]], load: int, names: dict[str, int]) -> int:
    """Enter the address of every label; return the size of the whole."""
    size = 0
    for row, at in _offsets(rows):
        if row["label"]:
            names[row["label"]] = load + at
        size = at + _length(row["bytes"])
    return size


def _offsets(rows: list[re.Match[str]]) -> list[tuple[re.Match[str], int]]:
    result, at = [], 0
    for row in rows:
        result.append((row, at))
        at += _length(row["bytes"])
    return result


def _length(text: str) -> int:
    return sum(2 if word[0] == "." else 1 for word in text.split())


def _encoded(text: str, load: int, names: dict[str, int], order: Literal["little", "big"], at: int) -> bytes:
    """Return the bytes of a row that stands at an offset."""
    result = b""
    for word in text.split():
        if word[0] not in ".%":
            result += bytes([int(word, 16)])
            continue
        name, _, more = word[1:].partition("+")
        value = names[name] + int(more or 0)
        if word[0] == ".":
            result += value.to_bytes(2, order)
        else:
            result += (value - (load + at + 2)).to_bytes(1, "big", signed=True)
    return result


def _source(rows: list[re.Match[str]]) -> str:
    return "".join(f"{row['label'] + ':' if row['label'] else '':8}{row['words'].strip()}\n" for row in rows)


def to_key_in(routine: Routine) -> list[str]:
    """Return the routine as lines to key in: address, bytes, and the sum of the bytes, modulo 256."""
    return [
        f"{routine.load + at:04X}  {' '.join(f'{b:02X}' for b in routine.code[at : at + _KEYED]):<{3 * _KEYED}}"
        f" sum {sum(routine.code[at : at + _KEYED]) & 0xFF:02X}"
        for at in range(0, len(routine.code), _KEYED)
    ]


def as_intel_hex(routine: Routine) -> bytes:
    """Return the routine as a file to load."""
    from romassay.formats.records.intel_hex import FORMAT

    if FORMAT.write is None:
        raise ValueError("Intel HEX has a writer")
    return FORMAT.write([Piece(routine.load, routine.code)], WriteOptions())
