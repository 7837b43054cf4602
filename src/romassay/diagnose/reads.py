"""How well bytes read as code of one CPU: what its instructions score, and whether its jumps arrive where one begins.

The order of the upper address lines shows in nothing but jumps: whole pages change places, and inside of each all
stays as it was. A jump or call into the ROM arrives at the first byte of an instruction; after pages changed places it
arrives anywhere. A subroutine begins behind a return or a jump.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from math import log

import numpy as np

from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.columns import CALL, JUMP, NOWHERE, RETURN, STOP
from romassay.cpus.likeness import Segmented, adjacent_scores, segment
from romassay.cpus.model import Name
from romassay.reading import Bytes, Index
from romassay.survey.stack import Bools

TEXTUAL: Bools = np.isin(np.arange(256), (*range(0x20, 0x7F), 0x00, 0x0A, 0x0D))
"""Which byte values plain text is made of, bool[256]."""

ARRIVES = 0.93
"""Share of the jumps into the ROM that arrive where an instruction begins, in code read in its right order."""

BEHIND_END = 0.7
"""Share of the called addresses that stand behind a return, a jump or data."""

PAGES = 3
"""Places of the ROM in the address space that are tried, the commonest among its jumps first."""

WELL = 0.25
"""Nats a byte, filling left out, from which bytes read as code."""

TOLD = 4
"""Jumps that must arrive for where an image lies to be told."""

TRIED = 8
"""Jumps that must have been seen before their arriving says something."""


@dataclass(frozen=True, slots=True, eq=False)
class Jumps:
    """The jumps in an image, and the offsets at which they may arrive.

    Attributes:
        place: int64[n], where each byte stands in the specimen.
        space: bytes of the specimen; more than n where not all were read.
        start: int64[k], where each instruction begins.
        distance: int64[k], how far on it jumps by a distance, 0 where it does not.
        absolute: int64[k], the address that it names, or -1.
        call: bool[k], True where it is a call.
        begins: bool[n], where instructions begin.
        behind: bool[n], what stands behind a return, a jump or data.
    """

    place: Index
    space: int
    start: Index
    distance: Index
    absolute: Index
    call: Bools
    begins: Bools
    behind: Bools

    def arriving(self, moved: Index | None = None) -> tuple[float, int, int]:
        """Return what the jumps say, in nats, how many arrive where an instruction begins, and how many there are.

        Args:
            moved: where each byte of the image would stand, int64[n], to ask what if; as it is where not given.
        """
        here = self.place if moved is None else moved
        back = np.full(self.space, -1)
        back[here] = np.arange(len(here))
        near = here[self.start] + self.distance
        near = back[near[(self.distance != 0) & (near >= 0) & (near < self.space)]]
        near = near[near >= 0]
        hits, count = int(np.count_nonzero(self.begins[near])), len(near)
        density = float(self.begins.mean())
        ends = float((self.behind & self.begins).sum()) / max(1.0, float(self.begins.sum()))
        best, further = (0.0, 0, 0), _gain(hits, count, density)
        for place in _places(self.absolute[self.absolute >= 0], self.space):
            offset = self.absolute - place
            inside = (offset >= 0) & (offset < self.space) & (self.absolute >= 0)
            at = back[offset[inside]]
            read = at >= 0
            at = at[read]
            arrives = self.begins[at]
            called = at[self.call[inside][read] & arrives]
            gain = _gain(int(arrives.sum()), len(at), density)
            gain += _gain(int(self.behind[called].sum()), len(called), ends, BEHIND_END)
            if gain > best[0]:
                best = gain, int(arrives.sum()), len(at)
        return further + best[0], hits + best[1], count + best[2]

    def gain_exchanged(self, a: int, b: int) -> float:
        """Return what the jumps would say, in nats, if two address lines were exchanged."""
        differ = (self.place >> a ^ self.place >> b) & 1
        return self.arriving(self.place ^ (differ << a | differ << b))[0]

    def base(self) -> int | None:
        """Return where in the address space the image lies as its jumps say, a multiple of its size, or None."""
        for place in _places(self.absolute[self.absolute >= 0], self.space).tolist():
            offset = self.absolute - place
            inside = (offset >= 0) & (offset < len(self.begins)) & (self.absolute >= 0)
            arrived = int(np.count_nonzero(self.begins[offset[inside]]))
            if arrived >= TOLD and arrived >= 0.85 * np.count_nonzero(inside):
                return int(place)
        return None


def _jumps(divided: Segmented, place: Index, space: int) -> Jumps:
    size = len(place)
    starts = divided.starts.astype(np.int64)
    columns = divided.columns
    flow = columns.flow[starts]
    begins, behind = np.zeros(size, np.bool_), np.zeros(size + 1, np.bool_)
    begins[starts] = True
    over = starts[np.isin(flow, (JUMP, RETURN, STOP))]
    behind[np.minimum(over + columns.size[over], size)] = True
    behind[1:][~divided.code] = True
    near = columns.near[starts].astype(np.int64)
    return Jumps(
        place,
        space,
        starts,
        np.where(near == NOWHERE, 0, near - starts),
        columns.absolute[starts].astype(np.int64),
        flow == CALL,
        begins,
        behind[:size],
    )


@dataclass(frozen=True, slots=True, eq=False)
class Sense:
    """How well bytes read as code.

    Attributes:
        cpu: whose.
        score: nats over all bytes, against random ones, jumps included.
        nats: the same a byte, filling left out, jumps left out.
        arrived: jumps into the ROM that arrive where an instruction begins.
        tried: jumps into the ROM.
        gain: what they say, in nats.
        told: bytes that are no filling.
        jumps: all of them.
    """

    cpu: Name
    score: float
    nats: float
    arrived: int
    tried: int
    gain: float
    told: int
    jumps: Jumps

    @property
    def well(self) -> bool:
        """True where these are plainly the bytes of a program, whose jumps arrive."""
        return self.nats >= WELL and self.tried >= TRIED and self.arrived >= 0.85 * self.tried


MOST_READ = 1 << 17
"""Bytes that are read as code: more than a CPU of eight bits sees at once."""


def likely_cpus(value: Bytes, count: int) -> tuple[Name, ...]:
    """Return the CPUs for which neighbouring bytes score best."""
    scores = adjacent_scores(value)
    return tuple(NAMES[int(i)] for i in np.argsort(-scores)[:count])


def best_sense(value: Bytes, count: int = 3) -> Sense:
    """Return how well bytes read as code of the CPU that suits them best; of many, those at the beginning."""
    value = value[:MOST_READ]
    return max((sense(value, name) for name in likely_cpus(value, count)), key=lambda s: s.score)


@dataclass(frozen=True, slots=True, eq=False)
class Senses:
    """How well bytes read as code, each asked for once: several questions of a diagnosis are about the same image."""

    _known: dict[bytes, Sense] = field(default_factory=dict)

    def of(self, value: Bytes) -> Sense:
        """Return what `best_sense` says of bytes."""
        key = value.tobytes()
        if key not in self._known:
            self._known[key] = best_sense(value)
        return self._known[key]


def sense(value: Bytes, name: Name, place: Index | None = None, space: int = 0) -> Sense:
    """Return how well bytes read as code of one CPU.

    Args:
        value: uint8[n], the bytes.
        name: the CPU.
        place: int64[n], where each stands in the specimen; where not given, one behind the other.
        space: bytes of the specimen, where a place is given.
    """
    divided = segment(cpu_of(name), value)
    blank = filler(value)
    told = len(value) - (int(np.count_nonzero(value == blank)) if blank is not None else 0)
    jumps = _jumps(divided, np.arange(len(value)), len(value)) if place is None else _jumps(divided, place, space)
    gain, arrived, tried = jumps.arriving()
    return Sense(name, divided.score + gain, divided.score / max(64, told), arrived, tried, gain, told, jumps)


def filler(value: Bytes) -> int | None:
    """Return the value that fills unused bytes: 00 or FF, whichever is the commoner, where it is common."""
    counts = np.bincount(value, minlength=256)
    likely = 0xFF if counts[0xFF] >= counts[0x00] else 0x00
    return likely if counts[likely] * 32 >= max(1, len(value)) else None


def _places(absolute: Index, size: int) -> Index:
    """Return where the ROM may lie in the address space, the commonest first."""
    pages, counts = np.unique(absolute // size, return_counts=True)
    chosen: Index = pages[np.argsort(-counts, kind="stable")[:PAGES]] * size
    return chosen


def _gain(hits: int, count: int, chance: float, share: float = ARRIVES) -> float:
    chance = min(max(chance, 0.02), 0.9)
    return hits * log(share / chance) + (count - hits) * log((1 - share) / (1 - chance))
