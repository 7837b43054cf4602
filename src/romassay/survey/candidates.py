"""The blocks that may be a function of their own, the most telling first."""

from __future__ import annotations

import numpy as np

from romassay.part import Part
from romassay.survey.ground import padding
from romassay.survey.kinds import RAM_AT_MOST, Declared
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE, GRANULE_LINES
from romassay.survey.states import BUS, CONTENT, UNSEEN

SMALL = 256
"""Bytes of a block that is left as it is beside a ROM of the declared size, rather than taken for a part of one."""

MOST_BESIDE = 4
"""RAM with ports beside it takes at most so many times the larger of the two: ports repeat where selects are left
out."""


STEADY = 0.05
"""Share of a steady bus that noise may change in the reading of an empty socket."""


def candidates(scene: Scene, declared: Declared) -> list[tuple[int, int]]:
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
        if k < level and not part and _fills(scene, (k, block), level):
            result.append((level, block >> (level - k)))
        elif k >= level or 1 << k <= kept:
            result.append((k, block))
        elif small and _beside_a_rom(scene, (k, block), level, small, whole=whole):
            by = k - (small.bit_length() - 1)
            result += [(k - by, (block << by) + i) for i in range(1 << by)]
        elif _mostly_hollow(scene, level, block >> (level - k)):
            result.append((k, block))
        else:
            result.append((level, block >> (level - k)))
    return result


def _fills(scene: Scene, item: tuple[int, int], level: int) -> bool:
    """Tell whether the rest of a block of the declared size is padding, or a block too large for RAM again and again.

    Args:
        scene: what was looked at.
        item: level and number of the smaller block.
        level: of the declared ROM.
    """
    k, block = item
    at = scene.granules_of(level, (block >> (level - k),))
    padded = padding(scene.said, scene.based)[at]
    inside = scene.stacked.granules[at] >> (k - GRANULE_LINES) == block
    if len(at) == 1 << (level - GRANULE_LINES) and bool(padded[~inside].all()):
        return True
    evidence, (again, _) = scene.ladder.at(k)
    every = (1 << level) - (1 << k)
    return 1 << k > RAM_AT_MOST and int(again[int(np.searchsorted(evidence.blocks, block))]) & every == every


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
    usual = np.bincount(expected.ravel(), minlength=256).argmax()
    varies = float(np.mean(expected != usual)) > STEADY
    return varies or (whole and 1 << k <= MOST_BESIDE * small)
