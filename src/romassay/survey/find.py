"""The survey itself: the stages joined, the functions named and sorted, the window cut into regions."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from romassay.address import Cube, Range, line_name, lines_of, merge_ranges
from romassay.part import FunctionKind, Part
from romassay.reading import Index, ReadingSet
from romassay.survey.blocks import Grown, grow
from romassay.survey.bus import (
    BUS,
    CONTENDED,
    CONTENT,
    HOST,
    STRUCTURED,
    UNSEEN,
    VOLATILE,
    Ground,
    as_registers,
    driven_lines,
    ground,
    registers,
    shapes,
)
from romassay.survey.cubes import Closed, blank_neighbour, close, contents
from romassay.survey.model import Copy, Function, ReadNext, Region, RegionKind, Survey
from romassay.survey.pairs import Ladder, pairs
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Consensus, Stack, consensus, granules_seen, stack

MOST_FUNCTIONS = 24
SMALLEST_ROM = 32
RAM_AT_MOST = 256
"""A block no larger than this, beside a larger one, is taken for RAM or registers where no part says otherwise."""


@dataclass(frozen=True, slots=True, eq=False)
class _Scene:
    """All that the later steps look at."""

    stacked: Stack
    said: Consensus
    based: Ground
    told: Bools
    driven: int
    undriven: int
    ladder: Ladder


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
    scene, grown = _look(readings, specimen, granules, _highest(part, size, bits))
    closed = _functions(scene, grown, part, size)
    functions = _named(scene, closed, readings, part, size)
    return Survey(bits, _regions(scene, functions, readings), tuple(f for f, _ in functions))


def _highest(part: Part | None, size: int | None, bits: int) -> int:
    declared = _rom_size(part, size)
    return min(bits, declared.bit_length() - 1) if declared else bits


def _rom_size(part: Part | None, size: int | None) -> int | None:
    roms = part.of_kind("rom") if part else ()
    return max(f.size for f in roms) if roms else size


def _look(readings: ReadingSet, specimen: Sequence[object], granules: Index, highest: int) -> tuple[_Scene, Grown]:
    """Lay the readings over each other, learn the bus, and compare everything with itself."""
    chosen = readings.with_role("specimen") or tuple(specimen)  # type: ignore[arg-type]
    bits = readings.address_bits
    stacked = stack(chosen, bits, readings.excluded, granules)
    undriven = _undriven(readings, granules)
    if undriven is not None:
        stacked = replace(stacked, known=stacked.known & ~undriven)
    plain = consensus(stacked) if undriven is None else _where_driven(consensus(stacked), stacked)
    driven = driven_lines(shapes(plain.value, plain.sure)) or 0xFF
    said = plain if driven == 0xFF else consensus(stacked, driven)
    empty = readings.with_role("empty-socket")
    without = consensus(stack(empty, bits, readings.excluded, granules), driven) if empty else None
    said, changed = _by_session(readings, chosen, stacked, said, driven)
    based = ground(said, granules, bits, driven, readings=len(chosen), empty=without)
    based.state[changed & (based.state == VOLATILE)] = CONTENT
    running = registers(said, based)
    if running.any():
        said = as_registers(said, running)
        based.state[running] = CONTENT
    if undriven is not None:
        based.state[((undriven & np.uint8(driven)) == driven).all(axis=1)] = BUS
    follows = based.model is None or any(isinstance(source, int) for source in based.model.sources)
    if not (based.state == CONTENT).any() and follows:
        based.state[based.state == STRUCTURED] = CONTENT
    quiet = not any(r.holes or r.source.bad_lines for r in chosen) and not said.against.any()
    ladder = Ladder(pairs(stacked, said, based, quiet=quiet))
    grown = grow(ladder, said, based, bits, highest)
    fixed = (
        0 if undriven is None else int(np.bitwise_and.reduce(undriven[based.state == CONTENT], axis=None, initial=0xFF))
    )
    return _Scene(stacked, said, based, based.told(said), driven, fixed, ladder), grown


def _undriven(readings: ReadingSet, granules: Index) -> np.ndarray[tuple[int, int], np.dtype[np.uint8]] | None:
    """Return the bits that follow the pull, uint8[G, 16], or None where no such reading was given."""
    up, down = readings.with_role("pulled-up"), readings.with_role("pulled-down")
    plain = readings.with_role("specimen")
    if not up and not down:
        return None
    sides = []
    for chosen, level in ((up, 0xFF), (down, 0x00)):
        said = consensus(stack(chosen or plain, readings.address_bits, readings.excluded, granules))
        follows = said.value if level else ~said.value
        sides.append(np.where(said.sure, follows, 0).astype(np.uint8))
    return sides[0] & sides[1]


def _where_driven(said: Consensus, stacked: Stack) -> Consensus:
    """Count a byte as sure where every bit that the specimen drives is known."""
    union = np.bitwise_or.reduce(stacked.known, axis=0)
    return replace(said, sure=said.sure | (union != 0))


def _by_session(
    readings: ReadingSet, chosen: Sequence[object], stacked: Stack, said: Consensus, driven: int
) -> tuple[Consensus, Bools]:
    """Take what changed from one power-up to the next, but stood still within one, as the first power-up had it."""
    names = [r.conditions.session for r in readings.readings if r in chosen]
    none = np.zeros(len(stacked.granules), np.bool_)
    groups = [[i for i, n in enumerate(names) if n == name] for name in dict.fromkeys(names)]
    steady = [group for group in groups if len(group) >= 2]
    if len(groups) < 2 or not steady:
        return said, none
    first = replace(stacked, value=stacked.value[steady[0]], known=stacked.known[steady[0]])
    alone = consensus(first, driven)
    overall = np.count_nonzero(said.against > 0, axis=1)
    within = np.count_nonzero(alone.against > 0, axis=1)
    changed: Bools = (overall >= GRANULE // 4) & (within * 4 <= overall)
    rows = changed[:, None]
    return (
        Consensus(
            np.where(rows, alone.value, said.value),
            np.where(rows, alone.sure, said.sure),
            said.seen,
            said.against,
        ),
        changed,
    )


def _candidates(scene: _Scene, grown: Grown, part: Part | None, size: int | None) -> list[tuple[int, int]]:
    """Return (level, block) of the blocks that are one thing, the most telling first."""
    content = scene.based.state == CONTENT
    at = np.flatnonzero(content & (grown.level > 0))
    level = grown.level[at]
    keys = np.unique(level << 40 | scene.stacked.granules[at] >> (level - GRANULE_LINES))
    found = [(int(k >> 40), int(k & (1 << 40) - 1)) for k in keys]
    declared = _rom_size(part, size)
    if declared:
        found = _promoted(found, declared.bit_length() - 1, part)
    ranked = []
    for level_of, block in dict.fromkeys(found):
        evidence, (again, _) = scene.ladder.at(level_of)
        row = int(np.searchsorted(evidence.blocks, block))
        above = int(again[row]) & ~((1 << level_of) - 1)
        ranked.append((above.bit_count(), level_of, int(evidence.content[row]), -block))
    return [(item[1], -item[3]) for item in sorted(ranked, reverse=True)]


def _promoted(found: list[tuple[int, int]], level: int, part: Part | None) -> list[tuple[int, int]]:
    """Widen blocks that the declared ROM size says are parts of a larger one: its rest is blank, or repeats."""
    small = max((f.size for f in part.functions if f.kind != "rom"), default=0) if part else RAM_AT_MOST
    if not part or not small:
        small = RAM_AT_MOST if not part and any(k == level for k, _ in found) else 0
    return [
        (k, block) if k >= level or 1 << k <= small else (level, block >> (level - k)) for k, block in found
    ] or found


def _functions(scene: _Scene, grown: Grown, part: Part | None, size: int | None) -> list[Closed]:
    """Close the candidates one after the other; what one function has claimed is no candidate any more."""
    claimed = np.zeros(len(scene.stacked.granules), np.bool_)
    content = scene.based.state == CONTENT
    accepted: list[Closed] = []
    hidden = np.isin(scene.based.state, (HOST, CONTENDED))
    clear = replace(scene.said, sure=scene.said.sure & ~hidden[:, None])
    for level, block in _candidates(scene, grown, part, size):
        if len(accepted) >= MOST_FUNCTIONS:
            break
        at = _granules_of(scene, level, (block,))
        mine = at[content[at]]
        if not len(mine) or np.count_nonzero(claimed[mine]) * 2 > len(mine):
            continue
        if len(mine) * GRANULE < SMALLEST_ROM and not _repeats(scene, level, block):
            continue
        evidence, masks = scene.ladder.at(level)
        closed = close(scene.stacked, clear, scene.based, scene.told, evidence, masks, block)
        if not _stands(scene, closed, part, size):
            continue
        accepted.append(closed)
        claimed[_granules_of(scene, level, [seat.block for seat in closed.seats])] = True
    return accepted


def _repeats(scene: _Scene, level: int, block: int) -> bool:
    evidence, (again, _) = scene.ladder.at(level)
    return bool(int(again[int(np.searchsorted(evidence.blocks, block))]) >> level)


def _granules_of(scene: _Scene, level: int, blocks: Sequence[int]) -> Index:
    """Return where the granules of some blocks stand in the stack."""
    wide = 1 << (level - GRANULE_LINES)
    numbers = (np.array(blocks, np.int64)[:, None] * wide + np.arange(wide)).ravel()
    at = scene.stacked.positions(numbers)
    return at[at >= 0]


def _stands(scene: _Scene, closed: Closed, part: Part | None, size: int | None) -> bool:
    """Tell whether a closed function is more than chance: it repeats, or it is a dense and steady block."""
    clean = [seat for seat in closed.seats if not seat.contended]
    if len(clean) >= 2:
        return True
    at = _granules_of(scene, closed.level, (closed.block,))
    state = scene.based.state[at]
    content = np.count_nonzero(state == CONTENT)
    if content * GRANULE < SMALLEST_ROM:
        return False
    inside = np.count_nonzero(state != UNSEEN)
    if content * 2 < inside and not _rom_size(part, size) and not _repeated_bytes(scene, at):
        return False
    return not _noise(scene, at[state == CONTENT])


def _repeated_bytes(scene: _Scene, at: Index) -> bool:
    """Tell whether most of what was said was said by two readings or more."""
    told = scene.told[at]
    firm = scene.said.firm[at] & told
    return bool(np.count_nonzero(firm) * 2 >= np.count_nonzero(told) > 0)


def _noise(scene: _Scene, at: Index) -> bool:
    """Tell whether bytes are a bus that decays: each data line by chance for itself, and leaning to one side.

    Code and text do not have independent data lines; a ROM of random bytes does not lean.
    """
    if len(scene.stacked.value) > 1:
        return False
    value = scene.said.value[at][scene.said.sure[at]]
    if len(value) < 16 * GRANULE:
        return False
    lines = [bit for bit in range(8) if scene.driven >> bit & 1]
    ones = np.array([np.mean(value >> bit & 1) for bit in lines])
    if np.all(np.abs(ones - 0.5) < 0.1):
        return False
    expected = np.ones(256)
    for bit, share in zip(lines, ones, strict=True):
        expected *= np.where(np.arange(256) >> bit & 1, share, 1 - share)
    expected[(np.arange(256) & ~scene.driven) != 0] = 0
    counts = np.bincount(value, minlength=256)
    expected *= len(value)
    common = expected >= 1
    rest_seen, rest_expected = counts[~common].sum(), expected[~common].sum()
    misfit = np.sum((counts[common] - expected[common]) ** 2 / expected[common])
    misfit += (rest_seen - rest_expected) ** 2 / max(rest_expected, 1.0)
    freedom = max(1, np.count_nonzero(common) - len(lines))
    return bool(misfit < freedom + 6 * np.sqrt(2 * freedom))


def _named(
    scene: _Scene, closed: list[Closed], readings: ReadingSet, part: Part | None, size: int | None
) -> list[tuple[Function, Closed]]:
    """Say what each function is, and sort them: the ROM that answers in the most places first, on a tie the larger."""
    repeating = [c for c in closed if len(c.seats) > 1] or closed
    largest = max((c.level for c in repeating), default=0)
    result = []
    for item in closed:
        kind = _kind(scene, item, largest, part, size)
        if kind is not None:
            result.append((_function(scene, item, kind, readings, part, size), item))
    order: dict[FunctionKind, int] = {"rom": 0, "ram": 1, "registers": 2}
    result.sort(key=lambda pair: (order[pair[0].kind], -len(pair[0].copies), -pair[0].size, pair[0].copies[0].first))
    return result


def _kind(scene: _Scene, item: Closed, largest: int, part: Part | None, size: int | None) -> FunctionKind | None:
    """Return what a function is; None for something that the declared part does not have."""
    declared = _rom_size(part, size)
    small = 1 << item.level <= RAM_AT_MOST and (item.level < largest or (declared or 0) > 1 << item.level)
    if part:
        if declared == 1 << item.level:
            return "rom"
        others = sorted((f.size, f.kind) for f in part.functions if f.kind != "rom")
        return next((kind for amount, kind in others if 1 << item.level <= amount), None)
    if declared:
        if declared == 1 << item.level:
            return "rom"
        return _small_kind(item.level) if small else None
    at = _granules_of(scene, item.level, (item.block,))
    restless = np.count_nonzero(scene.said.against[at] > 0) * 4 > np.count_nonzero(scene.said.seen[at])
    if restless and item.level > GRANULE_LINES + 1:
        return "ram"
    if not small:
        return "rom"
    return _small_kind(item.level)


def _small_kind(level: int) -> FunctionKind:
    return "registers" if level <= GRANULE_LINES + 1 else "ram"


def _function(
    scene: _Scene, item: Closed, kind: FunctionKind, readings: ReadingSet, part: Part | None, size: int | None
) -> Function:
    """Make the function's value from what was closed."""
    bits = scene.stacked.bits
    own = (1 << item.level) - 1
    above = ((1 << bits) - 1) & ~own
    other = item.other & above
    unknown = above & ~(item.again | other)
    base = item.block << item.level
    copies = tuple(Copy(s.block << item.level, s.seen, round(s.agreement, 4), s.contended) for s in item.seats)
    driven = _driven(scene, item)
    name = next((f.name for f in part.functions if f.kind == kind), kind) if part else kind
    made = Function(
        kind=kind,
        name=name,
        size=1 << item.level,
        width=driven.bit_count(),
        own=own,
        cube=Cube(bits, other, base & other),
        unknown=unknown,
        copies=copies,
        driven=driven,
    )
    sizes = () if _rom_size(part, size) or kind != "rom" else _other_sizes(scene, item, unknown)
    return replace(made, read_next=_read_next(scene, made, readings), sizes=sizes)


def _driven(scene: _Scene, item: Closed) -> int:
    """Return the data lines that a function drives: all but those that a control reading, or the bus itself, excludes."""
    if scene.undriven:
        return 0xFF & ~scene.undriven
    missing = 0xFF & ~scene.driven
    if missing.bit_count() < 4 or scene.driven.bit_count() < 1:
        return 0xFF
    return scene.driven


def _other_sizes(scene: _Scene, item: Closed, unknown: int) -> tuple[int, ...]:
    """Return a larger size that explains the readings as well: a blank end beside a bus that says the same."""
    line = item.level
    if line >= scene.stacked.bits or not item.other >> line & 1:
        return ()
    value = contents(scene.stacked, scene.said.value, item.level, np.array([item.block]))[0]
    filling = blank_neighbour(scene.stacked, scene.based, scene.said, item.level, item.block ^ 1)
    upper_blank = filling is not None and not item.block & 1 and bool((value[-2:] == filling).all())
    lower_blank = filling is not None and item.block & 1 == 1 and bool((value[:2] == filling).all())
    return (2 << item.level,) if upper_blank or lower_blank else ()


def _read_next(scene: _Scene, made: Function, readings: ReadingSet) -> tuple[ReadNext, ...]:
    """Return, for each unknown line, what to read: the partner of a copy across that line."""
    level = made.size.bit_length() - 1
    result = []
    for line in lines_of(made.unknown):
        options = [Range(c.first ^ (1 << line), (c.first ^ (1 << line)) + made.size - 1) for c in made.copies]
        free = [r for r in options if not any(r.intersect(x) for x in readings.excluded)] or options
        if free:
            chosen = min(free)
            part = _telling_part(scene, made, level)
            result.append(ReadNext(Range(chosen.first + part.first, chosen.first + part.last), (line_name(line),)))
    return tuple(result)


def _telling_part(scene: _Scene, made: Function, level: int) -> Range:
    """Return the offsets of the 256 bytes of a function that tell it best from the bus; all of a smaller one."""
    if made.size <= RAM_AT_MOST:
        return Range(0, made.size - 1)
    told = contents(scene.stacked, scene.told, level, np.array([made.copies[0].first >> level]))[0]
    best = int(np.argmax(told.reshape(-1, RAM_AT_MOST).sum(axis=1)))
    return Range(best * RAM_AT_MOST, best * RAM_AT_MOST + RAM_AT_MOST - 1)


_STATE_KINDS: dict[int, RegionKind] = {
    BUS: "open-bus",
    STRUCTURED: "open-bus",
    VOLATILE: "open-bus",
    CONTENT: "unknown",
    HOST: "host",
    UNSEEN: "unknown",
    CONTENDED: "contended",
}


def _regions(scene: _Scene, functions: list[tuple[Function, Closed]], readings: ReadingSet) -> tuple[Region, ...]:
    """Cut everything that was read into regions."""
    granules = scene.stacked.granules
    owner = np.full(len(granules), -1, np.int64)
    seat_of = np.full(len(granules), -1, np.int64)
    fought = np.zeros(len(granules), np.bool_)
    for number, (function, item) in reversed(list(enumerate(functions))):
        for index, copy in enumerate(function.copies):
            at = _granules_of(scene, item.level, (copy.first >> item.level,))
            owner[at], seat_of[at], fought[at] = number, index, copy.contended
    label = (
        scene.based.state.astype(np.int64) + 16 * (owner + 1) + (seat_of + 1 << 20) + (fought.astype(np.int64) << 60)
    )
    plain = np.where(owner >= 0, label & ~15, label)
    new = np.flatnonzero(np.r_[True, (plain[1:] != plain[:-1]) | (np.diff(granules) != 1)])
    ends = np.r_[new[1:], len(granules)] - 1
    seen = merge_ranges(span for reading in readings.readings for span in reading.spans())
    regions = []
    for start, end in zip(new, ends, strict=True):
        kind: RegionKind = _STATE_KINDS[int(scene.based.state[start])]
        function = int(owner[start]) if owner[start] >= 0 else None
        if function is not None:
            kind = "contended" if fought[start] else functions[function][0].kind
        copy = int(seat_of[start]) if function is not None else None
        regions.append(
            Region(int(granules[start]) * GRANULE, int(granules[end]) * GRANULE + GRANULE - 1, kind, function, copy)
        )
    return _clipped(regions, seen, readings.excluded)


def _clipped(regions: list[Region], seen: Sequence[Range], excluded: Sequence[Range]) -> tuple[Region, ...]:
    """Cut regions to what was read, and give the excluded ranges to the host."""
    out: list[Region] = []
    hidden = merge_ranges(excluded)
    cursor = 0
    for region in regions:
        while cursor < len(seen) and seen[cursor].last < region.first:
            cursor += 1
        at = cursor
        while at < len(seen) and seen[at].first <= region.last:
            piece = seen[at].intersect(Range(region.first, region.last))
            if piece:
                out += _without(replace(region, first=piece.first, last=piece.last), hidden)
            at += 1
    merged: list[Region] = []
    for item in out:
        if (
            merged
            and replace(merged[-1], last=item.last) == replace(item, first=merged[-1].first)
            and (merged[-1].last + 1 == item.first)
        ):
            merged[-1] = replace(merged[-1], last=item.last)
        else:
            merged.append(item)
    return tuple(merged)


def _without(region: Region, hidden: Sequence[Range]) -> list[Region]:
    """Split a region where a hidden range lies in it; that part is the host's."""
    pieces = []
    at = region.first
    for item in hidden:
        inside = item.intersect(Range(region.first, region.last))
        if not inside:
            continue
        if inside.first > at:
            pieces.append(replace(region, first=at, last=inside.first - 1))
        pieces.append(Region(inside.first, inside.last, "host"))
        at = inside.last + 1
    if at <= region.last:
        pieces.append(replace(region, first=at))
    return pieces
