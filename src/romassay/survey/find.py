"""The survey itself: the scene, the candidates, the closed functions, their names, and the regions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.part import Part
from romassay.reading import ReadingSet
from romassay.survey.candidates import candidates
from romassay.survey.consensus import Consensus
from romassay.survey.cubes import Closed, close, same_bytes, unlike
from romassay.survey.kinds import Declared
from romassay.survey.model import Survey
from romassay.survey.name import named
from romassay.survey.regions import regions
from romassay.survey.scattered import gathered
from romassay.survey.scene import Scene, look
from romassay.survey.stack import GRANULE_LINES, granules_seen
from romassay.survey.standing import SMALLEST_ROM, outgrown, shrunk, stands
from romassay.survey.states import CONTENDED, CONTENT, HOST, UNSEEN

MOST_FUNCTIONS = 24


def survey(readings: ReadingSet, *, part: Part | None = None, size: int | None = None) -> Survey:
    """Find every function of the specimen and its decode.

    Args:
        readings: of the specimen, and control readings where there are any.
        part: the declared part; its functions' sizes are then known.
        size: bytes of the ROM, where no part says it; a power of two.
    """
    specimen = readings.with_role("specimen") or readings.with_role("pulled-up") + readings.with_role("pulled-down")
    bits = readings.address_bits
    granules = granules_seen(specimen)
    if not len(granules):
        return Survey(bits, (), ())
    declared = Declared(part, size)
    highest = min(bits, declared.rom_size.bit_length() - 1) if declared.rom_size else bits
    scene = look(readings, specimen, granules, highest)
    closed = _functions(scene, declared)
    running = scene.with_registers()
    timed = [c for c in _functions(running, Declared(), pieces=False) if len(c.seats) > 1] if running else []
    functions = named(scene, closed, timed, readings, declared)
    return Survey(bits, regions(scene, functions, readings), functions)


def _functions(scene: Scene, declared: Declared, *, pieces: bool = True) -> list[Closed]:
    """Close the candidates one after the other; what one function has claimed is no candidate any more.

    With `pieces`, what is one ROM in pieces is put together.
    """
    claimed = np.zeros(len(scene.stacked.granules), np.bool_)
    content = scene.based.state == CONTENT
    accepted: list[Closed] = []
    hidden = np.isin(scene.based.state, (HOST, CONTENDED))
    clear = replace(scene.said, sure=scene.said.sure & ~hidden[:, None])
    for level, block in candidates(scene, declared):
        if len(accepted) >= MOST_FUNCTIONS:
            break
        at = scene.granules_of(level, (block,))
        mine = at[content[at]]
        if not len(mine) or np.count_nonzero(claimed[mine]) * 2 > len(mine):
            continue
        if 1 << level < SMALLEST_ROM and not _repeats(scene, level, block):
            continue
        closed = _closed(scene, clear, level, block)
        if not declared.rom_size and outgrown(scene, closed):
            continue
        while not declared.rom_size and (half := shrunk(scene, closed)) is not None:
            closed = _closed(scene, clear, closed.level - 1, half)
        closed = _widened(scene, clear, closed, accepted)
        twin = next((i for i, other in enumerate(accepted) if same_function(scene, other, closed)), None)
        if twin is not None:
            accepted[twin] = joined(accepted[twin], closed)
        elif _part_of(closed, accepted):
            pass
        elif stands(scene, closed, declared):
            accepted.append(closed)
        else:
            continue
        claimed[scene.granules_of(closed.level, [seat.block for seat in closed.seats])] = True
    whole = [closed for closed in accepted if not _inside(closed, accepted)]
    if pieces and not declared.rom_size:
        whole = gathered(scene, clear, whole, scene.stacked.bits)
    return [_decided(scene, clear, closed) for closed in whole]


def _closed(scene: Scene, clear: Consensus, level: int, block: int) -> Closed:
    evidence, masks = scene.ladder.at(level)
    return close(scene.stacked, clear, scene.told, evidence, masks, block)


def _widened(scene: Scene, clear: Consensus, closed: Closed, accepted: list[Closed]) -> Closed:
    """Take a block for the copy of a larger function that it is a part of, where the rest of that was not read."""
    for larger in accepted:
        block = closed.block >> (larger.level - closed.level) if larger.level > closed.level else closed.block
        if larger.level <= closed.level or block in {seat.block for seat in larger.seats}:
            continue
        state = scene.based.state[scene.granules_of(larger.level, (block,))]
        if int(np.count_nonzero(state != UNSEEN)) > 1 << (closed.level - GRANULE_LINES):
            continue
        whole = _closed(scene, clear, larger.level, block)
        if same_function(scene, larger, whole):
            return whole
    return closed


def _part_of(closed: Closed, accepted: list[Closed]) -> bool:
    """Tell whether a block is a part of a larger function, seen also where the rest of that is covered by something."""
    return any(
        seat.block >> (larger.level - closed.level) == other.block
        for larger in accepted
        if larger.level > closed.level
        for other in larger.seats
        for seat in closed.seats
    )


def _inside(closed: Closed, accepted: list[Closed]) -> bool:
    """Tell whether every copy of a block lies in a copy of one larger function: a table that repeats itself there."""
    return any(
        all(seat.block >> (larger.level - closed.level) in blocks for seat in closed.seats)
        for larger in accepted
        if larger.level > closed.level
        for blocks in ({seat.block for seat in larger.seats if not seat.contended},)
    )


def _decided(scene: Scene, said: Consensus, closed: Closed) -> Closed:
    """Decide the lines across which something else stands in full, though it appears nowhere else."""
    evidence, _ = scene.ladder.at(closed.level)
    clean = [seat.block for seat in closed.seats if not seat.contended]
    resting = 0
    for line in range(closed.level, scene.stacked.bits):
        if (closed.again | closed.other) >> line & 1:
            continue
        step = 1 << (line - closed.level)
        if any(unlike(scene.stacked, said, scene.told, evidence, block, block ^ step) for block in clean):
            resting |= 1 << line
    return replace(closed, other=closed.other | resting, resting=resting)


def same_function(scene: Scene, one: Closed, other: Closed) -> bool:
    """Tell whether two closed blocks are one function, seen in places that no single line joins."""
    if one.level != other.level or (one.block ^ other.block) << one.level & one.other & other.other:
        return False
    evidence, _ = scene.ladder.at(one.level)
    return same_bytes(scene.stacked, scene.said, scene.told, evidence, one.block, other.block)


def joined(one: Closed, other: Closed) -> Closed:
    """Put two closed blocks of one function together."""
    seats = {seat.block: seat for seat in (*other.seats, *one.seats)}
    clean = [block for block, seat in seats.items() if not seat.contended]
    again = one.again | other.again | _between(one.level, clean)
    return Closed(
        one.level,
        one.block,
        again,
        (one.other | other.other) & ~again,
        tuple(seats[block] for block in sorted(seats)),
    )


def _between(level: int, blocks: Sequence[int]) -> int:
    """Return the lines across which one of some blocks stands from another, as a bit mask."""
    there = set(blocks)
    widest = max(there, default=0).bit_length()
    lines = [1 << line for line in range(widest) if any(block ^ (1 << line) in there for block in blocks)]
    return sum(lines) << level


def _repeats(scene: Scene, level: int, block: int) -> bool:
    evidence, (again, _) = scene.ladder.at(level)
    return bool(int(again[int(np.searchsorted(evidence.blocks, block))]) >> level)
