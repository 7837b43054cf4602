"""What kind of function a block is: ROM, RAM or registers, as the declared part says, or as size and steadiness do."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from romassay.part import FunctionKind, Part
from romassay.survey.cubes import Closed
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE, GRANULE_LINES

RAM_AT_MOST = 128
"""A block no larger than this, beside a larger one, is taken for RAM or registers where no part says otherwise: the
RAM of combination chips is 64 or 128 bytes (6530, 6532: data sheets)."""

WRITTEN = 8
"""Bytes that change in several bits from reading to reading before a memory counts as written to."""


@dataclass(frozen=True, slots=True)
class Declared:
    """What the person said of the specimen: a part, or the size of its ROM, or neither."""

    part: Part | None = None
    size: int | None = None

    @property
    def rom_size(self) -> int | None:
        """Bytes of the ROM, where they are known."""
        roms = self.part.of_kind("rom") if self.part else ()
        return max(f.size for f in roms) if roms else self.size


def kind_of(scene: Scene, item: Closed, largest: int, declared: Declared) -> FunctionKind | None:
    """Return what a function is; None for something that the declared part does not have."""
    size = 1 << item.level
    if declared.part:
        if declared.rom_size == size:
            return "rom"
        others = sorted((f.size, f.kind) for f in declared.part.functions if f.kind != "rom")
        return next((kind for amount, kind in others if size <= amount), None)
    if declared.rom_size:
        if declared.rom_size == size:
            return "rom"
        return _small_kind(item.level) if size <= RAM_AT_MOST and declared.rom_size > size else None
    at = scene.granules_of(item.level, (item.block,))
    restless = np.count_nonzero(scene.said.against[at] > 0) * 4 > np.count_nonzero(scene.said.seen[at])
    if restless and item.level > GRANULE_LINES + 1:
        return "ram"
    return _small_kind(item.level) if size <= RAM_AT_MOST and item.level < largest else "rom"


def _small_kind(level: int) -> FunctionKind:
    return "registers" if level <= GRANULE_LINES + 1 else "ram"


def written_to(scene: Scene, item: Closed) -> bool:
    """Tell whether something writes to it: bytes change in several bits, though the log shows no damage."""
    if scene.damaged:
        return False
    at = scene.granules_of(item.level, (item.block,))
    spread = np.zeros((len(at), GRANULE), np.uint8)
    for value, known in zip(scene.stacked.value, scene.stacked.known, strict=True):
        spread |= (value[at] ^ scene.said.value[at]) & known[at] & np.uint8(scene.driven)
    return int(np.count_nonzero(np.bitwise_count(spread) >= 2)) >= WRITTEN
