"""Chance without a memory: every draw is a pure function of its keys, so a byte does not depend on what else was read.

The mixing function is the finaliser of SplitMix64 (Steele, Lea and Flood, "Fast splittable pseudorandom number
generators", OOPSLA 2014, figure 14, variant 13 of Stafford's mixers).
"""

from __future__ import annotations

import zlib

import numpy as np
import numpy.typing as npt

Draws = npt.NDArray[np.uint64]
Key = int | str | npt.NDArray[np.int64]

_GOLDEN = np.uint64(0x9E3779B97F4A7C15)
_MIX_1 = np.uint64(0xBF58476D1CE4E5B9)
_MIX_2 = np.uint64(0x94D049BB133111EB)


def _mixed(state: Draws) -> Draws:
    state = (state ^ (state >> np.uint64(30))) * _MIX_1
    state = (state ^ (state >> np.uint64(27))) * _MIX_2
    return state ^ (state >> np.uint64(31))


def _as_array(key: Key) -> Draws:
    if isinstance(key, str):
        key = zlib.crc32(key.encode())
    if isinstance(key, int):
        return np.array([key & 0xFFFF_FFFF_FFFF_FFFF], np.uint64)
    return np.atleast_1d(key).astype(np.uint64)


def draw(*keys: Key) -> Draws:
    """Return 64 random bits for each element of the keys, broadcast against each other."""
    state = np.zeros(1, np.uint64)
    for key in keys:
        state = _mixed((state ^ _as_array(key)) + _GOLDEN)
    return state


def share(*keys: Key) -> npt.NDArray[np.float64]:
    """Return a number from 0 up to 1 for each element of the keys."""
    return (draw(*keys) >> np.uint64(11)).astype(np.float64) * 2.0**-53


def octets(*keys: Key) -> npt.NDArray[np.uint8]:
    """Return a random byte for each element of the keys."""
    return (draw(*keys) >> np.uint64(56)).astype(np.uint8)


def bits(probability: float, *keys: Key) -> npt.NDArray[np.uint8]:
    """Return a byte for each element of the keys, each of its bits 1 with the given probability."""
    result = np.zeros(1, np.uint8)
    for line in range(8):
        result = result | ((share(*keys, line) < probability).astype(np.uint8) << np.uint8(line))
    return result
