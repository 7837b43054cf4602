"""What the flow alone says, whatever the instructions are: branches, jumps and calls land where something begins.

The likeness knows usual code. Code that is put together in an unusual way, by a generator or for a test, still has
the flow of code: its branches land on instructions, its calls on the first one of a routine, and its absolute
addresses do so at one origin only. The evidence is a log-likelihood ratio, in nats, against the same bytes as data:
what chance does is taken from the image itself, from where the distances of the other branches would lead from here
and from where the addresses lead at the other origins. So neither a table of even steps nor a run of equal bytes looks
like flow.
"""

from __future__ import annotations

import math

import numpy as np
import numpy.typing as npt

from romassay.cpus.columns import BRANCH, CALL, ILLEGAL, JUMP, NOWHERE, RETURN, STOP, Columns, columns
from romassay.cpus.likeness import Segmented, padding
from romassay.cpus.model import Cpu

Ints = npt.NDArray[np.int64]
Bools = npt.NDArray[np.bool_]
Floats = npt.NDArray[np.float64]

_LANDS = np.array([[0.08, 0.79, 0.13], [0.08, 0.27, 0.65]])
"""Shares of branches and jumps, and of calls, that land on no instruction, on one, on the first one of a routine."""

_LEAST = 4
"""Branches, or addresses, below which nothing is said."""

_DISTANCES = 48
_BEGINS = 3.0
"""Nats that the choice of the piece with the most evidence costs."""

_NO_INSTRUCTION = -1.5
"""Nats of a byte on the way that begins no instruction."""

_SMOOTH = np.array([1.0, 1.0, 0.3])
_PAGE = 0x100
_SPACE = 0x10000


def structure(cpu: Cpu, data: npt.NDArray[np.uint8]) -> tuple[float, Segmented]:
    """Return the evidence of the flow, in nats, and the bytes decoded one instruction after the other.

    Args:
        cpu: the instruction set.
        data: uint8[n].
    """
    decoded = columns(cpu, data)
    blank = padding(data)
    starts = _swept(decoded, blank)
    code = np.zeros(len(data), bool)
    for step in range(int(decoded.size.max(initial=1))):
        reached = starts[decoded.size[starts] > step] + step
        code[reached] = True
    classes = _classes(decoded, starts)
    nats = max(0.0, _by_distance(decoded, starts, classes, blank)) + max(
        0.0, _by_address(cpu, decoded, starts, classes)
    )
    return nats, Segmented(nats, starts.astype(np.int32), code, decoded, np.zeros(len(data) + 1))


def _swept(decoded: Columns, blank: Bools) -> Ints:
    """Return the offsets at which instructions begin, read one after the other; a byte that is none is stepped over."""
    sizes = decoded.size.tolist()
    legal = ((decoded.ident != ILLEGAL) & ~blank).tolist()
    starts = []
    at = 0
    while at < len(sizes):
        if legal[at]:
            starts.append(at)
            at += sizes[at]
        else:
            at += 1
    return np.array(starts, np.int64)


def _classes(decoded: Columns, starts: Ints) -> Ints:
    """Return for each byte 0 where no instruction begins, 1 where one does, 2 where one does behind the end of flow."""
    size = len(decoded.ident)
    classes = np.zeros(size, np.int64)
    classes[starts] = 1
    ends = starts[np.isin(decoded.flow[starts], (JUMP, RETURN, STOP))]
    behind = ends + decoded.size[ends]
    behind = behind[behind < size]
    classes[behind[classes[behind] == 1]] = 2
    return classes


def _by_distance(decoded: Columns, starts: Ints, classes: Ints, blank: Bools) -> float:
    """Return the evidence of the branches by a distance or within a page: of the piece that holds the most."""
    size = len(classes)
    sources = starts[decoded.near[starts] != NOWHERE]
    goals = decoded.near[sources].astype(np.int64)
    inside = (goals >= 0) & (goals < size)
    sources, goals = sources[inside], goals[inside]
    if len(sources) < _LEAST:
        return 0.0
    distances = goals - sources
    others = np.unique(distances)
    if len(others) > _DISTANCES:
        others = others[np.linspace(0, len(others) - 1, _DISTANCES).astype(int)]
    at = sources[:, None] + others[None, :]
    found = np.where((at >= 0) & (at < size), classes[np.clip(at, 0, size - 1)], -1)
    chance = np.stack([(found == kind).sum(1) for kind in range(3)], 1) + _SMOOTH
    chance /= chance.sum(1, keepdims=True)
    is_call = (decoded.flow[sources] == CALL).astype(np.int64)
    landed = classes[goals]
    worth = np.log(_LANDS[is_call, landed] / chance[np.arange(len(goals)), landed])
    _, inverse, counts = np.unique(
        decoded.ident[sources].astype(np.int64) * _SPACE + (distances & 0xFFFF), return_inverse=True, return_counts=True
    )
    along = np.zeros(size)
    along[(classes == 0) & (decoded.ident == ILLEGAL) & ~blank] = _NO_INSTRUCTION
    along[sources] = worth / np.sqrt(counts[inverse])
    return _most(along) - _BEGINS


def _most(along: Floats) -> float:
    """Return the greatest sum of a piece."""
    running = np.concatenate([np.zeros(1), np.cumsum(along)])
    return float((running - np.minimum.accumulate(running)).max())


def _by_address(cpu: Cpu, decoded: Columns, starts: Ints, classes: Ints) -> float:
    """Return the evidence of the absolute addresses: that they land better at one origin than at the others."""
    size = len(classes)
    sources = starts[(decoded.absolute[starts] >= 0) & np.isin(decoded.flow[starts], (CALL, JUMP, BRANCH))]
    if len(sources) < _LEAST:
        return 0.0
    places = np.arange(0, max(1, (1 << cpu.address_bits) - size + 1), _PAGE)
    if cpu.vectors:
        places = np.unique(np.append(places, max(0, _SPACE - size)))
    scores = np.zeros(len(places))
    for is_call in (0, 1):
        goals = np.unique(decoded.absolute[sources[(decoded.flow[sources] == CALL) == is_call]].astype(np.int64))
        if not len(goals):
            continue
        at = goals[None, :] - places[:, None]
        found = np.where((at >= 0) & (at < size), classes[np.clip(at, 0, size - 1)], -1)
        counts = np.stack([(found == kind).sum(1) for kind in range(3)], 1).astype(np.float64)
        chance = counts.sum(0)[None, :] - counts + _SMOOTH
        chance /= chance.sum(1, keepdims=True)
        scores += (counts * np.log(_LANDS[is_call][None, :] / chance)).sum(1)
    return float(scores.max()) - math.log(len(places))
