"""Faults of the data lines that show in the image itself: a line that never moves, two that always move together.

Code moves every data line, and no two alike. Tables may not: text leaves D7 low, small numbers leave the upper lines
low, a picture may be the mirror image of itself. Such a pattern gets a lower probability, or none.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import replace

import numpy as np

from romassay.diagnose.evidence import Evidence, Floating, floating
from romassay.diagnose.pictures import is_font
from romassay.finding import Finding
from romassay.reading import Bytes
from romassay.settle.model import Image
from romassay.survey.model import Function

LEAST_BYTES = 64
"""Bytes of an image below which a quiet data line is no evidence."""

LEAST_VALUES = 12
"""Different byte values that an image must have before a quiet data line is odd."""

NOISE = 0.004
"""Share of the bytes that line noise may have spoilt."""

UNTOLD = 0.8
"""Chance that a quiet line is held, and not open, where the bus does not show how it floats. Common practice, no
source."""

NIBBLE = 4
"""Undriven or quiet lines from which a part of half a byte's width is likelier than so many broken wires."""

PRINTABLE = 0.9
"""Share of printable characters that makes an image text."""

EDGES = frozenset({0, 5, 6, 7})
"""Data lines at the sides of a drawn character, blank where it is narrower than eight."""


def data_lines(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return the faults of single data lines and pairs of them in one image."""
    function = evidence.found.functions[image.function]
    value = _told(image)
    if len(value) < LEAST_BYTES or len(np.unique(value)) < LEAST_VALUES:
        return
    bus = floating(evidence)
    open_lines = _undriven(function) or _following(function, image, bus)
    quiet = {bit: level for bit in range(8) if bit not in open_lines and (level := _level(value, bit)) is not None}
    if open_lines:
        alike = [bit for bit, level in quiet.items() if bus.lines[bit] == str(level)]
        open_lines = sorted(open_lines + (alike if len(open_lines) + len(alike) < NIBBLE else []))
        quiet = {bit: level for bit, level in quiet.items() if bit not in open_lines}
        yield _open(function, image, open_lines, bus, 0.93)
    there = _at_copies(bus, function)
    for group in _by_cause(quiet, there):
        if len(group) < NIBBLE:
            yield from _quiet(image, group, there, value)
    if len(quiet) >= NIBBLE and any(quiet.values()):
        yield _nibble(image, quiet, evidence)
    yield from _bridged(image, value, [bit for bit in range(8) if bit not in quiet and bit not in open_lines])


def _nibble(image: Image, quiet: dict[int, int], evidence: Evidence) -> Finding:
    """Name half a byte that stands still, not all at the low level, as small numbers leave it: nobody drives it."""
    names = tuple(f"D{bit}" for bit in sorted(quiet))
    part = evidence.part
    return Finding(
        "wrong-part" if part else "undriven-bits",
        blocks=True,
        function=image.function,
        lines=names,
        probability=0.8,
        evidence=f"{', '.join(names)} stand still in all {len(image.value)} bytes, not all at the low level"
        + (f": a part {8 - len(quiet)} bits wide reads so, and a {part.type} does not" if part else ""),
        advice="read the type number on the specimen again; right for a part four bits wide, else check the data "
        "wires, power off, with a continuity tester",
    )


def _told(image: Image) -> Bytes:
    """Return the bytes that were seen whole, without the filling at the end and between."""
    value: Bytes = image.value[image.seen != 0]
    runs = value[1:] == value[:-1]
    return value[np.r_[True, ~runs]]


def _undriven(function: Function) -> list[int]:
    """Return the lines that do what the bus does, where they are too few for a part of half a byte's width."""
    missing = [bit for bit in range(8) if not function.driven >> bit & 1]
    return missing if len(missing) < NIBBLE else []


def _following(function: Function, image: Image, bus: Floating) -> list[int]:
    """Return the lines that do in the image what the floating bus does, upright or inverted: they follow a line of its.

    The image says the same at every copy then, as if somebody drove them.
    """
    address = function.copies[0].first + np.arange(len(image.value)) if function.copies else np.zeros(0, np.int64)
    lines = [
        bit
        for bit, follows in enumerate(bus.follows)
        if 0 <= follows < len(image.value).bit_length() - 1
        and len(address)
        and abs(float(np.mean((image.value >> bit & 1) == (address >> follows & 1))) - 0.5) >= 0.5 - NOISE
    ]
    return lines if len(lines) < NIBBLE else []


def _at_copies(bus: Floating, function: Function) -> Floating:
    """Return what the bus does where the ROM answers: one that follows a line of the selects has one level there."""
    lines = list(bus.lines)
    for bit, follows in enumerate(bus.follows):
        levels = {copy.first >> follows & 1 for copy in function.copies if follows >= 0}
        if follows >= function.size.bit_length() - 1 and len(levels) == 1:
            lines[bit] = "1" if levels.pop() else "0"
    return replace(bus, lines=tuple(lines))


def _level(value: Bytes, bit: int) -> int | None:
    ones = float(np.mean(value >> bit & 1))
    return 1 if ones >= 1 - NOISE else 0 if ones <= NOISE else None


def _by_cause(quiet: dict[int, int], bus: Floating) -> Iterator[dict[int, int]]:
    """Yield the quiet lines in groups of one cause: those that may only float, and those that something holds."""
    floats = {bit: level for bit, level in quiet.items() if bus.lines[bit] == str(level) and not bus.odd(bit)}
    for group in (floats, {bit: level for bit, level in quiet.items() if bit not in floats}):
        if group:
            yield group


def _natural(quiet: dict[int, int], value: Bytes, image: Image) -> float:
    """Return the chance that what the ROM holds leaves these lines quiet: text, small numbers, or narrow characters."""
    lines = sorted(quiet)
    if 5 in lines and lines in ([5], [5, 7]) and quiet[5] and not quiet.get(7) and _printable(value) >= PRINTABLE:
        return 0.97
    if any(quiet.values()):
        return 0.01
    if is_font(image.value) and set(lines) <= EDGES:
        return 0.97
    if lines == [7] and _printable(value) >= PRINTABLE:
        return 0.97
    upper = lines == list(range(8 - len(lines), 8))
    return 0.02 if not upper or len(lines) == 1 else 0.4 if len(lines) == 2 else 0.85


def _printable(value: Bytes) -> float:
    return float(np.mean(((value >= 0x20) & (value < 0x7F)) | np.isin(value, (0x00, 0x0A, 0x0D))))


def _quiet(image: Image, quiet: dict[int, int], bus: Floating, value: Bytes) -> Iterator[Finding]:
    fault = 1.0 - _natural(quiet, value, image)
    if fault < 0.1:
        return
    may_float = all(bus.lines[bit] == str(level) and not bus.odd(bit) for bit, level in quiet.items())
    held = all(bus.lines[bit] in (str(1 - level), "follows") for bit, level in quiet.items())
    names = tuple(f"D{bit}" for bit in sorted(quiet))
    levels = "low" if not any(quiet.values()) else "high" if all(quiet.values()) else "at one level each"
    what = f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} {levels} in all {len(image.value)} bytes"
    rail = {"low": "ground", "high": "the supply"}.get(levels, "ground, to the supply")
    stuck = Finding(
        "data-line-stuck",
        blocks=True,
        function=image.function,
        lines=names,
        probability=round(fault * (0.3 if may_float else 0.94 if held else UNTOLD), 3),
        evidence=f"{what}; code moves every data line",
        advice=f"power off, then check {', '.join(names)} for a short to {rail} or to a neighbour, at the socket and "
        "at any buffer; a dead output of the specimen reads the same",
    )
    opened = Finding(
        "data-line-open",
        blocks=True,
        function=image.function,
        lines=names,
        probability=round(fault * (0.68 if may_float else 0.05 if held else 0.95 - UNTOLD), 3),
        evidence=f"{what}, which is also what the floating bus does there"
        if may_float
        else f"{what}, and a wire that floats at that level would read the same",
        advice=f"power off, then check the {'wire' if len(names) == 1 else 'wires'} of {', '.join(names)} from the "
        "specimen's pin to the bus with a continuity tester; look for a bent pin",
    )
    first, second = (opened, stuck) if may_float else (stuck, opened)
    yield first
    yield replace(second, alternative_to=first.kind)


def _open(function: Function, image: Image, lines: list[int], bus: Floating, probability: float) -> Finding:
    names = tuple(f"D{bit}" for bit in lines)
    follows = [f"A{bus.follows[bit]}" for bit in lines if bus.follows[bit] >= 0]
    does = f"follows {', '.join(follows)}" if follows else "does what the floating bus does"
    return Finding(
        "data-line-open",
        blocks=True,
        function=image.function,
        lines=names,
        probability=probability,
        evidence=f"{', '.join(names)} {does} at every copy of these {function.size} bytes: nobody drives "
        f"{'it' if len(names) == 1 else 'them'}",
        advice=f"power off, then check the {'wire' if len(names) == 1 else 'wires'} of {', '.join(names)} from the "
        "specimen's pin to the bus with a continuity tester; look for a bent pin",
    )


def _bridged(image: Image, value: Bytes, moving: list[int]) -> Iterator[Finding]:
    """Yield groups of lines that always move together."""
    groups: list[list[int]] = []
    for bit in moving:
        home = next((g for g in groups if _together(value, g[0], bit)), None)
        if home is None:
            groups.append([bit])
        else:
            home.append(bit)
    joined = [group for group in groups if len(group) > 1]
    mirrored = sum(group[0] + group[-1] == 7 for group in joined) == len(joined) and len(joined) >= 2
    upper = bool(joined) and all(group == list(range(8 - len(group), 8)) for group in joined) and _smooth(value)
    for group in joined:
        names = tuple(f"D{bit}" for bit in group)
        low = "the low level wins, as where one side pulls down"
        how = "the high level wins" if wins(value, group, moving) else low
        yield Finding(
            "data-lines-bridged",
            blocks=True,
            function=image.function,
            lines=names,
            probability=0.3 if mirrored or upper else 0.97,
            evidence=f"{' and '.join(names)} have the same level in all {len(image.value)} bytes; {how}",
            advice=f"power off, then look for a solder bridge or a whisker between {' and '.join(names)}, at the "
            "socket, the cable and any buffer",
        )


def wins(value: Bytes, group: Sequence[int], moving: Sequence[int] = range(8)) -> int:
    """Return which level wins on lines that act as one: where it is the low one, they are low oftener than others."""
    ones = float(np.mean(value >> group[0] & 1))
    others = float(np.mean([np.mean(value >> bit & 1) for bit in moving if bit not in group] or [0.5]))
    return int(ones >= others)


def _together(value: Bytes, one: int, other: int) -> bool:
    return float(np.mean((value >> one ^ value >> other) & 1)) <= NOISE


def _smooth(value: Bytes) -> bool:
    """Tell whether neighbours are close, as in a curve or a ramp."""
    step = np.abs(np.diff(value.astype(np.int8).astype(np.int64)))
    return bool(np.median(step) <= 8)
