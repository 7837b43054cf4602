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

from romassay.cpus.likeness import Segmented
from romassay.cpus.model import Cpu

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]

_LANDS = 0.93
_VECTOR_LANDS = 0.9
_SPACE = 0x10000
_JUMP, _CALL = 3, 4
_ENDS = (3, 5, 7)
_PAGE = 0x100
_TEMPER = 0.9
_SHOWN = 5
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
    classes = _classes(division, is_start)
    blocks = _block_targets(cpu, data, division)
    words = _counted(division.columns.data[starts])
    heads = _heads(division, data)
    places = _places(cpu, size)
    scores = np.array([_prior(cpu, size, int(place)) for place in places])
    scores += _landing(_counted(targets[called]), places, classes, _CALLS_LAND)
    scores += _landing(_counted(targets[~called]), places, classes, _JUMPS_LAND)
    scores += _landing(words, places, heads.astype(np.int64), _WORDS_LAND) if heads.any() else 0
    scores += _vectors(cpu, data, places, is_start)
    scores += _blocks(blocks, places, is_start)
    scores += _restarts(cpu, division, places)
    weights = np.exp((scores - scores.max()) * _TEMPER)
    weights /= weights.sum()
    order = np.argsort(-weights)[:_SHOWN]
    ranked = tuple((int(places[i]), float(weights[i])) for i in order if weights[i] >= _WORTH)
    references = _inside(_counted(targets), ranked, size) + _vector_count(cpu, data, ranked, is_start) + len(blocks[0])
    return Origins(ranked, references)


_CALLS_LAND = (0.06, 0.24, 0.7)
_JUMPS_LAND = (0.07, 0.63, 0.3)
_WORDS_LAND = (0.0, 0.25)
"""Where the addresses of a real program land: on nothing, on an instruction, on the first one of a routine. Those of
data land in a quarter of the cases on the beginning of a text or table; the others say nothing, for most are in RAM."""

_NEVER = 1e-9
_MOST = 6


def _counted(values: npt.NDArray[np.int32]) -> tuple[Ints, npt.NDArray[np.float64]]:
    """Return the different addresses, and how much each counts: less than its number, and at most as `_MOST`."""
    known, counts = np.unique(values[values >= 0].astype(np.int64), return_counts=True)
    return known, np.minimum(counts, _MOST).astype(np.float64) ** 0.5


def _classes(division: Segmented, is_start: Bools) -> Ints:
    """Return for each byte 0 where no instruction begins, 1 where one does, 2 where a routine seems to begin."""
    size = len(is_start)
    starts = division.starts
    ends = starts[np.isin(division.columns.flow[starts], _ENDS)]
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


def _places(cpu: Cpu, size: int) -> Ints:
    """Return the origins that are tried: every page, and whatever puts the end of the image at the top of memory."""
    top = 1 << cpu.address_bits
    pages = np.arange(0, max(1, top - size + 1), _PAGE)
    return np.unique(np.concatenate([pages, [max(0, top - size)]])).astype(np.int64)


def _prior(cpu: Cpu, size: int, place: int) -> float:
    """Return the log of how usual an origin is, before any reference is looked at."""
    whole = 1 << max(8, (size - 1).bit_length())
    score = 0.0 if place % whole == 0 else -5.0
    if place == 0 and not cpu.vectors:
        score += 3.0
    if place + size == _SPACE and cpu.vectors:
        score += 2.0
    if place == 0 and cpu.vectors:
        score -= 4.0
    return score


def _landing(
    targets: tuple[Ints, npt.NDArray[np.float64]], places: Ints, classes: Ints, lands: tuple[float, ...]
) -> npt.NDArray[np.float64]:
    """Return for each place the evidence of addresses that lead inside: on what class of byte they land."""
    known, weight = targets
    scores = np.zeros(len(places))
    if not len(known):
        return scores
    size = len(classes)
    shares = np.maximum(np.bincount(classes, minlength=len(lands)) / size, 0.004)
    worth = np.where(np.array(lands) > 0, np.log(np.maximum(lands, _NEVER) / shares), 0.0)
    for i in range(0, len(places), 64):
        at = known[None, :] - places[i : i + 64, None]
        inside = (at >= 0) & (at < size)
        scores[i : i + 64] = (inside * worth[classes[np.clip(at, 0, size - 1)]] * weight).sum(1)
    return scores


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


def _vectors(cpu: Cpu, data: npt.NDArray[np.uint8], places: Ints, is_start: Bools) -> npt.NDArray[np.float64]:
    """Return for each place the evidence of the vectors: the reset vector must land inside, the others may."""
    scores = np.zeros(len(places))
    size = len(data)
    chance = min(0.9, max(0.002, float(is_start.mean())))
    hit = math.log(_VECTOR_LANDS / (chance * size / _SPACE))
    for name, word in _vector_words(cpu, data):
        if word in (0x0000, 0xFFFF):
            continue
        at = word - places
        inside = (at >= 0) & (at < size)
        landed = inside & is_start[np.clip(at, 0, size - 1)]
        scores += landed * min(hit, 6.0) * (1.0 if name == "reset" else 0.5)
    return scores


def _vector_count(cpu: Cpu, data: npt.NDArray[np.uint8], ranked: tuple[tuple[int, float], ...], is_start: Bools) -> int:
    if not ranked:
        return 0
    offsets = [word - ranked[0][0] for _, word in _vector_words(cpu, data)]
    return sum(0 <= at < len(data) and bool(is_start[at]) for at in offsets)


def _inside(targets: tuple[Ints, npt.NDArray[np.float64]], ranked: tuple[tuple[int, float], ...], size: int) -> int:
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


def _blocks(blocks: tuple[Ints, Ints], places: Ints, is_start: Bools) -> npt.NDArray[np.float64]:
    ends, bits = blocks
    scores = np.zeros(len(places))
    if not len(ends):
        return scores
    size = len(is_start)
    chance = min(0.9, max(0.02, float(is_start.mean())))
    known: dict[int, float] = {}
    for i, place in enumerate(places.tolist()):
        key = place & 0x7FF
        if key not in known:
            at = ((ends + key) & ~0x7FF | bits) - key
            inside = (at >= 0) & (at < size)
            landed = inside & is_start[np.clip(at, 0, size - 1)]
            known[key] = float(landed.sum() * math.log(_LANDS / chance) + (~landed).sum() * math.log(0.3))
        scores[i] = known[key]
    return scores


def _restarts(cpu: Cpu, division: Segmented, places: Ints) -> npt.NDArray[np.float64]:
    """Return the evidence of a program that begins with a jump, as at a CPU's reset address 0."""
    scores = np.zeros(len(places))
    if cpu.vectors or not len(division.starts) or division.starts[0] != 0:
        return scores
    first = int(division.columns.flow[0])
    jumps = first == _JUMP or cpu.name in ("8080", "8085", "Z80")
    return np.where(places == 0, 1.5 if jumps else 0.0, scores)
