"""Whether a block that was closed is a function of the specimen: more than chance, and no larger than its copies."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from romassay.reading import Index
from romassay.survey.consensus import ENOUGH
from romassay.survey.cubes import Closed, mirrors, same_bytes
from romassay.survey.kinds import Declared
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE, GRANULE_LINES
from romassay.survey.states import BUS, CONTENT, STRUCTURED, UNSEEN, VOLATILE
from romassay.survey.width import HALF_BYTE

DENSE = 8
"""Granules of content that a single reading must show of fewer than four data lines, where they stand once only."""

SMALLEST_ROM = 32

MOST_BYTES = 1 << 24

LEAST_FIRM = 8
"""Bytes on which two readings must agree against the bus before something that stands once only is believed."""

MOST_COPIES = 0.75
"""Share of the granules of a block's copies that must belong to smaller blocks of one size before it is given up."""

ROUNDS = tuple(step for step in range(3, 32) if step & (step - 1))
"""Bytes after which a bus may say the same again that shows what a loop of the host's fetches. No memory repeats after
such a number of bytes throughout: its mirrors are powers of two."""

GOES_ROUND, GOES_ON, FEW_TELL = 0.85, 0.5, 64
"""Share of the bytes that must come again so, share of them that may be as the one before, and how many must tell."""

WHOLE = 0.9
"""Share of a block's granules that must have been read before it says where it ends."""


def stands(scene: Scene, closed: Closed, declared: Declared) -> bool:
    """Tell whether a closed function is more than chance: it repeats, or it is a dense and steady block."""
    clean = [seat for seat in closed.seats if not seat.contended]
    if 1 << closed.level < SMALLEST_ROM and not declared.rom_size and _of_one_value(scene, closed):
        return False
    if _goes_round(scene, closed):
        return False
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


def _of_one_value(scene: Scene, closed: Closed) -> bool:
    """Tell whether a block holds one value: that is the bus as it rests for a moment."""
    at = scene.granules_of(closed.level, (closed.block,))
    value = scene.said.value[at][scene.said.sure[at]]
    return not len(value) or bool((value == value[0]).all())


def _goes_round(scene: Scene, closed: Closed) -> bool:
    """Tell whether all of a block says the same again and again after a few bytes, but no power of two of them."""
    at = scene.granules_of(closed.level, (closed.block,))
    value, sure = scene.said.value[at].ravel(), scene.said.sure[at].ravel()

    def again(step: int) -> float:
        both = sure[step:] & sure[:-step]
        return float(np.mean((value[step:] == value[:-step])[both])) if np.count_nonzero(both) >= FEW_TELL else 0.0

    return again(1) < GOES_ON and any(again(step) >= GOES_ROUND for step in ROUNDS)


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


def outgrown(scene: Scene, closed: Closed) -> bool:
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


def shrunk(scene: Scene, closed: Closed) -> int | None:
    """Return the number of the half that is all there is of a block, or None.

    Across a line the one half stands again, while in the other, where nothing speaks, the bus says something else: it
    holds what it last carried.
    """
    evidence, _ = scene.ladder.at(closed.level)
    if closed.level <= GRANULE_LINES + 1 or not closed.again:
        return None
    taken = {seat.block for seat in closed.seats}
    others = [b for b in mirrors(evidence, closed.block, closed.again) if b not in taken]
    smaller, _ = scene.ladder.at(closed.level - 1)
    for half in (0, 1):
        idle, alike = 2 * closed.block + 1 - half, 2 * closed.block + half
        if not _silent(scene, closed.level - 1, idle):
            continue
        for other in others:
            silent = _silent(scene, closed.level - 1, 2 * other + 1 - half)
            if silent and same_bytes(scene.stacked, scene.said, scene.told, smaller, alike, 2 * other + half):
                return alike
    return None


def _silent(scene: Scene, level: int, block: int) -> bool:
    """Tell whether most of a block was read, and nothing but what a bus may hold stands in it."""
    at = scene.granules_of(level, (block,))
    state = scene.based.state[at]
    heard = int(np.count_nonzero(state != UNSEEN))
    return heard * 2 > 1 << (level - GRANULE_LINES) and bool(np.isin(state, (BUS, STRUCTURED, UNSEEN)).all())


def _read_whole(scene: Scene, level: int, block: int) -> bool:
    """Tell whether nearly all of a block was read."""
    state = scene.based.state[scene.granules_of(level, (block,))]
    return int(np.count_nonzero(state != UNSEEN)) >= WHOLE * (1 << (level - GRANULE_LINES))


def _only_moves(scene: Scene, level: int, block: int) -> bool:
    """Tell whether nothing in a block stands still and most of it changes from reading to reading."""
    state = scene.based.state[scene.granules_of(level, (block,))]
    return bool(not (state == CONTENT).any() and np.count_nonzero(state == VOLATILE) * 2 > len(state) > 0)
