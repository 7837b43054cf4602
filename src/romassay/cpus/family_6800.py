"""The 6800 and the 6801: their instruction tables.

Sources: M6800 programming reference manual (1976), table of opcodes; MC6801 reference manual (1980). From memory,
checked against capstone and two assemblers.
"""

from __future__ import annotations

from romassay.cpus.model import Cpu, Flow, Form
from romassay.cpus.table import Table

_INHERENT = """
nop 01 tap 06 tpa 07 inx 08 dex 09 clv 0A sev 0B clc 0C sec 0D cli 0E sei 0F
sba 10 cba 11 tab 16 tba 17 daa 19 aba 1B tsx 30 ins 31 pula 32 pulb 33 des 34 txs 35 psha 36 pshb 37
"""

_ACCUMULATOR = ("sub", "cmp", "sbc", "", "and", "bit", "lda", "sta", "eor", "adc", "ora", "add")
UNARY = {"neg": 0, "com": 3, "lsr": 4, "ror": 6, "asr": 7, "asl": 8, "rol": 9, "dec": 10, "inc": 12, "tst": 13}
UNARY |= {"clr": 15}
"""Low half of the opcode of what works on one operand, by mnemonic; the 6809 has the same."""

BRANCHES = {"bhi": 2, "bls": 3, "bcc": 4, "bcs": 5, "bne": 6, "beq": 7, "bvc": 8, "bvs": 9, "bpl": 10, "bmi": 11}
BRANCHES |= {"bge": 12, "blt": 13, "bgt": 14, "ble": 15}
"""Low half of the opcode of each conditional branch; the 6809 has the same."""

_COLUMNS = ((0x00, "{byte}"), (0x10, "{direct}"), (0x20, "{offset},x"), (0x30, "{data}"))
_WIDE = ((0x00, "{word}"), (0x10, "{direct}"), (0x20, "{offset},x"), (0x30, "{data}"))


def _columns(table: Table, code: int, mnemonic: str, *, store: bool = False, wide: bool = False) -> None:
    """Add an instruction with its immediate, direct, indexed and extended column."""
    for step, operand in _WIDE if wide else _COLUMNS:
        if store and step == 0:
            continue
        table.add(code + step, f"{mnemonic} {'#' if step == 0 else ''}{operand}")


def _inherent(table: Table, text: str) -> None:
    words = text.split()
    for mnemonic, code in zip(words[::2], words[1::2], strict=True):
        table.add(int(code, 16), mnemonic)


def _forms_6800() -> tuple[Form, ...]:
    table = Table()
    _inherent(table, _INHERENT)
    for row, mnemonic in enumerate(_ACCUMULATOR):
        for side, letter in ((0x80, "a"), (0xC0, "b")):
            if mnemonic:
                _columns(table, side + row, mnemonic + letter, store=mnemonic == "sta")
    for mnemonic, row in UNARY.items():
        table.add(0x40 + row, mnemonic + "a")
        table.add(0x50 + row, mnemonic + "b")
        table.add(0x60 + row, mnemonic + " {offset},x")
        table.add(0x70 + row, mnemonic + " {data}")
    _columns(table, 0x8C, "cpx", wide=True)
    _columns(table, 0x8E, "lds", wide=True)
    _columns(table, 0x8F, "sts", store=True)
    _columns(table, 0xCE, "ldx", wide=True)
    _columns(table, 0xCF, "stx", store=True)
    for mnemonic, row in BRANCHES.items():
        table.add(0x20 + row, mnemonic + " {near}", "branch")
    flows: tuple[tuple[int, str, Flow], ...] = (
        (0x20, "bra {near}", "jump"),
        (0x39, "rts", "return"),
        (0x3B, "rti", "return"),
        (0x3E, "wai", "next"),
        (0x3F, "swi", "next"),
        (0x6E, "jmp {offset},x", "return"),
        (0x7E, "jmp {code}", "jump"),
        (0x8D, "bsr {near}", "call"),
        (0xAD, "jsr {offset},x", "next"),
        (0xBD, "jsr {code}", "call"),
    )
    for code, text, flow in flows:
        table.add(code, text, flow)
    return table.rows()


def _forms_6801() -> tuple[Form, ...]:
    table = Table(_forms_6800())
    _inherent(table, "lsrd 04 asld 05 pulx 38 abx 3A pshx 3C mul 3D")
    _columns(table, 0x83, "subd", wide=True)
    _columns(table, 0xC3, "addd", wide=True)
    _columns(table, 0xCC, "ldd", wide=True)
    _columns(table, 0xCD, "std", store=True)
    table.add(0x21, "brn {near}", "next")
    table.add(0x9D, "jsr {direct}", "next")
    return table.rows()


_VECTORS_6800 = (("irq", 0xFFF8), ("swi", 0xFFFA), ("nmi", 0xFFFC), ("reset", 0xFFFE))
_VECTORS_6801 = (("sci", 0xFFF0), ("tof", 0xFFF2), ("ocf", 0xFFF4), ("icf", 0xFFF6), *_VECTORS_6800)

CPUS = (
    Cpu("6800", "6800", _forms_6800(), big_endian=True, source="M6800 PRM (1976), from memory", vectors=_VECTORS_6800),
    Cpu(
        "6801",
        "6801, 6803",
        _forms_6801(),
        big_endian=True,
        source="MC6801 RM (1980), from memory",
        vectors=_VECTORS_6801,
        base="6800",
    ),
)
