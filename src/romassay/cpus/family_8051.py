"""The 8051 and its kin: the instruction table.

Source: MCS-51 programmer's guide and instruction set (1985), table of opcodes. From memory, checked against two
assemblers.
"""

from __future__ import annotations

from romassay.cpus.model import Cpu, Flow, Form
from romassay.cpus.table import Table

_PLAIN: dict[int, str] = {
    0x00: "nop",
    0x03: "rr a",
    0x13: "rrc a",
    0x23: "rl a",
    0x33: "rlc a",
    0x42: "orl {direct},a",
    0x43: "orl {direct},#{byte}",
    0x52: "anl {direct},a",
    0x53: "anl {direct},#{byte}",
    0x62: "xrl {direct},a",
    0x63: "xrl {direct},#{byte}",
    0x72: "orl c,{bit}",
    0x82: "anl c,{bit}",
    0x83: "movc a,@a+pc",
    0x84: "div ab",
    0x90: "mov dptr,#{word}",
    0x92: "mov {bit},c",
    0x93: "movc a,@a+dptr",
    0xA0: "orl c,/{bit}",
    0xA2: "mov c,{bit}",
    0xA3: "inc dptr",
    0xA4: "mul ab",
    0xB0: "anl c,/{bit}",
    0xB2: "cpl {bit}",
    0xB3: "cpl c",
    0xC0: "push {direct}",
    0xC2: "clr {bit}",
    0xC3: "clr c",
    0xC4: "swap a",
    0xD0: "pop {direct}",
    0xD2: "setb {bit}",
    0xD3: "setb c",
    0xD4: "da a",
    0xE0: "movx a,@dptr",
    0xE4: "clr a",
    0xF0: "movx @dptr,a",
    0xF4: "cpl a",
    0x04: "inc a",
    0x14: "dec a",
    0x24: "add a,#{byte}",
    0x34: "addc a,#{byte}",
    0x44: "orl a,#{byte}",
    0x54: "anl a,#{byte}",
    0x64: "xrl a,#{byte}",
    0x74: "mov a,#{byte}",
    0x94: "subb a,#{byte}",
}

_FLOWS: dict[int, tuple[str, Flow]] = {
    0x02: ("ljmp {code}", "jump"),
    0x10: ("jbc {bit},{near}", "branch"),
    0x12: ("lcall {code}", "call"),
    0x20: ("jb {bit},{near}", "branch"),
    0x22: ("ret", "return"),
    0x30: ("jnb {bit},{near}", "branch"),
    0x32: ("reti", "return"),
    0x40: ("jc {near}", "branch"),
    0x50: ("jnc {near}", "branch"),
    0x60: ("jz {near}", "branch"),
    0x70: ("jnz {near}", "branch"),
    0x73: ("jmp @a+dptr", "return"),
    0x80: ("sjmp {near}", "jump"),
    0xB4: ("cjne a,#{byte},{near}", "branch"),
    0xB5: ("cjne a,{direct},{near}", "branch"),
    0xD5: ("djnz {direct},{near}", "branch"),
}

_OPERANDS: dict[int, str] = {
    0x00: "inc {}",
    0x10: "dec {}",
    0x20: "add a,{}",
    0x30: "addc a,{}",
    0x40: "orl a,{}",
    0x50: "anl a,{}",
    0x60: "xrl a,{}",
    0x70: "mov {},#{{byte}}",
    0x90: "subb a,{}",
    0xC0: "xch a,{}",
    0xE0: "mov a,{}",
    0xF0: "mov {},a",
}
"""Rows that take a direct address, @r0, @r1 or r0 to r7 in the columns 5 to F."""


def _forms() -> tuple[Form, ...]:
    table = Table()
    for code, text in _PLAIN.items():
        table.add(code, text)
    for code, (text, flow) in _FLOWS.items():
        table.add(code, text, flow)
    columns = {6: "@r0", 7: "@r1"} | {8 + n: f"r{n}" for n in range(8)}
    for row, text in _OPERANDS.items():
        table.add(row + 5, text.format("{direct}"))
        for column, operand in columns.items():
            table.add(row + column, text.format(operand))
    for column, operand in columns.items():
        table.add(0x80 + column, f"mov {{direct}},{operand}")
        table.add(0xA0 + column, f"mov {operand},{{direct}}")
        table.add(0xB0 + column, f"cjne {operand},#{{byte}},{{near}}", "branch")
        if operand.startswith("r"):
            table.add(0xD0 + column, f"djnz {operand},{{near}}", "branch")
        else:
            table.add(0xD0 + column, f"xchd a,{operand}")
            table.add(0xE2 + column - 6, f"movx a,{operand}")
            table.add(0xF2 + column - 6, f"movx {operand},a")
    table.add(0x85, "mov {direct},{direct}", swapped=True)
    for n in range(8):
        table.add(0x01 + n * 32, "ajmp {block}", "jump")
        table.add(0x11 + n * 32, "acall {block}", "call")
    return table.rows()


CPUS = (
    Cpu(
        "8051",
        "8051, 8031, 8052",
        _forms(),
        big_endian=True,
        source="MCS-51 programmer's guide (1985), from memory",
        entries=(("reset", 0), ("ext0", 3), ("timer0", 0x0B), ("ext1", 0x13), ("timer1", 0x1B), ("serial", 0x23)),
    ),
)
