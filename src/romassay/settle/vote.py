"""The vote over all observations of a function, digit by digit.

An error of the line hits a printed digit, so observations are compared digit by digit: half a byte in a hex dump, the
whole byte elsewhere.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index
from romassay.settle.observed import Observed, first_known
from romassay.survey.stack import GRANULE, Bools


@dataclass(frozen=True, slots=True, eq=False)
class Vote:
    """What the observations say of each byte.

    Attributes:
        value: uint8[size].
        seen: uint8[size], bits that were observed.
        count: int32[size], observations of all driven bits.
        disputed: int64[d], offsets on which observations differ.
        margin: int64[d], by how many observations the winning digit leads, the closer of a byte's digits.
        against: int64[d], observations that differ from the settled value.
        single: bool[d], True where all that differ do so in one and the same bit.
        often: int64[d], observations that differ in the one bit that is alone in doing so most often.
    """

    value: Bytes
    seen: Bytes
    count: npt.NDArray[np.int32]
    disputed: Index
    margin: Index
    against: Index
    single: Bools
    often: Index


def count(observed: Observed, driven: int, digits: tuple[int, ...]) -> Vote:
    """Count the observations of each byte, and let the commonest value of each digit win.

    Args:
        observed: the observations.
        driven: data lines that the function drives, as a bit mask.
        digits: the bits of a byte that an error hits together, one mask a digit.
    """
    value, known = observed.value, observed.known
    size = value.shape[1]
    if not len(value):
        none = np.zeros(0, np.int64)
        zero = np.zeros(size, np.uint8)
        return Vote(zero, zero, np.zeros(size, np.int32), none, none, none, none.astype(np.bool_), none)
    settled, union = first_known(value, known)
    disputed = np.zeros(size, np.uint8)
    count = np.zeros(size, np.int32)
    for row, bits in zip(value, known, strict=True):
        disputed |= (row ^ settled) & bits
        count += bits == driven
    at = np.flatnonzero(disputed)
    values, knowns = value[:, at], known[:, at]
    trusted = _intact(known, at, driven)
    margin = np.full(len(at), len(value), np.int64)
    for mask in digits:
        digit = (values & np.uint8(mask)).astype(np.uint8)
        winner, lead = _winner(digit, (knowns & mask) == (driven & mask), trusted, driven & mask)
        settled[at] = (settled[at] & ~np.uint8(mask)) | winner
        margin = np.minimum(margin, lead)
    differing = (values ^ settled[at]) & knowns
    spread = np.bitwise_or.reduce(differing, axis=0) if len(differing) else np.zeros(len(at), np.uint8)
    return Vote(
        settled,
        union,
        count,
        at,
        margin,
        np.count_nonzero(differing, axis=0),
        np.bitwise_count(spread) == 1,
        np.max([np.count_nonzero(differing == 1 << bit, axis=0) for bit in range(8)], axis=0),
    )


def _intact(known: Bytes, at: Index, driven: int) -> Bools:
    """Tell which observations lie in sixteen bytes of which none was lost, bool[n, d]: broken lines err more."""
    groups, where = np.unique(at // GRANULE, return_inverse=True)
    wide = np.minimum(groups[:, None] * GRANULE + np.arange(GRANULE), max(0, known.shape[1] - 1))
    whole: Bools = (known[:, wide] == driven).all(axis=2)
    return whole[:, where]


def _winner(digit: Bytes, known: Bools, trusted: Bools, mask: int) -> tuple[Bytes, Index]:
    """Return the commonest value of a digit in each column, uint8[d], and its lead over the next, int64[d].

    Of values that are as common, the one wins that more of the trusted observations have.
    """
    best = np.zeros(digit.shape[1], np.uint8)
    first = np.full(digit.shape[1], -1, np.int64)
    second = np.zeros(digit.shape[1], np.int64)
    borne = np.full(digit.shape[1], -1, np.int64)
    for value in np.unique(digit[known]) if mask else ():
        has = known & (digit == value)
        count, sound = np.count_nonzero(has, axis=0), np.count_nonzero(has & trusted, axis=0)
        wins = (count > first) | ((count == first) & (sound > borne))
        second = np.where(wins, np.maximum(first, 0), np.maximum(second, count))
        best = np.where(wins, value, best).astype(np.uint8)
        first, borne = np.where(wins, count, first), np.where(wins, sound, borne)
    return best, np.maximum(first, 0) - second
