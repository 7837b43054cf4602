"""Where the bytes belong: the origin at which absolute references land on instructions and vectors point inside.

A reference is the address in a jump or call. At the right origin nearly all of those that lead inside land where an
instruction begins; at a wrong one they land as chance has it. The reset vector at the top of an image of the 6502,
6800 and 6809 families must do so too. What chance does is counted in the image itself: the share of its bytes that
begin one. Where a jump holds 11 bits of its address only, these are weighed alike: of the images that cover a part
of the block, that is the likelier one into which they lead as a program's do.
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

_LEAD_OUTSIDE = (0.9, 0.4, 0.1)
"""How much rarer than by chance the addresses of a block may lead outside the image; each is as likely."""

_VECTORS_LAND = (0.0, 0.15, 0.8)
"""Where vectors land, as the addresses of calls do; one that lands on no instruction says nothing."""

_VECTOR_MOST = 6.0
_OTHER_VECTOR = 0.5
_WITHOUT_RESET = 0.3
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
    targets = _elsewhere(cpu, division.columns.absolute[starts])
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
    scores += _vectors(cpu, data, places, classes)
    scores += _in_blocks(cpu, blocks, places, classes)
    scores += _restarts(cpu, division, places)
    weights = np.exp((scores - scores.max()) * _TEMPER)
    weights /= weights.sum()
    order = np.argsort(-weights)[:_SHOWN]
    ranked = tuple((int(places[i]), float(weights[i])) for i in order if weights[i] >= _WORTH)
    references = (
        _inside(_counted(np.concatenate([targets, inline])), ranked, size)
        + _vector_count(cpu, data, ranked, is_start)
        + len(blocks.ends)
    )
    return Origins(ranked, references)


_CALLS_LAND = (0.06, 0.24, 0.7)
_JUMPS_LAND = (0.07, 0.63, 0.3)
_WORDS_LAND = (0.0, 0.25)
"""Where the addresses of a real program land: on nothing, on an instruction, on the first one of a routine. Those of
data land in a quarter of the cases on the beginning of a text or table; the others say nothing, for most are in RAM."""

_NEVER = 1e-9
_MOST = 6


def _elsewhere(cpu: Cpu, targets: npt.NDArray[np.int32]) -> npt.NDArray[np.int32]:
    """Return the addresses, -1 for that of the reset: a program begins anew from wherever it stands."""
    resets = [address for name, address in cpu.entries if name == "reset"]
    return np.where(np.isin(targets, resets), -1, targets).astype(np.int32)


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


def _vectors(cpu: Cpu, data: npt.NDArray[np.uint8], places: Ints, classes: Ints) -> Floats:
    """Return for each place the evidence of the vectors: the reset vector must land inside, the others may.

    The end of the image must be the top of memory, or answer there too: so it ends a page. Other vectors say little
    where that of the reset lands nowhere: bytes of a table may lead here or there.
    """
    size = len(data)
    ends_a_page = (places + size) % _PAGE == 0
    shares = np.maximum(np.bincount(classes, minlength=len(_VECTORS_LAND)) / size, 0.002)
    hits = np.minimum(np.log(np.maximum(_VECTORS_LAND, _NEVER) / (shares * size / _SPACE)), _VECTOR_MOST)
    worth = np.where(np.array(_VECTORS_LAND) > 0, np.maximum(hits, 0.0), 0.0)
    reset, others = np.zeros(len(places)), np.zeros(len(places))
    for name, word in _vector_words(cpu, data):
        if word in (0x0000, 0xFFFF):
            continue
        at = word - places
        inside = (at >= 0) & (at < size) & ends_a_page
        landed = inside * worth[classes[np.clip(at, 0, size - 1)]]
        if name == "reset":
            reset += landed
        else:
            others += landed * _OTHER_VECTOR
    return reset + others * np.where(reset > 0, 1.0, _WITHOUT_RESET)


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


@dataclass(frozen=True, slots=True, eq=False)
class _Blocks:
    """The instructions that hold 11 bits of an address (8048, 8051): their ends, these bits, and which are calls."""

    ends: Ints
    bits: Ints
    calls: Bools


def _block_targets(cpu: Cpu, data: npt.NDArray[np.uint8], division: Segmented) -> _Blocks:
    starts = division.starts if cpu.name in ("8048", "8051") else division.starts[:0]
    low = 0x04 if cpu.name == "8048" else 0x01
    op = data[starts]
    chosen = starts[(op & 0x0F == low) & (starts + 1 < len(data))].astype(np.int64)
    bits = (data[chosen].astype(np.int64) >> 5) << 8 | data[chosen + 1]
    return _Blocks(chosen + 2, bits, division.columns.flow[chosen] == _CALL)


def _in_blocks(cpu: Cpu, blocks: _Blocks, places: Ints, classes: Ints) -> Floats:
    """Return for each place the evidence of the addresses of 11 bits: on which class of byte inside, or outside.

    By chance each lands anywhere in its block, of which the image covers a part. How much rarer a program leads
    outside is not known: a piece of one does it often.
    """
    if not len(blocks.ends):
        return np.zeros(len(places))
    size = len(classes)
    shares = np.maximum(np.bincount(classes, minlength=len(_CALLS_LAND)) / size, 0.004)
    lands = np.log(np.array((_JUMPS_LAND, _CALLS_LAND)) / shares)[blocks.calls.astype(np.int64)]
    row = np.arange(len(blocks.ends))
    _, same, counts = np.unique(blocks.bits * 2 + blocks.calls, return_inverse=True, return_counts=True)
    weights = counts[same] ** -0.5
    step = _PAGE if _keeps_to_pages(cpu) else 1
    keys = np.arange(0, min(_BLOCK, len(places)), step)
    known = np.zeros((len(_LEAD_OUTSIDE), len(keys)))
    for i in range(0, len(keys), 64):
        key = keys[i : i + 64, None]
        block = (blocks.ends + key) & -_BLOCK
        covered = np.maximum(np.minimum(key + size, block + _BLOCK) - np.maximum(key, block), 1) / _BLOCK
        at = (block | blocks.bits) - key
        inside = (at >= 0) & (at < size)
        worth = lands[row, classes[np.clip(at, 0, size - 1)]] - np.log(covered)
        for number, rarer in enumerate(_LEAD_OUTSIDE):
            each = np.where(inside, worth + np.log1p(-rarer * (1 - covered)), math.log(rarer))
            known[number, i : i + 64] = each @ weights
    return np.resize(np.repeat(np.logaddexp.reduce(known, axis=0), step), len(places))


def _restarts(cpu: Cpu, division: Segmented, places: Ints) -> Floats:
    """Return the evidence of a program that begins with a jump, as at a CPU's reset address 0."""
    scores = np.zeros(len(places))
    if cpu.vectors or not len(division.starts) or division.starts[0] != 0:
        return scores
    first = int(division.columns.flow[0])
    jumps = first == _JUMP or cpu.name in ("8080", "8085", "Z80")
    return np.where(places == 0, 1.5 if jumps else 0.0, scores)
