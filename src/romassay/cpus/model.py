"""What an instruction set is, as values: forms, operands, flow, and the instructions that a decoder makes of bytes."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Literal

Name = Literal["6502", "65C02", "6800", "6801", "6809", "8080", "8085", "Z80", "8048", "8051", "1802"]

Kind = Literal[
    "byte",  # an 8-bit constant
    "word",  # a 16-bit constant, which may be an address
    "direct",  # an 8-bit address in page zero, or in the internal RAM of a single chip
    "bit",  # an 8-bit bit address (8051)
    "port",  # an 8-bit port number
    "shift",  # a signed 8-bit displacement from an index register
    "offset",  # an unsigned 8-bit displacement from an index register
    "data",  # a 16-bit address of data
    "code",  # a 16-bit address of code
    "near",  # an 8-bit signed distance from the next instruction
    "far",  # a 16-bit distance from the next instruction
    "page",  # the low 8 bits of an address in the page of the operand itself
    "block",  # 11 bits of an address in the 2 KiB of the next instruction: 3 of them in the opcode
    "indexed",  # a postbyte and what it asks for (6809)
    "pair",  # two registers in a postbyte (6809)
    "set",  # registers to push or pull in a postbyte (6809)
]

SIZES: Mapping[Kind, int] = {
    "byte": 1,
    "word": 2,
    "direct": 1,
    "bit": 1,
    "port": 1,
    "shift": 1,
    "offset": 1,
    "data": 2,
    "code": 2,
    "near": 1,
    "far": 2,
    "page": 1,
    "block": 1,
    "indexed": 1,
    "pair": 1,
    "set": 1,
}
"""Bytes of an operand; of an indexed one, those of the postbyte alone."""

CODE_KINDS: frozenset[Kind] = frozenset(("code", "near", "far", "page", "block"))
"""Operands that name a place in the code."""

Flow = Literal[
    "next",  # goes on behind itself
    "branch",  # goes on behind itself or at its target
    "skip",  # goes on behind itself, or past what follows
    "jump",  # goes on at its target
    "call",  # goes on at its target, and later behind itself
    "return",  # does not go on behind itself, and nothing tells where
    "maybe",  # returns, or goes on behind itself
    "stop",  # does not go on
]

ENDS: frozenset[Flow] = frozenset(("jump", "return", "stop"))
"""What never goes on behind itself."""


@dataclass(frozen=True, slots=True)
class Operand:
    """One operand of a form: its kind, and where its bytes begin in the instruction."""

    kind: Kind
    at: int


@dataclass(frozen=True, slots=True)
class Form:
    """One row of an instruction table.

    Attributes:
        code: the bytes that it begins with.
        text: as the assembler wants it, with '{}' for each operand.
        operands: in the order of the text.
        size: bytes, the opcode and all operands; without what a 6809 postbyte asks for.
        flow: where it goes on.
        tail: the byte behind the operand that also belongs to the opcode (Z80, DD CB d op), or None.
        target: where it goes on, where the opcode itself says it (RST).
        skips: bytes that it may skip.
    """

    code: bytes
    text: str
    operands: tuple[Operand, ...] = ()
    size: int = 1
    flow: Flow = "next"
    tail: int | None = None
    target: int | None = None
    skips: int = 0

    @property
    def mnemonic(self) -> str:
        """The first word of the text."""
        return self.text.split(" ", 1)[0]


@dataclass(frozen=True, slots=True)
class Value:
    """An operand as decoded: what the bytes say, and the number of it.

    `number` is the target's address for distances and pages, the constant or address otherwise, signed for a shift.
    `text` holds the whole operand where it is more than a number (6809 postbytes), with '{}' where the number belongs.
    """

    kind: Kind
    number: int
    text: str = "{}"


@dataclass(frozen=True, slots=True)
class Instruction:
    """A decoded instruction.

    Attributes:
        address: of its first byte.
        form: the row of the table.
        size: bytes in all.
        values: one for each operand.
        flow: where it goes on; a postbyte may make it another than the form's.
        target: the address at which it may go on, where its bytes say so.
    """

    address: int
    form: Form
    size: int
    values: tuple[Value, ...]
    flow: Flow
    target: int | None = None


@dataclass(frozen=True, slots=True, eq=False)
class Cpu:
    """An instruction set.

    Attributes:
        name: the type number.
        title: in words.
        forms: every documented instruction.
        big_endian: True where the high byte of a word comes first.
        vectors: (name, address from the top of memory or from its bottom), each holding the address of a routine.
        entries: (name, address) at which the CPU itself begins, and where interrupts go.
        address_bits: lines of program memory.
        source: the handbook that the table was made after.
        base: the name of the set that this one contains, where that one is to be preferred.
    """

    name: Name
    title: str
    forms: tuple[Form, ...]
    big_endian: bool
    source: str
    vectors: tuple[tuple[str, int], ...] = ()
    entries: tuple[tuple[str, int], ...] = ()
    address_bits: int = 16
    base: Name | None = None
