"""How many bytes make one cell of a picture in the bytes, as the lines of a character: `stride_of`.

In a character generator a bit is set more often in some lines of a cell than in others: the last is nearly always
blank. So the bits are told better by how often they are set at each place of the right stride than by how often they
are set at all. What a longer stride tells more must be worth the figures that it needs (G. Schwarz, Estimating the
dimension of a model, Annals of Statistics 6, 1978).
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from romassay.cpus.likeness import padding

USUAL = 8
"""Bytes of a cell where the bytes don't tell."""

STRIDES = (*range(3, 17), 18, 20, 22, 24, 28, 32, 48, 64)
_WIDTHS = (1, 2, 3, 4, 5, 6, 8, 10, 12, 16, 20, 24, 32, 40, 48, 64, 80, 96, 128, 256)
_HEIGHTS = (7, 8, 9, 10, 12, 14, 16, 20, 21, 24, 32)
_LINES = 6
_ALIKE, _MORE_ALIKE = 0.78, 0.85
"""Differences between lines, of those by chance and of those between neighbours, up to which bytes stand side by side.
In 150 programs of eleven CPUs the first was 0.83 and more; in drawings 0.40 to 0.73."""
_LEAST = 64
_CELLS = 6
_ENOUGH = 12.0
"""Nats by which a stride must tell the bits better."""


def wide_of(data: npt.NDArray[np.uint8]) -> int:
    """Return how many bytes stand side by side in a line of what is drawn; 1 where nothing tells.

    What is drawn goes on from line to line, so that a byte has more levels in common with the one below it than by
    chance.

    Args:
        data: uint8[n].
    """
    differ = {wide: _differing(data, wide) for wide in _WIDTHS if wide * _LINES <= len(data)}
    best = min(differ, key=lambda wide: differ[wide], default=1)
    return best if best > 1 and differ[best] <= min(_ALIKE, _MORE_ALIKE * differ[1]) else 1


def _differing(data: npt.NDArray[np.uint8], wide: int) -> float:
    """Return how many levels differ between bytes so far apart, of those that chance would give."""
    one, other = data[:-wide], data[wide:]
    told = (one != other) | ((one != 0x00) & (one != 0xFF))
    one, other = one[told], other[told]
    if len(one) < _LEAST:
        return 1.0
    ones = np.unpackbits(np.stack([one, other])[:, :, None], axis=2).mean(axis=1)
    chance = float((ones[0] * (1 - ones[1]) + ones[1] * (1 - ones[0])).sum()) * len(one)
    return float(np.bitwise_count(one ^ other).sum()) / chance if chance else 1.0


def stride_of(data: npt.NDArray[np.uint8], wide: int = 1) -> int | None:
    """Return the bytes of one cell, or None where the bytes have none.

    Args:
        data: uint8[n].
        wide: bytes side by side in a line, of which a cell has several.
    """
    half = len(data) // 2
    if half and (data[:half] == data[half : 2 * half]).all():
        return stride_of(data[:half], wide)
    written = ~padding(data) | (data == 0)
    if int(written.sum()) < _LEAST:
        return None
    last = int(np.flatnonzero(written)[-1]) + 1
    bits = np.unpackbits(data[:last, None], axis=1).astype(np.float64)
    alone = _told(bits, 1)
    price = 4.0 * np.log(len(bits))
    gains = {s: _told(bits, s) - alone - price * (s - 1) for s in _strides(wide) if s * _CELLS <= len(bits)}
    best = max(gains, key=lambda stride: gains[stride], default=None)
    return best if best is not None and gains[best] >= _ENOUGH else None


def _strides(wide: int) -> Sequence[int]:
    return STRIDES if wide == 1 else [wide * high for high in _HEIGHTS]


def _told(bits: npt.NDArray[np.float64], stride: int) -> float:
    """Return the log-likelihood of bits, each as often set as at its place of a stride."""
    whole = len(bits) // stride * stride
    places = bits[:whole].reshape(-1, stride, 8)
    share = np.clip(places.mean(0), 1e-9, 1 - 1e-9)
    each = share * np.log(share) + (1 - share) * np.log1p(-share)
    return float(each.sum() * len(places) * len(bits) / whole)
