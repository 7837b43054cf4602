"""The 8048 and its kin: the instruction table.

Source: MCS-48 user's manual (1978), instruction set summary. From memory; all 256 opcodes were once
compared with those of a disassembler by others, without a difference.
"""

from __future__ import annotations

from romassay.cpus.model import Cpu, Flow, Form
from romassay.cpus.table import Table

_PLAIN: dict[int, str] = {
    0x00: "nop",
    0x02: "outl bus,a",
    0x03: "add a,#{byte}",
    0x05: "en i",
    0x07: "dec a",
    0x08: "ins a,bus",
    0x09: "in a,p1",
    0x0A: "in a,p2",
    0x13: "addc a,#{byte}",
    0x15: "dis i",
    0x17: "inc a",
    0x23: "mov a,#{byte}",
    0x25: "en tcnti",
    0x27: "clr a",
    0x35: "dis tcnti",
    0x37: "cpl a",
    0x39: "outl p1,a",
    0x3A: "outl p2,a",
    0x42: "mov a,t",
    0x43: "orl a,#{byte}",
    0x45: "strt cnt",
    0x47: "swap a",
    0x53: "anl a,#{byte}",
    0x55: "strt t",
    0x57: "da a",
    0x62: "mov t,a",
    0x65: "stop tcnt",
    0x67: "rrc a",
    0x75: "ent0 clk",
    0x77: "rr a",
    0x85: "clr f0",
    0x88: "orl bus,#{byte}",
    0x89: "orl p1,#{byte}",
    0x8A: "orl p2,#{byte}",
    0x95: "cpl f0",
    0x97: "clr c",
    0x98: "anl bus,#{byte}",
    0x99: "anl p1,#{byte}",
    0x9A: "anl p2,#{byte}",
    0xA3: "movp a,@a",
    0xA5: "clr f1",
    0xA7: "cpl c",
    0xB5: "cpl f1",
    0xC5: "sel rb0",
    0xC7: "mov a,psw",
    0xD3: "xrl a,#{byte}",
    0xD5: "sel rb1",
    0xD7: "mov psw,a",
    0xE3: "movp3 a,@a",
    0xE5: "sel mb0",
    0xE7: "rl a",
    0xF5: "sel mb1",
    0xF7: "rlc a",
}

_BRANCHES: dict[int, str] = {
    0x16: "jtf",
    0x26: "jnt0",
    0x36: "jt0",
    0x46: "jnt1",
    0x56: "jt1",
    0x76: "jf1",
    0x86: "jni",
    0x96: "jnz",
    0xB6: "jf0",
    0xC6: "jz",
    0xE6: "jnc",
    0xF6: "jc",
}

_ENDS: dict[int, tuple[str, Flow]] = {0x83: ("ret", "return"), 0x93: ("retr", "return"), 0xB3: ("jmpp @a", "return")}

_REGISTERS: dict[int, str] = {
    0x10: "inc {}",
    0x20: "xch a,{}",
    0x40: "orl a,{}",
    0x50: "anl a,{}",
    0x60: "add a,{}",
    0x70: "addc a,{}",
    0xA0: "mov {},a",
    0xB0: "mov {},#{{byte}}",
    0xD0: "xrl a,{}",
    0xF0: "mov a,{}",
}


def _forms() -> tuple[Form, ...]:
    table = Table()
    for code, text in _PLAIN.items():
        table.add(code, text)
    for code, text in _BRANCHES.items():
        table.add(code, text + " {page}", "branch")
    for code, (text, flow) in _ENDS.items():
        table.add(code, text, flow)
    for n in range(8):
        table.add(0x12 + n * 32, f"jb{n} {{page}}", "branch")
        table.add(0x04 + n * 32, "jmp {block}", "jump")
        table.add(0x14 + n * 32, "call {block}", "call")
        table.add(0xE8 + n, f"djnz r{n},{{page}}", "branch")
        table.add(0xC8 + n, f"dec r{n}")
        for code, text in _REGISTERS.items():
            table.add(code + 8 + n, text.format(f"r{n}"))
    for n in range(2):
        for code, text in _REGISTERS.items():
            table.add(code + n, text.format(f"@r{n}"))
        table.add(0x30 + n, f"xchd a,@r{n}")
        table.add(0x80 + n, f"movx a,@r{n}")
        table.add(0x90 + n, f"movx @r{n},a")
    for n in range(4):
        table.add(0x0C + n, f"movd a,p{n + 4}")
        table.add(0x3C + n, f"movd p{n + 4},a")
        table.add(0x8C + n, f"orld p{n + 4},a")
        table.add(0x9C + n, f"anld p{n + 4},a")
    return table.rows()


CPUS = (
    Cpu(
        "8048",
        "8048, 8049, 8035, 8039",
        _forms(),
        big_endian=False,
        source="MCS-48 UM (1978), from memory",
        entries=(("reset", 0), ("interrupt", 3), ("timer", 7)),
        address_bits=12,
    ),
)
