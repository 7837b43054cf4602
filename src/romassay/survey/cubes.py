"""From a block that is one thing to a function: all its copies, and what each bus line must be for it to answer."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index
from romassay.survey.consensus import Consensus
from romassay.survey.pairs import EVIDENCE, FOUGHT_BYTES, SAME_SHARE, Masks, Pairs
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Stack
from romassay.survey.states import STRUCTURED, Ground

_CHUNK = 1 << 22

Cell = TypeVar("Cell", np.uint8, np.bool_)

COVERED = 0.05
"""Share of granules that may be alike by chance in two blocks that have nothing to do with each other."""

FOUGHT = 0.95
"""Share of the bytes of a fought-over copy that are the ROM's with bits pulled to one side; of others it is a tenth."""


@dataclass(frozen=True, slots=True, eq=False)
class Seat:
    """One place where a function may answer, compared with its clearest copy.

    Attributes:
        block: block number (address >> level).
        seen: bytes known there.
        agreement: share of the telling bytes that agree.
        contended: True where something else pulls bits at the same time.
    """

    block: int
    seen: int
    agreement: float
    contended: bool


@dataclass(frozen=True, slots=True, eq=False)
class Closed:
    """A function's cube over block numbers, and where it was seen.

    Attributes:
        level: log2 of the size.
        block: the block that all were compared with.
        again: bus lines across which the function repeats.
        other: bus lines that must have the level they have in `block`.
        seats: its copies, by address.
        resting: those of `other` that rest on blocks which stand once only: the host's memory looks like that too.
        pieced: True where it was put together from pieces between which the bus seems to be.
    """

    level: int
    block: int
    again: int
    other: int
    seats: tuple[Seat, ...]
    resting: int = 0
    pieced: bool = False


def contents(stacked: Stack, plane: npt.NDArray[Cell], level: int, blocks: Index) -> npt.NDArray[Cell]:
    """Return the bytes of whole blocks, [n, 2**level], from a [G, 16] plane; zero where nothing was seen."""
    wide = 1 << (level - GRANULE_LINES)
    granules = (blocks[:, None] * wide + np.arange(wide)).ravel()
    at = stacked.positions(granules)
    out = plane[np.maximum(at, 0)]
    out[at < 0] = 0
    return out.reshape(len(blocks), wide * GRANULE)


def close(
    stacked: Stack, said: Consensus, told: Bools, evidence: Pairs, masks: tuple[Masks, Masks], block: int
) -> Closed:
    """Find every copy of a block and the lines that decide where it answers.

    Args:
        stacked: the readings.
        said: what they say together.
        told: bytes that say more than the bus, bool[G, 16].
        evidence: pairs pooled to the block's size.
        masks: their masks.
        block: number of the block.
    """
    level = evidence.level
    above = ((1 << stacked.bits) - 1) & ~((1 << level) - 1)
    again_of, other_of = masks
    own = int(np.searchsorted(evidence.blocks, block))
    again = int(again_of[own]) & above
    seats: tuple[Seat, ...] = ()
    other = 0
    while True:
        inside = _inside(evidence, block, again)
        seats = _compare(stacked, said, told, evidence, block, evidence.blocks[inside])
        taken = inside[np.isin(evidence.blocks[inside], [s.block for s in seats if not s.contended])]
        wider = again | int(np.bitwise_or.reduce(again_of[taken], initial=0)) & above
        other = int(np.bitwise_or.reduce(other_of[taken], initial=0)) & above
        if wider == again:
            break
        again = wider
    other &= ~again
    contended, other = _contended_across(stacked, said, told, evidence, block, other)
    if contended:
        again |= contended
        seats = _compare(stacked, said, told, evidence, block, evidence.blocks[_inside(evidence, block, again)])
    return Closed(level, block, again, other, seats)


def mirrors(evidence: Pairs, block: int, free: int) -> list[int]:
    """Return the numbers of the blocks that differ from one of them only in free bus lines, and were seen."""
    found: list[int] = evidence.blocks[_inside(evidence, block, free)].tolist()
    return found


def _inside(evidence: Pairs, block: int, free: int) -> Index:
    """Return where the blocks stand that differ from one of them only in free bus lines."""
    return np.flatnonzero(((evidence.blocks ^ block) & ~(free >> evidence.level)) == 0)


def _compare(
    stacked: Stack, said: Consensus, told: Bools, evidence: Pairs, block: int, blocks: Index
) -> tuple[Seat, ...]:
    """Compare blocks with one of them, and return those that are copies of it."""
    level = evidence.level
    here = np.array([block])
    value = contents(stacked, said.value, level, here)[0]
    sure, tells = (contents(stacked, plane, level, here)[0] for plane in (said.sure, told))
    seats: list[Seat] = []
    clean = 1
    step = max(1, _CHUNK >> level)
    for start in range(0, len(blocks), step):
        part = blocks[start : start + step]
        values = contents(stacked, said.value, level, part)
        sures, told_there = (contents(stacked, plane, level, part) for plane in (said.sure, told))
        telling = sures & sure & (told_there | tells)
        equal = telling & (values == value)
        amounts, matches = np.count_nonzero(telling, axis=1), np.count_nonzero(equal, axis=1)
        known = np.count_nonzero(sures, axis=1)
        alike = (amounts >= evidence.least) & (matches >= SAME_SHARE * amounts)
        if evidence.exact:
            alike &= ~_mixed(telling, values ^ value)
        clean += int(np.count_nonzero(alike & (part != block)))
        for row, number in enumerate(part):
            amount, match = int(amounts[row]), int(matches[row])
            if number == block or alike[row]:
                seats.append(Seat(int(number), int(known[row]), match / amount if amount else 1.0, contended=False))
            elif amount >= evidence.least and _fought(
                value, values[row], telling[row], told_there[row], either_way=clean > 1
            ):
                seats.append(Seat(int(number), int(known[row]), match / amount, contended=True))
    return tuple(seats)


def _mixed(telling: Bools, differs: Bytes) -> Bools:
    """Return the rows, bool[n], with a granule in which some bytes differ for certain and most do not.

    A granule in which most differ is covered by something else; a single bit may be a weak cell's.
    """
    shape = (len(telling), -1, GRANULE)
    off = np.count_nonzero((telling & (np.bitwise_count(differs) >= 2)).reshape(shape), axis=2)
    amount = np.count_nonzero(telling.reshape(shape), axis=2)
    mixed: Bools = ((off > 0) & (off * 2 < amount)).any(axis=1)
    return mixed


def same_bytes(stacked: Stack, said: Consensus, told: Bools, evidence: Pairs, block: int, other: int) -> bool:
    """Tell whether two blocks hold the same bytes, over enough that tell."""
    seats = _compare(stacked, said, told, evidence, block, np.array([other]))
    return len(seats) == 1 and not seats[0].contended and seats[0].seen >= FOUGHT_BYTES


def unlike(stacked: Stack, said: Consensus, told: Bools, evidence: Pairs, block: int, other: int) -> bool:
    """Tell whether all of another block is something else; a copy that is partly covered by something is not."""
    level = evidence.level
    pair = np.array([block, other])
    value = contents(stacked, said.value, level, pair)
    sure, tells = (contents(stacked, plane, level, pair) for plane in (said.sure, told))
    telling = (sure[0] & sure[1] & (tells[0] | tells[1])).reshape(-1, GRANULE)
    equal = telling & (value[0] == value[1]).reshape(-1, GRANULE)
    amount = np.count_nonzero(telling, axis=1)
    copied = (amount >= evidence.least) & (np.count_nonzero(equal, axis=1) == amount)
    enough = int(amount.sum()) >= max(evidence.least, telling.size // 8)
    return bool(
        enough and equal.sum() <= evidence.apart * amount.sum() and copied.sum() <= COVERED * np.count_nonzero(amount)
    )


def _fought(value: Bytes, there: Bytes, telling: Bools, told: Bools, *, either_way: bool) -> bool:
    """Tell whether one block is another with bits pulled all to one side: two drivers on one bus.

    A block seen clean once only may itself be the fought-over one: then the low level alone is believed to win.
    Only bytes count that are not what the bus says by itself, nor what any content would be pulled to, nor could be
    pulled from.
    """
    counts = telling & told & (there != 0x00) & (there != np.bitwise_or.reduce(there))
    if np.count_nonzero(counts) < max(FOUGHT_BYTES, int(np.count_nonzero(telling)) // 4):
        return False
    if np.count_nonzero(counts & (value != there)) < EVIDENCE:
        return False
    low, high = counts & (value != np.bitwise_or.reduce(value)), counts & (value != 0x00) & np.bool_(either_way)
    shares = [
        float(np.mean(((value | there) == full)[at]))
        for at, full in ((low, value), (high, there))
        if np.count_nonzero(at) >= FOUGHT_BYTES
    ]
    return max(shares, default=0.0) >= FOUGHT


def _contended_across(
    stacked: Stack,
    said: Consensus,
    told: Bools,
    evidence: Pairs,
    block: int,
    other: int,
) -> tuple[int, int]:
    """Return lines across which a fought-over copy stands, and the lines that still decide."""
    level = evidence.level
    contended = 0
    for line in range(level, stacked.bits):
        if not other >> line & 1:
            continue
        partner = np.array([block ^ (1 << (line - level))])
        seats = _compare(stacked, said, told, evidence, block, partner)
        if any(seat.contended for seat in seats):
            contended |= 1 << line
    return contended, other & ~contended


def blank_neighbour(stacked: Stack, based: Ground, said: Consensus, level: int, block: int) -> int | None:
    """Return the one value that fills a block, or None: a ROM with a blank tail could go on there."""
    here = np.array([block])
    sure = contents(stacked, said.sure, level, here)[0]
    value = contents(stacked, said.value, level, here)[0][sure]
    states = contents(stacked, np.repeat(based.state[:, None], GRANULE, axis=1), level, here)[0][sure]
    if len(value) < (1 << level) // 2 or not (states <= STRUCTURED).all():
        return None
    filling = int(np.bincount(value, minlength=256).argmax())
    return filling if np.mean(value == filling) >= 0.95 else None
