"""How an assembler wants its source: numbers, directives, labels, and what it does not encode as it was.

Each CPU has the dialect of an assembler that is freely had; the listing names it. An instruction that this assembler
would encode in another way, or not at all, is written as bytes with the instruction beside it.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

from romassay.cpus.assemble import encode_indexed
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.model import Instruction, Name


@dataclass(frozen=True, slots=True)
class Dialect:
    """What one assembler wants.

    Attributes:
        assembler: its name, as it is installed.
        command: how it is called; '{in}' and '{out}' stand for the files.
        hex: a number's format for 2 and for 4 digits.
        header: lines before everything else.
        org: the line that sets the address.
        equate: the line that gives a name a value.
        byte: the directive for bytes.
        word: the directive for words in the CPU's own order, or None.
        text: the directive for texts in quotes.
        mixed: whether it takes numbers as well.
        lost_branches: whether it errs over branches to what has no name.
        parted: the line that parts jumps within a block that stand close together, where its linker errs over four of
            them; nothing where it does not.
        fill: the line for so many bytes of one value, '{count}' and '{value}'; nothing where there is none.
        colon: what follows a label.
        end: lines after everything else.
    """

    assembler: str
    command: str
    byte_format: str
    word_format: str
    header: tuple[str, ...]
    org: str
    equate: str
    byte: str
    word: str | None
    text: str
    fill: str
    mixed: bool = True
    lost_branches: bool = False
    parted: str = ""
    colon: str = ":"
    end: tuple[str, ...] = ()

    def number(self, value: int, digits: int = 2) -> str:
        """Return a number of two or four hex digits; a negative one by its sign."""
        if value < 0:
            return "-" + self.number(-value, digits)
        style = self.byte_format if digits <= 2 and value <= 0xFF else self.word_format
        return style.format(value)


_DOLLAR = ("${:02x}", "${:04x}")
_H = ("0{:02x}h", "0{:04x}h")

_TASS = "64tass --quiet --nostart -o {out} {in}"
_ASM80 = "asm80 -n -m {machine} -t hex -o {{out}} {{in}}"


def _tass(cpu: str) -> Dialect:
    header = (f'        .cpu "{cpu}"',)
    return Dialect(
        "64tass",
        _TASS,
        *_DOLLAR,
        header,
        "        * = {}",
        "{} = {}",
        ".byte",
        ".word",
        ".text",
        ".fill {count},{value}",
    )


def _crasm(cpu: str) -> Dialect:
    header = (f"        cpu {cpu}", "        code")
    return Dialect(
        "crasm",
        "crasm -o {out} {in}",
        *_DOLLAR,
        header,
        "        * = {}",
        "{} = {}",
        "db",
        "dw",
        "asc",
        "ds {count},{value}",
        mixed=False,
        colon="",
    )


def _asm80(machine: str, form: tuple[str, str]) -> Dialect:
    return Dialect(
        "asm80",
        _ASM80.format(machine=machine),
        *form,
        (),
        "        .org {}",
        "{} equ {}",
        "db",
        "dw",
        "db",
        "fill {value},{count}",
    )


_OWN = Dialect("romassay", "romassay", *_H, (), "        org {}", "{} = {}", "db", "dw", "db", "ds {count},{value}")

DIALECTS: dict[Name, Dialect] = {
    "6502": _tass("6502"),
    "65C02": _tass("w65c02"),
    "6800": _crasm("6800"),
    "6801": _crasm("6801"),
    "6809": _asm80("M6809", _DOLLAR),
    "8080": _asm80("I8080", _H),
    "8085": _asm80("I8080", _H),
    "Z80": Dialect(
        "pasmo",
        "pasmo --bin {in} {out}",
        *_H,
        (),
        "        org {}",
        "{} equ {}",
        "defb",
        "defw",
        "defb",
        "defs {count},{value}",
    ),
    "8048": _OWN,
    "8051": Dialect(
        "sdas8051",
        "sdas8051 -o {out}.rel {in} && sdld -i {out}.ihx {out}.rel",
        "0x{:02x}",
        "0x{:04x}",
        ("        .area CODE (ABS,CODE)",),
        "        .org {}",
        "{} = {}",
        ".db",
        ".dw",
        ".ascii",
        "",
        mixed=False,
        lost_branches=True,
        parted=".ds 0",
    ),
    "1802": _asm80("CDP1802", _H),
}
"""The 8048 has no assembler in the package registries: `romassay.cpus.assemble` takes its listing back, and every
other."""


_WIDER: dict[Name, Name] = {"6800": "6801"}
"""CPUs whose assembler takes the short addresses of a wider set as well."""


_WORDS = """abs acos align and asc asin atan ceil code cos cpu cseg db dd dc defb defined defm defs defw ds dseg dummy
dw else elseif end endif endm endp eq equ exitm exp extern floor ge global gt high if ifdef ifndef incbin include irp
irpc le list local log low lt macro mod nam name ne not nul or org page pragma proc public random rept round set shl shr
sin skip sqrt tan xor"""
KEYWORDS = frozenset(_WORDS.split())
"""Words that an assembler takes for a directive or a function, and never for the name of a place; found by trial."""


@cache
def _twins(name: Name) -> frozenset[str]:
    """Return the texts of the forms that have both a short and a long address, to the assembler."""
    forms = cpu_of(_WIDER.get(name, name)).forms
    return frozenset(form.text for form in forms if any(o.kind == "direct" for o in form.operands))


def takes_back(name: Name, instruction: Instruction, code: bytes) -> bool:
    """Tell whether the dialect's assembler makes these very bytes of the instruction's text."""
    form = instruction.form
    for value in instruction.values:
        if value.kind in ("data", "code") and value.number <= 0xFF and form.text in _twins(name):
            return False
        if value.kind in ("near", "far") and not _within_reach(instruction, value.number):
            return False
    if name == "1802" and any(value.kind == "page" for value in instruction.values):
        return instruction.address >> 8 == (instruction.address + 1) >> 8
    if name == "8051" and any(value.kind == "block" for value in instruction.values):
        return instruction.address >> 11 == (instruction.address + instruction.size) >> 11
    if name == "8085" and form.mnemonic in ("rim", "sim"):
        return False
    return name != "6809" or _asm80_takes(instruction, code)


def _within_reach(instruction: Instruction, target: int) -> bool:
    """Tell whether a relative target needs no step past the end or the beginning of memory."""
    return abs(target - instruction.address) < 0x8000


_SMALL = range(-16, 16)
_SHORT = range(128, 256)


def _asm80_takes(instruction: Instruction, code: bytes) -> bool:
    """Tell whether asm80 1.11 encodes a 6809 instruction as it was; where it errs is known from trials."""
    for operand, value in zip(instruction.form.operands, instruction.values, strict=True):
        if operand.kind != "indexed":
            continue
        if value.text.endswith(("pcr", "pcr]")):
            return False
        indirect = value.text.startswith("[")
        if (
            "{}" in value.text
            and "," in value.text
            and (value.number in _SHORT or (indirect and value.number in _SMALL))
        ):
            return False
        try:
            text = value.text.replace("{}", str(value.number))
            if encode_indexed(text) != code[operand.at :]:
                return False
        except ValueError:
            return False
    return True
