"""What to read next, so that the lines are resolved which the window left open."""

from __future__ import annotations

import numpy as np

from romassay.address import Range, line_name, lines_of
from romassay.reading import ReadingSet
from romassay.survey.cubes import contents
from romassay.survey.model import Function, ReadNext
from romassay.survey.scene import Scene

TELLING = 256
"""Bytes of a larger function that are read to resolve a line."""


def to_read_next(scene: Scene, made: Function, readings: ReadingSet) -> tuple[ReadNext, ...]:
    """Return, for each unknown line, what to read: the partner of a copy across that line."""
    level = made.size.bit_length() - 1
    result = []
    for line in lines_of(made.unknown):
        options = [Range(c.first ^ (1 << line), (c.first ^ (1 << line)) + made.size - 1) for c in made.copies]
        free = [
            r
            for r in options
            if not any(r.intersect(x) for x in readings.excluded) and not _heard(scene, level, r.first >> level)
        ]
        if free:
            chosen = min(free)
            part = _telling_part(scene, made, level)
            result.append(ReadNext(Range(chosen.first + part.first, chosen.first + part.last), (line_name(line),)))
    return tuple(result)


def _heard(scene: Scene, level: int, block: int) -> bool:
    """Tell whether at least half of a block was read already: reading it again resolves nothing."""
    at = scene.granules_of(level, (block,))
    return int(np.count_nonzero(scene.said.seen[at])) * 2 >= 1 << level


def _telling_part(scene: Scene, made: Function, level: int) -> Range:
    """Return the offsets of the bytes of a function that tell it best from the bus; all of a smaller one."""
    if made.size <= TELLING:
        return Range(0, made.size - 1)
    told = contents(scene.stacked, scene.told, level, np.array([made.copies[0].first >> level]))[0]
    best = int(np.argmax(told.reshape(-1, TELLING).sum(axis=1)))
    return Range(best * TELLING, best * TELLING + TELLING - 1)
