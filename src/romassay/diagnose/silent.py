"""A specimen that keeps to its first byte: the enable takes the address at an edge, and the edge never comes again."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romassay.address import Range, merge_ranges
from romassay.diagnose.evidence import Evidence, behaviour
from romassay.diagnose.usual import FILLINGS, RAM
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.settle.model import Image
from romassay.survey.consensus import consensus
from romassay.survey.stack import GRANULE, Bools, stack

LEAST_STRETCH = 16
"""Granules of one value that a latched specimen holds at least: 256 bytes."""

STEADY = 0.85
"""Share of sixteen bytes that must be alike; the rest is line noise."""

SHORT = 8
"""Granules of 00 or of FF, anywhere, from which that is what the bus is pulled to."""

SEEN = 0.75
"""Share of sixteen bytes that must have been seen, for their median to be one of them."""

MANY_STEPS = 4
"""Different bytes, each over sixteen addresses or more and one behind the other, that no memory holds."""

PADDINGS = (*FILLINGS, 0x01, 0x12, 0x20, 0x3F, 0x55, 0x5A, 0x76, 0xA5, 0xAA, 0xC4, 0xE5, 0xEA)
"""What unused bytes of a ROM are filled with: besides 00 and FF, instructions that do nothing or stop, and patterns.
Common practice, no source."""

LEAST_TAIL = 64
"""Bytes of one value at the end of a ROM from which it is no table."""

PAGE = 256
"""Addresses over which the upper half of the address stays as it is."""


def latched(evidence: Evidence) -> Iterator[Finding]:
    """Return the finding where no ROM answers, but one byte stands over whole aligned blocks, other than the bus.

    RAM that nothing wrote to reads as a small ROM, or with what the bus says behind it as a larger one that is nearly
    all one byte; beside such, the bus must stand at a value of its own as well.
    """
    roms = [f for f in evidence.found.functions if f.kind == "rom"]
    steps = _steps(evidence)
    if len(steps):
        yield _found(steps, "every sixteen bytes or more are one, and then another", 0.85)
        return
    if evidence.images and evidence.size is None:
        yield from _inside(evidence.images[0])
    for image in evidence.images[:1]:
        yield from _since(image)
    granules = evidence.stacked.granules
    changing = _changing(evidence) if len(granules) else np.zeros(0, np.int64)
    if len(changing):
        yield _found(granules[changing], "each reading has a byte of its own there", 0.93)
        return
    if sum(_told(image) for image in evidence.images) > RAM or not len(granules):
        return
    filled = any(_told(image) * 2 < len(image) for image in evidence.images)
    if roms and not filled and len(_stands(evidence)) < 2:
        return
    held: list[tuple[int, Index]] = []
    for value, sure in zip(evidence.stacked.value, evidence.stacked.known == 0xFF, strict=True):
        held.append(_held(granules, value, sure))
    values = {value for value, _ in held if value >= 0}
    if not values or any(value < 0 for value, _ in held):
        return
    rows = held[0][1]
    if _in_empty_socket(evidence, rows, values):
        return
    whole = len(rows) >= 0.97 * len(granules)
    differ = len(values) > 1
    said = " and then ".join(f"{value:02X}" for value in sorted(values))
    elsewhere = "" if whole else ", where the rest of the window does something else"
    yield _found(granules[rows], f"{said}{elsewhere}", 0.9 if differ else 0.5 if whole else 0.85)


def _found(granules: Index, what: str, probability: float) -> Finding:
    where = merge_ranges(Range(int(g) * GRANULE, int(g) * GRANULE + GRANULE - 1) for g in granules)
    return Finding(
        "latched-enable",
        blocks=True,
        where=where[:100],
        probability=probability,
        evidence=f"the same byte again and again at {len(granules) * GRANULE} addresses: {what}",
        advice="the specimen takes the address when its enable changes: give the enable a pulse for every byte in "
        "place of a fixed level; if the whole window reads so, also check that the specimen is selected at all",
    )


def _changing(evidence: Evidence) -> Index:
    """Return the granules over which every reading keeps to one byte, but not all to the same."""
    stacked = evidence.stacked
    held = np.full(stacked.value.shape[:2], -1, np.int64)
    for kept, value, sure in zip(held, stacked.value, stacked.known == 0xFF, strict=True):
        for byte, a, b in _stretches(stacked.granules, value, sure):
            kept[a:b] = byte
    rows = np.flatnonzero((held >= 0).all(axis=0) & (held != held[0]).any(axis=0))
    return rows if len(rows) >= LEAST_STRETCH else np.zeros(0, np.int64)


def _steps(evidence: Evidence) -> Index:
    """Return the granules of long stretches in which each is one byte, but the next ones are others.

    Steps at whole pages do not count: a bus that keeps the upper half of the address makes them. Nor do any where each
    data line keeps a level or does what one address line does.
    """
    granules = evidence.stacked.granules
    if not len(granules):
        return granules
    value, sure = evidence.said.value, evidence.said.sure
    usual = np.sort(value, axis=1)[:, GRANULE // 2]
    flat = (((value == usual[:, None]) | ~sure).mean(axis=1) >= STEADY) & (sure.mean(axis=1) >= SEEN)
    flat &= ~np.isin(usual, FILLINGS) & (usual != (granules * GRANULE & 0xFF))
    edges = np.flatnonzero(np.diff(np.r_[False, flat, False].astype(np.int8)))
    rows = []
    for a, b in edges.reshape(-1, 2):
        steps = np.flatnonzero(usual[a + 1 : b] != usual[a : b - 1]) + a + 1
        inside = steps[granules[steps] * GRANULE % PAGE != 0]
        if len(inside) >= MANY_STEPS and len(np.unique(usual[inside])) >= MANY_STEPS:
            rows.append(np.arange(a, b))
    found = np.concatenate(rows) if rows else granules[:0]
    return granules[:0] if _floats(usual[found], granules[found], evidence.readings.address_bits) else granules[found]


def _floats(value: Bytes, granules: Index, address_bits: int) -> bool:
    """Tell whether each data line keeps a level or follows an address line, over so many that chance does not."""
    if len(granules) < LEAST_STRETCH:
        return False
    levels = ((value >> bit & 1).astype(np.uint8) for bit in range(8))
    return all(behaviour(level, granules * GRANULE, address_bits)[0] != "unknown" for level in levels)


def _told(image: Image) -> int:
    """Return how many bytes of an image are not the commonest one, those that repeat or are in doubt counted once.

    RAM and a timer, mirrored beside a latched ROM, may pass for one larger memory; they hold little.
    """
    common = int(np.bincount(image.value, minlength=256).argmax())
    if len(image) % GRANULE:
        return int(np.count_nonzero(image.value != common))
    steady = np.ones(len(image), np.bool_)
    steady[[doubt.offset for doubt in image.doubtful]] = False
    value = np.where(steady, image.value, common).astype(np.uint8).reshape(-1, GRANULE)
    return int(np.count_nonzero(np.unique(value, axis=0) != common))


def _fills(value: Bytes, byte: int, usual: Sequence[int]) -> bool:
    """Tell whether a byte is a usual filling, but for data lines that stand still in all of an image."""
    moves = int(np.bitwise_or.reduce(value) ^ np.bitwise_and.reduce(value))
    return any((byte ^ filling) & moves == 0 for filling in usual)


def _inside(image: Image) -> Iterator[Finding]:
    """Yield the finding where a half of the image is one byte that is no filling: the rest is RAM, or the bus."""
    for number, half in enumerate(np.split(image.value, 2) if len(image) >= LEAST_STRETCH * GRANULE * 2 else []):
        if _fills(image.value, int(half[0]), FILLINGS) or (half != half[0]).any():
            continue
        first = number * len(half)
        yield Finding(
            "latched-enable",
            blocks=True,
            function=image.function,
            offsets=(first, first + len(half) - 1),
            probability=0.6,
            evidence=f"half of the {len(image)} bytes are {half[0]:02X}, which is no usual filling: a specimen that "
            "keeps to one byte reads so, beside other memory",
            advice="give the enable a pulse for every byte in place of a fixed level; or declare the part or the size",
        )


def _since(image: Image) -> Iterator[Finding]:
    """Yield the finding where a ROM changes up to somewhere, and from there on keeps to one byte that fills no ROM."""
    last = image.value[-1]
    other = np.flatnonzero(image.value != last)
    if _fills(image.value, int(last), PADDINGS) or not len(other):
        return
    first, size = int(other[-1]) + 1, len(image)
    if size - first < max(LEAST_TAIL, size // 8) or first < LEAST_TAIL:
        return
    yield Finding(
        "latched-enable",
        blocks=True,
        function=image.function,
        offsets=(first, size - 1),
        probability=0.85,
        evidence=f"from {first:04X} on all of the {size} bytes are {last:02X}, which is no usual filling: a specimen "
        "that took every address until then, and keeps to the last byte, reads so",
        advice="watch the enable and the clock at the specimen with an oscilloscope while it is read: they must move "
        "for every byte, to the end; then read again from there",
    )


def _in_empty_socket(evidence: Evidence, rows: Index, values: set[int]) -> bool:
    """Tell whether the empty socket says the same there: then it is the bus, and no specimen."""
    hollow = evidence.readings.with_role("empty-socket")
    if not hollow:
        return False
    granules = evidence.stacked.granules[rows]
    control = stack(hollow, evidence.readings.address_bits, evidence.readings.excluded, granules)
    if not len(control.granules):
        return False
    said = consensus(control)
    return float(np.mean(np.isin(said.value, sorted(values)))) >= STEADY


def _stands(evidence: Evidence) -> dict[int, int]:
    """Return the values that stand over long aligned stretches of the first reading, and over how many granules.

    What a bus is pulled to may stand in short pieces, between registers.
    """
    value, sure = evidence.stacked.value[0], evidence.stacked.known[0] == 0xFF
    total = _total(_stretches(evidence.stacked.granules, value, sure))
    for filling in FILLINGS:
        pulled = np.count_nonzero((value == filling).all(axis=1) & sure.all(axis=1))
        if pulled >= SHORT:
            total[filling] = int(pulled)
    return total


def _stretches(granules: Index, value: Bytes, sure: Bools) -> list[tuple[int, int, int]]:
    """Return value, first row and end of each long stretch of one value, as far as it is aligned.

    One that goes on with the byte before it is a bus that keeps its charge.
    A granule that was hardly seen says nothing. What stands at the very beginning, before anything else was read,
    may be such a charge too, where the bus keeps it elsewhere.
    """
    usual = np.sort(value, axis=1)[:, GRANULE // 2].astype(np.int64)  # room for -1
    flat = (((value == usual[:, None]) | ~sure).mean(axis=1) >= STEADY) & (sure.mean(axis=1) >= SEEN)
    first = np.where(flat, usual, -1)
    new = np.flatnonzero(np.r_[True, (first[1:] != first[:-1]) | (np.diff(granules) != 1)])
    ends = np.r_[new[1:], len(granules)]
    result, kept = [], []
    for a, b in zip(new.tolist(), ends.tolist(), strict=True):
        begins = a + (-int(granules[a])) % LEAST_STRETCH
        if first[a] < 0 or b - begins < LEAST_STRETCH:
            continue
        known = a > 0 and granules[a] - granules[a - 1] == 1
        keeps = known and value[a - 1, -1] == first[a]
        kept.append(keeps)
        if not keeps:
            result.append((known, (int(first[a]), begins, b)))
    return [stretch for known, stretch in result if known or not any(kept)]


def _total(stretches: list[tuple[int, int, int]]) -> dict[int, int]:
    total: dict[int, int] = {}
    for held, a, b in stretches:
        total[held] = total.get(held, 0) + b - a
    return total


def _held(granules: Index, value: Bytes, sure: Bools) -> tuple[int, Index]:
    """Return the value that stands over long aligned stretches and is not what the bus says, and where; or -1."""
    stretches = _stretches(granules, value, sure)
    chosen = _specimen(_total(stretches))
    if chosen < 0:
        return -1, np.zeros(0, np.int64)
    return chosen, np.concatenate([np.arange(a, b) for held, a, b in stretches if held == chosen])


def _specimen(total: dict[int, int]) -> int:
    """Return which of the values that stand over long stretches is the specimen's, or -1.

    Of two, the commoner is the bus; where the bus follows the upper address lines, each of its values is rarer.
    """
    likely = sorted((held for held in total if held not in FILLINGS), key=lambda held: -total[held])
    if len(likely) <= 2:
        return likely[-1] if likely else -1
    return likely[0] if total[likely[0]] >= 2 * total[likely[1]] else -1
