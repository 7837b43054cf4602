"""The 6809: the instruction table, and its postbytes.

Source: MC6809 data sheet (1983), instruction tables and the table of indexed addressing modes. From memory, checked
against capstone and an assembler.
"""

from __future__ import annotations

from romassay.cpus.family_6800 import BRANCHES, UNARY
from romassay.cpus.model import Cpu, Flow, Form, Value
from romassay.cpus.table import Table

_INHERENT = """
nop 12 sync 13 daa 19 sex 1D rts 39 abx 3A rti 3B mul 3D swi 3F
"""

_ROWS = "suba 80 cmpa 81 sbca 82 anda 84 bita 85 lda 86 eora 88 adca 89 ora 8A adda 8B \
subb C0 cmpb C1 sbcb C2 andb C4 bitb C5 ldb C6 eorb C8 adcb C9 orb CA addb CB"
_WIDE = "subd 83 cmpx 8C ldx 8E addd C3 ldd CC ldu CE cmpd 1083 cmpy 108C ldy 108E lds 10CE cmpu 1183 cmps 118C"
_STORES = "sta 87 stx 8F stb C7 std CD stu CF sty 108F sts 10CF"


def _pairs(text: str) -> list[tuple[str, bytes]]:
    words = text.split()
    return [(mnemonic, bytes.fromhex(code)) for mnemonic, code in zip(words[::2], words[1::2], strict=True)]


def _add(code: bytes, step: int) -> bytes:
    return code[:-1] + bytes([code[-1] + step])


def _columns(table: Table, code: bytes, mnemonic: str, immediate: str) -> None:
    if immediate:
        table.add(code, f"{mnemonic} #{immediate}")
    for step, operand in ((0x10, "{direct}"), (0x20, "{indexed}"), (0x30, "{data}")):
        table.add(_add(code, step), f"{mnemonic} {operand}")


def _forms() -> tuple[Form, ...]:
    table = Table()
    for mnemonic, code in _pairs(_INHERENT):
        table.add(code, mnemonic, "return" if mnemonic in ("rts", "rti") else "next")
    for mnemonic, row in UNARY.items():
        for step, operand in ((0x00, "{direct}"), (0x60, "{indexed}"), (0x70, "{data}")):
            table.add(row + step, f"{mnemonic} {operand}")
        table.add(0x40 + row, mnemonic + "a")
        table.add(0x50 + row, mnemonic + "b")
    for mnemonic, code in _pairs(_ROWS):
        _columns(table, code, mnemonic, "{byte}")
    for mnemonic, code in _pairs(_WIDE):
        _columns(table, code, mnemonic, "{word}")
    for mnemonic, code in _pairs(_STORES):
        _columns(table, code, mnemonic, "")
    for mnemonic, row in BRANCHES.items():
        table.add(0x20 + row, f"{mnemonic} {{near}}", "branch")
        table.add(bytes([0x10, 0x20 + row]), f"l{mnemonic} {{far}}", "branch")
    rest: tuple[tuple[bytes, str, Flow], ...] = (
        (b"\x0e", "jmp {direct}", "return"),
        (b"\x16", "lbra {far}", "jump"),
        (b"\x17", "lbsr {far}", "call"),
        (b"\x1a", "orcc #{byte}", "next"),
        (b"\x1c", "andcc #{byte}", "next"),
        (b"\x1e", "exg {pair}", "next"),
        (b"\x1f", "tfr {pair}", "next"),
        (b"\x20", "bra {near}", "jump"),
        (b"\x21", "brn {near}", "next"),
        (b"\x10\x21", "lbrn {far}", "next"),
        (b"\x30", "leax {indexed}", "next"),
        (b"\x31", "leay {indexed}", "next"),
        (b"\x32", "leas {indexed}", "next"),
        (b"\x33", "leau {indexed}", "next"),
        (b"\x34", "pshs {set}", "next"),
        (b"\x35", "puls {set}", "next"),
        (b"\x36", "pshu {set}", "next"),
        (b"\x37", "pulu {set}", "next"),
        (b"\x3c", "cwai #{byte}", "next"),
        (b"\x6e", "jmp {indexed}", "return"),
        (b"\x7e", "jmp {code}", "jump"),
        (b"\x8d", "bsr {near}", "call"),
        (b"\x9d", "jsr {direct}", "next"),
        (b"\xad", "jsr {indexed}", "next"),
        (b"\xbd", "jsr {code}", "call"),
        (b"\x10\x3f", "swi2", "next"),
        (b"\x11\x3f", "swi3", "next"),
    )
    for code, text, flow in rest:
        table.add(code, text, flow)
    return table.rows()


_INDEX = ("x", "y", "u", "s")
_STEPS = {0: ",{r}+", 1: ",{r}++", 2: ",-{r}", 3: ",--{r}", 4: ",{r}", 5: "b,{r}", 6: "a,{r}", 11: "d,{r}"}
_LENGTHS = {8: 1, 9: 2, 12: 1, 13: 2, 15: 2}
_PAIR = ("d", "x", "y", "u", "s", "pc", "", "", "a", "b", "cc", "dp", "", "", "", "")
_SET = ("cc", "a", "b", "dp", "x", "y", "u", "pc")


def indexed_length(post: int) -> int | None:
    """Return the bytes behind a postbyte of indexed addressing, or None where it is not legal."""
    if not post & 0x80:
        return 0
    mode, indirect, register = post & 15, post & 16, post >> 5 & 3
    if mode in (7, 10, 14) or (mode in (0, 2) and indirect):
        return None
    if mode == 15:
        return 2 if post == 0x9F else None
    if mode in (12, 13) and register:
        return None
    return _LENGTHS.get(mode, 0)


def indexed(data: bytes, at: int, address: int) -> tuple[int, Value] | None:
    """Decode a postbyte of indexed addressing and what follows it.

    Args:
        data: the bytes of the instruction, at least as far as they are needed.
        at: where the postbyte stands.
        address: of data[0].

    Returns:
        The bytes behind the postbyte and the operand, or None where it is not legal.
    """
    post = data[at]
    length = indexed_length(post)
    if length is None or at + 1 + length > len(data):
        return None
    register = _INDEX[post >> 5 & 3]
    if not post & 0x80:
        number = (post & 31) - (32 if post & 16 else 0)
        return 0, Value("shift", number, "{}," + register)
    raw = data[at + 1 : at + 1 + length]
    mode = post & 15
    kind: Value
    if mode in _STEPS:
        kind = Value("indexed", 0, _STEPS[mode].format(r=register))
    elif mode == 15:
        kind = Value("data", int.from_bytes(raw, "big"), "{}")
    elif mode in (12, 13):
        distance = int.from_bytes(raw, "big", signed=True)
        kind = Value("data", (address + at + 1 + length + distance) & 0xFFFF, "{},pcr")
    elif mode == 8:
        kind = Value("shift", int.from_bytes(raw, "big", signed=True), "{}," + register)
    else:
        kind = Value("word", int.from_bytes(raw, "big"), "{}," + register)
    if post & 16:
        kind = Value(kind.kind, kind.number, f"[{kind.text}]")
    return length, kind


def pair(post: int) -> Value | None:
    """Decode the two registers of an exchange or transfer; None where they are none, or of different widths."""
    first, second = _PAIR[post >> 4], _PAIR[post & 15]
    if not first or not second or (post ^ post >> 4) & 8:
        return None
    return Value("pair", post, f"{first},{second}")


def register_set(post: int, *, user: bool) -> Value | None:
    """Decode the registers to push or pull; `user` where the stack is U and the other pointer S."""
    if not post:
        return None
    names = [("s" if user and name == "u" else name) for bit, name in enumerate(_SET) if post >> bit & 1]
    return Value("set", post, ",".join(names))


_VECTORS = (
    ("swi3", 0xFFF2),
    ("swi2", 0xFFF4),
    ("firq", 0xFFF6),
    ("irq", 0xFFF8),
    ("swi", 0xFFFA),
    ("nmi", 0xFFFC),
    ("reset", 0xFFFE),
)

CPUS = (Cpu("6809", "6809", _forms(), big_endian=True, source="MC6809 DS (1983), from memory", vectors=_VECTORS),)
