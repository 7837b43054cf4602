"""The 6502 and the 65C02: their instruction tables.

Sources: 6502 programming manual (6500-50A, 1976), appendix of opcodes; W65C02S data sheet, opcode matrix, which has the
bit instructions too. From memory, checked against capstone and two assemblers.
"""

from __future__ import annotations

from romassay.cpus.model import Cpu, Flow, Form
from romassay.cpus.table import Table

_MODES = {
    "imp": "",
    "acc": " a",
    "imm": " #{byte}",
    "zp": " {direct}",
    "zpx": " {direct},x",
    "zpy": " {direct},y",
    "abs": " {data}",
    "abx": " {data},x",
    "aby": " {data},y",
    "inx": " ({direct},x)",
    "iny": " ({direct}),y",
    "izp": " ({direct})",
    "rel": " {near}",
}

_6502 = """
adc imm 69 zp 65 zpx 75 abs 6D abx 7D aby 79 inx 61 iny 71
and imm 29 zp 25 zpx 35 abs 2D abx 3D aby 39 inx 21 iny 31
asl acc 0A zp 06 zpx 16 abs 0E abx 1E
bit zp 24 abs 2C
clc imp 18
cld imp D8
cli imp 58
clv imp B8
cmp imm C9 zp C5 zpx D5 abs CD abx DD aby D9 inx C1 iny D1
cpx imm E0 zp E4 abs EC
cpy imm C0 zp C4 abs CC
dec zp C6 zpx D6 abs CE abx DE
dex imp CA
dey imp 88
eor imm 49 zp 45 zpx 55 abs 4D abx 5D aby 59 inx 41 iny 51
inc zp E6 zpx F6 abs EE abx FE
inx imp E8
iny imp C8
lda imm A9 zp A5 zpx B5 abs AD abx BD aby B9 inx A1 iny B1
ldx imm A2 zp A6 zpy B6 abs AE aby BE
ldy imm A0 zp A4 zpx B4 abs AC abx BC
lsr acc 4A zp 46 zpx 56 abs 4E abx 5E
nop imp EA
ora imm 09 zp 05 zpx 15 abs 0D abx 1D aby 19 inx 01 iny 11
pha imp 48
php imp 08
pla imp 68
plp imp 28
rol acc 2A zp 26 zpx 36 abs 2E abx 3E
ror acc 6A zp 66 zpx 76 abs 6E abx 7E
sbc imm E9 zp E5 zpx F5 abs ED abx FD aby F9 inx E1 iny F1
sec imp 38
sed imp F8
sei imp 78
sta zp 85 zpx 95 abs 8D abx 9D aby 99 inx 81 iny 91
stx zp 86 zpy 96 abs 8E
sty zp 84 zpx 94 abs 8C
tax imp AA
tay imp A8
tsx imp BA
txa imp 8A
txs imp 9A
tya imp 98
"""

_65C02 = """
adc izp 72
and izp 32
bit imm 89 zpx 34 abx 3C
cmp izp D2
dec acc 3A
eor izp 52
inc acc 1A
lda izp B2
ora izp 12
phx imp DA
phy imp 5A
plx imp FA
ply imp 7A
sbc izp F2
sta izp 92
stz zp 64 zpx 74 abs 9C abx 9E
trb zp 14 abs 1C
tsb zp 04 abs 0C
wai imp CB
"""

_BRANCHES = {"bpl": 0x10, "bmi": 0x30, "bvc": 0x50, "bvs": 0x70, "bcc": 0x90, "bcs": 0xB0, "bne": 0xD0, "beq": 0xF0}


def _add_modes(table: Table, text: str) -> None:
    for line in text.strip().splitlines():
        mnemonic, *pairs = line.split()
        for mode, code in zip(pairs[::2], pairs[1::2], strict=True):
            table.add(int(code, 16), mnemonic + _MODES[mode])


def _forms_6502() -> tuple[Form, ...]:
    table = Table()
    _add_modes(table, _6502)
    for mnemonic, code in _BRANCHES.items():
        table.add(code, mnemonic + " {near}", "branch")
    flows: tuple[tuple[int, str, Flow], ...] = (
        (0x00, "brk", "next"),
        (0x20, "jsr {code}", "call"),
        (0x40, "rti", "return"),
        (0x4C, "jmp {code}", "jump"),
        (0x60, "rts", "return"),
        (0x6C, "jmp ({data})", "return"),
    )
    for code, text, flow in flows:
        table.add(code, text, flow)
    return table.rows()


def _forms_65c02() -> tuple[Form, ...]:
    table = Table(_forms_6502())
    _add_modes(table, _65C02)
    table.add(0x80, "bra {near}", "jump")
    table.add(0x7C, "jmp ({data},x)", "return")
    table.add(0xDB, "stp", "stop")
    for bit in range(8):
        table.add(0x07 + bit * 16, f"rmb {bit},{{direct}}")
        table.add(0x87 + bit * 16, f"smb {bit},{{direct}}")
        table.add(0x0F + bit * 16, f"bbr {bit},{{direct}},{{near}}", "branch")
        table.add(0x8F + bit * 16, f"bbs {bit},{{direct}},{{near}}", "branch")
    return table.rows()


_VECTORS = (("nmi", 0xFFFA), ("reset", 0xFFFC), ("irq", 0xFFFE))

CPUS = (
    Cpu("6502", "6502", _forms_6502(), big_endian=False, source="6500-50A (1976), from memory", vectors=_VECTORS),
    Cpu(
        "65C02",
        "65C02, with the bit instructions",
        _forms_65c02(),
        big_endian=False,
        source="W65C02S data sheet, from memory",
        vectors=_VECTORS,
        base="6502",
    ),
)
