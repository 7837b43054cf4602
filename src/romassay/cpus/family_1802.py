"""The 1802: the instruction table.

Source: MPM-201, user manual for the CDP1802 (1976), instruction summary. From memory, checked against an assembler.
"""

from __future__ import annotations

from romassay.cpus.model import Cpu, Form
from romassay.cpus.table import Table

_REGISTERS = {1: "inc", 2: "dec", 4: "lda", 5: "str", 8: "glo", 9: "ghi", 10: "plo", 11: "phi", 13: "sep", 14: "sex"}
_PLAIN = "70 ret 71 dis 72 ldxa 73 stxd 74 adc 75 sdb 76 shrc 77 smb 78 sav 79 mark 7A req 7B seq 7E shlc C4 nop"
_PLAIN += " F0 ldx F1 or F2 and F3 xor F4 add F5 sd F6 shr F7 sm FE shl 00 idl 60 irx"
_IMMEDIATE = "7C adci 7D sdbi 7F smbi F8 ldi F9 ori FA ani FB xri FC adi FD sdi FF smi"
_SHORT = "31 bq 32 bz 33 bdf 34 b1 35 b2 36 b3 37 b4 39 bnq 3A bnz 3B bnf 3C bn1 3D bn2 3E bn3 3F bn4"
_LONG = "C1 lbq C2 lbz C3 lbdf C9 lbnq CA lbnz CB lbnf"
_SKIPS = "C5 lsnq C6 lsnz C7 lsnf C8 lskp CC lsie CD lsq CE lsz CF lsdf"


def _pairs(text: str) -> list[tuple[int, str]]:
    words = text.split()
    return [(int(code, 16), mnemonic) for code, mnemonic in zip(words[::2], words[1::2], strict=True)]


def _forms() -> tuple[Form, ...]:
    table = Table()
    for row, mnemonic in _REGISTERS.items():
        for n in range(16):
            table.add(row << 4 | n, f"{mnemonic} r{n}")
    for n in range(1, 16):
        table.add(n, f"ldn r{n}")
    for n in range(1, 8):
        table.add(0x60 + n, f"out {n}")
        table.add(0x68 + n, f"inp {n}")
    for code, mnemonic in _pairs(_PLAIN):
        table.add(code, mnemonic)
    for code, mnemonic in _pairs(_IMMEDIATE):
        table.add(code, mnemonic + " {byte}")
    for code, mnemonic in _pairs(_SHORT):
        table.add(code, mnemonic + " {page}", "branch")
    for code, mnemonic in _pairs(_LONG):
        table.add(code, mnemonic + " {code}", "branch")
    for code, mnemonic in _pairs(_SKIPS):
        table.add(code, mnemonic, "skip", skips=2)
    table.add(0x30, "br {page}", "jump")
    table.add(0x38, "skp", "skip", skips=1)
    table.add(0xC0, "lbr {code}", "jump")
    return table.rows()


CPUS = (Cpu("1802", "1802", _forms(), big_endian=True, source="MPM-201 (1976), from memory", entries=(("reset", 0),)),)
