"""How many bytes make one cell of a picture in the bytes, as the lines of a character: `stride_of`.

In a character generator a bit is set more often in some lines of a cell than in others: the last is nearly always
blank. So the bits are told better by how often they are set at each place of the right stride than by how often they
are set at all. What a longer stride tells more must be worth the figures that it needs (G. Schwarz, Estimating the
dimension of a model, Annals of Statistics 6, 1978).
"""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from romassay.cpus.likeness import padding

USUAL = 8
"""Bytes of a cell where the bytes don't tell."""

STRIDES = (*range(3, 17), 18, 20, 22, 24, 28, 32, 48, 64)
_LEAST = 64
_CELLS = 6
_ENOUGH = 12.0
"""Nats by which a stride must tell the bits better."""


def stride_of(data: npt.NDArray[np.uint8]) -> int | None:
    """Return the bytes of one cell, or None where the bytes have none.

    Args:
        data: uint8[n].
    """
    half = len(data) // 2
    if half and (data[:half] == data[half : 2 * half]).all():
        return stride_of(data[:half])
    written = ~padding(data) | (data == 0)
    if int(written.sum()) < _LEAST:
        return None
    last = int(np.flatnonzero(written)[-1]) + 1
    bits = np.unpackbits(data[:last, None], axis=1).astype(np.float64)
    alone = _told(bits, 1)
    price = 4.0 * np.log(len(bits))
    gains = {s: _told(bits, s) - alone - price * (s - 1) for s in STRIDES if s * _CELLS <= len(bits)}
    best = max(gains, key=lambda stride: gains[stride], default=None)
    return best if best is not None and gains[best] >= _ENOUGH else None


def _told(bits: npt.NDArray[np.float64], stride: int) -> float:
    """Return the log-likelihood of bits, each as often set as at its place of a stride."""
    whole = len(bits) // stride * stride
    places = bits[:whole].reshape(-1, stride, 8)
    share = np.clip(places.mean(0), 1e-9, 1 - 1e-9)
    each = share * np.log(share) + (1 - share) * np.log1p(-share)
    return float(each.sum() * len(places) * len(bits) / whole)
