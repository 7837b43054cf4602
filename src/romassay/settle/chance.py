"""How likely each byte is wrong, from the rate at which observations differ, and which bytes are left in doubt."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from romassay.reading import Index
from romassay.settle.model import Doubt
from romassay.settle.observed import Observed
from romassay.settle.vote import Vote

LEVEL = 0.95

SAME_ERROR = 0.25
"""Of two errors that hit the same digit, so many at most make the same wrong digit: a flipped bit of a hex digit's
character has four ways to stay a digit (from the code table of RFC 20)."""

UNTRIED = 1e-3
"""Assumed chance of a wrong digit where nothing was read twice, so that nothing could be measured; as many as there are
half-read bytes, where that is more: of the flips of a digit's character half make another digit (RFC 20)."""

DOUBT = 1e-4
"""A disputed byte is doubtful where the chance that it is wrong is larger."""

SURE_MARGIN = 5
"""Lead that a byte needs where a single bit differs: a cell that fails every other time shows its right value once in
five readings more often than a line errs in that one bit."""

MOST_UNSEEN = 1 << 18
"""Bytes never seen that are listed one by one: four times what a bus of 16 lines holds. `Image.seen` says all."""


def error_rate(vote: Vote, observed: Observed, driven: int) -> float:
    """Return the measured chance that one observation of a byte differs from what was settled."""
    spare = int(np.maximum(vote.count - 1, 0).sum())
    if not spare:
        heard = int(np.count_nonzero(observed.known))
        half = int(np.count_nonzero((observed.known != driven) & (observed.known != 0)))
        return max(UNTRIED, half / max(1, heard))
    return float((vote.against.sum() + 0.5) / (spare + 1))


def chance_wrong(vote: Vote, error: float) -> npt.NDArray[np.float64]:
    """Return for each byte the chance that it is wrong, if errors are the line's and come at this rate."""
    again = min(1.0, error * SAME_ERROR)
    wrong = np.where(vote.count > 0, error * again ** np.maximum(vote.count - 1.0, 0.0), 1.0)
    lead = again ** vote.margin.astype(np.float64)
    wrong[vote.disputed] = np.where(vote.margin > 0, lead / (1.0 + lead), 0.5)
    return wrong


def doubts(
    vote: Vote,
    observed: Observed,
    wrong: npt.NDArray[np.float64],
    open_ones: Index,
    error: float,
    driven: int,
) -> tuple[Doubt, ...]:
    """Return the bytes in doubt, with what was seen how often.

    Args:
        vote: what was counted.
        observed: what it was counted from.
        wrong: float64[size], the chance that each byte is wrong.
        open_ones: offsets that are in doubt in any case: weak cells, and what one reading has otherwise at every copy.
        error: chance that one observation of a byte is wrong.
        driven: data lines that the function drives, as a bit mask.
    """
    unseen = np.flatnonzero(vote.count == 0)[:MOST_UNSEEN]
    close = vote.single & (vote.margin < SURE_MARGIN)
    disputed = vote.disputed[(wrong[vote.disputed] > DOUBT) | close]
    again = min(1.0, error * SAME_ERROR)
    offsets = np.union1d(np.union1d(disputed, open_ones), unseen)
    agreed, times = _agreed(observed, offsets, driven)
    result = []
    for offset, value, count in zip(offsets.tolist(), agreed.tolist(), times.tolist(), strict=True):
        if value >= 0 or not count:
            result.append(Doubt(offset, ((value, count, 1.0),) if count else ()))
            continue
        full = observed.known[:, offset] == driven
        counts = np.bincount(observed.value[full, offset], minlength=256)
        values = np.argsort(-counts, kind="stable")[: np.count_nonzero(counts)]
        weights = again ** (counts[values[0]] - counts[values]).astype(np.float64)
        shares = weights / weights.sum()
        result.append(
            Doubt(
                offset,
                tuple((int(v), int(counts[v]), round(float(p), 6)) for v, p in zip(values, shares, strict=True)),
            )
        )
    return tuple(result)


def _agreed(observed: Observed, offsets: Index, driven: int) -> tuple[npt.NDArray[np.int16], Index]:
    """Return the one value seen at each offset, int16, below 0 where there were none or several, and how often it was.

    On a noisy line every byte of a single reading is in doubt, and there are many of them.
    """
    full = observed.known[:, offsets] == driven
    value = np.where(full, observed.value[:, offsets], np.int16(-1)).astype(np.int16)
    most = value.max(axis=0, initial=-1)
    agrees = ((value == most) | ~full).all(axis=0)
    return np.where(agrees, most, np.int16(-1)), full.sum(axis=0, dtype=np.int64)
