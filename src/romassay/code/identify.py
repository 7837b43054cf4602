"""Which CPU the bytes are code of, if of any: evidence for each family, then a calibrated probability for each CPU.

Evidence is a log-likelihood ratio, in nats, against uniformly random bytes: that of the best division into code and
other data (`cpus.likeness`), and that of the branches, which land on instructions in real code and anywhere in other
data. Nats are not probabilities here, because bytes that follow each other are not independent. The square root
tempers them; the constants of `CALIBRATION` were fitted by `training/fit_calibration.py`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.code.structure import structure
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.columns import ILLEGAL, JUMP, RETURN, STOP, ident_of
from romassay.cpus.likeness import Segmented, padding, plain_score, segment
from romassay.cpus.model import Name

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

LEAST = 64
"""Bytes that are not padding, below which nothing is said."""

SAMPLE = 8192
"""Bytes that are weighed for every family; of a longer image, pieces from all over it."""

_PIECE = 2048

_PIECE_COSTS = 3.0
"""Nats that each piece of code costs: real code hangs together, chance finds many short pieces."""

_PLAINER = 1.2
"""Nats a byte that code may score more as mere data than as code; tables and character generators score far more."""

_LANDS = 0.94
"""Share of the branches of real code that land on an instruction of the division."""


_PLAIN_ENOUGH = 150.0
"""Nats for a family from which on the flow alone is not asked: nothing could add to it."""

_FEW_VALUES = 2.0
"""Nats a byte, as mere data, from which on the flow says nothing: of few different values there are too few flows."""

_FLOW_OF_DATA = 16.0
"""Nats that the flow of mere data may seem to have for one family or another."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """How evidence turns into probability: logit of a family = slope × √evidence, of no code = none."""

    slope: float
    none: float
    wide_slope: float
    wide_start: float


CALIBRATION = Calibration(slope=1.3, none=6.5, wide_slope=2.55, wide_start=-4.38)


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
    sample = _sample(data)
    found = []
    for plain, wides in FAMILIES:
        divisions = [(segment(cpu_of(wide), sample), wide) for wide in wides]
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


def _sample(data: npt.NDArray[np.uint8]) -> npt.NDArray[np.uint8]:
    """Return the bytes, or of many of them the pieces that hold the least padding."""
    if len(data) <= SAMPLE:
        return data
    blank = padding(data)
    places = sorted(range(0, len(data) - _PIECE + 1, _PIECE), key=lambda at: int(blank[at : at + _PIECE].sum()))
    return np.concatenate([data[at : at + _PIECE] for at in sorted(places[: SAMPLE // _PIECE])])


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
    excess = max(0.0, plain_score(code) - rate - _PLAINER, repeating - rate)
    return max(0.0, found - excess * len(code))


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


def candidates(
    data: npt.NDArray[np.uint8], evidence: list[Evidence], calibration: Calibration = CALIBRATION
) -> tuple[tuple[Name | None, float], ...]:
    """Return (CPU or None, probability), likeliest first; the probabilities add up to 1."""
    if len(data) - int(padding(data).sum()) < LEAST:
        return ((None, 1.0),)
    logits = np.array([calibration.none, *(calibration.slope * math.sqrt(item.nats) for item in evidence)])
    weights = np.exp(logits - logits.max())
    weights /= weights.sum()
    found: list[tuple[Name | None, float]] = [(None, float(weights[0]))]
    for item, weight in zip(evidence, weights[1:], strict=True):
        for name, share in _within(data, item, float(weight), calibration):
            found.append((name, share))
    return tuple(sorted(_merged(found), key=lambda pair: -pair[1]))


def _merged(found: list[tuple[Name | None, float]]) -> list[tuple[Name | None, float]]:
    total: dict[Name | None, float] = {}
    for name, share in found:
        total[name] = total.get(name, 0.0) + share
    return list(total.items())


_WORTH_A_LOOK = 0.01

_TEXT = 5
"""Printing bytes in a row from which on they are taken for a text, where an instruction is asked for its CPU."""

_GAP = 24
"""Bytes in a row that are no code without the wider CPU's instructions, up to which these are code beyond doubt."""

_TABLE = 5
"""Bytes in a row that are no code without the wider CPU's instructions, from which on they are taken for a table where
they stand behind a return or a jump: nothing leads into them."""

_TABLE_GAIN = 3.0
"""Nats that such a table may seem to gain by the wider CPU's instructions."""

_SHARED = {"Z80": (0x20, 0x30)}
"""Opcodes that say nothing alone: JR NZ and JR NC of the Z80 are RIM and SIM of the 8085, and a program for the Z80 has
other branches besides."""

_DATA_GAIN = 20.0
"""Nats that such instructions may seem to be worth amid data; code that is full of them is worth far more."""


def _within(
    data: npt.NDArray[np.uint8], item: Evidence, weight: float, calibration: Calibration
) -> list[tuple[Name, float]]:
    """Share a family's probability among its CPUs: the plainest, unless instructions of a wider one are in the code."""
    if weight < _WORTH_A_LOOK or not wides(item.plain):
        return [(item.plain, weight)]
    odds = [
        (wide, math.exp(calibration.wide_start + calibration.wide_slope * math.sqrt(gain)) if gain > 0 else 0.0)
        for wide, gain in gains(data, item.plain)
    ]
    total = 1 + sum(odd for _, odd in odds)
    return [(item.plain, weight / total), *((wide, weight * odd / total) for wide, odd in odds)]


def wides(plain: Name) -> tuple[Name, ...]:
    """Return the CPUs of a family that contain its plainest one."""
    return tuple(wide for wide in dict(FAMILIES)[plain] if wide != plain)


def gains(data: npt.NDArray[np.uint8], plain: Name) -> list[tuple[Name, float]]:
    """Return for each wider CPU of a family what the instructions that only it has are worth in the code, in nats."""
    sample = _sample(data)
    return [(wide, wider(sample, wide)) for wide in wides(plain)]


def wider(sample: npt.NDArray[np.uint8], name: Name) -> float:
    """Return what is lost, in nats, where the instructions that only the wider CPU has are left out.

    One that follows itself says no more: a table of addresses reads as the same instruction again and again. Neither
    does one amid a text, which code may well have behind a call, nor one amid what is no code without it.

    Args:
        sample: uint8[n].
        name: the wider CPU.
    """
    cpu, extra = cpu_of(name), extras(name)
    without = segment(cpu, sample, without=extra)
    text = _runs((sample >= ord(" ")) & (sample <= ord("~")), _TEXT)
    found = segment(cpu, sample, without=extra, where=text)
    doubtful = text | _runs(~without.code, _GAP + 1) | _tables(without, found)
    shared = _SHARED.get(name, ())
    amid = sample[found.code & ~without.code]
    wide_open = _lost(found, without, extra, shared)
    return max(
        wide_open - _excess(amid, wide_open) - _DATA_GAIN,
        _lost(segment(cpu, sample, without=extra, where=doubtful), without, extra, shared),
        0.0,
    )


def _tables(without: Segmented, found: Segmented) -> npt.NDArray[np.bool_]:
    """Return bool[n]: bytes that nothing leads into, and that are hardly better code with the wider CPU's instructions.

    They are in runs of `_TABLE` and more that are no code without these, and that begin where the flow does not go on.
    """
    starts, flow = without.starts, without.columns.flow
    last = starts[np.isin(flow[starts], (JUMP, RETURN, STOP))]
    begins = np.zeros(len(without.code) + 1, bool)
    begins[last + without.columns.size[last]] = True
    gain = found.ahead - without.ahead
    other = _runs(~without.code, _TABLE)
    edges = np.flatnonzero(np.diff(other.astype(np.int8), prepend=0, append=0))
    tables = np.zeros(len(other), bool)
    for first, end in zip(edges[::2].tolist(), edges[1::2].tolist(), strict=True):
        tables[first:end] = begins[first] and gain[first] - gain[end] < _TABLE_GAIN
    return tables


def _excess(code: npt.NDArray[np.uint8], worth: float) -> float:
    """Return what bytes score more as mere data of few different values than as code worth so much, in nats."""
    return max(0.0, (plain_score(code) - _PLAINER) * len(code) - worth)


def _lost(division: Segmented, without: Segmented, extra: npt.NDArray[np.int32], shared: tuple[int, ...]) -> float:
    """Return what a division is worth beyond the one without some instructions, less where they follow themselves.

    Nothing, where all that are used are `shared` with another wider CPU.
    """
    idents = division.columns.ident[division.starts]
    used = np.isin(idents, extra)
    if not (used & ~np.isin(idents, shared)).any():
        return 0.0
    fresh = used & (np.diff(idents, prepend=ILLEGAL) != 0)
    lost = division.score + landing(division) - without.score - landing(without)
    return lost * int(fresh.sum()) / int(used.sum())


def _runs(chosen: npt.NDArray[np.bool_], least: int) -> npt.NDArray[np.bool_]:
    """Return bool[n]: those chosen that stand in runs of so many and more."""
    edges = np.flatnonzero(np.diff(chosen.astype(np.int8), prepend=-1, append=-1))
    lengths = np.diff(edges)
    long: npt.NDArray[np.bool_] = np.repeat(lengths >= least, lengths) & chosen
    return long


def extras(name: Name) -> npt.NDArray[np.int32]:
    """Return the idents that a CPU has beyond the one that it contains."""
    cpu = cpu_of(name)
    if cpu.base is None:
        return np.array([], np.int32)
    codes = {form.code for form in cpu_of(cpu.base).forms}
    return np.array(sorted({ident_of(cpu, form) for form in cpu.forms if form.code not in codes}), np.int32)
