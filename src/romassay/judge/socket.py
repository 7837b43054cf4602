"""What the empty socket says of an image: what answers without the specimen may answer with it as well."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romassay.address import Range, merge_ranges
from romassay.finding import Finding
from romassay.reading import Bytes, ReadingSet
from romassay.settle.model import Image
from romassay.survey.consensus import Consensus, consensus
from romassay.survey.cubes import contents
from romassay.survey.model import Function
from romassay.survey.stack import GRANULE, Bools, granules_seen, stack

BY_CHANCE = 16.0
"""Nats from which it is no chance that bytes are low wherever those of the empty socket are."""

HEARD = 12
"""Bytes of sixteen that the empty socket must show."""

LIKELY = 0.9
"""Probability that the host drives what reads so. Common practice, no source."""

RESTS = 0.8
"""Share of the empty socket's bytes that are one value, from which the bus rests at it. Common practice, no source."""

SHOWN = 4
"""Places that a finding names in words."""


def about_socket(readings: ReadingSet, function: Function, image: Image) -> Iterator[Finding]:
    """Doubt bytes that are low wherever the empty socket's are, in every copy: they are the host's, or fought over.

    A line is high only where all that drive it hold a one (wired AND: open-drain and NMOS outputs). Where another copy
    stands free, that one tells, and its difference to the others is told elsewhere.
    """
    hollow = readings.with_role("empty-socket")
    firsts = [copy.first for copy in function.copies if not copy.contended]
    if not hollow or not firsts or function.driven != 0xFF or len(image) < GRANULE:
        return
    driven = _driven(readings, firsts, image)
    at = np.flatnonzero(driven)
    if not len(at):
        return
    offsets = (at[:, None] * GRANULE + np.arange(GRANULE)).ravel()
    where = merge_ranges(Range(first + a, first + a + GRANULE - 1) for first in firsts for a in (at * GRANULE).tolist())
    yield Finding(
        "contention",
        blocks=True,
        function=image.function,
        where=where,
        offsets=tuple(offsets.tolist()),
        probability=LIKELY,
        evidence=f"at {', '.join(str(r) for r in where[:SHOWN])} something answers with the socket empty, and no bit "
        "is high there that is low without the specimen: the bytes are the host's, or what two drivers make together",
        advice="switch off; gate off what answers there, or exclude it with --exclude and read the specimen where it "
        "has the window to itself",
    )


def _driven(readings: ReadingSet, firsts: list[int], image: Image) -> Bools:
    """Tell of each sixteen bytes of an image whether the empty socket drives all copies of them, bool[n / 16]."""
    hollow = readings.with_role("empty-socket")
    level = len(image).bit_length() - 1
    stacked = stack(hollow, readings.address_bits, readings.excluded, granules_seen(hollow))
    said = consensus(stacked)
    blocks = np.array(firsts, np.int64) >> level
    shape = len(firsts), -1, GRANULE
    theirs: Bytes = contents(stacked, said.value, level, blocks).reshape(shape)
    sure: Bools = contents(stacked, said.sure, level, blocks).reshape(shape)
    mine = image.value.reshape(-1, GRANULE)
    low = np.bitwise_count(~mine).sum(axis=1) / (8 * GRANULE)
    zeros = (np.bitwise_count(~theirs) * sure).sum(axis=2)
    risen = (np.bitwise_count(mine & ~theirs) * sure).sum(axis=2)
    chance = -zeros * np.log(np.maximum(low, 1e-9))
    rest = _rest(said)
    low_too = (risen == 0) & (chance >= BY_CHANCE)
    if rest is not None:
        low_too |= (((theirs == mine) & (theirs != rest)) | ~sure).all(axis=2)
    every: Bools = (low_too & (sure.sum(axis=2) >= HEARD)).all(axis=0)
    return every


def _rest(said: Consensus) -> int | None:
    """Return the value that the bus of an empty socket rests at, or None where it has none."""
    counts = np.bincount(said.value[said.sure], minlength=256)
    return int(counts.argmax()) if counts.max() >= RESTS * max(1, counts.sum()) else None
