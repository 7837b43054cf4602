"""Which other sizes explain the readings of a ROM as well as the one that was found."""

from __future__ import annotations

import numpy as np

from romassay.reading import Bytes, Index
from romassay.survey.cubes import Closed, blank_neighbour, contents
from romassay.survey.ground import padding
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE, Bools
from romassay.survey.states import CONTENT, STRUCTURED

SMALLEST = 32
"""Bytes of the smallest memory that is programmed once (82S23: the catalogue)."""


def other_sizes(scene: Scene, item: Closed, stray: Bools) -> tuple[int, ...]:
    """Return a larger or a smaller size that explains the readings as well.

    A larger one, where no ROM is as small, where it was put together from pieces, where little of what lies across the
    next line was seen, where that is blank as the end of the function is, beside a bus that says so, or where it holds
    something that belongs to nothing else. A smaller one, where half of a function that stands once is blank: the bus
    may hold what it last carried; or where its halves are mostly alike: something of the host's may cover a copy.
    """
    line = item.level
    if 1 << line < SMALLEST or item.pieced:
        return (2 << line,)
    value = contents(scene.stacked, scene.said.value, line, np.array([item.block]))[0]
    rule = scene.based.model
    holds = rule is not None and not any(isinstance(source, int) for source in rule.sources)
    blank = any(bool((half == value[-1]).all()) for half in np.split(value, 2))
    once = sum(not seat.contended for seat in item.seats) == 1
    if once and ((holds and blank) or _mostly_twice(value, blank)):
        return (1 << line >> 1,)
    if line >= scene.stacked.bits:
        return ()
    if not (item.other | item.again) >> line & 1 or (item.again >> line & 1 and not _whole_twice(item, line)):
        return (2 << line,)
    if not item.other >> line & 1:
        return ()
    filling = blank_neighbour(scene.stacked, scene.based, scene.said, line, item.block ^ 1)
    upper_blank = filling is not None and not item.block & 1 and bool((value[-2:] == filling).all())
    lower_blank = filling is not None and item.block & 1 == 1 and bool((value[:2] == filling).all())
    beside = scene.granules_of(line, [seat.block ^ 1 for seat in item.seats if not seat.contended])
    return (2 << line,) if upper_blank or lower_blank or _belongs(scene, beside, stray[beside]) else ()


def _belongs(scene: Scene, at: Index, stray: Bools) -> bool:
    """Tell whether granules across a function's next line may be a part of it; the `stray` ones are no other's.

    They may where they hold what a memory could; what is as regular as a bus, only where the bus is nowhere among them.
    """
    if not stray.any():
        return False
    state = scene.based.state[at]
    memory = (state == CONTENT) | padding(scene.said, scene.based)[at]
    speaks = (state == CONTENT) | (state == STRUCTURED)
    return bool((stray & memory).any() or speaks.all())


def _whole_twice(item: Closed, line: int) -> bool:
    """Tell whether of two copies across the next line more than half was seen each."""
    seen = {seat.block for seat in item.seats if not seat.contended and seat.seen * 2 > 1 << line}
    return any(block ^ 1 in seen for block in seen)


def _mostly_twice(value: Bytes, blank: bool) -> bool:
    """Tell whether half or more of the granules of a function stand in both of its halves."""
    return not blank and len(value) >= 2 * GRANULE and twice_across(value, len(value).bit_length() - 2)


def twice_across(value: Bytes, line: int) -> bool:
    """Tell whether half or more of the granules of an image stand again across an address line from A4 up.

    Those of one value, which stand there too, are left out.
    """
    halves = value.reshape(-1, 2, (1 << line) // GRANULE, GRANULE)
    low, high = halves[:, 0], halves[:, 1]
    telling = (low != low[..., :1]).any(axis=-1) | (high != high[..., :1]).any(axis=-1)
    alike = (low == high).all(axis=-1) & telling
    return int(np.count_nonzero(alike)) * 2 >= max(1, int(np.count_nonzero(telling)))
