"""What the instructions that only a wider CPU has are worth in code: Z80 or 8085 beside 8080, 65C02, 6801.

Code of the plainer CPU is legal code of the wider one, so it is the plainer one's unless such instructions are in it.
Tables and texts between its routines may read as a few of them.
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from romassay.code.evidence import FAMILIES, PLAINER, landing, sample_of
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.columns import BRANCH, CALL, ILLEGAL, JUMP, RETURN, STOP, ident_of
from romassay.cpus.likeness import Segmented, plain_score, segment
from romassay.cpus.model import Name

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

_CALLED = 2.5
_MOST_CALLED = 3
"""Nats for a call that leads to where code begins by the wider CPU's instructions only, and how many count."""

_MISS = 2
_LEAST_VOTES = 4
"""Votes of addresses for an origin, where each that lands on no instruction takes `_MISS` away."""

_PAGE = 0x100
_SPACE = 0x10000

_DATA_GAIN = 20.0
"""Nats that such instructions may seem to be worth amid data; code that is full of them is worth far more."""


def wides(plain: Name) -> tuple[Name, ...]:
    """Return the CPUs of a family that contain its plainest one."""
    return tuple(wide for wide in dict(FAMILIES)[plain] if wide != plain)


def gains(data: npt.NDArray[np.uint8], plain: Name) -> list[tuple[Name, float]]:
    """Return for each wider CPU of a family what the instructions that only it has are worth in the code, in nats."""
    sample = sample_of(data)
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
    called = _called(without)
    doubtful = text | (_runs(~without.code, _GAP + 1) | _tables(without, found)) & ~_behind(called, without)
    shared = _SHARED.get(name, ())
    amid = sample[found.code & ~without.code]
    wide_open = _lost(found, without, extra, shared)
    beyond_doubt = segment(cpu, sample, without=extra, where=doubtful)
    worth = _lost(beyond_doubt, without, extra, shared)
    if worth > 0:
        worth += _CALLED * min(_MOST_CALLED, int(np.isin(called, beyond_doubt.starts).sum()))
    return max(wide_open - _excess(amid, wide_open) - _DATA_GAIN, worth, 0.0)


def _called(without: Segmented) -> npt.NDArray[np.int64]:
    """Return the offsets that calls and jumps lead to though no code seems to begin there without the wider CPU.

    None, where no origin is plain: one at which most of the addresses that lead inside land on instructions.
    """
    size = len(without.code)
    absolute = without.columns.absolute[without.starts]
    leads = (absolute >= 0) & np.isin(without.columns.flow[without.starts], (JUMP, CALL, BRANCH))
    goals = np.unique(absolute[leads]).astype(np.int64)
    is_start = np.zeros(size, bool)
    is_start[without.starts] = True
    at = goals[None, :] - np.append(np.arange(0, _SPACE - size + 1, _PAGE), _SPACE - size)[:, None]
    inside = (at >= 0) & (at < size)
    landed = inside & is_start[np.clip(at, 0, size - 1)]
    votes = landed.sum(1) - _MISS * (inside & ~landed).sum(1)
    best = int(votes.argmax()) if len(goals) else 0
    if not len(goals) or votes[best] < _LEAST_VOTES:
        return goals[:0]
    found: npt.NDArray[np.int64] = at[best][inside[best]]
    return found[~without.code[found]]


def _behind(called: npt.NDArray[np.int64], without: Segmented) -> npt.NDArray[np.bool_]:
    """Return bool[n]: the bytes of the routines at the offsets that are called, up to a return or for a few bytes."""
    columns = without.columns
    size = len(without.code)
    chosen = np.zeros(size, bool)
    for first in called.tolist():
        at = first
        while at < min(size, first + _GAP):
            end = at + int(columns.size[at])
            chosen[at:end] = True
            if int(columns.flow[at]) in (JUMP, RETURN, STOP):
                break
            at = end
    return chosen


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
    return max(0.0, (plain_score(code) - PLAINER) * len(code) - worth)


def _lost(division: Segmented, without: Segmented, extra: npt.NDArray[np.int32], shared: tuple[int, ...]) -> float:
    """Return what a division is worth beyond the one without some instructions, less where they follow themselves.

    Nothing, where all that are used are `shared` with another wider CPU, and less where most are.
    """
    idents = division.columns.ident[division.starts]
    used = np.isin(idents, extra)
    own = int((used & ~np.isin(idents, shared)).sum())
    if not own:
        return 0.0
    fresh = used & (np.diff(idents, prepend=ILLEGAL) != 0)
    lost = division.score + landing(division) - without.score - landing(without)
    return lost * int(fresh.sum()) / int(used.sum()) * min(1.0, 2 * own / int(used.sum()))


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
