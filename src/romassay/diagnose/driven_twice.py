"""A second driver at a ROM that appears once: what is read is the bytes of two memories, pulled low by each other.

Where a ROM has mirrors, the copy that is fought over differs from the others. Where it has none, only the bytes tell: a
bit is high where both memories hold a one, so that few are, and the bytes fall as pairs of code bytes ANDed do, not as
code does. A sparse table falls so too: an empty socket tells the two apart. What is drawn is left alone.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from romassay.address import Range, merge_ranges
from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, byte_weights, padding
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.pictures import is_drawn
from romassay.diagnose.reads import TEXTUAL
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.settle.model import Image
from romassay.survey.consensus import consensus
from romassay.survey.stack import GRANULE, stack

BLOCK = 64
"""Bytes that are looked at together: the least RAM of combination chips (6530: data sheet)."""

TELLING = 40
"""Bytes of a block, padding left out, from which they tell."""

CLEARLY = 0.35
"""Nats a byte by which two memories must explain a block better than the code of any CPU does."""

PRINTABLE = 0.75
"""Share of printable characters from which a block may be text."""

MOVING = 7
"""Data lines that must move in a block: small numbers leave the upper ones low."""

ALONE = 0.45
"""Nats a byte from which one block reads so by itself; else two side by side must.
Code has a block with a sparse table now and then: of 150 programs 8 % beyond `CLEARLY`, one beyond this."""

LEAST = 1e-6
"""Chance of a byte that two memories hardly ever make."""

Floats = npt.NDArray[np.float64]


def driven_twice(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Yield the doubt where a ROM that appears once, and no other, reads like two memories on one bus."""
    function = evidence.found.functions[image.function]
    known = evidence.readings.excluded or evidence.readings.with_role("empty-socket")
    if (
        known
        or len(evidence.images) > 1
        or len(function.copies) != 1
        or function.driven != 0xFF
        or len(image.value) < 2 * BLOCK
    ):
        return
    blocks = _anded(image.value)
    if not len(blocks) or is_drawn(image.value.reshape(-1, BLOCK)[blocks].ravel()):
        return
    offsets = tuple(int(i) for i in (blocks[:, None] * BLOCK + np.arange(BLOCK)).ravel())
    first = function.copies[0].first
    joined = _joined(blocks)
    where = merge_ranges(Range(first + int(b) * BLOCK, first + int(b) * BLOCK + BLOCK - 1) for b in joined)
    yield Finding(
        "contention",
        blocks=True,
        function=image.function,
        offsets=offsets,
        where=where,
        probability=0.8,
        evidence=f"at {', '.join(str(r) for r in where[:4])} few bits are high, and the bytes fall as those of two "
        "memories that pull each other low; a sparse picture or table may fall so too",
        advice="read the same window with the socket empty, and add it with --empty-socket: what still answers there "
        "is the second driver; if it is the host's own, gate it off and read again",
    )


def _joined(blocks: Index) -> Index:
    """Return blocks with those between them: in some the two memories say little of which is which."""
    if len(blocks) < SEVERAL:
        return blocks
    between = [np.arange(a, b) for a, b in pairwise(blocks.tolist()) if b - a <= BETWEEN]
    return np.unique(np.concatenate([blocks, *between]))


def _anded(value: Bytes) -> Index:
    """Return the blocks of an image that two memories explain clearly better than code, int64[n]."""
    rows = value.reshape(-1, BLOCK)
    told = ~padding(value).reshape(-1, BLOCK)
    counts = np.zeros((len(rows), 256))
    np.add.at(counts, (np.repeat(np.arange(len(rows)), BLOCK), rows.ravel()), told.ravel())
    amount = counts.sum(axis=1)
    printable = counts[:, TEXTUAL].sum(axis=1)
    two, one = _two(), _one()
    better = (counts @ two.T).max(axis=1) - (counts @ one.T).max(axis=1)
    moves = np.bitwise_count(np.bitwise_or.reduce(rows, axis=1) & ~np.bitwise_and.reduce(rows, axis=1))
    telling = (amount >= TELLING) & (printable < PRINTABLE * amount) & (moves >= MOVING)
    found: Index = np.flatnonzero(telling & (better > CLEARLY * amount))
    several = bool((np.diff(found) == 1).any())
    return found if several else np.flatnonzero(telling & (better > ALONE * amount))


@cache
def _one() -> Floats:
    """Return the logarithm of the chance of each byte in the code of each CPU, float64[CPUs, 256]."""
    chance = np.exp(byte_weights().astype(np.float64) / SCALE)
    logarithm: Floats = np.log(chance / chance.sum(axis=1, keepdims=True))
    return logarithm


@cache
def _two() -> Floats:
    """Return the same for a byte of one code ANDed with one of another, or with any byte, float64[n, 256]."""
    singles = [*np.exp(_one()), np.full(256, 1 / 256)]
    over = [_above(single) for single in singles]
    pairs = [over[a] * over[b] for a in range(len(NAMES)) for b in range(a, len(singles))]
    chances = np.maximum([_exactly(pair) for pair in pairs], LEAST)
    logarithm: Floats = np.log(chances / chances.sum(axis=1, keepdims=True))
    return logarithm


def _above(chance: Floats) -> Floats:
    """Return the chance that at least the bits of each byte are high, float64[256]."""
    cube = chance.reshape([2] * 8)
    for axis in range(8):
        low, high = np.split(cube, 2, axis)
        cube = np.concatenate([low + high, high], axis)
    return cube.ravel()


def _exactly(above: Floats) -> Floats:
    """Return the chance that just the bits of each byte are high: what `_above` does, undone."""
    cube = above.reshape([2] * 8)
    for axis in range(8):
        low, high = np.split(cube, 2, axis)
        cube = np.concatenate([low - high, high], axis)
    return cube.ravel()


BETWEEN = 16
"""Blocks from one that tells to the next, at most, for all between them to be of the same conflict: 1 KiB."""

SEVERAL = 2
"""Blocks that must read so."""

LIVELY = 12
"""Different bytes of 64 in an empty socket from which memory answers there, and the bus does not only float."""

DIFFER = 6
"""Bytes of 64 in which the socket must read otherwise with the specimen in it."""

NESTED = 0.92
"""Share of these that must be the host's with bits pulled to one side: of two memories one after the other a fifth."""


def over_host(evidence: Evidence) -> Iterator[Finding]:
    """Yield the conflict where the host's memory answers in the empty socket, and the specimen pulls its bits.

    A specimen that is silent there leaves the host's bytes as they are.
    """
    hollow = evidence.readings.with_role("empty-socket")
    if not hollow:
        return
    stacked = evidence.stacked
    control = stack(hollow, evidence.readings.address_bits, evidence.readings.excluded, stacked.granules)
    alone = consensus(control)
    if len(control.granules) != len(stacked.granules) or len(stacked.granules) < BLOCK // GRANULE:
        return
    blocks = stacked.granules // (BLOCK // GRANULE)
    starts = np.flatnonzero(np.r_[True, blocks[1:] != blocks[:-1]])
    starts = starts[starts + BLOCK // GRANULE <= len(blocks)]
    starts = starts[blocks[starts] == blocks[starts + BLOCK // GRANULE - 1]]
    rows = starts[:, None] + np.arange(BLOCK // GRANULE)
    host, both = alone.value[rows].reshape(-1, BLOCK), evidence.said.value[rows].reshape(-1, BLOCK)
    sure = (alone.sure & evidence.said.sure)[rows].reshape(-1, BLOCK)
    differ = sure & (host != both)
    low, high = differ & ((host & both) == both), differ & ((host | both) == both)
    count = differ.sum(axis=1)
    pulled = np.maximum(low.sum(axis=1), high.sum(axis=1))
    lively = np.array([len(np.unique(each)) for each in host], np.int64) >= LIVELY
    fought = lively & (count >= DIFFER) & (pulled >= NESTED * count)
    if np.count_nonzero(fought) < SEVERAL:
        return
    where = merge_ranges(Range(int(b) * BLOCK, int(b) * BLOCK + BLOCK - 1) for b in blocks[starts[fought]])
    down = low[fought].sum() >= high[fought].sum()
    places = ", ".join(str(r) for r in where[:4])
    yield Finding(
        "contention",
        blocks=True,
        where=where,
        probability=0.95,
        evidence=f"at {places} the host's own memory answers in the empty socket, and with the specimen in it "
        f"{int(count[fought].sum())} bytes have bits pulled {'low' if down else 'high'}: both drive the bus there",
        advice="switch off: two outputs against each other may harm both. Gate the host's memory off at these "
        "addresses, or wire the specimen's selects so that it is silent there, before reading again",
    )
