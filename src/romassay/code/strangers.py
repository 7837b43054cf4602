"""Code of a CPU that is not known here, and that shares most opcodes with one that is.

The SM83 has the 8080's registers and nine tenths of its opcodes, with loads in the place of what asks for the parity
and the sign, and with nothing in the place of what it left out. Its code looks much like that for a Z80. So it is
counted how much of the code stands at opcodes that the SM83 has not, and how much at those that only it has much use
for. The shares were counted by `training/strangers.py`; the opcodes are those of the SM83's instruction table ('Pan
Docs', gbdev.io/pandocs, CPU instruction set: from memory).
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from romassay.cpus.likeness import Segmented

_ABSENT = frozenset((0xD3, 0xDB, 0xDD, 0xE3, 0xE4, 0xEB, 0xEC, 0xED, 0xF4, 0xFC, 0xFD))
"""Opcodes that the SM83 has not: IN, OUT, XCHG, XTHL, calls by parity and sign, prefixes."""

_PARITY = frozenset((0xE0, 0xE2, 0xE8, 0xEA))
"""Returns and jumps by the parity, which hardly any program has; stores and the stack pointer of the SM83."""

_SIGN = frozenset((0xF0, 0xF2, 0xF8, 0xFA))
"""Returns and jumps by the sign; loads and the stack pointer of the SM83."""

_TWO = frozenset((0x10, 0x18, 0x20, 0x28, 0x30, 0x38, 0xCB, 0xE0, 0xE8, 0xF0, 0xF8))
_THREE = frozenset(
    (0x01, 0x08, 0x11, 0x21, 0x31, 0xC2, 0xC3, 0xC4, 0xCA, 0xCC, 0xCD, 0xD2, 0xD4, 0xDA, 0xDC, 0xEA, 0xFA)
)
_SIZES = tuple(3 if op in _THREE else 2 if op in _TWO or op & 0xC7 in (0x06, 0xC6) else 1 for op in range(256))

_HERE = (0.03, 0.0014, 0.006)
"""Shares of the instructions of programs for the 8080, 8085 and Z80 that stand at each of these, in the order above.

Counted were 0.086, 0.0014 and 0.0026; but programs without index registers have less of the first, and those that
calculate more of the last."""

_THERE = (0.0004, 0.025, 0.05)
"""Such shares of programs for the SM83. Counted were 0, 0.010 and 0.059, of programs in C; the first is not nothing,
because a table may pass for code, and hand-written programs store by fixed addresses more often."""

_MOST = 14.0
"""Nats for the SM83 that opcodes may add up to: a table of a few bytes repeats them without end."""

_START = -4.0
"""Log of the odds for the SM83 before its opcodes are looked at, where the bytes look like code for the Z80."""


def counts(data: npt.NDArray[np.uint8], division: Segmented) -> tuple[int, int, int, int]:
    """Return how many instructions of the SM83 the code holds: absent ones, by parity, by sign, in all.

    Those by parity and sign count where an instruction of the 8080's family begins as well: else they are addresses.

    Args:
        data: uint8[n].
        division: into code and other data, for the 8080's family.
    """
    raw, inside, starts = data.tolist(), division.code.tolist(), set(division.starts.tolist())
    absent = parity = sign = total = at = 0
    while at < len(raw):
        if not inside[at]:
            at += 1
            continue
        op = raw[at]
        absent += op in _ABSENT
        parity += op in _PARITY and at in starts
        sign += op in _SIGN and at in starts
        total += 1
        at += _SIZES[op]
    return absent, parity, sign, total


def sm83(data: npt.NDArray[np.uint8], division: Segmented) -> float:
    """Return the probability that code of the 8080's family is for the SM83.

    Args:
        data: uint8[n].
        division: into code and other data, for the 8080's family.
    """
    absent, parity, sign, total = counts(data, division)
    seen = (absent, parity, sign, total - absent - parity - sign)
    shares = zip(seen, (*_HERE, 1 - sum(_HERE)), (*_THERE, 1 - sum(_THERE)), strict=True)
    nats = [count * math.log(there / here) for count, here, there in shares]
    odds = _START + nats[0] + min(_MOST, sum(nats[1:]))
    return 1 / (1 + math.exp(-max(-50.0, min(50.0, odds))))
