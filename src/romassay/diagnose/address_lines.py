"""Faults of the address lines that show in the image: it repeats inside itself, across one line or across two."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
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

TWICE = 2
"""Observations that agree, from which a byte is no line noise; and such bytes that differ, from which a line counts."""

SETTLED = 0.999
"""How sure such a byte must be."""

LEAST_PAIRS = 24
"""Pairs of bytes that can tell: not both the filling, and seen whole. Of a ROM that has hardly as many, half of its
pairs, if they are all alike."""

LEAST_VALUES = 8
"""Different values among them."""

FEWEST_SAME, VARIOUS = 4, 3
"""Bytes that are no filling, and different values among them, that three blocks of filling seldom have in common."""

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

BESIDE = 0.5
"""Probability of a dead line where what stands beside a small ROM may be the rest of it. Common practice, no source."""

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
    block = _block(value, whole, agreed(image))
    dead = block.dead()
    mirror = evidence.size == function.size or (evidence.size is None and len(evidence.chosen) == 1)
    if dead and not (mirror and dead == [function.size.bit_length() - 2]):
        yield _dead(function.size, dead, image.function)
    for one, other, low in block.bridges(dead):
        yield _bridged(one, other, image.function, low=low)


def dead_lines(value: Bytes, whole: Bools) -> list[int]:
    """Return the address lines that make no difference in bytes, uint8[2**n]; `whole` tells which were seen."""
    return _block(value, whole).dead()


def agreed(image: Image) -> Bools:
    """Return which bytes of an image two observations agree on, and nothing is against: no line noise, bool[n].

    Where two of these differ across a line, that line makes a difference.
    """
    sure: Bools = (image.observations >= TWICE) & (image.posterior >= SETTLED)
    sure[[doubt.offset for doubt in image.doubtful]] = False
    sure[[*image.flipped, *image.link_errors]] = False
    return sure


@dataclass(frozen=True, slots=True, eq=False)
class Block:
    """Bytes that an address line may not move.

    Attributes:
        value: uint8[2**n].
        whole: bool[2**n], which were seen whole.
        sure: bool[2**n], which are no line noise; None where that is not known.
        blank: what fills it, or None.
    """

    value: Bytes
    whole: Bools
    sure: Bools | None
    blank: int | None

    @property
    def lines(self) -> range:
        """Its address lines."""
        return range(len(self.value).bit_length() - 1)

    def dead(self) -> list[int]:
        """Return the lines that make no difference."""
        return [line for line in self.lines if self.alike(*_pairs(len(self.value), line))]

    def inner(self) -> list[int]:
        """Return the same but for the top line, which may be a mirror's."""
        return [line for line in self.dead() if line < len(self.lines) - 1]

    def bridges(self, dead: Sequence[int]) -> Iterator[tuple[int, int, bool]]:
        """Yield the pairs of the other lines that act as one, with whether the low level wins."""
        for one, other in combinations([line for line in self.lines if line not in dead], 2):
            low, first, second, high = _corners(len(self.value), one, other)
            if self.alike(first, second):
                low_wins = self.alike(low, first)
                if low_wins or self.alike(high, first):
                    yield one, other, low_wins
            elif self.repeated(first, second):
                low_wins = self.repeated(low, first)
                if low_wins or self.repeated(high, first):
                    yield one, other, low_wins

    def alike(self, here: Index, there: Index) -> bool:
        """Tell whether the bytes at two places are the same but for line noise, over enough that can tell."""
        both = self.whole[here] & self.whole[there]
        one, other = self.value[here][both], self.value[there][both]
        if self.sure is not None:
            sure = self.sure[here][both] & self.sure[there][both]
            if np.count_nonzero((one != other) & sure) >= TWICE:
                return False
        tells = (one != other) | ((one != self.blank) if self.blank is not None else np.ones(len(one), np.bool_))
        one, other = one[tells], other[tells]
        least = LEAST_PAIRS if (one != other).any() else min(LEAST_PAIRS, len(self.value) // 4)
        if len(one) < least or len(np.unique(one)) < LEAST_VALUES:
            return False
        return float(np.mean(one == other)) >= SAME

    def repeated(self, here: Index, there: Index) -> bool:
        """Tell whether a few bytes between nothing but filling, as vectors are, stand at both of two places."""
        one, other = self.value[here], self.value[there]
        few = one[one != self.blank]
        return bool((one == other).all()) and FEWEST_SAME <= len(few) < LEAST_PAIRS and len(np.unique(few)) >= VARIOUS


def _block(value: Bytes, whole: Bools, sure: Bools | None = None) -> Block:
    return Block(value, whole, sure, filler(value))


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


def _corners(size: int, one: int, other: int) -> tuple[Index, ...]:
    """Return the offsets with both lines low, the first high, the second high, both high."""
    base = _settings(size, one, other)
    return base, base | 1 << one, base | 1 << other, base | 1 << one | 1 << other


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
    together again here. Across a block larger than the smallest that holds them a mirror's line makes no difference
    either, so that only bridges are looked for there: of four settings a mirror never makes three alike.
    """
    together = put_together(evidence)
    if together is None:
        return
    block, smallest = together
    size = evidence.found.functions[evidence.images[0].function].size
    inner = block.inner() if smallest else []
    if inner:
        yield _dead(len(block.value), inner, None, 0.85 if size <= SMALL else 0.5)
    for one, other, low in block.bridges(block.dead()):
        yield _bridged(one, other, None, low=low)


def put_together(evidence: Evidence) -> tuple[Block, bool] | None:
    """Return the block that has a copy of each ROM found, where faulty lines made these of one; else None.

    With it comes whether it is the smallest that has.
    """
    roms = [evidence.found.functions[image.function] for image in evidence.images]
    if evidence.size or len(roms) < 2:
        return None
    smallest = True
    for level in range(roms[0].size.bit_length(), LARGEST + 1):
        common = set.intersection(*({copy.first >> level for copy in rom.copies} for rom in roms[:SEVERAL]))
        if common and all(rom.size <= 1 << level for rom in roms):
            blocks = np.array([min(common)])
            whole = contents(evidence.stacked, evidence.said.sure, level, blocks)[0]
            if np.count_nonzero(whole) < len(whole):
                return None
            seen = _block(contents(evidence.stacked, evidence.said.value, level, blocks)[0], whole)
            if (seen.inner() and smallest) or any(seen.bridges(seen.dead())):
                return seen, smallest
            smallest = False
    return None


def beside_pieces(evidence: Evidence) -> Iterator[Finding]:
    """Return the doubt where a small ROM may be the fuller half of a larger one with a dead line.

    The line above it does not count, but a line above that one does, and on the other side of it stands something that
    the first line does not move either: a mask ROM has its own lines at the bottom, and its selects above them.
    """
    roms = [evidence.found.functions[image.function] for image in evidence.images]
    if evidence.size or not roms or roms[0].size > SMALL or roms[0].copies[0].contended:
        return
    dead = roms[0].size.bit_length() - 1
    counts = [line for line in range(dead, LARGEST) if roms[0].level(line) in ("0", "1")]
    if not counts or counts[0] == dead or roms[0].level(dead) != "any":
        return
    level, beside = counts[0] + 1, roms[0].copies[0].first ^ 1 << counts[0]
    block = np.array([beside >> level])
    value = contents(evidence.stacked, evidence.said.value, level, block)[0]
    whole = contents(evidence.stacked, evidence.said.sure, level, block)[0]
    there = (beside >> counts[0]) << counts[0]
    answers = any(there <= copy.first < there + (1 << counts[0]) for f in evidence.found.functions for copy in f.copies)
    if answers and np.count_nonzero(whole) == len(whole) and dead in dead_lines(value, whole):
        yield _dead(1 << level, [dead], None, BESIDE)


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
