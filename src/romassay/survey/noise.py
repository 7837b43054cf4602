"""How noisy the bus and the line are where nobody answers, so that noise is not taken for a memory.

Noise flips single bits, each for itself; a memory differs from the floating bus in half of them. The rate is measured
on the bytes that differ from the bus in one bit, in granules that are nearly the bus, and, where there are several
readings, is never more than what makes them differ from each other.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index
from romassay.survey.consensus import ENOUGH, Consensus
from romassay.survey.stack import GRANULE, Bools, Stack

NEARLY = 0.15
"""Share of the bits that may differ from the bus where its noise is measured; a memory's are nearer to a half."""

DEVIATIONS = 5.0
"""Standard deviations that the bits of a granule may differ more than noise does: one granule in three million."""

CHANCE = 0.01
"""Chance, over the whole window, that noise is taken for bytes on which two readings agree."""

SPREAD = 1.5
"""By how much the noise may exceed what the readings' disagreements show: they are a sample too."""


@dataclass(frozen=True, slots=True, eq=False)
class Noise:
    """What noise does to the floating bus.

    Attributes:
        rate: chance that a bit differs from the bus.
        quiet: granules that differ from the bus by no more than that, bool[G].
        agreeing: bytes of a granule in which two readings must agree against the bus before it is no accident.
    """

    rate: float
    quiet: Bools
    agreeing: int


def measure(stacked: Stack, said: Consensus, prediction: Bytes, driven: int, least: int) -> Noise:
    """Measure the noise against a bus that is known.

    Args:
        stacked: the readings.
        said: what they say together.
        prediction: what the bus says, uint8[G, 16].
        driven: data lines to look at.
        least: bits of a granule that a single reading may differ in any case.
    """
    off, heard, bytes_heard, singles = (np.zeros(len(prediction), np.int64) for _ in range(4))
    mask = np.uint8(driven)
    for value, known in zip(stacked.value, stacked.known, strict=True):
        seen = known & mask
        bits = np.bitwise_count((value ^ prediction) & seen)
        off += bits.sum(axis=1, dtype=np.int64)
        heard += np.bitwise_count(seen).sum(axis=1, dtype=np.int64)
        bytes_heard += np.count_nonzero(seen == mask, axis=1)
        singles += np.count_nonzero(bits == 1, axis=1)
    near = (heard > 0) & (off <= NEARLY * heard)
    rate = _rate(int(singles[near].sum()), int(bytes_heard[near].sum()), driven.bit_count())
    several = len(stacked.value) > 1
    if several:
        rate = min(rate, SPREAD * _disagreement(said, near, len(stacked.value), driven.bit_count()))
    most = most_noise(rate, heard)
    most = most if several else np.maximum(most, least)
    return Noise(rate, (heard > 0) & (off <= most), _agreeing(rate, len(prediction), driven.bit_count()))


def most_noise(rate: float, bits: Index | int) -> npt.NDArray[np.float64]:
    """Return how many of so many bits noise may flip at most."""
    return np.asarray(rate * bits + DEVIATIONS * np.sqrt(rate * (1 - rate) * bits))


def _rate(singles: int, heard: int, width: int) -> float:
    """Return the chance q of a flipped bit: one of `width` bits is in `width` q (1-q)^(width - 1) of the bytes."""
    share = singles / (width * heard) if heard else 0.0
    rate = share
    for _ in range(4):
        rate = min(0.25, share / (1 - rate) ** (width - 1))
    return rate


def _disagreement(said: Consensus, near: Bools, readings: int, width: int) -> float:
    """Return the chance of a flipped bit that would make the readings differ as they do."""
    twice = said.seen[near] >= ENOUGH
    amount = int(np.count_nonzero(twice))
    if not amount:
        return 1.0
    share = np.count_nonzero(twice & ((said.against[near] > 0) | ~said.sure[near])) / amount
    return float(-math.expm1(math.log1p(-min(share, 0.99)) / (readings * width)))


def _agreeing(rate: float, granules: int, width: int) -> int:
    """Return how many bytes of one granule two readings must agree on before chance explains it in no granule."""
    expected = GRANULE * width * rate**2
    needed, chance = 1, granules * expected
    while chance > CHANCE and needed < GRANULE:
        needed += 1
        chance *= expected / needed
    return needed
