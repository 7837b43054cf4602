"""Which data lines a function drives."""

from __future__ import annotations

import numpy as np

from romassay.address import lines_of
from romassay.survey.cubes import Closed
from romassay.survey.scene import Scene
from romassay.survey.states import CONTENT

HALF_BYTE = 4

ENOUGH_BYTES = 64
"""Bytes over which a data line must do what the bus does before it counts as not driven."""

NOISE = 0.03
"""Share of the bytes in which a line that is not driven may differ from the bus: the line to the log is noisy."""


def driven_lines_of(scene: Scene, item: Closed) -> int:
    """Return the data lines that the function drives, as a bit mask.

    A pair of pull readings tells. Without them a line counts as not driven where in nearly every byte of every copy it
    says what the bus would: if the bus says both levels there, or if half of all lines are like that.
    """
    at = scene.granules_of(item.level, [seat.block for seat in item.seats])
    at = at[scene.based.state[at] == CONTENT]
    if scene.undriven is not None and len(at):
        missing = int(np.bitwise_and.reduce(scene.undriven[at]))
        if missing:
            return 0xFF & ~missing
    missing = 0xFF & ~scene.driven & ~scene.noisy
    if not missing or scene.bus is None:
        return 0xFF & ~scene.noisy
    expected = scene.bus[at]
    varying = following = 0
    for bit in lines_of(missing):
        known = off = high = 0
        for value, seen in zip(scene.stacked.value, scene.stacked.known, strict=True):
            heard = (seen[at] >> bit & 1).astype(np.bool_)
            known += int(np.count_nonzero(heard))
            off += int(np.count_nonzero(((value[at] ^ expected) >> bit & 1).astype(np.bool_) & heard))
            high += int(np.count_nonzero((expected >> bit & 1).astype(np.bool_) & heard))
        if known >= ENOUGH_BYTES and off <= NOISE * known:
            following |= 1 << bit
            varying |= (1 << bit) * (NOISE * known < high < (1 - NOISE) * known)
    return 0xFF & ~scene.noisy & ~(following if following.bit_count() >= HALF_BYTE else varying)
