"""The rules of a rig's [twin] table: a specimen to rehearse with that can be, and an evening that can be printed."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator

from romassay.catalogue.hosts import range_slips, share_slips
from romassay.catalogue.rig_rules import mask_slips
from romassay.catalogue.strict import Slip, Step, meant
from romassay.errors import BadValue
from romassay.part import Part
from romassay.rig import Contents, Evening, Rehearsal, Rig, data_mask

_PATTERN = re.compile(r"[01aA_ -]+")
_MOST_BYTES = 1 << 25
"""That a rehearsal may print, over all its readings."""


def twin_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    """Yield what is wrong with a rig's rehearsal."""
    twin = rig.twin
    if twin is None:
        return
    bits = rig.address_bits
    if part is None and not twin.functions:
        yield Slip(("twin",), "neither a part nor functions to rehearse with", "name a part, or add [[twin.functions]]")
    yield from mask_slips("mask", twin.mask, part, ("twin",))
    yield from _contents_slips(twin, part)
    yield from _free_slips(twin, bits)
    yield from _bus_slips(twin)
    for name in ("substitute", "digit", "flip", "drop", "burst"):
        yield from share_slips(("twin", "noise", name), getattr(twin.noise, name))
    yield from _count_slips(("twin", "noise", "burst_length"), twin.noise.burst_length, 1, 10_000)
    yield from _count_slips(("twin", "line", "nuls"), twin.line.nuls, 0, 100)
    yield from _count_slips(("twin", "cycles"), twin.cycles, 1, 1_000_000_000)
    yield from _evening_slips(twin.evening, bits)


def _count_slips(steps: tuple[Step, ...], value: int, least: int, most: int) -> Iterator[Slip]:
    if not least <= value <= most:
        yield Slip(steps, f"{value} of them", f"allowed: {least} to {most}")


def _evening_slips(evening: Evening, bits: int) -> Iterator[Slip]:
    if not re.fullmatch(r"(?:[A-Za-z0-9][A-Za-z0-9_.-]*)?", evening.prefix):
        advice = "begin with a letter or digit; letters, digits, '-', '_' and '.' may follow"
        yield Slip(("twin", "evening", "prefix"), f"'{evening.prefix}' cannot begin a file name", advice)
    for index, item in enumerate(evening.window):
        yield from range_slips(("twin", "evening", "window", index), item, bits)
    for name in ("readings", "sessions"):
        yield from _count_slips(("twin", "evening", name), getattr(evening, name), 1, 1000)
    passes = evening.readings * evening.sessions + len(set(evening.controls))
    total = passes * sum(item.size for item in evening.ranges)
    if total > _MOST_BYTES:
        advice = f"allowed: {_MOST_BYTES} in all; read less, or less often"
        yield Slip(("twin", "evening"), f"{passes} passes are {total} bytes to print", advice)


def _contents_slips(twin: Rehearsal, part: Part | None) -> Iterator[Slip]:
    roms = {item.name: item for item in part.of_kind("rom")} if part else {}
    for name, contents in twin.contents.items():
        if name not in roms:
            yield Slip(("twin", "contents", name), f"there is no ROM '{name}'", meant(name, roms))
        yield from _one_source(("twin", "contents", name), contents)
    for index, cell in enumerate(twin.weak):
        steps: tuple[Step, ...] = ("twin", "weak", index)
        if cell.function not in roms:
            yield Slip((*steps, "function"), f"there is no ROM '{cell.function}'", meant(cell.function, roms))
            continue
        size = roms[cell.function].size
        if not 0 <= cell.offset < size:
            yield Slip((*steps, "offset"), f"{cell.offset} in a ROM of {size} bytes", f"allowed: 0 to {size - 1}")
        if not 0 <= cell.line < roms[cell.function].width:
            yield Slip((*steps, "line"), f"data line {cell.line}", "allowed: 0 to 7")
        if cell.to not in (0, 1):
            yield Slip((*steps, "to"), f"a level of {cell.to}", "allowed: 0, 1")
        yield from share_slips((*steps, "chance"), cell.chance)


def _one_source(steps: tuple[Step, ...], contents: Contents) -> Iterator[Slip]:
    if contents.file and contents.seed is not None:
        yield Slip(steps, "both a file and a seed", "keep one")


def _free_slips(twin: Rehearsal, bits: int) -> Iterator[Slip]:
    for index, item in enumerate(twin.functions):
        steps: tuple[Step, ...] = ("twin", "functions", index)
        length = len(re.sub(r"[ _]", "", item.pattern))
        if not _PATTERN.fullmatch(item.pattern) or length != bits:
            advice = f"write {bits} characters, highest line first: 1, 0, '-' where ignored, 'a' for its own lines"
            yield Slip((*steps, "pattern"), f"'{item.pattern}' is no pattern of {bits} lines", advice)
        yield from _mask_of(steps, item.lines)
        yield from _one_source((*steps, "contents"), item.contents)
        if item.kind != "rom" and (item.contents.file or item.contents.seed is not None):
            yield Slip((*steps, "contents"), f"a {item.kind} function holds nothing of its own", "take it away")


def _mask_of(steps: tuple[Step, ...], names: tuple[str, ...]) -> Iterator[Slip]:
    try:
        mask = data_mask(names)
    except BadValue as e:
        yield Slip((*steps, "lines"), e.problem, e.advice)
        return
    if not mask:
        yield Slip((*steps, "lines"), "no data lines", "write D0 to D7, or a span like D0-D3")


def _bus_slips(twin: Rehearsal) -> Iterator[Slip]:
    covered = 0
    for index, item in enumerate(twin.floating):
        steps: tuple[Step, ...] = ("twin", "floating", index)
        yield from _mask_of(steps, item.lines)
        if not 0 <= item.value <= 0xFF:
            yield Slip((*steps, "value"), f"{item.value} is no byte", "allowed: 0 to 0xFF")
        if not math.isfinite(item.rate) or item.rate < 0:
            yield Slip((*steps, "rate"), f"{item.rate} is no rate", "allowed: 0 and above")
        covered |= data_mask(item.lines)
    if twin.floating and covered != 0xFF:
        missing = ", ".join(f"D{line}" for line in range(8) if not covered >> line & 1)
        yield Slip(("twin", "floating"), f"nothing is said of {missing}", "cover D0 to D7")
    yield from share_slips(("twin", "unrest"), twin.unrest)
