"""The 8080, the 8085 and the Z80: their instruction tables, each in its own maker's mnemonics.

Sources: 8080 and 8085 assembly language programming manual (1977), appendix of opcodes; Z80 CPU user manual (UM0080).
From memory, checked against four assemblers. The Z80 table holds the documented instructions only.
"""

from __future__ import annotations

from romassay.cpus.model import Cpu, Flow, Form
from romassay.cpus.table import Table

_R = ("b", "c", "d", "e", "h", "l", "m", "a")
_RP = ("b", "d", "h", "sp")
_CC = ("nz", "z", "nc", "c", "po", "pe", "p", "m")
_ALU = ("add", "adc", "sub", "sbb", "ana", "xra", "ora", "cmp")
_ALU_I = ("adi", "aci", "sui", "sbi", "ani", "xri", "ori", "cpi")
_ACC = ("rlc", "rrc", "ral", "rar", "daa", "cma", "stc", "cmc")


def _forms_8080() -> tuple[Form, ...]:
    table = Table()
    table.add(0x00, "nop")
    for d, to in enumerate(_R):
        for s, of in enumerate(_R):
            table.add(0x40 | d << 3 | s, f"mov {to},{of}")
        table.add(0x04 | d << 3, f"inr {to}")
        table.add(0x05 | d << 3, f"dcr {to}")
        table.add(0x06 | d << 3, f"mvi {to},{{byte}}")
        table.add(0x07 | d << 3, _ACC[d])
        table.add(0xC6 | d << 3, f"{_ALU_I[d]} {{byte}}")
        table.add(0xC7 | d << 3, f"rst {d}", "call", target=d * 8)
        for s, of in enumerate(_R):
            table.add(0x80 | d << 3 | s, f"{_ALU[d]} {of}")
        table.add(0xC0 | d << 3, f"r{_CC[d]}", "maybe")
        table.add(0xC2 | d << 3, f"j{_CC[d]} {{code}}", "branch")
        table.add(0xC4 | d << 3, f"c{_CC[d]} {{code}}", "call")
    table.add(0x76, "hlt")
    for p, pair in enumerate(_RP):
        table.add(0x01 | p << 4, f"lxi {pair},{{word}}")
        table.add(0x03 | p << 4, f"inx {pair}")
        table.add(0x09 | p << 4, f"dad {pair}")
        table.add(0x0B | p << 4, f"dcx {pair}")
        other = "psw" if pair == "sp" else pair
        table.add(0xC1 | p << 4, f"pop {other}")
        table.add(0xC5 | p << 4, f"push {other}")
    rest: tuple[tuple[int, str, Flow], ...] = (
        (0x02, "stax b", "next"),
        (0x0A, "ldax b", "next"),
        (0x12, "stax d", "next"),
        (0x1A, "ldax d", "next"),
        (0x22, "shld {data}", "next"),
        (0x2A, "lhld {data}", "next"),
        (0x32, "sta {data}", "next"),
        (0x3A, "lda {data}", "next"),
        (0xC3, "jmp {code}", "jump"),
        (0xC9, "ret", "return"),
        (0xCD, "call {code}", "call"),
        (0xD3, "out {port}", "next"),
        (0xDB, "in {port}", "next"),
        (0xE3, "xthl", "next"),
        (0xE9, "pchl", "return"),
        (0xEB, "xchg", "next"),
        (0xF3, "di", "next"),
        (0xF9, "sphl", "next"),
        (0xFB, "ei", "next"),
    )
    for code, text, flow in rest:
        table.add(code, text, flow)
    return table.rows()


def _forms_8085() -> tuple[Form, ...]:
    table = Table(_forms_8080())
    table.add(0x20, "rim")
    table.add(0x30, "sim")
    return table.rows()


_ZR = ("b", "c", "d", "e", "h", "l", "(hl)", "a")
_ZRP = ("bc", "de", "hl", "sp")
_ZALU = ("add a,", "adc a,", "sub ", "sbc a,", "and ", "xor ", "or ", "cp ")
_ZACC = ("rlca", "rrca", "rla", "rra", "daa", "cpl", "scf", "ccf")
_ROT = ("rlc", "rrc", "rl", "rr", "sla", "sra", "", "srl")
_BLOCK = ("ld", "cp", "in", "ot")


def _base_z80(table: Table) -> None:
    table.add(0x00, "nop")
    for d, to in enumerate(_ZR):
        for s, of in enumerate(_ZR):
            table.add(0x40 | d << 3 | s, f"ld {to},{of}")
            table.add(0x80 | d << 3 | s, f"{_ZALU[d]}{of}")
        table.add(0x04 | d << 3, f"inc {to}")
        table.add(0x05 | d << 3, f"dec {to}")
        table.add(0x06 | d << 3, f"ld {to},{{byte}}")
        table.add(0x07 | d << 3, _ZACC[d])
        table.add(0xC6 | d << 3, f"{_ZALU[d]}{{byte}}")
        table.add(0xC7 | d << 3, f"rst {d * 8}", "call", target=d * 8)
        table.add(0xC0 | d << 3, f"ret {_CC[d]}", "maybe")
        table.add(0xC2 | d << 3, f"jp {_CC[d]},{{code}}", "branch")
        table.add(0xC4 | d << 3, f"call {_CC[d]},{{code}}", "call")
    table.add(0x76, "halt")
    for p, pair in enumerate(_ZRP):
        table.add(0x01 | p << 4, f"ld {pair},{{word}}")
        table.add(0x03 | p << 4, f"inc {pair}")
        table.add(0x09 | p << 4, f"add hl,{pair}")
        table.add(0x0B | p << 4, f"dec {pair}")
        other = "af" if pair == "sp" else pair
        table.add(0xC1 | p << 4, f"pop {other}")
        table.add(0xC5 | p << 4, f"push {other}")
    rest: tuple[tuple[int, str, Flow], ...] = (
        (0x02, "ld (bc),a", "next"),
        (0x08, "ex af,af'", "next"),
        (0x0A, "ld a,(bc)", "next"),
        (0x10, "djnz {near}", "branch"),
        (0x12, "ld (de),a", "next"),
        (0x18, "jr {near}", "jump"),
        (0x1A, "ld a,(de)", "next"),
        (0x20, "jr nz,{near}", "branch"),
        (0x22, "ld ({data}),hl", "next"),
        (0x28, "jr z,{near}", "branch"),
        (0x2A, "ld hl,({data})", "next"),
        (0x30, "jr nc,{near}", "branch"),
        (0x32, "ld ({data}),a", "next"),
        (0x38, "jr c,{near}", "branch"),
        (0x3A, "ld a,({data})", "next"),
        (0xC3, "jp {code}", "jump"),
        (0xC9, "ret", "return"),
        (0xCD, "call {code}", "call"),
        (0xD3, "out ({port}),a", "next"),
        (0xD9, "exx", "next"),
        (0xDB, "in a,({port})", "next"),
        (0xE3, "ex (sp),hl", "next"),
        (0xE9, "jp (hl)", "return"),
        (0xEB, "ex de,hl", "next"),
        (0xF3, "di", "next"),
        (0xF9, "ld sp,hl", "next"),
        (0xFB, "ei", "next"),
    )
    for code, text, flow in rest:
        table.add(code, text, flow)


def _bits_z80(table: Table) -> None:
    for r, register in enumerate(_ZR):
        for n in range(8):
            if _ROT[n]:
                table.add(bytes([0xCB, n << 3 | r]), f"{_ROT[n]} {register}")
            for base, word in ((0x40, "bit"), (0x80, "res"), (0xC0, "set")):
                table.add(bytes([0xCB, base | n << 3 | r]), f"{word} {n},{register}")


def _extended_z80(table: Table) -> None:
    for r, register in enumerate(_ZR):
        if register != "(hl)":
            table.add(bytes([0xED, 0x40 | r << 3]), f"in {register},(c)")
            table.add(bytes([0xED, 0x41 | r << 3]), f"out (c),{register}")
    for p, pair in enumerate(_ZRP):
        table.add(bytes([0xED, 0x42 | p << 4]), f"sbc hl,{pair}")
        table.add(bytes([0xED, 0x4A | p << 4]), f"adc hl,{pair}")
        if pair != "hl":
            table.add(bytes([0xED, 0x43 | p << 4]), f"ld ({{data}}),{pair}")
            table.add(bytes([0xED, 0x4B | p << 4]), f"ld {pair},({{data}})")
    rest = {0x44: "neg", 0x46: "im 0", 0x56: "im 1", 0x5E: "im 2", 0x47: "ld i,a", 0x4F: "ld r,a"}
    rest |= {0x57: "ld a,i", 0x5F: "ld a,r", 0x67: "rrd", 0x6F: "rld"}
    for code, text in rest.items():
        table.add(bytes([0xED, code]), text)
    table.add(b"\xed\x45", "retn", "return")
    table.add(b"\xed\x4d", "reti", "return")
    for n, word in enumerate(_BLOCK):
        for step, suffix in ((0x00, "i"), (0x08, "d"), (0x10, "ir"), (0x18, "dr")):
            name = {"oti": "outi", "otd": "outd"}.get(word + suffix, word + suffix)
            table.add(bytes([0xED, 0xA0 + n + step]), name)


def _indexed_z80(table: Table, prefix: int, x: str) -> None:
    at = f"({x}+{{shift}})"
    for p, pair in enumerate(("bc", "de", x, "sp")):
        table.add(bytes([prefix, 0x09 | p << 4]), f"add {x},{pair}")
    for r, register in enumerate(_ZR):
        if register != "(hl)":
            table.add(bytes([prefix, 0x46 | r << 3]), f"ld {register},{at}")
            table.add(bytes([prefix, 0x70 | r]), f"ld {at},{register}")
        table.add(bytes([prefix, 0x86 | r << 3]), f"{_ZALU[r]}{at}")
        if _ROT[r]:
            table.add(bytes([prefix, 0xCB]), f"{_ROT[r]} {at}", tail=r << 3 | 6)
        for base, word in ((0x40, "bit"), (0x80, "res"), (0xC0, "set")):
            table.add(bytes([prefix, 0xCB]), f"{word} {r},{at}", tail=base | r << 3 | 6)
    rest: tuple[tuple[int, str, Flow], ...] = (
        (0x21, f"ld {x},{{word}}", "next"),
        (0x22, f"ld ({{data}}),{x}", "next"),
        (0x23, f"inc {x}", "next"),
        (0x2A, f"ld {x},({{data}})", "next"),
        (0x2B, f"dec {x}", "next"),
        (0x34, f"inc {at}", "next"),
        (0x35, f"dec {at}", "next"),
        (0x36, f"ld {at},{{byte}}", "next"),
        (0xE1, f"pop {x}", "next"),
        (0xE3, f"ex (sp),{x}", "next"),
        (0xE5, f"push {x}", "next"),
        (0xE9, f"jp ({x})", "return"),
        (0xF9, f"ld sp,{x}", "next"),
    )
    for code, text, flow in rest:
        table.add(bytes([prefix, code]), text, flow)


def _forms_z80() -> tuple[Form, ...]:
    table = Table()
    _base_z80(table)
    _bits_z80(table)
    _extended_z80(table)
    _indexed_z80(table, 0xDD, "ix")
    _indexed_z80(table, 0xFD, "iy")
    return table.rows()


_RESTARTS = (("reset", 0), *((f"rst{n}", n * 8) for n in range(1, 8)))
_TRAPS = (("trap", 0x24), ("rst55", 0x2C), ("rst65", 0x34), ("rst75", 0x3C))

CPUS = (
    Cpu(
        "8080", "8080", _forms_8080(), big_endian=False, source="8080/8085 ALPM (1977), from memory", entries=_RESTARTS
    ),
    Cpu(
        "8085",
        "8085",
        _forms_8085(),
        big_endian=False,
        source="8080/8085 ALPM (1977), from memory",
        entries=(*_RESTARTS, *_TRAPS),
        base="8080",
    ),
    Cpu(
        "Z80",
        "Z80, documented instructions",
        _forms_z80(),
        big_endian=False,
        source="UM0080, from memory",
        entries=(*_RESTARTS, ("nmi", 0x66)),
        base="8080",
    ),
)
