"""Decode one instruction: bytes in, an `Instruction` or None out; or those of an image, which are remembered."""

from __future__ import annotations

from functools import cache

from romassay.cpus.catalogue import cpu_of
from romassay.cpus.family_6809 import indexed, pair, register_set
from romassay.cpus.model import CODE_KINDS, Cpu, Flow, Form, Instruction, Name, Operand, Value

_LONGEST = 5
"""Bytes of the longest instruction: a 6809 prefix, opcode, postbyte and word."""

_PC = 5


@cache
def _rows(name: Name) -> dict[bytes, tuple[Form, ...]]:
    """Return the forms by their leading bytes; several where a tail tells them apart."""
    found: dict[bytes, list[Form]] = {}
    for form in cpu_of(name).forms:
        found.setdefault(form.code, []).append(form)
    return {code: tuple(forms) for code, forms in found.items()}


def form_at(cpu: Cpu, data: bytes, offset: int) -> Form | None:
    """Return the row of the table that the bytes at an offset begin with, or None where they are no instruction."""
    rows = _rows(cpu.name)
    for length in (1, 2):
        for form in rows.get(data[offset : offset + length], ()) if offset + length <= len(data) else ():
            if offset + form.size <= len(data) and (form.tail is None or data[offset + form.size - 1] == form.tail):
                return form
    return None


def decode(cpu: Cpu, data: bytes, offset: int = 0, address: int | None = None) -> Instruction | None:
    """Decode the instruction at an offset.

    Args:
        cpu: the instruction set.
        data: the bytes; the instruction must end within them.
        offset: where it begins.
        address: of that byte; the offset where nothing is said.

    Returns:
        The instruction, or None where the bytes are no documented instruction of this CPU or break off.
    """
    form = form_at(cpu, data, offset)
    if form is None:
        return None
    address = offset if address is None else address
    values: list[Value] = []
    size = form.size
    flow = form.flow
    for operand in form.operands:
        if operand.kind == "indexed":
            found = indexed(data[offset : offset + _LONGEST], operand.at, address)
            if found is None:
                return None
            size += found[0]
            values.append(found[1])
        else:
            value = _value(cpu, form, operand, data[offset : offset + form.size], address)
            if value is None:
                return None
            values.append(value)
            flow = _flow(form, value, flow)
    return Instruction(address, form, size, tuple(values), flow, _target(form, values))


class Decoder:
    """The instructions of an image: each offset is decoded once, however often it is asked for."""

    def __init__(self, cpu: Cpu, data: bytes, origin: int) -> None:
        self.cpu, self.data, self.origin = cpu, data, origin
        self._known: dict[int, Instruction | None] = {}

    def at(self, offset: int) -> Instruction | None:
        """Return what `decode` says of an offset."""
        if offset not in self._known:
            self._known[offset] = decode(self.cpu, self.data, offset, self.origin + offset)
        return self._known[offset]


def _flow(form: Form, value: Value, flow: Flow) -> Flow:
    """Return the flow where a postbyte changes it: what pulls or loads the program counter goes there."""
    if value.kind == "set" and form.mnemonic in ("puls", "pulu") and value.number & 0x80:
        return "return"
    if value.kind == "pair" and (value.number & 15 == _PC or (form.mnemonic == "exg" and value.number >> 4 == _PC)):
        return "return"
    return flow


def _target(form: Form, values: list[Value]) -> int | None:
    if form.target is not None:
        return form.target
    if form.flow in ("branch", "jump", "call"):
        return next((value.number for value in values if value.kind in CODE_KINDS), None)
    return None


def _value(cpu: Cpu, form: Form, operand: Operand, code: bytes, address: int) -> Value | None:
    kind, at = operand.kind, operand.at
    following = address + form.size
    if kind in ("word", "data", "code"):
        return Value(kind, int.from_bytes(code[at : at + 2], "big" if cpu.big_endian else "little"))
    if kind == "far":
        distance = int.from_bytes(code[at : at + 2], "big", signed=True)
        return Value(kind, (following + distance) & 0xFFFF)
    byte = code[at]
    signed = byte - 256 if byte & 0x80 else byte
    if kind == "near":
        return Value(kind, (following + signed) & 0xFFFF)
    if kind == "shift":
        return Value(kind, signed)
    if kind == "page":
        return Value(kind, (address + at & 0xFF00) | byte)
    if kind == "block":
        return Value(kind, (following & 0xF800) | (code[0] >> 5) << 8 | byte)
    if kind == "pair":
        return pair(byte)
    if kind == "set":
        return register_set(byte, user=form.mnemonic in ("pshu", "pulu"))
    return Value(kind, byte)
