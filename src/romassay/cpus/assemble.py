"""A small assembler, made from the same tables as the decoder: source lines in, bytes out.

It takes the mnemonics of each CPU's own table, labels with a colon, `name = value`, and the directives `org`, `db`,
`dw` and `ds`, under the names that the dialects of listings have for them. It is what puts a listing back together
where no other assembler is at hand, and how test code is made.
"""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cache

from romassay.cpus.catalogue import cpu_of
from romassay.cpus.expression import Unknown, evaluate
from romassay.cpus.family_6809 import indexed_length
from romassay.cpus.model import Cpu, Form, Kind, Name
from romassay.errors import BadValue

_PASSES = 8
_INDEX_DOWN = re.compile(r"\((ix|iy)-", re.IGNORECASE)
_QUOTED = re.compile(r"\"[^\"]*\"|'.'")
_BYTES = ("db", "byte", "defb", "fcb", "text", "asc", "ascii")
_WORDS = ("dw", "word", "defw", "fdb")
_ROOM = ("ds", "defs", "fill")
_DIRECTIVES = (*_BYTES, *_WORDS, *_ROOM, "dwl", "dwb")
_IGNORED = ("cpu", "code", "end", "area")
_Piece = tuple[int, bytes, bool]
_BARE_LABEL = re.compile(r"^([A-Za-z_.@][\w.@]*)(?:\s+|$)")
_LABEL = re.compile(r"^([A-Za-z_.@][\w.@]*):\s*")
_EQUATE = re.compile(r"^([A-Za-z_.@][\w.@]*)\s*(?:=|\bequ\b)\s*(.+)$", re.IGNORECASE)
_EQUATE_FIRST = re.compile(r"^\.equ\s+([A-Za-z_.@][\w.@]*)\s*,\s*(.+)$", re.IGNORECASE)
_ORIGIN = re.compile(r"^(?:\.?org\b|\*\s*=)\s*(.+)$", re.IGNORECASE)
_STRING = re.compile(r"""("[^"]*"|'.'|[^,"]+)(?:,|$)""")
_INDEXED = re.compile(r"^(?P<open>\[)?(?P<before>[^,\]]*)(?:,(?P<after>[^\]]+))?(?P<close>\])?$")

_REGISTERS = "a b c d e h l m f x y u s i r ab af bc de hl sp ix iy psw dptr pc pcr cc dp"
_PLACES = "bus p1 p2 t cnt tcnti clk f0 f1 rb0 rb1 mb0 mb1 tcnt"
_CONDITIONS = "nz nc po pe p z"
RESERVED = frozenset(f"{_REGISTERS} {_PLACES} {_CONDITIONS}".split()) | {f"r{n}" for n in range(16)}
"""Names of registers and conditions: they are never symbols."""


@dataclass(frozen=True, slots=True)
class Assembled:
    """What came out: bytes from an address on, the symbols, and the addresses at which instructions begin."""

    first: int
    data: bytes
    symbols: Mapping[str, int] = field(default_factory=dict)
    instructions: tuple[int, ...] = ()


@cache
def _shapes(name: Name) -> dict[str, tuple[tuple[re.Pattern[str], Form], ...]]:
    """Return the forms by mnemonic, each with the pattern of its operands; the most literal first."""
    found: dict[str, list[tuple[re.Pattern[str], Form]]] = {}
    for form in cpu_of(name).forms:
        mnemonic, _, operands = form.text.partition(" ")
        pattern = re.escape(operands.replace(" ", "")).replace(r"\{\}", "(.+)")
        found.setdefault(mnemonic, []).append((re.compile(pattern), form))
    return {
        mnemonic: tuple(sorted(shapes, key=lambda item: (-len(item[1].text.replace("{}", "")), _width(item[1]))))
        for mnemonic, shapes in found.items()
    }


def _width(form: Form) -> int:
    return sum(operand.kind == "indexed" for operand in form.operands) * 8 + form.size


def assemble(cpu: Cpu, source: str | Sequence[str], *, origin: int = 0) -> Assembled:
    """Assemble source lines.

    Args:
        cpu: the instruction set.
        source: the lines; comments begin with ';'.
        origin: address of the first byte, where no `org` says it.

    Raises:
        BadValue: a line cannot be meant; `place` says which.
    """
    lines = source.splitlines() if isinstance(source, str) else list(source)
    symbols: dict[str, int] = {}
    former: dict[str, int] | None = None
    for number in range(_PASSES):
        pieces = list(_run(cpu, lines, symbols, origin, final=former == symbols and number > 0))
        if former == symbols and number > 0:
            return _joined(pieces, symbols, origin)
        former = dict(symbols)
    raise BadValue("the addresses of this source do not settle", advice="use fewer forward references to page zero")


def _joined(pieces: list[_Piece], symbols: Mapping[str, int], origin: int) -> Assembled:
    pieces = [piece for piece in pieces if piece[1]]
    instructions = tuple(at for at, _, is_instruction in pieces if is_instruction)
    if not pieces:
        return Assembled(origin, b"", symbols)
    first = min(at for at, *_ in pieces)
    memory = bytearray(max(at + len(data) for at, data, _ in pieces) - first)
    for at, data, _ in pieces:
        memory[at - first : at - first + len(data)] = data
    return Assembled(first, bytes(memory), symbols, instructions)


def _run(cpu: Cpu, lines: Sequence[str], symbols: dict[str, int], origin: int, *, final: bool) -> Iterator[_Piece]:
    here = origin
    for number, line in enumerate(lines, 1):
        try:
            rest = _without_comment(line).strip()
            equate = _EQUATE_FIRST.match(rest) or _EQUATE.match(rest)
            if equate:
                _set(symbols, equate[1], equate[2], here, final=final)
                continue
            label = _LABEL.match(rest) or (_BARE_LABEL.match(line) if not line[:1].isspace() else None)
            if label:
                symbols[label[1].lower()] = here
                rest = rest[label.end() :]
            if not rest:
                continue
            begins = _ORIGIN.match(rest)
            if begins:
                here = evaluate(begins[1], symbols, here)
                continue
            word, _, operands = rest.partition(" ")
            if word.lower().lstrip(".") in _IGNORED:
                continue
            data = _bytes(cpu, word.lower(), operands.strip(), symbols, here, final=final)
            yield here, data, word.lower().lstrip(".") not in _DIRECTIVES
            here += len(data)
        except BadValue as e:
            raise BadValue(e.problem, place=f"line {number}", advice=e.advice) from e


def _set(symbols: dict[str, int], name: str, text: str, here: int, *, final: bool) -> None:
    try:
        symbols[name.lower()] = evaluate(text, symbols, here)
    except Unknown:
        if final:
            raise


def _without_comment(line: str) -> str:
    bare = _QUOTED.sub(lambda match: "-" * len(match[0]), line)
    at = bare.find(";")
    return line if at < 0 else line[:at]


def _bytes(cpu: Cpu, word: str, operands: str, symbols: Mapping[str, int], here: int, *, final: bool) -> bytes:
    directive = word.lstrip(".")
    if word == "fill":  # asm80 has the value first
        operands = ",".join(reversed(operands.split(",")))
    if directive in _DIRECTIVES:
        return _data(cpu, directive, operands, symbols, here, final=final)
    shapes = _shapes(cpu.name).get(word)
    if shapes is None:
        raise BadValue(f"'{word}' is no instruction of the {cpu.name}")
    text = _squeezed(operands)
    problem: BadValue | None = None
    for pattern, form in shapes:
        match = pattern.fullmatch(text) or pattern.fullmatch(text.lower())
        if match is None or _names_a_register(form, match.groups()):
            continue
        try:
            return _encode(cpu, form, match.groups(), symbols, here, final=final)
        except BadValue as e:
            problem = problem or e
    raise problem or BadValue(f"'{word} {operands}' is no instruction of the {cpu.name}")


def _names_a_register(form: Form, operands: tuple[str, ...]) -> bool:
    """Tell whether a register stands where a number is wanted."""
    return any(
        text.lower() in RESERVED and operand.kind not in ("pair", "set", "indexed")
        for operand, text in zip(form.operands, operands, strict=True)
    )


def _squeezed(text: str) -> str:
    """Return the operands without blanks outside of quotes, and (ix-5) as (ix+-5)."""
    parts = (part if part.startswith("'") else part.replace(" ", "") for part in re.split(r"('.')", text))
    return _INDEX_DOWN.sub(r"(\1+-", "".join(parts))


def _data(cpu: Cpu, directive: str, operands: str, symbols: Mapping[str, int], here: int, *, final: bool) -> bytes:
    items = [item.strip() for item in _STRING.findall(operands)]
    if directive in _ROOM:
        count = evaluate(items[0], symbols, here)
        return bytes([_number(items[1], symbols, here, final=final) & 0xFF if len(items) > 1 else 0]) * count
    out = bytearray()
    wide = directive not in _BYTES
    big = cpu.big_endian if directive in _WORDS else directive == "dwb"
    for item in items:
        if item.startswith('"') and item.endswith('"') and len(item) != len('"x"'):
            out += item[1:-1].encode("latin-1")
        else:
            value = _number(item, symbols, here, final=final)
            out += (value & 0xFFFF).to_bytes(2, "big" if big else "little") if wide else bytes([value & 0xFF])
    return bytes(out)


def _number(text: str, symbols: Mapping[str, int], here: int, *, final: bool) -> int:
    try:
        return evaluate(text, symbols, here)
    except Unknown:
        if final:
            raise
        return 0x7FFF


def _encode(
    cpu: Cpu, form: Form, operands: tuple[str, ...], symbols: Mapping[str, int], here: int, *, final: bool
) -> bytes:
    out = bytearray(form.code) + bytearray(form.size - len(form.code))
    if form.tail is not None:
        out[-1] = form.tail
    for operand, text in zip(form.operands, operands, strict=True):
        if operand.kind == "indexed":
            return bytes(out[: operand.at]) + _indexed(text, symbols, here, operand.at, final=final)
        if operand.kind in ("pair", "set"):
            out[operand.at] = _registers(text, operand.kind, form.mnemonic)
        else:
            _put(cpu, out, operand.kind, operand.at, text, symbols, here, final=final)
    return bytes(out)


def _put(
    cpu: Cpu,
    out: bytearray,
    kind: Kind,
    at: int,
    text: str,
    symbols: Mapping[str, int],
    here: int,
    *,
    final: bool,
) -> None:
    try:
        value = evaluate(text, symbols, here)
    except Unknown:
        if final or kind in ("direct", "bit"):
            raise
        return
    after = here + len(out)
    if kind in ("word", "data", "code"):
        _fits(value, -0x8000, 0xFFFF, text)
        out[at : at + 2] = (value & 0xFFFF).to_bytes(2, "big" if cpu.big_endian else "little")
    elif kind == "far":
        out[at : at + 2] = (value - after & 0xFFFF).to_bytes(2, "big")
    elif kind == "near":
        distance = (value - after + 0x8000 & 0xFFFF) - 0x8000
        if final:
            _fits(distance, -128, 127, text)
        out[at] = distance & 0xFF
    elif kind == "page":
        if final and value >> 8 != (here + at) >> 8:
            raise BadValue(f"'{text}' is in another page")
        out[at] = value & 0xFF
    elif kind == "block":
        if final and value >> 11 != (after & 0xFFFF) >> 11:
            raise BadValue(f"'{text}' is in another block of 2 KiB")
        out[0] = out[0] & 0x1F | (value >> 8 & 7) << 5
        out[at] = value & 0xFF
    else:
        _fits(value, 0 if kind in ("direct", "bit", "offset") else -128, 255, text)
        out[at] = value & 0xFF


def _fits(value: int, low: int, high: int, text: str) -> None:
    if not low <= value <= high:
        raise BadValue(f"'{text}' is {value}, which does not fit")


_PAIR = {"d": 0, "x": 1, "y": 2, "u": 3, "s": 4, "pc": 5, "a": 8, "b": 9, "cc": 10, "dp": 11}
_SET = {"cc": 1, "a": 2, "b": 4, "d": 6, "dp": 8, "x": 16, "y": 32, "u": 64, "s": 64, "pc": 128}
_INDEX = {"x": 0, "y": 1, "u": 2, "s": 3}
_AUTO = {"+": 0x80, "++": 0x81, "-": 0x82, "--": 0x83}
_BY_REGISTER = {"a": 0x86, "b": 0x85, "d": 0x8B}


def _registers(text: str, kind: Kind, mnemonic: str) -> int:
    names = text.lower().split(",")
    table = _PAIR if kind == "pair" else _SET
    if any(name not in table for name in names) or (kind == "pair" and len(names) != len("ab")):
        raise BadValue(f"'{text}' are no registers that '{mnemonic}' takes")
    if kind == "pair":
        return table[names[0]] << 4 | table[names[1]]
    post = 0
    for name in names:
        post |= table[name]
    return post


def _indexed(text: str, symbols: Mapping[str, int], here: int, at: int, *, final: bool) -> bytes:
    """Return the postbyte of an operand and what follows it (6809)."""
    match = _INDEXED.match(text)
    if match is None or bool(match["open"]) != bool(match["close"]):
        raise BadValue(f"'{text}' is no operand of the 6809")
    indirect = 0x10 if match["open"] else 0
    before, after = match["before"], match["after"]
    if after is None:
        if not indirect:
            raise BadValue(f"'{text}' is no indexed operand")
        return b"\x9f" + (_number(before, symbols, here, final=final) & 0xFFFF).to_bytes(2, "big")
    register = after.lower()
    if register == "pcr":
        return _relative(before, symbols, here, at, indirect, final=final)
    sign = next((s for s in ("++", "--", "+", "-") if register.endswith(s) or register.startswith(s)), "")
    if register.strip("+-") not in _INDEX:
        raise BadValue(f"'{text}' is no indexed operand")
    base = _INDEX[register.strip("+-")] << 5 | indirect
    if sign:
        return bytes([_AUTO[sign] | base])
    if before.lower() in _BY_REGISTER:
        return bytes([_BY_REGISTER[before.lower()] | base])
    if not before:
        return bytes([0x84 | base])
    value = _number(before, symbols, here, final=final)
    if -16 <= value <= 15 and not indirect:
        return bytes([base | value & 31])
    if -128 <= value <= 127:
        return bytes([0x88 | base, value & 0xFF])
    return bytes([0x89 | base]) + (value & 0xFFFF).to_bytes(2, "big")


def encode_indexed(text: str) -> bytes:
    """Return an indexed operand made of numbers only, in its shortest form: the postbyte and what follows (6809)."""
    return _indexed(text, {}, 0, 0, final=True)


def _relative(text: str, symbols: Mapping[str, int], here: int, at: int, indirect: int, *, final: bool) -> bytes:
    """Return an operand relative to the program counter: always with 16 bits, so that its size never changes."""
    following = here + at + 1 + (indexed_length(0x8D) or 0)
    distance = _number(text, symbols, here, final=final) - following
    return bytes([0x8D | indirect]) + (distance & 0xFFFF).to_bytes(2, "big")
