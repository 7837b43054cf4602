"""All observations of one function: every copy in every reading, but for what something else said there."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index, Reading
from romassay.survey.model import Function
from romassay.survey.stack import GRANULE, Bools, Stack

FEW = 3
"""Observations needed before one of them is left out."""

OVERLAID = 0.5
"""Where so many bytes of a copy's granule differ, something else answered there and the granule is left out, but never
more than half of a copy."""


@dataclass(frozen=True, slots=True, eq=False)
class Observed:
    """All observations of a function.

    Attributes:
        value: uint8[n, size], one row for each copy in each reading.
        known: uint8[n, size], the bits that were seen.
        reading: int64[n], which reading a row is of.
        seat: int64[n], which copy it is of.
        names: the readings that saw any of it.
    """

    value: Bytes
    known: Bytes
    reading: Index
    seat: Index
    names: tuple[Reading, ...]


def observe(stacked: Stack, chosen: tuple[Reading, ...], function: Function) -> Observed:
    """Gather the bytes of every copy in every reading; granules in which something else answered are left out."""
    wide = max(1, function.size // GRANULE)
    seats = [copy.first // GRANULE for copy in function.copies if not copy.contended]
    numbers = (np.array(seats, np.int64)[:, None] + np.arange(wide)).ravel()
    at = stacked.positions(numbers)
    at = np.where(_covered(function, numbers), -1, at)
    shape = (len(seats), wide * GRANULE)
    values, knowns = [], []
    for row in range(len(chosen)):
        value = stacked.value[row, np.maximum(at, 0)].reshape(shape)
        known = np.where((at >= 0)[:, None], stacked.known[row, np.maximum(at, 0)], 0).astype(np.uint8).reshape(shape)
        values.append(value & np.uint8(function.driven))
        knowns.append(known & np.uint8(function.driven))
    value, known = np.concatenate(values), np.concatenate(knowns)
    used = np.flatnonzero(known.any(axis=1))
    value, known = value[used], known[used]
    reading, seat = used // max(1, len(seats)), used % max(1, len(seats))
    names = tuple(chosen[i] for i in np.unique(reading))
    return Observed(value, _without_overlaid(value, known, seat), reading, seat, names)


def _covered(function: Function, granules: Index) -> Bools:
    """Return the granules in which the host's memory answers instead of a copy, bool[n]."""
    hidden = np.zeros(len(granules), np.bool_)
    for item in (item for copy in function.copies for item in copy.covered):
        hidden |= (granules >= item.first // GRANULE) & (granules <= item.last // GRANULE)
    return hidden


def _without_overlaid(value: Bytes, known: Bytes, seat: Index) -> Bytes:
    """Return what is known but for the granules of a copy in which most bytes are not what most observations say.

    One copy against one tells nothing, however often each was read; `seat` tells which copy each row is of.
    """
    if len(value) < FEW:
        return known
    first, _ = first_known(value, known)
    if not ((value ^ first) & known).any():
        return known
    usual = _usual(value, known)
    differs = (((value ^ usual) & known) != 0).reshape(len(value), -1, GRANULE).sum(axis=2)
    amount = (known != 0).reshape(len(value), -1, GRANULE).sum(axis=2)
    overlaid = (differs >= GRANULE // 4) & (differs > OVERLAID * amount)
    overlaid &= ~overlaid.all(axis=0) & (2 * np.count_nonzero(overlaid, axis=1) <= overlaid.shape[1])[:, None]
    overlaid &= ~_as_many(overlaid, amount > 0, seat)
    if not overlaid.any():
        return known
    return np.where(np.repeat(overlaid, GRANULE, axis=1), 0, known).astype(np.uint8)


def _as_many(overlaid: Bools, heard: Bools, seat: Index) -> Bools:
    """Return the granules, bool[g], in which as many copies always differ as never do."""
    always, never = np.zeros(overlaid.shape[1], np.int64), np.zeros(overlaid.shape[1], np.int64)
    for one in np.unique(seat):
        mine, told = overlaid[seat == one], heard[seat == one]
        always += told.any(axis=0) & (mine | ~told).all(axis=0)
        never += told.any(axis=0) & ~mine.any(axis=0)
    as_many: Bools = (always > 0) & (always >= never)
    return as_many


def _usual(value: Bytes, known: Bytes) -> Bytes:
    """Return each bit as most observations have it, uint8[size]."""
    usual = np.zeros(value.shape[1], np.uint8)
    for bit in range(8):
        has = known >> bit & 1
        ones = np.count_nonzero((value >> bit & 1) & has, axis=0)
        usual |= ((2 * ones > np.count_nonzero(has, axis=0)).astype(np.uint8) << bit).astype(np.uint8)
    return usual


def first_known(value: Bytes, known: Bytes) -> tuple[Bytes, Bytes]:
    """Return each bit as first observed, uint8[size], and the bits that were observed at all."""
    first = value[0] & known[0]
    union = known[0].copy()
    for row, bits in zip(value[1:], known[1:], strict=True):
        first |= row & bits & ~union
        union |= bits
    return first, union


def readings_each(observed: Observed, driven: int) -> npt.NDArray[np.int32]:
    """Return how many readings saw each byte in any copy, int32[size]."""
    total = np.zeros(observed.value.shape[1], np.int32)
    for row in np.unique(observed.reading):
        total += (observed.known[observed.reading == row] == driven).any(axis=0)
    return total


def undriven(stacked: Stack, function: Function) -> Bytes | int:
    """Return what the data lines said that the function does not drive, where they always said the same; else 0."""
    if function.driven == 0xFF:
        return 0
    numbers = (
        np.array([c.first // GRANULE for c in function.copies])[:, None] + np.arange(function.size // GRANULE)
    ).ravel()
    at = stacked.positions(numbers)
    shape = (-1, function.size)
    seen = stacked.known[:, np.maximum(at, 0)] * (at >= 0).astype(np.uint8)[:, None]
    high = (stacked.value[:, np.maximum(at, 0)] & seen).reshape(shape)
    low = (~stacked.value[:, np.maximum(at, 0)] & seen).reshape(shape)
    ones, zeros = np.bitwise_or.reduce(high, axis=0), np.bitwise_or.reduce(low, axis=0)
    steady: Bytes = ones & ~zeros & np.uint8(0xFF & ~function.driven)
    return steady
