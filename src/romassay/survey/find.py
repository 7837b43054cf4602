"""The survey itself: the scene, the candidates, the closed functions, their names, and the regions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
import numpy.typing as npt

from romassay.part import Part
from romassay.reading import Index, ReadingSet
from romassay.survey.cubes import Closed, close, mirrors, same_bytes, unlike
from romassay.survey.model import Survey
from romassay.survey.name import HALF_BYTE, Declared, named
from romassay.survey.regions import regions
from romassay.survey.scene import Scene, look
from romassay.survey.stack import ENOUGH, GRANULE, GRANULE_LINES, Consensus, granules_seen
from romassay.survey.states import BUS, CONTENDED, CONTENT, HOST, UNSEEN, VOLATILE

MOST_FUNCTIONS = 24

DENSE = 8
"""Granules of content that a single reading must show of fewer than four data lines, where they stand once only."""

SMALLEST_ROM = 32
MOST_BYTES = 1 << 24

SMALL = 256
"""Bytes of a block that is left as it is beside a ROM of the declared size, rather than taken for a part of one."""

MOST_BESIDE = 4
"""RAM with ports beside it takes at most so many times the larger of the two: ports repeat where selects are left
out."""

MOST_COPIES = 0.75
"""Share of the granules of a block's copies that must belong to smaller blocks of one size before it is given up."""

WHOLE = 0.9
"""Share of a block's granules that must have been read before it says where it ends."""

LEAST_FIRM = 8
"""Bytes on which two readings must agree against the bus before something that stands once only is believed."""


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
    timed = [c for c in _functions(running, Declared()) if len(c.seats) > 1] if running else []
    functions = named(scene, closed, timed, readings, declared)
    return Survey(bits, regions(scene, functions, readings), functions)


def _candidates(scene: Scene, declared: Declared) -> list[tuple[int, int]]:
    """Return (level, block) of the blocks that are one thing, the most telling first."""
    content = scene.based.state == CONTENT
    at = np.flatnonzero(content & (scene.grown.level > 0))
    level = scene.grown.level[at]
    keys = np.unique(level << 40 | scene.stacked.granules[at] >> (level - GRANULE_LINES))
    found = [(int(k >> 40), int(k & (1 << 40) - 1)) for k in keys]
    if declared.rom_size:
        found = _promoted(scene, found, declared.rom_size.bit_length() - 1, declared.part)
    ranked = []
    for level_of, block in dict.fromkeys(found):
        evidence, (again, _) = scene.ladder.at(level_of)
        row = int(np.searchsorted(evidence.blocks, block))
        above = int(again[row]) & ~((1 << level_of) - 1)
        ranked.append((above.bit_count(), level_of, int(evidence.content[row]), -block))
    return [(item[1], -item[3]) for item in sorted(ranked, reverse=True)]


def _promoted(scene: Scene, found: list[tuple[int, int]], level: int, part: Part | None) -> list[tuple[int, int]]:
    """Widen blocks that the declared ROM size says are parts of a larger one: its rest is blank, or repeats.

    RAM and ports side by side are a block larger than either, and no part of a ROM: they are taken apart again.
    """
    beside = [max(f.size, GRANULE) for f in part.functions if f.kind != "rom"] if part else []
    small = max(beside, default=0)
    whole = any(k == level for k, _ in found)
    kept = small or (SMALL if not part and whole else 0)
    result: list[tuple[int, int]] = []
    for k, block in found:
        if k >= level or 1 << k <= kept:
            result.append((k, block))
        elif small and _beside_a_rom(scene, (k, block), level, small, whole=whole):
            by = k - (small.bit_length() - 1)
            result += [(k - by, (block << by) + i) for i in range(1 << by)]
        elif _mostly_hollow(scene, level, block >> (level - k)):
            result.append((k, block))
        else:
            result.append((level, block >> (level - k)))
    return result


def _mostly_hollow(scene: Scene, level: int, block: int) -> bool:
    """Tell whether more than half of a block says what no ROM holds."""
    at = scene.granules_of(level, (block,))
    return int(np.count_nonzero(scene.grown.hollow[at])) * 2 > len(at)


def _beside_a_rom(scene: Scene, item: tuple[int, int], level: int, small: int, *, whole: bool) -> bool:
    """Tell whether a block is RAM and ports: around it is the bus, which follows the address as no blank ROM does.

    Args:
        scene: what was looked at.
        item: level and number of the block.
        level: of the declared ROM.
        small: bytes of the part's largest other function.
        whole: True where a block of the ROM's size is there; a steady bus tells then, too.
    """
    k, block = item
    at = scene.granules_of(level, (block >> (level - k),))
    state = scene.based.state[at]
    resting = at[(state == BUS) & scene.based.predicted[at].all(axis=1)]
    if len(resting) * 2 <= np.count_nonzero(state != UNSEEN):
        return False
    expected = scene.based.prediction[resting]
    return bool((expected != expected[0, 0]).any()) or (whole and 1 << k <= MOST_BESIDE * small)


def _functions(scene: Scene, declared: Declared) -> list[Closed]:
    """Close the candidates one after the other; what one function has claimed is no candidate any more."""
    claimed = np.zeros(len(scene.stacked.granules), np.bool_)
    content = scene.based.state == CONTENT
    accepted: list[Closed] = []
    hidden = np.isin(scene.based.state, (HOST, CONTENDED))
    clear = replace(scene.said, sure=scene.said.sure & ~hidden[:, None])
    for level, block in _candidates(scene, declared):
        if len(accepted) >= MOST_FUNCTIONS:
            break
        at = scene.granules_of(level, (block,))
        mine = at[content[at]]
        if not len(mine) or np.count_nonzero(claimed[mine]) * 2 > len(mine):
            continue
        if 1 << level < SMALLEST_ROM and not _repeats(scene, level, block):
            continue
        evidence, masks = scene.ladder.at(level)
        closed = close(scene.stacked, clear, scene.told, evidence, masks, block)
        if not declared.rom_size and _outgrown(scene, closed):
            continue
        twin = next((i for i, other in enumerate(accepted) if same_function(scene, other, closed)), None)
        if twin is not None:
            accepted[twin] = joined(accepted[twin], closed)
        elif _part_of(closed, accepted):
            pass
        elif _stands(scene, closed, declared):
            accepted.append(closed)
        else:
            continue
        claimed[scene.granules_of(level, [seat.block for seat in closed.seats])] = True
    whole = [closed for closed in accepted if not _inside(closed, accepted)]
    return [_decided(scene, clear, closed) for closed in whole]


def _outgrown(scene: Scene, closed: Closed) -> bool:
    """Tell whether a block is larger than its copies allow: most of them ended sooner, or half of them only moves."""
    evidence, _ = scene.ladder.at(closed.level)
    others = [
        block
        for block in mirrors(evidence, closed.block, closed.again)
        if block != closed.block and _read_whole(scene, closed.level, block)
    ]
    if not others or closed.level <= GRANULE_LINES:
        return False
    at = scene.granules_of(closed.level, others)
    levels = scene.grown.level[at[scene.based.state[at] == CONTENT]]
    smaller = np.bincount(levels[levels < closed.level], minlength=1)
    if len(others) > 1 and smaller.max() >= MOST_COPIES * len(levels) > 0:
        return True
    moving = [block for block in others if any(_only_moves(scene, closed.level - 1, 2 * block + i) for i in (0, 1))]
    return len(moving) * 2 > len(others)


def _read_whole(scene: Scene, level: int, block: int) -> bool:
    """Tell whether nearly all of a block was read."""
    state = scene.based.state[scene.granules_of(level, (block,))]
    return int(np.count_nonzero(state != UNSEEN)) >= WHOLE * (1 << (level - GRANULE_LINES))


def _only_moves(scene: Scene, level: int, block: int) -> bool:
    """Tell whether nothing in a block stands still and most of it changes from reading to reading."""
    state = scene.based.state[scene.granules_of(level, (block,))]
    return bool(not (state == CONTENT).any() and np.count_nonzero(state == VOLATILE) * 2 > len(state) > 0)


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


def _stands(scene: Scene, closed: Closed, declared: Declared) -> bool:
    """Tell whether a closed function is more than chance: it repeats, or it is a dense and steady block."""
    clean = [seat for seat in closed.seats if not seat.contended]
    if len(clean) >= 2:
        return True
    at = scene.granules_of(closed.level, (closed.block,))
    state = scene.based.state[at]
    content = at[state == CONTENT]
    speaking = np.count_nonzero((state == CONTENT) | scene.told[at].any(axis=1))
    once = len(scene.stacked.value) < ENOUGH
    sparing = 2 * SMALLEST_ROM if not _clean_bus(scene) else SMALLEST_ROM
    least = min(sparing if once else GRANULE, (declared.rom_size or MOST_BYTES) // 2)
    if not len(content) or speaking * GRANULE < least or not _steady(scene, content):
        return False
    if once and scene.driven.bit_count() < HALF_BYTE and (scene.based.rate or len(content) < DENSE):
        return False
    if speaking * 2 < np.count_nonzero(state != UNSEEN) and not declared.rom_size and once:
        return False
    return not _noise(scene, content)


def _clean_bus(scene: Scene) -> bool:
    """Tell whether the floating bus follows its rule to the letter in most of an undamaged log."""
    based = scene.based
    resting = int(np.count_nonzero(based.state == BUS))
    rule = based.model is not None and bool(based.model.sources)
    return rule and not based.rate and not scene.damaged and resting * 2 > len(based.state)


def _steady(scene: Scene, at: Index) -> bool:
    """Tell whether what was said is no accident: two readings said it, or it stands close together."""
    told = scene.told[at]
    amount = int(np.count_nonzero(told))
    if len(scene.stacked.value) >= ENOUGH:
        twice = int(np.count_nonzero(told & (scene.said.seen[at] >= ENOUGH)))
        if twice * 4 >= amount:
            firm = int(np.count_nonzero(scene.said.firm[at] & told))
            return firm >= LEAST_FIRM and firm * 2 >= twice
        if _restless(scene):
            return False
    return amount * 2 >= told.size and len(at) > 1


def _restless(scene: Scene) -> bool:
    """Tell whether most of what two readings saw differs between them: what one of them saw is chance then, too."""
    twice = (scene.said.seen >= ENOUGH).any(axis=1)
    return int(np.count_nonzero(twice & (scene.based.state == VOLATILE))) * 2 > int(np.count_nonzero(twice))


def _noise(scene: Scene, at: Index) -> bool:
    """Tell whether bytes are a bus that decays: each data line by chance for itself, and leaning to one side.

    Asked only of a single reading in which no floating bus shows. Code and text do not have independent data lines; a
    ROM of random bytes does not lean.
    """
    if len(scene.stacked.value) > 1 or (scene.based.model and scene.based.model.sources):
        return False
    value = scene.said.value[at][scene.said.sure[at]]
    if len(value) < 16 * GRANULE:
        return False
    lines = [bit for bit in range(8) if scene.driven >> bit & 1]
    ones = np.array([np.mean(value >> bit & 1) for bit in lines])
    if np.all(np.abs(ones - 0.5) < 0.1):
        return False
    expected: npt.NDArray[np.float64] = np.ones(256)
    for bit, share in zip(lines, ones, strict=True):
        expected *= np.where(np.arange(256) >> bit & 1, share, 1 - share)
    expected[(np.arange(256) & ~scene.driven) != 0] = 0
    counts = np.bincount(value, minlength=256)
    expected *= len(value)
    common = expected >= 1
    rest_seen, rest_expected = counts[~common].sum(), expected[~common].sum()
    misfit = float(np.sum((counts[common] - expected[common]) ** 2 / expected[common]))
    misfit += (rest_seen - rest_expected) ** 2 / max(rest_expected, 1.0)
    freedom = float(max(1, int(np.count_nonzero(common)) - len(lines)))
    return bool(misfit < freedom + 6 * (2 * freedom) ** 0.5)
