"""What a window shows: copies to expect for each mask option, and the fewest addresses that tell them all apart. Pure.

Counting is done on an array with one axis a bus line: folding the axes of a function's own lines leaves one element for
each place at which a copy may stand.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from itertools import product

import numpy as np
import numpy.typing as npt

from romassay.address import Range, merge_ranges
from romassay.part import Function, Option, Part
from romassay.plan.model import Coverage, Expected, Setting
from romassay.rig import Rig
from romassay.wiring import main_function

Truths = npt.NDArray[np.bool_]
Levels = dict[int, int]

MOST_SETTINGS = 20_000
"""Combinations of options that are counted one by one; a part with more of them is shown without its copies."""


def coverage(rig: Rig, part: Part) -> Coverage:
    """Return what the rig's window shows of a part: complete wiring is taken for granted."""
    window = merge_ranges(rig.to_read)
    free = without(window, rig.unread)
    lines = open_lines(rig, part)
    enough, hidden = smallest(free, rig.address_bits, lines, needed_levels(rig, part))
    return Coverage(
        window=window,
        free=free,
        expected=tuple(_expected(rig, part, item, free) for item in part.functions),
        enough=enough,
        lines=lines,
        hidden=hidden,
    )


def without(ranges: Iterable[Range], taken: Iterable[Range]) -> tuple[Range, ...]:
    """Return the addresses of some ranges that are in none of the others."""
    left = list(ranges)
    for hole in taken:
        pieces = []
        for item in left:
            common = item.intersect(hole)
            if common is None:
                pieces.append(item)
                continue
            if item.first < common.first:
                pieces.append(Range(item.first, common.first - 1))
            if common.last < item.last:
                pieces.append(Range(common.last + 1, item.last))
        left = pieces
    return merge_ranges(left)


def settings_of(rig: Rig, part: Part, function: Function) -> Iterable[Mapping[str, Option]]:
    """Yield everything that the mask may have made of a function's selects, as far as nothing else is known."""
    known = {part.pin(pin).name: level for pin, level in rig.known.get(function.name, {}).items()}
    pins = [part.pin(name).name for name in function.selects]
    options = [
        (known[pin],) if pin in known else part.options(function.name, name)
        for pin, name in zip(pins, function.selects, strict=True)
    ]
    for levels in product(*options):
        yield dict(zip(pins, levels, strict=True))


def levels_on_bus(rig: Rig, setting: Mapping[str, Option]) -> Levels | None:
    """Return the level of each address line at which a function answers; None where it never does."""
    levels: Levels = {}
    for pin, option in setting.items():
        if option == "ignored":
            continue
        wanted = int(option == "high")
        line = rig.address_line(pin)
        if line is None:
            steady = rig.steady(pin)
            if steady is not None and steady != wanted:
                return None
        elif levels.setdefault(line, wanted) != wanted:
            return None
    return levels


def _expected(rig: Rig, part: Part, function: Function, free: tuple[Range, ...]) -> Expected:
    bits = rig.address_bits
    own = [line for pin in function.own if (line := rig.address_line(part.pin(pin).name)) is not None]
    whole = _folded(_mask(free, bits), bits, own, every=True)
    clash = _folded(_mask(_reached_memory(rig), bits), bits, own, every=False)
    settings = []
    for number, setting in enumerate(settings_of(rig, part, function)):
        if number >= MOST_SETTINGS:
            break
        levels = levels_on_bus(rig, setting)
        place = None if levels is None or set(levels) & set(own) else _index(levels, bits)
        counts = (0, 0) if place is None else (int(whole[place].sum()), int(clash[place].sum()))
        settings.append(Setting(tuple(setting.items()), *counts))
    return Expected(function.name, function.kind, function.size, tuple(settings))


def _reached_memory(rig: Rig) -> tuple[Range, ...]:
    """Return the host's memory as far as the specimen reaches it: all of it, where no buffer keeps them apart."""
    if rig.buffer is None or not rig.buffer.fitted or not rig.buffer.ranges:
        return rig.host_memory
    return tuple(
        common
        for item in rig.host_memory
        for other in rig.buffer.where
        if (common := item.intersect(other)) is not None
    )


def _mask(ranges: Iterable[Range], bits: int) -> Truths:
    mask = np.zeros(1 << bits, np.bool_)
    for item in ranges:
        mask[item.first : item.last + 1] = True
    return mask


def _folded(mask: Truths, bits: int, own: Iterable[int], *, every: bool) -> Truths:
    """Return an array with an axis for each line, highest first; those of `own` have one element."""
    cube = mask.reshape([2] * bits)
    axes = tuple(bits - 1 - line for line in set(own))
    fold = np.logical_and if every else np.logical_or
    return np.asarray(fold.reduce(cube, axis=axes, keepdims=True), np.bool_)


def _index(levels: Levels, bits: int) -> tuple[int | slice, ...]:
    return tuple(levels.get(line, slice(None)) for line in reversed(range(bits)))


def needed_levels(rig: Rig, part: Part) -> dict[int, tuple[int, ...]]:
    """Return, for each address line with a pin on it, the levels that must be read to tell every open option apart."""
    result: dict[int, set[int]] = {}
    for function in part.functions:
        for name in function.own:
            line = rig.address_line(part.pin(name).name)
            if line is not None:
                result[line] = {0, 1}
        for setting in _each_option(rig, part, function):
            for pin, options in setting.items():
                line = rig.address_line(pin)
                if line is not None:
                    result.setdefault(line, set()).update(_levels(options))
    return {line: tuple(sorted(levels)) for line, levels in result.items()}


def _each_option(rig: Rig, part: Part, function: Function) -> Iterable[dict[str, tuple[Option, ...]]]:
    known = {part.pin(pin).name: level for pin, level in rig.known.get(function.name, {}).items()}
    yield {
        (pin := part.pin(name).name): (known[pin],) if pin in known else part.options(function.name, name)
        for name in function.selects
    }


def _levels(options: tuple[Option, ...]) -> set[int]:
    """Return the levels to try: one for a single option, which is known then; both where there is a choice."""
    if len(options) > 1:
        return {0, 1}
    return {"high": {1}, "low": {0}, "ignored": set[int]()}[options[0]]


def open_lines(rig: Rig, part: Part) -> tuple[int, ...]:
    """Return the address lines of which both levels must be read, lowest first."""
    return tuple(sorted(line for line, levels in needed_levels(rig, part).items() if len(levels) == 2))


def smallest(
    free: tuple[Range, ...], bits: int, lines: tuple[int, ...], needed: Mapping[int, tuple[int, ...]]
) -> tuple[tuple[Range, ...], tuple[tuple[tuple[int, int], ...], ...]]:
    """Return the fewest addresses, in the fewest ranges, in which every line has both levels against all the others.

    Args:
        free: where the specimen can be heard.
        bits: lines of the bus.
        lines: those that must be read at both levels.
        needed: levels to be read of each line that has a pin.

    Returns:
        The ranges, and the levels of the lines above the blocks' own for which no block is free. Blocks that differ in
        one of the lines differ in no other, where one place of the lines without a pin has them all free.
    """
    unit = next((line for line in range(bits) if line not in lines), bits)
    upper = [line for line in lines if line >= unit]
    fixed = {line: levels[0] for line, levels in needed.items() if len(levels) == 1 and line >= unit}
    others = [line for line in range(unit, bits) if line not in upper and line not in fixed]
    blocks = np.logical_and.reduce(_mask(free, bits).reshape(-1, 1 << unit), axis=1)
    base = sum(level << (line - unit) for line, level in fixed.items())
    corners = base + _spread(upper, unit)
    places = _spread(others, unit)
    table = blocks[corners[:, None] + places[None, :]]
    chosen: list[int] = []
    missing = np.flatnonzero(~table.any(axis=1))
    left = table.any(axis=1)
    while left.any():
        counts = table[left].sum(axis=0)
        best = int(np.argmax(counts))
        here = left & table[:, best]
        chosen += [int(block) for block in corners[here] + places[best]]
        left &= ~here
    ranges = merge_ranges(Range(block << unit, (block << unit) + (1 << unit) - 1) for block in chosen)
    hidden = tuple(tuple((line, int(corners[corner]) >> (line - unit) & 1) for line in upper) for corner in missing)
    return ranges, hidden


def _spread(lines: Iterable[int], unit: int) -> npt.NDArray[np.int64]:
    """Return every block number that has some of the lines high and all others low."""
    numbers = np.zeros(1, np.int64)
    for line in lines:
        numbers = np.concatenate([numbers, numbers + (1 << (line - unit))])
    return numbers


def free_block(rig: Rig, part: Part, free: Iterable[Range]) -> bool:
    """Tell whether a whole copy of the main function fits anywhere in the free ranges."""
    function = main_function(part)
    own = [line for pin in function.own if (line := rig.address_line(part.pin(pin).name)) is not None]
    return bool(_folded(_mask(free, rig.address_bits), rig.address_bits, own, every=True).any())
