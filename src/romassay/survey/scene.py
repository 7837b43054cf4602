"""What the survey looks at: the readings laid over each other, the bus told from what speaks, everything compared."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from romassay.reading import Bytes, Index, Reading, ReadingSet
from romassay.survey.blocks import Grown, grow
from romassay.survey.bus import Background, background, driven_lines, unsteady_lines
from romassay.survey.consensus import Consensus, consensus
from romassay.survey.controls import undriven_bits, where_nobody_drives
from romassay.survey.ground import as_registers, ground, padding, registers
from romassay.survey.pairs import Ladder, pairs
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Stack, stack
from romassay.survey.states import CONTENT, UNSEEN, VOLATILE, Ground

LARGEST_REGISTERS = 5
"""log2 of the bytes that a block of registers takes at most: 32 in a 6532 (data sheet)."""

LEAST_BLANK = 7
"""log2 of the bytes of a blank specimen's smallest block, where no size was declared."""

BLANK_SHARE = 0.9
"""Share of a blank specimen's block that must be blank: a bus that loses its charge is, for a while."""


@dataclass(frozen=True, slots=True, eq=False)
class Scene:
    """All that the later steps look at.

    Attributes:
        stacked: the specimen's readings.
        said: what they say together.
        based: what each granule holds.
        told: bytes that say more than the bus, bool[G, 16].
        driven: data lines that ever say something, as a bit mask.
        noisy: data lines that only make noise where the others say something: nobody drives them.
        undriven: uint8[G], data lines that a control reading shows to be driven nowhere in a granule; None without one.
        bus: uint8[G, 16], what all eight data lines would say without the specimen, where some of them seem to say
            nothing else; None where all speak, or where nothing is known of the bus.
        damaged: True where a log of the specimen lost or garbled anything.
        ladder: the evidence at every block size.
        grown: the largest block of each granule that is one thing.
    """

    stacked: Stack
    said: Consensus
    based: Ground
    told: Bools
    driven: int
    noisy: int
    undriven: Bytes | None
    bus: Bytes | None
    damaged: bool
    ladder: Ladder
    grown: Grown

    def with_registers(self) -> Scene | None:
        """Return the scene with nothing but registers to find, or None where nothing looks like any."""
        running = registers(self.said, self.based)
        if not running.any():
            return None
        said = as_registers(self.said, running)
        state = self.based.state.copy()
        state[state == CONTENT] = VOLATILE
        state[running] = CONTENT
        based = replace(self.based, state=state)
        ladder = Ladder(pairs(self.stacked, said, based, driven=self.driven, quiet=False))
        grown = grow(ladder, said, based, self.stacked.bits, LARGEST_REGISTERS)
        return replace(self, said=said, based=based, told=based.told(said), ladder=ladder, grown=grown)

    def granules_of(self, level: int, blocks: Sequence[int]) -> Index:
        """Return where the granules of some blocks stand in the stack; those that were not seen are left out."""
        wide = 1 << (level - GRANULE_LINES)
        numbers = (np.array(blocks, np.int64)[:, None] * wide + np.arange(wide)).ravel()
        at = self.stacked.positions(numbers)
        return at[at >= 0]


def look(readings: ReadingSet, chosen: Sequence[Reading], granules: Index, highest: int) -> Scene:
    """Lay the readings over each other, learn the bus, and compare everything with itself.

    Args:
        readings: all of them; control readings are found by their role.
        chosen: those of the specimen.
        granules: the granules that they saw.
        highest: log2 of the largest block to try.
    """
    bits = readings.address_bits
    stacked = stack(chosen, bits, readings.excluded, granules)
    undriven = undriven_bits(readings, granules)
    if undriven is not None:
        undriven[~stacked.known.any(axis=0)] = 0
        stacked = _without(stacked, undriven)
    plain = consensus(stacked)
    behind = background(stacked, plain, 0xFF)
    driven = driven_lines(plain, behind, granules) or 0xFF
    noisy = unsteady_lines(stacked, behind)
    if noisy == 0xFF:
        noisy = 0
    driven = driven & ~noisy or 0xFF
    said = plain if driven == 0xFF else consensus(stacked, driven)
    nowhere = None if undriven is None else (undriven & np.uint8(driven)) == driven
    if nowhere is not None:
        said = replace(said, value=np.where(nowhere, np.uint8(0), said.value), sure=said.sure | nowhere)
    empty = readings.with_role("empty-socket")
    hollow = stack(empty, bits, readings.excluded, granules) if empty else None
    bus = None if driven == 0xFF else _bus(hollow, behind, granules)
    without = consensus(hollow, driven) if hollow else None
    said, changed = _by_session(chosen, stacked, said, driven)
    if said is not plain:
        behind = background(stacked, said, driven)
    based = ground(stacked, said, behind, driven, empty=without)
    if nowhere is not None:
        both = bool(readings.with_role("pulled-up")) and bool(readings.with_role("pulled-down"))
        based = where_nobody_drives(based, nowhere, both=both)
    based.state[changed & (based.state == VOLATILE)] = CONTENT
    tells_blank = based.model is None or any(isinstance(source, int) for source in based.model.sources)
    if not (based.state == CONTENT).any() and (tells_blank or nowhere is not None):
        unlike = np.count_nonzero(based.told(said), axis=1) * 2 >= np.count_nonzero(said.sure, axis=1)
        least = highest if highest < bits else LEAST_BLANK
        based.state[_whole_blocks(padding(said, based) & unlike, based, granules, least)] = CONTENT
    damaged = any(r.holes or r.source.bad_lines for r in chosen)
    quiet = not damaged and not said.against.any()
    declared = highest if highest < bits else None
    ladder = Ladder(pairs(stacked, said, based, driven=driven, quiet=quiet, declared=declared))
    grown = grow(ladder, said, based, bits, highest)
    missing = None if undriven is None else np.bitwise_and.reduce(undriven, axis=1)
    return Scene(stacked, said, based, based.told(said), driven, noisy, missing, bus, damaged, ladder, grown)


def _whole_blocks(blank: Bools, based: Ground, granules: Index, level: int) -> Bools:
    """Return the blank granules in blocks of 2**level bytes that are blank throughout, as far as they were read."""
    _, at = np.unique(granules >> (level - GRANULE_LINES), return_inverse=True)
    heard = np.bincount(at[based.state != UNSEEN], minlength=at.max(initial=0) + 1)
    amount = np.bincount(at[blank], minlength=len(heard))
    whole: Bools = blank & (amount >= BLANK_SHARE * heard)[at]
    return whole


def _without(stacked: Stack, undriven: Bytes) -> Stack:
    """Return the readings without what nobody drives: 0 on a line that is silent in all of a granule, else unknown."""
    silent = np.bitwise_and.reduce(undriven, axis=1)[:, None]
    return replace(stacked, value=stacked.value & ~silent, known=stacked.known & ~(undriven & ~silent))


def _bus(hollow: Stack | None, behind: Background, granules: Index) -> Bytes | None:
    """Return what all data lines would say without the specimen: as the empty socket does, or by the rule learnt."""
    if hollow:
        return consensus(hollow).value
    return behind.model.predict(granules) if behind.model.sources else None


def _by_session(chosen: Sequence[Reading], stacked: Stack, said: Consensus, driven: int) -> tuple[Consensus, Bools]:
    """Take what changed from one power-up to the next, but stood still within one, as the first power-up had it."""
    names = [r.conditions.session for r in chosen]
    none = np.zeros(len(stacked.granules), np.bool_)
    groups = [[i for i, n in enumerate(names) if n == name] for name in dict.fromkeys(names)]
    steady = [group for group in groups if len(group) >= 2]
    if len(groups) < 2 or not steady:
        return said, none
    first = replace(stacked, value=stacked.value[steady[0]], known=stacked.known[steady[0]])
    alone = consensus(first, driven)
    overall = np.count_nonzero(said.against > 0, axis=1)
    within = np.count_nonzero(alone.against > 0, axis=1)
    changed: Bools = (overall >= GRANULE // 4) & (within * 4 <= overall)
    rows = changed[:, None]
    return (
        Consensus(
            np.where(rows, alone.value, said.value),
            np.where(rows, alone.sure, said.sure),
            said.seen,
            said.against,
        ),
        changed,
    )
