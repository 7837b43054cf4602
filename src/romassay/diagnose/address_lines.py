"""Faults of the address lines that show in the image: it repeats inside itself, across one line or across two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from itertools import combinations

import numpy as np

from romassay.diagnose.evidence import Evidence
from romassay.diagnose.reads import filler
from romassay.diagnose.usual import LARGEST, SAME
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.settle.model import Image
from romassay.survey.cubes import contents
from romassay.survey.stack import GRANULE, Bools

LEAST_PAIRS = 24
"""Pairs of bytes that can tell: not both the filling, and seen whole."""

LEAST_VALUES = 8
"""Different values among them."""

ENOUGH = 1 << 17
"""Bytes that are compared across a line; of more, so many all over the image."""

SEVERAL = 64
"""Pieces that are looked at."""

MANY = 4
"""Blocks of `CRUMB` bytes or less that are no ROMs but pieces of one."""

CRUMB = 64
"""Bytes of the largest such piece. Common practice, no source."""

SMALL = 512
"""Bytes up to which a mask ROM is rarer than a larger one in pieces. Common practice, no source."""


FEWEST = 256
"""Bytes of the smallest ROM of a declared size that is looked for where none was found."""

VARIED = 48
"""Different bytes in such a ROM; RAM and registers that repeat hold fewer."""

HIDDEN = 0.8
"""Probability of a dead line that hides a ROM."""


def address_lines(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return the address lines that make no difference, or the same difference, in one image.

    The top line alone is a mirror's where noise in the only reading hid it and no size is declared; where one is, the
    specimen may be half of it.
    """
    function = evidence.found.functions[image.function]
    whole = image.seen == function.driven
    value = image.value & np.uint8(function.driven)
    dead, bridges = _repeats(value, whole)
    mirror = evidence.size == function.size or (evidence.size is None and len(evidence.chosen) == 1)
    if dead and not (mirror and dead == [function.size.bit_length() - 2]):
        yield _dead(function.size, dead, image.function)
    for one, other, low in bridges:
        yield _bridged(one, other, image.function, low=low)


def dead_lines(value: Bytes, whole: Bools) -> list[int]:
    """Return the address lines that make no difference in bytes, uint8[2**n]; `whole` tells which were seen."""
    return _repeats(value, whole)[0]


def _repeats(value: Bytes, whole: Bools) -> tuple[list[int], list[tuple[int, int, bool]]]:
    """Return the lines that make no difference, and the pairs that act as one with whether the low level wins."""
    blank = filler(value)
    lines = range(len(value).bit_length() - 1)
    dead = [line for line in lines if _alike(value, whole, _pairs(len(value), line), blank)]
    return dead, list(_bridges(value, whole, [line for line in lines if line not in dead], blank))


def _settings(size: int, *lines: int) -> Index:
    """Return the offsets with some lines low, lowest line first; of many as many as tell, evenly spread."""
    count = size >> len(lines)
    offsets = np.arange(0, count, (count // ENOUGH) | 1)
    for line in lines:
        offsets = offsets >> line << line + 1 | offsets & (1 << line) - 1
    return offsets


def _pairs(size: int, line: int) -> tuple[Index, Index]:
    low = _settings(size, line)
    return low, low | 1 << line


def _alike(value: Bytes, whole: Bools, pairs: tuple[Index, Index], blank: int | None) -> bool:
    """Tell whether the bytes at two places are the same, over enough that can tell."""
    here, there = pairs
    both = whole[here] & whole[there]
    one, other = value[here][both], value[there][both]
    tells = (one != other) | ((one != blank) if blank is not None else np.ones(len(one), np.bool_))
    one, other = one[tells], other[tells]
    if len(one) < LEAST_PAIRS or len(np.unique(one)) < LEAST_VALUES:
        return False
    return float(np.mean(one == other)) >= SAME


def _corners(size: int, one: int, other: int) -> tuple[Index, ...]:
    """Return the offsets with both lines low, the first high, the second high, both high."""
    base = _settings(size, one, other)
    return base, base | 1 << one, base | 1 << other, base | 1 << one | 1 << other


def _bridges(value: Bytes, whole: Bools, lines: Sequence[int], blank: int | None) -> Iterator[tuple[int, int, bool]]:
    for one, other in combinations(lines, 2):
        low, first, second, high = _corners(len(value), one, other)
        if _alike(value, whole, (first, second), blank):
            low_wins = _alike(value, whole, (low, first), blank)
            if low_wins or _alike(value, whole, (high, first), blank):
                yield one, other, low_wins


def _dead(size: int, dead: Sequence[int], function: int | None, probability: float = 0.93) -> Finding:
    names = tuple(f"A{line}" for line in dead)
    verb = "makes" if len(names) == 1 else "make"
    return Finding(
        "address-line-stuck",
        blocks=True,
        function=function,
        lines=names,
        probability=probability if len(dead) == 1 else probability - 0.08,
        evidence=f"the image repeats inside itself: {', '.join(names)} {verb} no difference in {size} bytes",
        advice=f"power off, then check {', '.join(names)} at the specimen's pin: a broken wire, a bent pin, or a short "
        "to ground or supply",
    )


def _bridged(one: int, other: int, function: int | None, *, low: bool) -> Finding:
    names = (f"A{one}", f"A{other}")
    return Finding(
        "address-lines-bridged",
        blocks=True,
        function=function,
        lines=names,
        probability=0.97,
        evidence=f"the specimen sees {names[0]} and {names[1]} as one line, where the "
        f"{'low' if low else 'high'} level wins: of the four settings three read the same",
        advice=f"power off, then look for a solder bridge or a whisker between {names[0]} and {names[1]} at the socket",
    )


def pieces(evidence: Evidence) -> Iterator[Finding]:
    """Return what makes one ROM look like several small ones: a line that makes each of them repeat.

    Where no size is declared, the survey takes each stretch below a dead line for a function of its own. They are put
    together again here, in the smallest block that has a copy of each. Across a larger block a mirror's line makes no
    difference either, so that only bridges are looked for there: of four settings a mirror never makes three alike.
    """
    roms = [evidence.found.functions[image.function] for image in evidence.images]
    if evidence.size or len(roms) < 2:
        return
    smaller = False
    for level in range(roms[0].size.bit_length(), LARGEST + 1):
        common = set.intersection(*({copy.first >> level for copy in rom.copies} for rom in roms[:SEVERAL]))
        if common and all(rom.size <= 1 << level for rom in roms):
            blocks = np.array([min(common)])
            value = contents(evidence.stacked, evidence.said.value, level, blocks)[0]
            whole = contents(evidence.stacked, evidence.said.sure, level, blocks)[0]
            if np.count_nonzero(whole) < len(whole):
                return
            dead, bridges = _repeats(value, whole)
            likely = 0.85 if roms[0].size <= SMALL else 0.5
            inner = [line for line in dead if line < level - 1]
            if inner and not smaller:
                yield _dead(1 << level, inner, None, likely)
            for one, other, low in bridges:
                yield _bridged(one, other, None, low=low)
            if inner or bridges:
                return
            smaller = True


def unseen(evidence: Evidence) -> Iterator[Finding]:
    """Return the dead line that hides a ROM of a declared size: sixteen bytes that repeat pass for registers."""
    size = evidence.size
    if evidence.images or not size or size < FEWEST or size > 1 << LARGEST:
        return
    level = size.bit_length() - 1
    blocks = np.unique(evidence.stacked.granules * GRANULE >> level)
    values = contents(evidence.stacked, evidence.said.value, level, blocks)
    sure = contents(evidence.stacked, evidence.said.sure, level, blocks)
    for value, whole in zip(values, sure, strict=True):
        if np.count_nonzero(whole) >= SAME * len(whole) and len(np.unique(value)) >= VARIED:
            dead = dead_lines(value, whole)
            if len(dead) == 1:
                yield _dead(size, dead, None, HIDDEN)
                return


def crumbs(evidence: Evidence) -> Iterator[Finding]:
    """Return the doubt where many ROMs answer that are smaller than any: pieces of one with a faulty line."""
    roms = [evidence.found.functions[image.function] for image in evidence.images]
    if evidence.size or len(roms) < MANY or max(rom.size for rom in roms) > CRUMB:
        return
    line = f"A{roms[0].size.bit_length() - 1}"
    yield Finding(
        "address-line-stuck",
        blocks=True,
        lines=(line,),
        probability=0.4,
        evidence=f"{len(roms)} blocks of {roms[0].size} bytes answer apart: no ROM is so small, and {line} "
        "does not count",
        advice=f"declare the part or the size, and check {line} at the specimen's pin: open, shorted, or bridged",
    )
