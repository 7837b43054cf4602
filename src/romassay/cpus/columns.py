"""Decode at every offset at once: columns of sizes, instructions, flow and targets, as numpy arrays.

Where `decode` tells everything of one instruction, `columns` tells of each offset what the instruction there would be,
were there one. The likeness of code, its origin and its flow are read off these columns.

An instruction is known by its `ident`: the opcode, or 256 and more where prefixes make several pages. Instructions of
one kind that differ in a register or bit number only share an ident on those pages, so that a table of pairs stays
small.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import cpu_of
from romassay.cpus.family_6809 import indexed_length, pair
from romassay.cpus.model import Cpu, Flow, Form, Kind, Name

Ints = npt.NDArray[np.int32]
Bytes = npt.NDArray[np.uint8]

FLOWS: tuple[Flow, ...] = ("next", "branch", "skip", "jump", "call", "return", "maybe", "stop")
"""A flow's place here is its number in the column."""

NEXT, BRANCH, SKIP, JUMP, CALL, RETURN, MAYBE, STOP = range(len(FLOWS))

ILLEGAL = -1
NOWHERE = -1

_PADDING = 5


@dataclass(frozen=True, slots=True, eq=False)
class Columns:
    """What an instruction at each offset would be.

    Attributes:
        ident: int32[n], the instruction; `ILLEGAL` where there is none or it breaks off.
        size: int32[n], its bytes; 1 where there is none.
        flow: int32[n], as a place in `FLOWS`.
        near: int32[n], the offset at which it may go on by a distance from itself or within its page; `NOWHERE` where
            nothing says so. It may lie outside of the bytes.
        absolute: int32[n], the address at which it may go on, where the bytes hold one; else `NOWHERE`.
        data: int32[n], the address or word that it holds besides; else `NOWHERE`.
    """

    ident: Ints
    size: Ints
    flow: Ints
    near: Ints
    absolute: Ints
    data: Ints


@dataclass(frozen=True, slots=True, eq=False)
class Pages:
    """A CPU's table by ident: size, flow, and where the operands stand."""

    size: Ints
    flow: Ints
    near: Ints
    absolute: Ints
    data: Ints
    indexed: Ints
    checked: Ints
    fixed: Ints
    narrow: Ints
    spread: npt.NDArray[np.float32]
    opcode_bytes: Ints

    def __len__(self) -> int:
        return len(self.size)


def ident_of(cpu: Cpu, form: Form) -> int:
    """Return the ident of a form."""
    code = form.code
    if len(code) == 1:
        return code[0]
    return _second(cpu.name, code[0], code[1], form.tail)


def _second(name: Name, prefix: int, code: int, tail: int | None) -> int:
    if name == "Z80":
        if tail is not None:
            return 640 + (tail >> 3)
        if prefix == 0xCB:
            return 256 + (code >> 3)
        if prefix == 0xED:
            return 288 + (code - 0x40 if code < 0x80 else code - 0xA0 + 64)
        return 384 + code
    return (256 if prefix == 0x10 else 512) + code


_COUNT: dict[str, int] = {"Z80": 672, "6809": 768}


def idents(name: Name) -> int:
    """Return the number of idents of a CPU."""
    return _COUNT.get(name, 256)


@cache
def pages(name: Name) -> Pages:
    """Return a CPU's table by ident."""
    cpu = cpu_of(name)
    count = idents(name)

    def column(fill: int) -> Ints:
        return np.full(count, fill, np.int32)

    page = Pages(
        size=column(0),
        flow=column(NEXT),
        near=column(0),
        absolute=column(0),
        data=column(0),
        indexed=column(0),
        checked=column(0),
        fixed=column(NOWHERE),
        narrow=column(0),
        spread=np.zeros(count, np.float32),
        opcode_bytes=column(1),
    )
    for form in cpu.forms:
        i = ident_of(cpu, form)
        page.size[i] = form.size
        page.flow[i] = FLOWS.index(form.flow)
        page.spread[i] += 1
        page.opcode_bytes[i] = len(form.code) + (form.tail is not None)
        page.fixed[i] = NOWHERE if form.target is None else form.target
        for operand in form.operands:
            _enter(page, i, operand.kind, operand.at)
    return page


_NEAR_KINDS: dict[Kind, int] = {"near": 1, "far": 2, "page": 3, "block": 4}


def _enter(page: Pages, ident: int, kind: Kind, at: int) -> None:
    if kind in _NEAR_KINDS:
        page.near[ident] = at
        page.narrow[ident] = _NEAR_KINDS[kind]
    elif kind == "code":
        page.absolute[ident] = at
    elif kind in ("data", "word"):
        page.data[ident] = at
    elif kind == "indexed":
        page.indexed[ident] = at
    elif kind in ("pair", "set"):
        page.checked[ident] = at


_INDEXED_LENGTH = np.array(
    [-1 if indexed_length(post) is None else indexed_length(post) for post in range(256)], np.int32
)
_PAIR_LEGAL = np.array([pair(post) is not None for post in range(256)])


@cache
def _second_bytes(name: Name) -> dict[int, Ints]:
    """Return, for each prefix, the ident by second byte; `ILLEGAL` where there is none."""
    cpu = cpu_of(name)
    found: dict[int, Ints] = {}
    for form in cpu.forms:
        if len(form.code) > 1 and form.tail is None:
            table = found.setdefault(form.code[0], np.full(256, ILLEGAL, np.int32))
            table[form.code[1]] = ident_of(cpu, form)
    return found


@cache
def _legal_tails(name: Name) -> npt.NDArray[np.bool_]:
    legal = np.zeros(256, bool)
    legal[[form.tail for form in cpu_of(name).forms if form.tail is not None]] = True
    return legal


@cache
def _legal_first(name: Name) -> npt.NDArray[np.bool_]:
    legal = np.zeros(256, bool)
    legal[[form.code[0] for form in cpu_of(name).forms if len(form.code) == 1]] = True
    return legal


def columns(cpu: Cpu, data: bytes | Bytes, origin: int = 0) -> Columns:
    """Decode at every offset.

    Args:
        cpu: the instruction set.
        data: n bytes.
        origin: address of the first byte; it tells the pages of instructions that count within a page.
    """
    raw = np.frombuffer(bytes(data), np.uint8)
    n = len(raw)
    padded = np.concatenate([raw, np.zeros(_PADDING, np.uint8)]).astype(np.int32)
    page = pages(cpu.name)
    here = np.arange(n, dtype=np.int32)
    ident = _idents(cpu, padded, n)
    legal = ident >= 0
    known = np.where(legal, ident, 0)
    size = page.size[known].copy()
    legal &= _postbytes(cpu, page, known, padded, here, size)
    legal &= here + size <= n
    flow = np.where(legal, page.flow[known], NEXT).astype(np.int32)
    if cpu.name == "6809":
        _flow_of_sets(known, page, padded, here, flow)
    return Columns(
        ident=np.where(legal, ident, ILLEGAL).astype(np.int32),
        size=np.where(legal, size, 1).astype(np.int32),
        flow=flow,
        near=np.where(legal, _near(page, known, padded, here, size, origin), NOWHERE).astype(np.int32),
        absolute=np.where(legal, _words(cpu, page.absolute[known], padded, here, page.fixed[known]), NOWHERE),
        data=np.where(legal, _words(cpu, page.data[known], padded, here, np.int32(NOWHERE)), NOWHERE),
    )


def _idents(cpu: Cpu, padded: Ints, n: int) -> Ints:
    first = padded[:n]
    ident = np.where(_legal_first(cpu.name)[first], first, ILLEGAL).astype(np.int32)
    for prefix, table in _second_bytes(cpu.name).items():
        at = np.flatnonzero(first == prefix)
        ident[at] = table[padded[at + 1]]
        if cpu.name == "Z80" and prefix in (0xDD, 0xFD):
            inner = at[padded[at + 1] == 0xCB]
            tail = padded[inner + 3]
            ident[inner] = np.where(_legal_tails("Z80")[tail], 640 + (tail >> 3), ILLEGAL)
    return ident


def _postbytes(cpu: Cpu, page: Pages, known: Ints, padded: Ints, here: Ints, size: Ints) -> npt.NDArray[np.bool_]:
    """Add what postbytes ask for to the sizes; tell where they are legal."""
    legal = np.ones(len(here), bool)
    if cpu.name != "6809":
        return legal
    at = page.indexed[known]
    more = np.where(at > 0, _INDEXED_LENGTH[padded[here + at]], 0)
    size += np.maximum(more, 0)
    legal &= more >= 0
    at = page.checked[known]
    post = padded[here + at]
    pairs = (at > 0) & (known < 0x30)
    legal &= np.where(pairs, _PAIR_LEGAL[post], (at == 0) | (post != 0))
    return legal


def _flow_of_sets(known: Ints, page: Pages, padded: Ints, here: Ints, flow: Ints) -> None:
    post = padded[here + page.checked[known]]
    flow[((known == 0x35) | (known == 0x37)) & (post & 0x80 != 0)] = RETURN
    flow[(known == 0x1F) & (post & 15 == 5)] = RETURN
    flow[(known == 0x1E) & ((post & 15 == 5) | (post >> 4 == 5))] = RETURN


def _near(page: Pages, known: Ints, padded: Ints, here: Ints, size: Ints, origin: int) -> Ints:
    at = page.near[known]
    kind = page.narrow[known]
    low = padded[here + at]
    ways: tuple[tuple[int, Callable[[], Ints]], ...] = (
        (1, lambda: here + size + ((low ^ 0x80) - 0x80)),
        (2, lambda: here + size + (((low << 8 | padded[here + at + 1]) ^ 0x8000) - 0x8000)),
        (3, lambda: ((here + at + origin) & ~0xFF | low) - origin),
        (4, lambda: ((here + size + origin) & ~0x7FF | (padded[here] >> 5) << 8 | low) - origin),
    )
    out = np.full(len(here), NOWHERE, np.int32)
    for number, way in ways:
        chosen = kind == number
        if chosen.any():
            out = np.where(chosen, way(), out)
    return out.astype(np.int32)


def _words(cpu: Cpu, at: Ints, padded: Ints, here: Ints, otherwise: Ints | np.int32) -> Ints:
    first, second = padded[here + at], padded[here + at + 1]
    word = first << 8 | second if cpu.big_endian else second << 8 | first
    return np.where(at > 0, word, otherwise).astype(np.int32)
