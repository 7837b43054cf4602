"""Bytes that come several times in a row, all over the specimen: it takes an address only at every so many accesses.

A memory that is read once for each address changes its byte anywhere. One whose enable does not come back to rest at
each access keeps its outputs, and takes the next address when the enable moves again: all changes then stand at one
place of a period. A period of two or four addresses from the bottom is rather that of address lines that are dead.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from math import log

import numpy as np

from romassay.address import Range, merge_ranges
from romassay.diagnose.evidence import Evidence, behaviour
from romassay.diagnose.usual import FILLINGS
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.survey.stack import GRANULE, Bools

BLOCK = 512
"""Addresses that are looked at together."""

PERIODS = (*range(3, 65), 128, 256, 512)
"""Accesses for which a byte may be kept, longer ones in powers of two."""

SHARE = 0.85
"""Share of the changes that must stand at one place of the period; line noise makes the others."""

ALIVE = 0.4
"""Share of the places of the period at which the byte must change: of neighbours in code nine in ten differ."""

NATS = 22.0
"""Nats that the changes must say for a period: chance puts each at that place once in `period` times."""

VARIED = 4
"""Different bytes that must be kept: what a bus floats to, or a ramp of a few levels, is no program."""

ROUGH = 4
"""Median step between bytes kept, at least: curves and counters go in small ones."""

DEAD_LINES = (4,)
"""Periods that dead address lines explain better, where they begin at a multiple of themselves."""


@dataclass(frozen=True, slots=True, eq=False)
class _Steps:
    """Where a reading keeps each byte over a whole period.

    Attributes:
        period: accesses.
        phase: address of each new byte, modulo the period.
        rows: int64[b], the blocks.
    """

    period: int
    phase: int
    rows: Index


def stepped(evidence: Evidence) -> Iterator[Finding]:
    """Return the finding where every reading keeps each byte for a whole period, over most of what answers."""
    stacked = evidence.stacked
    if not len(stacked.granules):
        return
    address = (stacked.granules[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    small = _small(evidence)
    found = [
        _steps(address, value.ravel(), known.ravel() == 0xFF, small)
        for value, known in zip(stacked.value, stacked.known, strict=True)
    ]
    first = found[0]
    if first is None or any(each is None or each.period != first.period for each in found):
        return
    where = merge_ranges(Range(int(row) * BLOCK, int(row) * BLOCK + BLOCK - 1) for row in first.rows)
    lines = first.period & (first.period - 1) == 0 and first.phase == 0
    names = f"A0 to A{first.period.bit_length() - 2}"
    yield Finding(
        "latched-enable",
        blocks=True,
        where=where[:100],
        probability=0.85 if lines else 0.95,
        evidence=f"the same byte comes {first.period} times in a row, all over {where[0]}"
        + (" and elsewhere" if len(where) > 1 else "")
        + f": the specimen takes an address only once in {first.period} accesses"
        + (f", or {names} do not reach it" if lines else ""),
        advice="the specimen takes the address when its enable or clock moves: give it a pulse for every byte in place "
        "of a fixed level" + (f"; power off, then check the wires of {names}" if lines else ""),
    )


def _small(evidence: Evidence) -> Bools:
    """Tell which bytes are those of RAM, registers and the host, bool[n]."""
    out = np.zeros(len(evidence.stacked.granules), np.bool_)
    for kind in ("ram", "registers", "host", "open-bus"):
        out[evidence.addresses_of(kind)] = True
    return np.repeat(out, GRANULE)


def _steps(address: Index, value: Bytes, known: Bools, small: Bools) -> _Steps | None:
    """Return the longest period over which a reading keeps its bytes, or None."""
    changed = np.r_[False, (value[1:] != value[:-1]) & (np.diff(address) == 1) & known[1:] & known[:-1]]
    for period in reversed(PERIODS):
        found = _kept(address[changed], small[changed], period)
        if found is not None and _is_memory(address, value, known, found):
            return found
    return None


def _kept(at: Index, small: Bools, period: int) -> _Steps | None:
    """Return where all changes stand at one place of a period; None where that is less than half of what changes.

    What passes for RAM or registers may be the specimen, but does not speak against it.
    """
    phase = int(np.bincount(at % period, minlength=period).argmax())
    if period in DEAD_LINES and phase == 0:
        return None
    rows, back, count = np.unique(at // max(BLOCK, 8 * period), return_inverse=True, return_counts=True)
    on = np.bincount(back, at % period == phase)
    places = max(BLOCK, 8 * period) // period
    keeps = (on >= SHARE * count) & (on >= ALIVE * places)
    lively = np.bincount(back, ~small) >= ALIVE * places
    if on[keeps].sum() * log(period) < NATS or keeps.sum() <= (lively & ~keeps).sum():
        return None
    wide = max(1, 8 * period // BLOCK)
    return _Steps(period, phase, (rows[keeps, None] * wide + np.arange(wide)).ravel())


def _is_memory(address: Index, value: Bytes, known: Bools, steps: _Steps) -> bool:
    """Tell whether the bytes that are kept are such as a program has, and no ramp and no floating bus."""
    starts = known & (address % steps.period == steps.phase) & np.isin(address // BLOCK, steps.rows)
    kept = value[starts]
    told = kept[~np.isin(kept, FILLINGS)].astype(np.int64)
    lines = int(address[-1]).bit_length()
    floats = (behaviour((kept >> bit & 1).astype(np.uint8), address[starts], lines)[0] for bit in range(8))
    if all(each != "unknown" for each in floats):
        return False
    return len(np.unique(told)) >= VARIED and float(np.median(np.abs(np.diff(told)))) >= ROUGH
