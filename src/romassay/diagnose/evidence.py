"""What the diagnosis looks at: the readings laid over each other, each ROM's observations, what the bus floats at."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np

from romassay.diagnose.reads import Senses
from romassay.part import Part
from romassay.reading import Bytes, Index, Reading, ReadingSet
from romassay.settle.model import Image
from romassay.survey.consensus import Consensus, consensus
from romassay.survey.cubes import contents
from romassay.survey.model import Function, Survey
from romassay.survey.stack import GRANULE, GRANULE_LINES, Stack, granules_seen, stack

Floats = Literal["0", "1", "follows", "unknown"]
"""What an undriven data line does: one level, the level of an address line, or nothing that could be told."""

SAMPLE = 8192
"""Bytes of the floating bus that are looked at, at most."""

FOLLOWERS = 2
"""Data lines that float as address lines in their order, from which the bus keeps half of the address."""

STEADY = 0.97
"""Share of the bytes in which a floating data line does what it is said to do; the rest is line noise."""


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """All observations of a function.

    Attributes:
        value: uint8[n, size].
        known: uint8[n, size], the bits that were seen.
        reading: int64[n], which reading each row is of.
        first: int64[n], the address of the copy.
    """

    value: Bytes
    known: Bytes
    reading: Index
    first: Index


@dataclass(frozen=True, slots=True, eq=False)
class Evidence:
    """Everything that a fault may show in.

    Attributes:
        readings: all of them.
        chosen: those of the specimen.
        found: who answers where.
        images: the settled ROMs.
        part: the declared part.
        size: bytes of the ROM that were declared, by part or by number.
        stacked: the specimen's readings laid over each other.
        said: what they say together.
        senses: how well bytes read as code, each asked for once.
    """

    readings: ReadingSet
    chosen: tuple[Reading, ...]
    found: Survey
    images: tuple[Image, ...]
    part: Part | None
    size: int | None
    stacked: Stack
    said: Consensus
    senses: Senses = field(default_factory=Senses)

    def without(self, lines: Sequence[int]) -> Evidence:
        """Return the same with some data lines low everywhere: they say nothing of the specimen."""
        if not lines:
            return self
        rest = np.uint8(0xFF & ~sum(1 << line for line in lines))
        stacked = replace(self.stacked, value=self.stacked.value & rest)
        return replace(self, stacked=stacked, said=replace(self.said, value=self.said.value & rest))

    def observed(self, function: Function) -> Observed:
        """Return the observations of every uncontended copy in every reading."""
        level = function.size.bit_length() - 1
        firsts = np.array([c.first for c in function.copies if not c.contended], np.int64)
        rows = range(len(self.chosen))
        values = [contents(self.stacked, self.stacked.value[row], level, firsts >> level) for row in rows]
        knowns = [contents(self.stacked, self.stacked.known[row], level, firsts >> level) for row in rows]
        reading = np.repeat(np.arange(len(self.chosen)), len(firsts))
        value, known = np.concatenate(values), np.concatenate(knowns)
        heard = known.any(axis=1)
        return Observed(value[heard], known[heard], reading[heard], np.tile(firsts, len(self.chosen))[heard])

    def addresses_of(self, kind: str) -> Index:
        """Return where the granules of all regions of one kind stand in the stack."""
        granules = self.stacked.granules
        hit = np.zeros(len(granules), np.bool_)
        for region in self.found.regions:
            if region.kind == kind:
                low, high = np.searchsorted(
                    granules, (region.first >> GRANULE_LINES, (region.last >> GRANULE_LINES) + 1)
                )
                hit[low:high] = True
        return np.flatnonzero(hit)


def gather(
    readings: ReadingSet, found: Survey, images: Sequence[Image], part: Part | None, size: int | None
) -> Evidence:
    """Put together what the diagnosis looks at."""
    chosen = readings.with_role("specimen") or readings.with_role("pulled-up") + readings.with_role("pulled-down")
    declared = max((f.size for f in part.of_kind("rom")), default=None) if part else size
    stacked = stack(chosen, readings.address_bits, readings.excluded, granules_seen(chosen))
    return Evidence(readings, chosen, found, tuple(images), part, declared, stacked, consensus(stacked))


@dataclass(frozen=True, slots=True)
class Floating:
    """What each data line does where nobody answers.

    Attributes:
        lines: for each data line what it does.
        follows: for each data line the address line that it follows, or -1.
        seen: bytes that this rests on.
    """

    lines: tuple[Floats, ...]
    follows: tuple[int, ...]
    seen: int

    def odd(self, line: int) -> bool:
        """Tell whether a line floats at one level where most others float at the other, or move.

        On a bus that keeps half of the address, one also does where it should follow an address line as others do.
        """
        own = self.lines[line]
        follow = [other for other, level in enumerate(self.lines) if level == "follows"]
        apart = {self.follows[other] - other for other in follow}
        if own in ("0", "1") and len(follow) >= FOLLOWERS and len(apart) == 1 and line < max(follow):
            return True
        others = [level for other, level in enumerate(self.lines) if other != line]
        return own in ("0", "1") and sum(level != own for level in others) >= len(others) - 1


def floating(evidence: Evidence) -> Floating:
    """Learn what each data line does where nobody answers: from the empty socket if it was read, else from the rest."""
    hollow = evidence.readings.with_role("empty-socket")
    if hollow:
        granules = granules_seen(hollow)
        said = consensus(stack(hollow, evidence.readings.address_bits, evidence.readings.excluded, granules))
        rows = np.arange(len(granules))
    else:
        granules, said = evidence.stacked.granules, evidence.said
        rows = evidence.addresses_of("open-bus")
    if not len(rows):
        return Floating(("unknown",) * 8, (-1,) * 8, 0)
    rows = rows[:: max(1, len(rows) * GRANULE // SAMPLE)]
    address = (granules[rows, None] * GRANULE + np.arange(GRANULE)).ravel()
    value, sure = said.value[rows].ravel(), said.sure[rows].ravel()
    address, value = address[sure], value[sure]
    lines, follows = [], []
    for bit in range(8):
        level, line = behaviour((value >> bit & 1).astype(np.uint8), address, evidence.readings.address_bits)
        lines.append(level)
        follows.append(line)
    return Floating(tuple(lines), tuple(follows), len(value))


def behaviour(bits: Bytes, address: Index, lines: int) -> tuple[Floats, int]:
    """Return what a data line does, and the address line that it follows, or -1.

    Args:
        bits: uint8[n], its levels.
        address: int64[n], where.
        lines: how many address lines there are.
    """
    if not len(bits):
        return "unknown", -1
    ones = float(np.mean(bits))
    if ones >= STEADY or ones <= 1 - STEADY:
        return ("1" if ones > 0.5 else "0"), -1
    for line in range(lines):
        same = float(np.mean((address >> line & 1) == bits))
        if same >= STEADY:
            return "follows", line
    return "unknown", -1
