"""What all readings say together, bit by bit, and how sure that is."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from romassay.reading import Bytes
from romassay.survey.stack import Bools, Stack

ENOUGH = 2
"""Readings that must agree before a byte is firm."""


@dataclass(frozen=True, slots=True, eq=False)
class Consensus:
    """What the readings of a stack say together.

    Attributes:
        value: uint8[G, 16], each bit as most readings have it.
        sure: bool[G, 16], every bit known and none tied.
        seen: uint8[G, 16], readings that saw all bits of the byte.
        against: uint8[G, 16], readings that differ from `value`.
    """

    value: Bytes
    sure: Bools
    seen: Bytes
    against: Bytes

    @property
    def firm(self) -> Bools:
        """Bytes on which at least two readings agree and none differs, bool[G, 16]."""
        agreed: Bools = self.sure & (self.seen >= ENOUGH) & (self.against == 0)
        return agreed


def consensus(stacked: Stack, driven: int = 0xFF) -> Consensus:
    """Return what the readings say together, bit by bit, over the data lines in `driven`."""
    mask = np.uint8(driven)
    planes, known = stacked.value, stacked.known
    shape = planes.shape[1:]
    if not len(planes):
        empty = np.zeros(shape, np.uint8)
        return Consensus(empty, np.zeros(shape, np.bool_), empty, empty)
    value = planes[0] & known[0]
    union = known[0].copy()
    disputed = np.zeros(shape, np.uint8)
    seen = ((known[0] & mask) == mask).astype(np.uint8)
    for plane, bits in zip(planes[1:], known[1:], strict=True):
        disputed |= (plane ^ value) & bits & union
        value |= plane & bits & ~union
        union |= bits
        seen += (bits & mask) == mask
    value &= mask
    sure = (union & mask) == mask
    against = np.zeros(shape, np.uint8)
    at = np.nonzero(disputed & mask)
    if len(at[0]):
        value[at], tied = _vote(planes[:, at[0], at[1]], known[:, at[0], at[1]], driven)
        sure[at] &= ~tied
        differing = (planes[:, at[0], at[1]] ^ value[at]) & known[:, at[0], at[1]] & mask
        against[at] = np.count_nonzero(differing, axis=0)
    return Consensus(value, sure, seen, against)


def _vote(planes: Bytes, known: Bytes, driven: int) -> tuple[Bytes, Bools]:
    """Return the majority of each bit, uint8[n], and where one was tied, bool[n], from uint8[R, n] planes."""
    value = np.zeros(planes.shape[1], np.uint8)
    tied = np.zeros(planes.shape[1], np.bool_)
    for bit in range(8):
        if not driven >> bit & 1:
            continue
        has = known >> bit & 1
        ones = np.count_nonzero((planes >> bit & 1) & has, axis=0)
        total = np.count_nonzero(has, axis=0)
        value |= ((2 * ones > total).astype(np.uint8) << bit).astype(np.uint8)
        tied |= (2 * ones == total) & (total > 0)
    return value, tied
