"""What speaks for each family of CPUs: usual code, branches that arrive, and flow; as a log-likelihood ratio.

In nats, against uniformly random bytes: that of the best division into code and other data (`cpus.likeness`), and that
of the branches, which land on instructions in real code and anywhere in other data.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from romassay.code.structure import structure
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.likeness import Segmented, padding, plain_score, segment
from romassay.cpus.model import Cpu, Name

FAMILIES: tuple[tuple[Name, tuple[Name, ...]], ...] = (
    ("6502", ("65C02",)),
    ("6800", ("6801",)),
    ("6809", ("6809",)),
    ("8080", ("8085", "Z80")),
    ("8048", ("8048",)),
    ("8051", ("8051",)),
    ("1802", ("1802",)),
)
"""The plainest set of each family, and the wider ones that contain it. They are weighed together; which it is comes
after."""

SAMPLE = 8192
"""Bytes that are weighed for every family; of a longer image, pieces from all over it."""

_PIECE = 2048

_PIECE_COSTS = 3.0
"""Nats that each piece of code costs: real code hangs together, chance finds many short pieces."""

PLAINER = 1.2
"""Nats a byte that code may score more as mere data than as code; tables and character generators score far more."""

_LEAST_PLAIN = 32
"""Bytes below which a piece says too little of which values it has."""

_PLAINLY = 10.0
"""Nats by which a piece must be better told as mere data, to be left out of the code."""

_LANDS = 0.94
"""Share of the branches of real code that land on an instruction of the division."""


_PLAIN_ENOUGH = 150.0
"""Nats for a family from which on the flow alone is not asked: nothing could add to it."""

_FEW_VALUES = 2.0
"""Nats a byte, as mere data, from which on the flow says nothing: of few different values there are too few flows."""

_FLOW_OF_DATA = 16.0
"""Nats that the flow of mere data may seem to have for one family or another."""


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """What speaks for one family.

    Attributes:
        plain: its plainest CPU.
        wide: that of its CPUs for which the most speaks.
        nats: over the bytes that were weighed.
        division: into code and other data, by the wide one.
    """

    plain: Name
    wide: Name
    nats: float
    division: Segmented


def weigh(data: npt.NDArray[np.uint8]) -> list[Evidence]:
    """Return what speaks for each family, the strongest first."""
    sample = sample_of(data)
    found = []
    for plain, wides in FAMILIES:
        divisions = [(division, wide) for wide in wides for division in _divisions(cpu_of(wide), sample)]
        weighed = [Evidence(plain, wide, nats(sample, division), division) for division, wide in divisions]
        found.append(max(weighed, key=lambda item: item.nats))
    written = sample[~padding(sample)]
    if max(item.nats for item in found) < _PLAIN_ENOUGH and plain_score(written) < _FEW_VALUES:
        found = [_by_flow(sample, item) for item in found]
    return sorted(found, key=lambda item: -item.nats)


def _by_flow(sample: npt.NDArray[np.uint8], usual: Evidence) -> Evidence:
    """Return the evidence of the flow alone, where more speaks for a family by it than by what is usual in code."""
    found = [usual]
    for wide in dict(FAMILIES)[usual.plain]:
        value, division = structure(cpu_of(wide), sample)
        found.append(Evidence(usual.plain, wide, max(0.0, value - _FLOW_OF_DATA), division))
    return max(found, key=lambda item: item.nats)


def sample_of(data: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Return the bytes, or of many of them the pieces that hold the least padding."""
    if len(data) <= SAMPLE:
        return data
    blank = padding(data)
    places = sorted(range(0, len(data) - _PIECE + 1, _PIECE), key=lambda at: int(blank[at : at + _PIECE].sum()))
    return np.concatenate([data[at : at + _PIECE] for at in sorted(places[: SAMPLE // _PIECE])])


def _divisions(cpu: Cpu, sample: npt.NDArray[np.uint8]) -> tuple[Segmented, ...]:
    """Return the best division, and that without its pieces of mere data where there are such."""
    whole = segment(cpu, sample)
    part = without_plain(sample, whole)
    return (whole,) if len(part.starts) in (0, len(whole.starts)) else (whole, part)


def without_plain(data: npt.NDArray[np.uint8], division: Segmented) -> Segmented:
    """Return a division less the pieces of code that are far better told as mere data of few different values.

    Text reads as some code or other, and where there is much of it, would speak against the code beside it as well.
    """
    edges = np.flatnonzero(np.diff(division.code.astype(np.int8), prepend=0, append=0))
    code, score = division.code.copy(), division.score
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        worth = float(division.ahead[first] - division.ahead[end])
        if end - first >= _LEAST_PLAIN and (plain_score(data[first:end]) - PLAINER) * (end - first) > worth + _PLAINLY:
            code[first:end] = False
            score -= worth
    return replace(division, code=code, score=score, starts=division.starts[code[division.starts]])


def nats(data: npt.NDArray[np.uint8], division: Segmented) -> float:
    """Return what speaks for a division, less what its code scores as mere data of few different values."""
    code = data[division.code]
    if not len(code):
        return 0.0
    pieces = int((np.diff(division.code.astype(np.int8), prepend=0) == 1).sum())
    found = division.score + landing(division) - _PIECE_COSTS * pieces
    rate = found / len(code)
    steps = np.diff(data, prepend=data[:1])
    repeating = max(repeating_score(data, division.code), repeating_score(steps, division.code))
    excess = max(0.0, plain_score(code) - rate - PLAINER, repeating - rate)
    return max(0.0, found - excess * len(code) - wider_words(data, division.code))


_STRIDES = (1, 2, 3, 4, 6, 8)


def repeating_score(data: npt.NDArray[np.uint8], chosen: npt.NDArray[np.bool_]) -> float:
    """Return what the chosen bytes score as a table: each the same as the one a fixed step before, or random.

    In nats a byte, against uniformly random ones, for the best step. Tables of words and records score high; code
    does not. Of the steps from byte to byte it tells what counts up or down.
    """
    best = 0.0
    for stride in _STRIDES:
        same = (data[stride:] == data[:-stride])[chosen[stride:]]
        count, hits = len(same), int(same.sum())
        if hits and hits < count:
            share = hits / count
            best = max(best, share * math.log(share * 256) + (1 - share) * math.log((1 - share) * 256 / 255))
    return best


_WORDS = (2, 4)
_HALF = 4
"""Bits of a byte's high half: the low one tells less of where in a word the byte stands."""

_BY_CHANCE = 8.0
"""Nats that places in words may seem to tell of few bytes."""


def wider_words(data: npt.NDArray[np.uint8], chosen: npt.NDArray[np.bool_]) -> float:
    """Return by how much the chosen bytes are better told by their place in words of two or four bytes, in nats.

    Instructions of a wider CPU and tables of wider numbers keep to such places. The code of a CPU whose instructions
    have any number of bytes does not: to learn what each place holds then costs more than it tells, and 0 is returned.
    """
    at = np.flatnonzero(chosen)
    halves = data[at] >> _HALF
    alone = _learnt(np.bincount(halves, minlength=16))
    told = [
        sum(_learnt(np.bincount(halves[at % size == place], minlength=16)) for place in range(size)) for size in _WORDS
    ]
    return max(0.0, max(told) - alone - _BY_CHANCE)


def _learnt(counts: npt.NDArray[np.int64]) -> float:
    """Return the log-likelihood of values whose shares are learnt as they come (Krichevsky and Trofimov, 1981)."""
    start = 1 / 2
    total = sum(math.lgamma(count + start) for count in counts.tolist()) - len(counts) * math.lgamma(start)
    return total + math.lgamma(len(counts) * start) - math.lgamma(int(counts.sum()) + len(counts) * start)


def landing(division: Segmented) -> float:
    """Return the evidence of branches to within the bytes: that they land on instructions, in nats."""
    starts = division.starts
    if not len(starts):
        return 0.0
    targets = division.columns.near[starts]
    targets = targets[(targets >= 0) & (targets < len(division.code))]
    if not len(targets):
        return 0.0
    is_start = np.zeros(len(division.code), bool)
    is_start[starts] = True
    inside = division.code[targets]
    hits = int(is_start[targets].sum())
    chance = min(0.9, max(0.02, len(starts) / max(1, int(division.code.sum()))))
    misses = int(inside.sum()) - hits + 0.5 * int((~inside).sum())
    return hits * math.log(_LANDS / chance) + misses * math.log((1 - _LANDS) / (1 - chance))
