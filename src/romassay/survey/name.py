"""How each function is said: its kind, its decode, its copies, and what to read next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.address import Cube, Range, merge_ranges
from romassay.part import FunctionKind
from romassay.reading import ReadingSet
from romassay.survey.cubes import Closed, Seat
from romassay.survey.further import to_read_next
from romassay.survey.kinds import Declared, kind_of, written_to
from romassay.survey.model import Copy, Function
from romassay.survey.scene import Scene
from romassay.survey.sizes import other_sizes
from romassay.survey.stack import GRANULE, Bools
from romassay.survey.states import CONTENDED, HOST
from romassay.survey.width import driven_lines_of

_ORDER: dict[FunctionKind, int] = {"rom": 0, "ram": 1, "registers": 2}


def named(
    scene: Scene, closed: list[Closed], timed: list[Closed], readings: ReadingSet, declared: Declared
) -> tuple[Function, ...]:
    """Say what each function is, and sort them: the ROM that answers in the most places first, on a tie the larger.

    Args:
        scene: what was looked at.
        closed: functions whose bytes stand still.
        timed: functions some of whose bytes run.
        readings: all of them.
        declared: what the person said.
    """
    largest = max((c.level for c in closed), default=0)
    result = []
    stray = _stray(scene, [*closed, *timed])
    mirrored = any(len(c.seats) > 1 for c in closed)
    written = [written_to(scene, item) for item in closed]
    steady = {c.level for c, moves in zip(closed, written, strict=True) if not moves}
    for item, moves in zip(closed, written, strict=True):
        aside = moves and ((mirrored and len(item.seats) == 1) or item.level in steady)
        kind = "ram" if aside else kind_of(scene, item, largest, declared)
        if kind is not None:
            result.append(_function(scene, item, kind, readings, declared, stray))
    result += [_function(scene, item, "registers", readings, declared, stray) for item in timed]
    result.sort(key=lambda f: (_ORDER[f.kind], -len(f.copies), -f.size, f.copies[0].first))
    return tuple(result)


def _stray(scene: Scene, closed: Sequence[Closed]) -> Bools:
    """Return the granules that say more than the bus and belong to nothing that was found, bool[G]."""
    stray: Bools = np.asarray(scene.told.any(axis=1))
    for item in closed:
        stray[scene.granules_of(item.level, [seat.block for seat in item.seats])] = False
    return stray


def _function(
    scene: Scene, item: Closed, kind: FunctionKind, readings: ReadingSet, declared: Declared, stray: Bools
) -> Function:
    """Make the function's value from what was closed."""
    bits = scene.stacked.bits
    own = (1 << item.level) - 1
    above = ((1 << bits) - 1) & ~own
    other = item.other & above
    base = item.block << item.level
    driven = driven_lines_of(scene, item)
    part = declared.part
    made = Function(
        kind=kind,
        name=next((f.name for f in part.functions if f.kind == kind), kind) if part else kind,
        size=1 << item.level,
        width=driven.bit_count(),
        own=own,
        cube=Cube(bits, other, base & other),
        unknown=above & ~(item.again | other),
        copies=tuple(_copy(scene, item.level, seat) for seat in item.seats),
        driven=driven,
        resting=item.resting & above,
    )
    sizes = other_sizes(scene, item, stray) if kind == "rom" and not declared.rom_size else ()
    return replace(made, read_next=to_read_next(scene, made, readings), sizes=sizes)


def _copy(scene: Scene, level: int, seat: Seat) -> Copy:
    """Return what was seen at one place, and where the host's memory covers it or drives against it."""
    at = scene.granules_of(level, (seat.block,))
    hidden = scene.stacked.granules[at[np.isin(scene.based.state[at], (HOST, CONTENDED))]]
    covered = merge_ranges(Range(int(g) * GRANULE, int(g) * GRANULE + GRANULE - 1) for g in hidden)
    return Copy(seat.block << level, seat.seen, round(seat.agreement, 4), seat.contended, covered)
