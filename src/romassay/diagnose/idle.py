"""Half of an image that says only what the bus says where nobody answers.

Where it is the half across the top line, the specimen is smaller than was declared, or that half of it is blank. Across
a lower line no ROM has that: a select of the specimen is wired where that line of its own belongs.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romassay.diagnose.evidence import Evidence, floating
from romassay.diagnose.pictures import is_picture
from romassay.diagnose.usual import FILLINGS
from romassay.finding import Finding
from romassay.part import Part
from romassay.reading import Bytes, Index, Role
from romassay.settle.model import Image
from romassay.survey.consensus import consensus
from romassay.survey.stack import GRANULE, Bools, stack

LIKE_BUS = 0.98
"""Share of a half that must say what the bus says; the rest is line noise."""

OTHERS = 0.5
"""Share of the other half that may say so too, at most."""

MOSTLY = 0.9
"""The same across the top line, where the rest may be blank for the most part: three quarters may float."""

LEAST_BYTES = 64
"""Bytes of a half from which it tells."""

TOLD_LINES = 7
"""Data lines of which it must be known what they do where nobody answers."""

PADDING = 0.5
"""Probability of a line at a select where the half may as well be blank, and the line another. Common practice, no
source."""

VECTORS = 8
"""Bytes that vectors take at the end of what is blank otherwise."""

EDGE = 8
"""Bytes at the edge of a half that tell whether it is full."""

FULL = 0.82
"""Probability of half the size where the bytes of a program break off just there."""

DOUBTED = 0.15
"""The same where they end before. Common practice, no source."""

RUNNING = 8
"""Bytes that do not read the same each time, from which a timer runs among them."""

PIECES = 3
"""One in so many pieces of a half, at most, in which something but the bus answers: RAM and registers are small."""

LIKELY = 0.8
"""Probability of another part where they do. Common practice, no source."""

ERRS = 0.08
"""Share of a control's bytes that may be spoilt besides: it is not voted on."""


def idle(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Yield the finding where one level of an own line of a ROM selects nothing but the floating bus, or both do."""
    size = len(image.value)
    first = evidence.found.functions[image.function].copies[0].first
    if any(np.mean(image.value == said) >= LIKE_BUS for said in _by_address(first, size)):
        yield _address_only(image)
        return
    if size < 2 * LEAST_BYTES:
        return
    like = _like_bus(evidence, image, first)
    top = size.bit_length() - 2
    for line in reversed(range(top + 1)):
        high = (np.arange(size) >> line & 1).astype(np.bool_)
        if np.mean(image.value[high] == image.value[~high]) >= LIKE_BUS:
            continue  # the line makes no difference: what repeats is no bus that keeps the byte before
        others = MOSTLY if line == top else OTHERS
        for level, half in ((1, high), (0, ~high)):
            if not any(np.mean(one[half]) >= LIKE_BUS and np.mean(one[~half]) < others for one in like):
                if line == top and evidence.size and _combination(image, like, half):
                    yield _other_part(image, half, evidence.part)
                    return
                continue
            driven = _driven(evidence, image, half, first)
            if driven:
                return
            if line < top:
                yield _select(image, line, level, blank=driven is None and _is_blank(image, half))
            elif evidence.size and (driven is False or not _is_blank(image, half) or _breaks_off(image, half)):
                yield _half(image, half, line, pulled=driven is False)
            elif evidence.size:
                yield _blank_half(image, half)
            return


def scattered(image: Image) -> Iterator[Finding]:
    """Yield the doubt where all is blank at one level of a line, and at no level of one above it.

    Unused bytes stand together. Characters in cells of twice their rows are so, and words that are small numbers: what
    is drawn, and every other byte 00, is left alone.
    """
    size = len(image)
    if size < 2 * LEAST_BYTES:
        return
    where, apart, lowest = np.arange(size), False, None
    for line in reversed(range(size.bit_length() - 1)):
        high = (where >> line & 1).astype(np.bool_)
        level = next((level for level, half in ((1, high), (0, ~high)) if _all_blank(image.value[half])), None)
        if level is None:
            apart = True
        elif apart:
            lowest = line, level
    if lowest is None:
        return
    line, level = lowest
    rest = image.value[(where >> line & 1) != level]
    if not (_all_blank(rest) or is_picture(rest) or (line == 0 and image.value[2 + level] == 0)):
        yield _scattered(image, line, level)


def _all_blank(value: Bytes) -> bool:
    others = np.count_nonzero(value != (0xFF if np.count_nonzero(value == 0xFF) * 2 > len(value) else 0x00))
    return bool(others <= VECTORS and others <= (1 - LIKE_BUS) * len(value))


def _combination(image: Image, like: list[Bools], half: Bools) -> bool:
    """Tell whether half of a ROM is the floating bus but for a few pieces that do not read the same each time.

    They are RAM and registers, beside a ROM of half the size.
    """
    flipped = np.zeros(len(half), np.bool_)
    flipped[[*image.flipped, *(doubt.offset for doubt in image.doubtful)]] = True
    if np.count_nonzero(flipped & half) < RUNNING or np.count_nonzero(flipped & ~half) * 4 > np.count_nonzero(flipped):
        return False
    for one in like:
        pieces = (~one[half]).reshape(-1, LEAST_BYTES).mean(axis=1) > 1 - MOSTLY
        if np.mean(one[~half]) < OTHERS and 0 < np.count_nonzero(pieces) * PIECES <= len(pieces):
            return True
    return False


def _other_part(image: Image, half: Bools, part: Part | None) -> Finding:
    at: Index = np.flatnonzero(half)
    declared = f"a {part.type}" if part else f"{len(image)} bytes"
    size = len(image) // 2
    return Finding(
        "wrong-part",
        blocks=True,
        function=image.function,
        offsets=(int(at[0]), int(at[-1])),
        probability=LIKELY,
        evidence=f"{declared} was declared, but {int(at[0]):04X}-{int(at[-1]):04X} are the floating bus with a few "
        f"pieces that change from reading to reading, as RAM and a timer beside a ROM of {size} bytes",
        advice=f"read the type number on the specimen again, and declare the part that it is, or --size {size}; until "
        "then drive no pin that may be a port of it",
    )


def _by_address(first: int, size: int) -> tuple[Bytes, Bytes]:
    """Return the low and the high byte of the addresses of an image."""
    address = first + np.arange(size)
    return (address & 0xFF).astype(np.uint8), (address >> 8 & 0xFF).astype(np.uint8)


def _address_only(image: Image) -> Finding:
    return Finding(
        "blank",
        blocks=True,
        function=image.function,
        probability=0.9,
        evidence=f"the {len(image)} bytes are one half of their own address, as a floating bus may say it",
        advice="check supply, ground and the selects; a control reading of another machine, or of another evening, may "
        "not say what this bus says by itself",
    )


def _like_bus(evidence: Evidence, image: Image, first: int) -> list[Bools]:
    """Return where an image says what the bus says, as far as that is known, and where it keeps the byte before."""
    size = len(image.value)
    address = first + np.arange(size)
    bus = floating(evidence)
    told = [bit for bit, does in enumerate(bus.lines) if does != "unknown"]
    result = []
    if bus.seen and len(told) >= TOLD_LINES:
        expected, mask = np.zeros(size, np.uint8), np.uint8(sum(1 << bit for bit in told))
        for bit in told:
            follows = bus.follows[bit]
            level = address >> follows & 1 if bus.lines[bit] == "follows" else int(bus.lines[bit] == "1")
            expected |= (np.full(size, 1) * level << bit).astype(np.uint8)
        return [(image.value & mask) == expected]
    if not bus.seen:
        common = int(np.bincount(image.value, minlength=256).argmax())
        result += [image.value == held for held in dict.fromkeys((*FILLINGS, common))]
        result += [image.value == said for said in _by_address(first, size)]
    return [*result, _kept(image.value)]


def _kept(value: Bytes) -> Bools:
    """Tell which bytes are the one before, the first left out: a bus that keeps its charge."""
    same: Bools = np.r_[False, value[1:] == value[:-1]]
    return same


def _driven(evidence: Evidence, image: Image, half: Bools, first: int) -> bool | None:
    """Tell whether a blank half is the specimen's; None where no control reading tells.

    It stays as it is where the bus is pulled the other way. An empty socket tells only where the bus moves meanwhile:
    one that stands still keeps what it last carried.
    """
    blank = int(np.bincount(image.value[half], minlength=256).argmax())
    if blank not in FILLINGS:
        return None
    away = _controlled(evidence, "pulled-down" if blank else "pulled-up", first, half)
    stays = float(np.mean(away == blank)) if len(away) else 0.5
    if not 1 - LIKE_BUS + ERRS < stays < LIKE_BUS - ERRS:
        return stays > 0.5
    hollow = _controlled(evidence, "empty-socket", first, half)
    common = np.bincount(hollow, minlength=256).max(initial=0)
    moves = len(hollow) > 0 and common < MOSTLY * len(hollow) and np.mean(hollow == blank) <= 1 - LIKE_BUS + ERRS
    return True if moves else None


def _controlled(evidence: Evidence, role: Role, first: int, half: Bools) -> Bytes:
    """Return what the controls of a role say in a half of a ROM that stands at `first`, as far as that is sure."""
    readings = evidence.readings
    granules = np.arange(first // GRANULE, (first + len(half)) // GRANULE)
    if len(granules) * GRANULE != len(half) or not readings.with_role(role):
        return np.zeros(0, np.uint8)
    said = consensus(stack(readings.with_role(role), readings.address_bits, readings.excluded, granules))
    bytes_there: Bytes = said.value.ravel()[said.sure.ravel() & half]
    return bytes_there


def _is_blank(image: Image, half: Bools) -> bool:
    return bool(np.mean(np.isin(image.value[half], FILLINGS)) >= LIKE_BUS)


def _breaks_off(image: Image, half: Bools) -> bool:
    """Tell whether the other half is full up to where the blank one begins, as a smaller ROM is; code ends anywhere."""
    other = image.value[~half]
    edge = other[:EDGE] if half[0] else other[-EDGE:]
    return bool(np.count_nonzero(~np.isin(edge, FILLINGS)) * 2 > EDGE)


def _select(image: Image, line: int, level: int, *, blank: bool) -> Finding:
    """Name the line that selects nothing; where that half is blank, it may be the rest of a ROM whose lines changed."""
    name = f"A{line}"
    return Finding(
        "address-lines-swapped",
        blocks=True,
        function=image.function,
        lines=(name,),
        probability=PADDING if blank else 0.85,
        evidence=f"where {name} is {'high' if level else 'low'}, half of the {len(image)} bytes say only what the bus "
        f"says by itself: {name} goes to a select of the specimen"
        + (", or is exchanged with the top line of a ROM that is half blank" if blank else ""),
        advice=f"check against the pin-out where {name} and the lines of the selects are wired",
    )


def _scattered(image: Image, line: int, level: int) -> Finding:
    return Finding(
        "address-lines-swapped",
        blocks=True,
        function=image.function,
        lines=(f"A{line}",),
        probability=PADDING,
        evidence=f"all bytes are blank where A{line} is {'high' if level else 'low'}, as the upper half of a ROM may "
        f"be: A{line} may be exchanged with its top line",
        advice=f"check the wires of A{line} and of the top address line against the pin-out",
    )


def _blank_half(image: Image, half: Bools) -> Finding:
    at: Index = np.flatnonzero(half)
    return Finding(
        "size-ambiguous",
        blocks=True,
        function=image.function,
        probability=DOUBTED,
        offsets=(int(at[0]), int(at[-1])),
        evidence=f"{int(at[0]):04X}-{int(at[-1]):04X} of the {len(image)} bytes are blank, and say what the bus may "
        "say where nobody answers: a ROM of half the size would read so too",
        advice="read once with the data lines pulled the other way, by 4.7 to 10 kilohms: what stays as it is, is the "
        "ROM's",
    )


def _half(image: Image, half: Bools, line: int, *, pulled: bool) -> Finding:
    at: Index = np.flatnonzero(half)
    blank = not pulled and _is_blank(image, half)
    where = f"{int(at[0]):04X}-{int(at[-1]):04X}"
    return Finding(
        "half-image",
        blocks=True,
        function=image.function,
        lines=(f"A{line}",),
        offsets=(int(at[0]), int(at[-1])),
        probability=FULL if blank else 0.85,
        evidence=f"{where} of the {len(image)} bytes say only what the bus "
        + ("is pulled to" if pulled else "says by itself")
        + ": the specimen may be half that size"
        + (", or blank there" if blank else ""),
        advice="read the type number on the specimen again; read once with pull-ups and once with pull-downs on the "
        "data lines: what follows them is not the specimen's",
    )
