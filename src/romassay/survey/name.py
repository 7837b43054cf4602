"""What each closed function is, and how it is said: kind, decode, copies, what to read next."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from romassay.address import Cube, Range, line_name, lines_of, merge_ranges
from romassay.part import FunctionKind, Part
from romassay.reading import Bytes, Index, ReadingSet
from romassay.survey.cubes import Closed, Seat, blank_neighbour, contents
from romassay.survey.ground import padding
from romassay.survey.model import Copy, Function, ReadNext
from romassay.survey.scene import Scene
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools
from romassay.survey.states import CONTENT, HOST, STRUCTURED

RAM_AT_MOST = 128
"""A block no larger than this, beside a larger one, is taken for RAM or registers where no part says otherwise: the
RAM of combination chips is 64 or 128 bytes (6530, 6532: data sheets)."""

SMALLEST = 32
"""Bytes of the smallest memory that is programmed once (82S23: the catalogue)."""

TELLING = 256
"""Bytes of a larger function that are read to resolve a line."""

WRITTEN = 8
"""Bytes that change in several bits from reading to reading before a memory counts as written to."""

HALF_BYTE = 4

ENOUGH_BYTES = 64
"""Bytes over which a data line must do what the bus does before it counts as not driven."""

NOISE = 0.03
"""Share of the bytes in which a line that is not driven may differ from the bus: the line to the log is noisy."""

_ORDER: dict[FunctionKind, int] = {"rom": 0, "ram": 1, "registers": 2}


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
    written = [_written(scene, item) for item in closed]
    steady = {c.level for c, moves in zip(closed, written, strict=True) if not moves}
    for item, moves in zip(closed, written, strict=True):
        aside = moves and ((mirrored and len(item.seats) == 1) or item.level in steady)
        kind = "ram" if aside else _kind(scene, item, largest, declared)
        if kind is not None:
            result.append(_function(scene, item, kind, readings, declared, stray))
    result += [_function(scene, item, "registers", readings, declared, stray) for item in timed]
    result.sort(key=lambda f: (_ORDER[f.kind], -len(f.copies), -f.size, f.copies[0].first))
    return tuple(result)


def _kind(scene: Scene, item: Closed, largest: int, declared: Declared) -> FunctionKind | None:
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


def _written(scene: Scene, item: Closed) -> bool:
    """Tell whether something writes to it: bytes change in several bits, though the log shows no damage."""
    if scene.damaged:
        return False
    at = scene.granules_of(item.level, (item.block,))
    spread = np.zeros((len(at), GRANULE), np.uint8)
    for value, known in zip(scene.stacked.value, scene.stacked.known, strict=True):
        spread |= (value[at] ^ scene.said.value[at]) & known[at] & np.uint8(scene.driven)
    return int(np.count_nonzero(np.bitwise_count(spread) >= 2)) >= WRITTEN


def _small_kind(level: int) -> FunctionKind:
    return "registers" if level <= GRANULE_LINES + 1 else "ram"


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
    driven = _driven(scene, item)
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
    sizes = _other_sizes(scene, item, stray) if kind == "rom" and not declared.rom_size else ()
    return replace(made, read_next=_read_next(scene, made, readings), sizes=sizes)


def _copy(scene: Scene, level: int, seat: Seat) -> Copy:
    """Return what was seen at one place, and where the host's memory covers it."""
    at = scene.granules_of(level, (seat.block,))
    hidden = scene.stacked.granules[at[scene.based.state[at] == HOST]]
    covered = merge_ranges(Range(int(g) * GRANULE, int(g) * GRANULE + GRANULE - 1) for g in hidden)
    return Copy(seat.block << level, seat.seen, round(seat.agreement, 4), seat.contended, covered)


def _driven(scene: Scene, item: Closed) -> int:
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
    missing = 0xFF & ~scene.driven
    if not missing or scene.bus is None:
        return 0xFF
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
    return 0xFF & ~(following if following.bit_count() >= HALF_BYTE else varying)


def _other_sizes(scene: Scene, item: Closed, stray: Bools) -> tuple[int, ...]:
    """Return a larger or a smaller size that explains the readings as well.

    A larger one, where no ROM is as small, where little of what lies across the next line was seen, where that is
    blank as the end of the function is, beside a bus that says so, or where it holds something that belongs to nothing
    else. A smaller one, where half of a function that stands once is blank: the bus may hold what it last carried; or
    where its halves are mostly alike: something of the host's may cover a copy.
    """
    line = item.level
    if 1 << line < SMALLEST:
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
    if len(value) < 2 * GRANULE:
        return False
    low, high = (half.reshape(-1, GRANULE) for half in np.split(value, 2))
    telling = (low != low[:, :1]).any(axis=1) | (high != high[:, :1]).any(axis=1)
    alike = (low == high).all(axis=1) & telling
    return not blank and int(np.count_nonzero(alike)) * 2 >= max(1, int(np.count_nonzero(telling)))


def _read_next(scene: Scene, made: Function, readings: ReadingSet) -> tuple[ReadNext, ...]:
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
