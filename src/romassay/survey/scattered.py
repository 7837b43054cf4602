"""Many small blocks within one aligned block: a ROM with bytes here and there, whose rest reads as the bus does.

A blank ROM beside a bus that rests as blank bytes do falls apart into islands, each of which repeats as the whole
does. A combination chip has ROM, RAM and registers, no more; so many pieces are one memory.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.survey.blocks import MIRRORED
from romassay.survey.consensus import Consensus
from romassay.survey.cubes import Closed, close
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE_LINES
from romassay.survey.states import BUS, CONTENT, STRUCTURED

PIECES = 4
"""Functions within one block that no chip has: one more than a combination chip's ROM, RAM and registers."""

BULKY = 3
"""Of functions larger than any RAM of a combination chip, so many side by side are one ROM; of those larger than any
registers, so many among others that leave no room for the bus."""

BESIDE = 2
"""Pieces that each half of the block holds at least, if not one that fills it."""

SHARE = 5
"""The half with fewer pieces holds one in so many of them at least: beside it may be another chip."""

SMALL, REGISTERS = 7, 5
"""log2 of the bytes of the largest RAM and the most registers in a combination chip (6532: data sheet)."""

INNER = 0.25
"""Share of the pieces that may stand again within the block: tables do; a small memory's mirrors are most of it."""

IDLE = 0.05
"""Share of a block's granules that may read as the bus does where something answers in all of it: by chance some do."""


def gathered(scene: Scene, clear: Consensus, found: Sequence[Closed], highest: int) -> list[Closed]:
    """Put together what is one ROM in pieces, the largest such block first.

    Args:
        scene: what was looked at.
        clear: what the readings say, without the host's memory.
        found: the functions as they were closed.
        highest: log2 of the largest block to try.
    """
    left = list(found)
    whole: list[Closed] = []
    if len(left) < BULKY:
        return left
    lowest = min(piece.level for piece in left) + 1
    for level in range(highest, max(lowest, GRANULE_LINES + 2) - 1, -1):
        for block in _blocks(left, level):
            if len(left) < BULKY or not _in_pieces(scene, left, level, block):
                continue
            evidence, masks = scene.ladder.at(level)
            one = close(scene.stacked, clear, scene.told, evidence, masks, block)
            taken = {seat.block for seat in one.seats}
            outside = [piece for piece in left if not _lies_in(piece, level, taken)]
            if len(left) - len(outside) >= BULKY:
                whole.append(replace(one, pieced=True))
                left = outside
    return [*whole, *left]


def _blocks(pieces: Sequence[Closed], level: int) -> list[int]:
    """Return the numbers of the blocks in which pieces lie, those with the most of them first."""
    numbers = [
        number
        for piece in pieces
        if piece.level < level
        for number in {seat.block >> (level - piece.level) for seat in piece.seats}
    ]
    found, amounts = np.unique(np.array(numbers, np.int64), return_counts=True)
    return [int(found[i]) for i in np.argsort(-amounts, kind="stable") if amounts[i] >= BULKY]


def _in_pieces(scene: Scene, pieces: Sequence[Closed], level: int, block: int) -> bool:
    """Tell whether the pieces in a block are too many, and too evenly spread, for anything but one ROM.

    Beside a ROM as large as that, small ones are what stands beside ROMs.
    """
    if any(piece.level >= level and not piece.pieced for piece in pieces):
        return False
    halves: tuple[list[Closed], list[Closed]] = ([], [])
    inner: list[Closed] = []
    for piece in pieces:
        seats = [s.block for s in piece.seats if piece.level < level and s.block >> (level - piece.level) == block]
        if len(seats) > 1:
            inner.append(piece)
        elif seats:
            halves[seats[0] >> (level - 1 - piece.level) & 1].append(piece)
    alone = [*halves[0], *halves[1]]
    if len(alone) + len(inner) < BULKY or _repeats_inside(scene, level, block):
        return False
    if _fills_it(scene, [*alone, *inner], level, block):
        return True
    if len(inner) > INNER * (len(alone) + len(inner)):
        return False
    if all(any(piece.level > SMALL for piece in half) for half in halves) and _bulky(alone) >= BULKY:
        return True
    if len(alone) < PIECES:
        return False
    return (not inner and _one_run(alone, level, block)) or _both_halves(halves, level)


def _fills_it(scene: Scene, pieces: Sequence[Closed], level: int, block: int) -> bool:
    """Tell whether many pieces leave no room for a bus in a block, and are no small memory with its mirrors."""
    large = [piece for piece in pieces if piece.level > REGISTERS]
    if len(pieces) < PIECES or len(large) < BULKY or not _filled(scene, level, block):
        return False
    return not any(_repeats_inside(scene, level - 1, 2 * block + half, level - 2) for half in (0, 1))


def _bulky(pieces: Sequence[Closed]) -> int:
    """Return how many pieces are larger than any RAM of a combination chip."""
    return sum(piece.level > SMALL for piece in pieces)


def _both_halves(halves: tuple[list[Closed], list[Closed]], level: int) -> bool:
    """Tell whether pieces lie in both halves of a block, neither of which can be another chip's."""
    total = sum(map(len, halves))
    for half, other in (halves, halves[::-1]):
        filled = len(half) == 1 and half[0].level == level - 1
        if filled and not _bulky(other):
            return False
        if not filled and len(half) < max(BESIDE, -(-total // SHARE)):
            return False
        if not filled and _ram_and_registers(half) and _bulky(other):
            return False
    return True


def _one_run(pieces: Sequence[Closed], level: int, block: int) -> bool:
    """Tell whether pieces follow each other from the beginning of a block, each smaller than the one before.

    So falls apart what ends raggedly: its length in powers of two.
    """
    spans = sorted(
        (seat.block << piece.level, piece.level)
        for piece in pieces
        for seat in piece.seats
        if seat.block >> (level - piece.level) == block
    )
    at, last = block << level, level
    for first, size in spans:
        if first != at or size >= last:
            return False
        at, last = first + (1 << size), size
    return True


def _ram_and_registers(pieces: Sequence[Closed]) -> bool:
    """Tell whether some pieces can be the other functions of a combination chip."""
    levels = sorted(piece.level for piece in pieces)
    return len(levels) <= BESIDE and levels[0] <= REGISTERS and levels[-1] <= SMALL


def _filled(scene: Scene, level: int, block: int) -> bool:
    """Tell whether something answers in all of a block: nowhere in it does the bus show as its rule has it."""
    at = scene.granules_of(level, (block,))
    based = scene.based
    as_bus = (scene.said.value[at] == based.prediction[at]) & based.predicted[at] & scene.said.sure[at]
    idle = (based.state[at] == BUS) & as_bus.all(axis=1)
    heard = np.isin(based.state[at], (BUS, CONTENT, STRUCTURED))
    wide = 1 << (level - GRANULE_LINES)
    return int(np.count_nonzero(heard)) * 2 > wide and int(np.count_nonzero(idle)) <= IDLE * wide


def _repeats_inside(scene: Scene, level: int, block: int, lowest: int = GRANULE_LINES) -> bool:
    """Tell whether all of a block stands again across one of its own lines, from `lowest` up."""
    evidence, _ = scene.ladder.at(level)
    at = int(np.searchsorted(evidence.blocks, block))
    return any(
        bool(evidence.across(row)[0][at]) and int(evidence.telling[row][at]) >= MIRRORED
        for row in range(max(0, lowest - GRANULE_LINES), level - GRANULE_LINES)
    )


def _lies_in(piece: Closed, level: int, blocks: set[int]) -> bool:
    """Tell whether any copy of a piece lies in one of some blocks."""
    return piece.level < level and any(seat.block >> (level - piece.level) in blocks for seat in piece.seats)
