"""Which CPU the bytes are code of, if of any: evidence for each family, then a calibrated probability for each CPU.

Evidence (`code.evidence`) is in nats. They are not probabilities here, because bytes that follow each other are not
independent. The square root tempers them; the constants of `CALIBRATION` were fitted by `training/fit_calibration.py`.
Among the CPUs of a family it is the plainest, unless instructions that only a wider one has are in it (`code.wider`).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.code.evidence import Evidence, sample_of
from romassay.code.strangers import sm83
from romassay.code.wider import gains, wides
from romassay.cpus.likeness import padding
from romassay.cpus.model import Name

LEAST = 64
"""Bytes that are not padding, below which nothing is said."""


@dataclass(frozen=True, slots=True)
class Calibration:
    """How evidence turns into probability: logit of a family = slope × √evidence, of no code = none."""

    slope: float
    none: float
    wide_slope: float
    wide_start: float


CALIBRATION = Calibration(slope=1.3, none=6.5, wide_slope=2.55, wide_start=-4.38)


def candidates(
    data: npt.NDArray[np.uint8], evidence: list[Evidence], calibration: Calibration = CALIBRATION
) -> tuple[tuple[Name | None, float], ...]:
    """Return (CPU or None, probability), likeliest first; the probabilities add up to 1."""
    if len(data) - int(padding(data).sum()) < LEAST:
        return ((None, 1.0),)
    logits = np.array([calibration.none, *(calibration.slope * math.sqrt(item.nats) for item in evidence)])
    weights = np.exp(logits - logits.max())
    weights /= weights.sum()
    found: list[tuple[Name | None, float]] = [(None, float(weights[0]))]
    for item, weight in zip(evidence, weights[1:], strict=True):
        for name, share in _within(data, item, float(weight), calibration):
            found.append((name, share))
    return tuple(sorted(_merged(found), key=lambda pair: -pair[1]))


def _merged(found: list[tuple[Name | None, float]]) -> list[tuple[Name | None, float]]:
    total: dict[Name | None, float] = {}
    for name, share in found:
        total[name] = total.get(name, 0.0) + share
    return list(total.items())


_WORTH_A_LOOK = 0.01


def _within(
    data: npt.NDArray[np.uint8], item: Evidence, weight: float, calibration: Calibration
) -> list[tuple[Name | None, float]]:
    """Share a family's probability among its CPUs: the plainest, unless instructions of a wider one are in the code.

    Code of the SM83 is none that is known here.
    """
    if weight < _WORTH_A_LOOK or not wides(item.plain):
        return [(item.plain, weight)]
    strange = sm83(sample_of(data), item.division) if item.plain == "8080" else 0.0
    known = weight * (1 - strange)
    odds = [
        (wide, math.exp(calibration.wide_start + calibration.wide_slope * math.sqrt(gain)) if gain > 0 else 0.0)
        for wide, gain in gains(data, item.plain)
    ]
    total = 1 + sum(odd for _, odd in odds)
    return [
        (None, weight * strange),
        (item.plain, known / total),
        *((wide, known * odd / total) for wide, odd in odds),
    ]
