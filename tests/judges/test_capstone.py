"""The instruction tables against capstone, for the CPUs that it knows; each difference is excused by name."""

from __future__ import annotations

import random

import pytest

from romassay.cpus.catalogue import cpu_of
from romassay.cpus.decode import decode
from romassay.cpus.model import Name
from tools import need_module

MODES: dict[Name, tuple[str, str]] = {
    "6502": ("CS_ARCH_MOS65XX", "CS_MODE_MOS65XX_6502"),
    "65C02": ("CS_ARCH_MOS65XX", "CS_MODE_MOS65XX_W65C02"),
    "6800": ("CS_ARCH_M680X", "CS_MODE_M680X_6800"),
    "6801": ("CS_ARCH_M680X", "CS_MODE_M680X_6801"),
    "6809": ("CS_ARCH_M680X", "CS_MODE_M680X_6809"),
}

NO_INSTRUCTION = {"fcb"}
"""What capstone calls a byte that is none."""

EXCUSED = {
    ("6502", "brk"): "capstone counts the byte behind BRK as its own",
    ("65C02", "brk"): "the same",
    ("65C02", "nop"): "capstone names the reserved opcodes, which do nothing, NOP; the table leaves them out",
}


POSTBYTES = frozenset(
    form.code[0] for form in cpu_of("6809").forms if {o.kind for o in form.operands} & {"indexed", "pair", "set"}
)
"""Opcodes with a postbyte: capstone decodes some that the data sheet leaves undefined, and the table does not."""


def same(ours: str, theirs: str) -> bool:
    """Tell whether two mnemonics mean one instruction: asl and lsl, bcc and bhs, bcs and blo are the same."""
    pairs = {("asl", "lsl"), ("asla", "lsla"), ("aslb", "lslb"), ("asld", "lsld"), ("bcc", "bhs"), ("bcs", "blo")}
    pairs |= {("lbcc", "lbhs"), ("lbcs", "lblo")}
    return ours == theirs or (ours, theirs) in pairs or (theirs, ours) in pairs


@pytest.mark.parametrize("name", MODES)
def test_legal_opcodes_mnemonics_and_sizes_agree(name: Name) -> None:
    capstone = need_module("capstone")
    architecture, mode = MODES[name]
    judge = capstone.Cs(getattr(capstone, architecture), getattr(capstone, mode))
    rng = random.Random(name)
    cpu = cpu_of(name)
    different: set[tuple[str, str, int, int]] = set()
    for first in range(256):
        for _ in range(24):
            code = bytes([first]) + rng.randbytes(5)
            mine = decode(cpu, code, 0, 0x1000)
            theirs = next(judge.disasm(code, 0x1000), None)
            known = theirs is not None and theirs.mnemonic not in NO_INSTRUCTION
            word = mine.form.mnemonic if mine else theirs.mnemonic if theirs else ""
            if (name, word) in EXCUSED or (name == "6809" and mine is None and first in POSTBYTES):
                continue
            if mine is None or not known:
                if known or mine is not None:
                    different.add((f"{first:02X}", mine.form.text if mine else "-", 0, 0))
                continue
            ours = mine.form.mnemonic
            if name == "65C02" and ours in ("rmb", "smb", "bbr", "bbs"):
                ours += mine.form.text.split(" ")[1][0]
            if not same(ours, theirs.mnemonic) or mine.size != theirs.size:
                different.add((ours, theirs.mnemonic, mine.size, theirs.size))
    assert not different
