"""Where the bytes belong: the origin at which absolute references land on instructions and vectors point inside.

A reference is the address in a jump or call. At the right origin nearly all of those that lead inside land where an
instruction begins; at a wrong one they land as chance has it. The reset vector at the top of an image of the 6502,
6800 and 6809 families must do so too. What chance does is counted in the image itself: the share of its bytes that
begin one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.code.flow import LEAST_CALLS, SEP_R4, SEP_R5
from romassay.cpus.likeness import Segmented
from romassay.cpus.model import Cpu

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

_LANDS = 0.93
_VECTOR_LANDS = 0.9
_SPACE = 0x10000
_JUMP, _CALL = 3, 4
_ENDS = (3, 5, 7)
_BLOCK, _PAGE, _LINE = 0x800, 0x100, 0x10
_TEMPER = 0.9
_SHOWN = 5
_WIDE = 16
_UPPER_BANK = 1.5
"""Nats that an image in the upper bank of a small program memory is less usual: jumps tell no bank, and most programs
have one only."""
_WORTH = 0.001


@dataclass(frozen=True, slots=True)
class Origins:
    """What the references say.

    Attributes:
        ranked: (address of the first byte, probability), likeliest first.
        references: absolute references that were weighed, vectors included.
    """

    ranked: tuple[tuple[int, float], ...]
    references: int


def origins(cpu: Cpu, data: npt.NDArray[np.uint8], division: Segmented) -> Origins:
    """Weigh the origins at which an image may belong.

    Args:
        cpu: the instruction set.
        data: the image, uint8[n].
        division: of these bytes into code and other data, by this CPU.
    """
    size = len(data)
    starts = division.starts
    if size == 0 or not len(starts) or size > _SPACE:
        return Origins((), 0)
    is_start = np.zeros(size, bool)
    is_start[starts] = True
    called = division.columns.flow[starts] == _CALL
    targets = division.columns.absolute[starts]
    inline = _inline_calls(cpu, data, starts)
    classes = _classes(division, is_start, data[starts] == SEP_R5 if len(inline) else None)
    blocks = _block_targets(cpu, data, division)
    words = _counted(division.columns.data[starts])
    heads = _heads(division, data)
    places = np.arange(max(1, (1 << cpu.address_bits) - size + 1))
    scores = _prior(cpu, size, places)
    _land(scores, _counted(np.concatenate([targets[called], inline])), classes, _CALLS_LAND)
    _land(scores, _counted(targets[~called]), classes, _JUMPS_LAND)
    if heads.any():
        _land(scores, words, heads.astype(np.int64), _WORDS_LAND)
    scores += _vectors(cpu, data, places, is_start)
    scores += _blocks(blocks, places, is_start)
    scores += _restarts(cpu, division, places)
    weights = np.exp((scores - scores.max()) * _TEMPER)
    weights /= weights.sum()
    order = np.argsort(-weights)[:_SHOWN]
    ranked = tuple((int(places[i]), float(weights[i])) for i in order if weights[i] >= _WORTH)
    references = (
        _inside(_counted(np.concatenate([targets, inline])), ranked, size)
        + _vector_count(cpu, data, ranked, is_start)
        + len(blocks[0])
    )
    return Origins(ranked, references)


_CALLS_LAND = (0.06, 0.24, 0.7)
_JUMPS_LAND = (0.07, 0.63, 0.3)
_WORDS_LAND = (0.0, 0.25)
"""Where the addresses of a real program land: on nothing, on an instruction, on the first one of a routine. Those of
data land in a quarter of the cases on the beginning of a text or table; the others say nothing, for most are in RAM."""

_NEVER = 1e-9
_MOST = 6


def _counted(values: npt.NDArray[np.int32]) -> tuple[Ints, Floats]:
    """Return the different addresses, and how much each counts: less than its number, and at most as `_MOST`."""
    known, counts = np.unique(values[values >= 0].astype(np.int64), return_counts=True)
    return known, np.minimum(counts, _MOST).astype(np.float64) ** 0.5


def _inline_calls(cpu: Cpu, data: npt.NDArray[np.uint8], starts: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Return the addresses behind SEP R4, by which a program of the 1802 calls; none where there are too few."""
    at = starts[(data[starts] == SEP_R4) & (starts + 2 < len(data))] if cpu.name == "1802" else starts[:0]
    words = data[at + 1].astype(np.int32) << 8 | data[at + 2]
    return words if len(words) >= LEAST_CALLS else words[:0]


def _classes(division: Segmented, is_start: Bools, returns: Bools | None) -> Ints:
    """Return for each byte 0 where no instruction begins, 1 where one does, 2 where a routine seems to begin.

    Args:
        division: into code and other data.
        is_start: where an instruction begins.
        returns: of the instructions, those that return though their flow does not say so.
    """
    size = len(is_start)
    starts = division.starts
    last = np.isin(division.columns.flow[starts], _ENDS)
    ends = starts[last if returns is None else last | returns]
    behind = ends + division.columns.size[ends]
    head = ~division.code
    head = np.concatenate([[True], head[:-1]])
    head[behind[behind < size]] = True
    classes: Ints = is_start.astype(np.int64) + (is_start & head)
    return classes


def _heads(division: Segmented, data: npt.NDArray[np.uint8]) -> Bools:
    """Return where other data begin behind code, or a text behind the end of another: what code points at."""
    other = ~division.code
    heads = other & np.concatenate([[False], division.code[:-1]])
    text = (data >= 0x20) & (data < 0x7F)
    before = np.concatenate([[True], ~text[:-1]])
    after = np.concatenate([text[1:], [False]]) & np.concatenate([text[2:], [False, False]])
    found: Bools = heads | (other & text & before & after)
    return found


def _prior(cpu: Cpu, size: int, places: Ints) -> Floats:
    """Return the log of how usual each origin is, before any reference is looked at.

    Code whose branches stay within their page is divided as from the beginning of one, so it is tried at no other.
    """
    whole = 1 << max(8, (size - 1).bit_length())
    anywhere = (-np.inf, -np.inf) if _keeps_to_pages(cpu) else (-10.0, -13.0)
    scores = np.select(
        [places % whole == 0, places % _PAGE == 0, places % _LINE == 0], [0.0, -5.0, anywhere[0]], anywhere[1]
    )
    top = places + size == 1 << cpu.address_bits
    scores[top] = np.maximum(scores[top], -5.0)
    scores[0] += -4.0 if cpu.vectors else 3.0
    if cpu.address_bits < _WIDE:
        scores[places + size > _BLOCK] -= _UPPER_BANK
    if cpu.vectors:
        scores[top] += 2.0
    return scores


def _keeps_to_pages(cpu: Cpu) -> bool:
    return any(operand.kind == "page" for form in cpu.forms for operand in form.operands)


def _land(scores: Floats, targets: tuple[Ints, Floats], classes: Ints, lands: tuple[float, ...]) -> None:
    """Add to the score of each place the evidence of addresses that lead inside: on what class of byte they land.

    Args:
        scores: float64[places], of the origins from 0 on.
        targets: the different addresses, and how much each counts.
        classes: of each byte of the image.
        lands: share of a real program's addresses that land on each class; 0 where a class says nothing.
    """
    size = len(classes)
    shares = np.maximum(np.bincount(classes, minlength=len(lands)) / size, 0.004)
    worth = np.where(np.array(lands) > 0, np.log(np.maximum(lands, _NEVER) / shares), 0.0)
    backwards = worth[classes][::-1]
    for address, weight in zip(targets[0].tolist(), targets[1].tolist(), strict=True):
        first, end = max(0, address - size + 1), min(len(scores), address + 1)
        if first < end:
            skipped = first - (address - size + 1)
            scores[first:end] += backwards[skipped : skipped + end - first] * weight


def _vector_words(cpu: Cpu, data: npt.NDArray[np.uint8]) -> list[tuple[str, int]]:
    """Return the vectors at the end of an image, were it at the top of memory."""
    order = "big" if cpu.big_endian else "little"
    size = len(data)
    found = []
    for name, address in cpu.vectors:
        at = size - (_SPACE - address)
        if at >= 0:
            found.append((name, int.from_bytes(data[at : at + 2].tobytes(), "big" if order == "big" else "little")))
    return found


def _vectors(cpu: Cpu, data: npt.NDArray[np.uint8], places: Ints, is_start: Bools) -> Floats:
    """Return for each place the evidence of the vectors: the reset vector must land inside, the others may.

    The end of the image must be the top of memory, or answer there too: so it ends a page.
    """
    scores = np.zeros(len(places))
    size = len(data)
    ends_a_page = (places + size) % _PAGE == 0
    chance = min(0.9, max(0.002, float(is_start.mean())))
    hit = math.log(_VECTOR_LANDS / (chance * size / _SPACE))
    for name, word in _vector_words(cpu, data):
        if word in (0x0000, 0xFFFF):
            continue
        at = word - places
        inside = (at >= 0) & (at < size) & ends_a_page
        landed = inside & is_start[np.clip(at, 0, size - 1)]
        scores += landed * min(hit, 6.0) * (1.0 if name == "reset" else 0.5)
    return scores


def _vector_count(cpu: Cpu, data: npt.NDArray[np.uint8], ranked: tuple[tuple[int, float], ...], is_start: Bools) -> int:
    if not ranked:
        return 0
    offsets = [word - ranked[0][0] for _, word in _vector_words(cpu, data)]
    return sum(0 <= at < len(data) and bool(is_start[at]) for at in offsets)


def _inside(targets: tuple[Ints, Floats], ranked: tuple[tuple[int, float], ...], size: int) -> int:
    if not ranked:
        return 0
    at = targets[0] - ranked[0][0]
    return int(((at >= 0) & (at < size)).sum())


def _block_targets(cpu: Cpu, data: npt.NDArray[np.uint8], division: Segmented) -> tuple[Ints, Ints]:
    """Return the ends of the instructions that hold 11 bits of an address, and these bits (8048, 8051)."""
    if cpu.name not in ("8048", "8051"):
        return np.array([], np.int64), np.array([], np.int64)
    starts = division.starts
    low = 0x04 if cpu.name == "8048" else 0x01
    op = data[starts]
    chosen = starts[(op & 0x0F == low) & (starts + 1 < len(data))].astype(np.int64)
    bits = (data[chosen].astype(np.int64) >> 5) << 8 | data[chosen + 1]
    return chosen + 2, bits


def _blocks(blocks: tuple[Ints, Ints], places: Ints, is_start: Bools) -> Floats:
    ends, bits = blocks
    scores = np.zeros(len(places))
    if not len(ends):
        return scores
    size = len(is_start)
    chance = min(0.9, max(0.02, float(is_start.mean())))
    hit, miss = math.log(_LANDS / chance), math.log(0.3)
    keys = np.arange(min(_BLOCK, len(places)))
    known = np.zeros(len(keys))
    for i in range(0, len(keys), 64):
        at = ((ends + keys[i : i + 64, None]) & -_BLOCK | bits) - keys[i : i + 64, None]
        landed = (at >= 0) & (at < size) & is_start[np.clip(at, 0, size - 1)]
        known[i : i + 64] = np.where(landed, hit, miss).sum(1)
    return np.resize(known, len(places))


def _restarts(cpu: Cpu, division: Segmented, places: Ints) -> Floats:
    """Return the evidence of a program that begins with a jump, as at a CPU's reset address 0."""
    scores = np.zeros(len(places))
    if cpu.vectors or not len(division.starts) or division.starts[0] != 0:
        return scores
    first = int(division.columns.flow[0])
    jumps = first == _JUMP or cpu.name in ("8080", "8085", "Z80")
    return np.where(places == 0, 1.5 if jumps else 0.0, scores)
