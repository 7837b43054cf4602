"""What faulty data lines hide of a byte: which bytes it may have been, and which it likeliest was.

A line that is stuck says nothing; of two lines that act as one, the level that loses leaves three pairs open. Scores of
code are then means over all that a byte may have been, and before bytes are read as instructions each is taken for the
one that suits its neighbours best.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, adjacent_weights, byte_weights
from romassay.cpus.model import Name
from romassay.reading import Bytes

ROUNDS = 4
"""Rounds in which every second byte, then every other, is taken for what suits its neighbours best."""


@dataclass(frozen=True, slots=True)
class Hidden:
    """Data lines that do not say what the specimen says.

    Attributes:
        lines: those that say nothing, or two that act as one, ascending.
        wins: the level that wins where two act as one; None for lines that say nothing.
    """

    lines: tuple[int, ...]
    wins: int | None = None

    def behind(self, data: Sequence[int], *, inverted: bool) -> Hidden:
        """Return the same for the specimen's own lines, `data[i]` being the one that arrives on bus line i."""
        own = tuple(sorted(data[line] for line in self.lines))
        return Hidden(own, self.wins if self.wins is None or not inverted else 1 - self.wins)

    def whole(self, value: Bytes) -> Bytes:
        """Return bytes as read with the lines that say nothing at the level of the commoner filling, 00 or FF."""
        if self.wins is not None:
            return value
        mask = np.uint8(sum(1 << line for line in self.lines))
        high = np.count_nonzero(value | mask == 0xFF) >= np.count_nonzero(value & ~mask == 0)
        set_: Bytes = value | mask if high else value & ~mask
        return set_


@cache
def may_be(hidden: Hidden) -> Bytes:
    """Return what each byte as read may have been in the specimen, all as likely, uint8[k, 256].

    Of two lines that act as one, what differs in spite of it is noise, and counts as the level that loses.
    """
    every = np.arange(256)
    mask = sum(1 << line for line in hidden.lines)
    settings = [sum((n >> i & 1) << line for i, line in enumerate(hidden.lines)) for n in range(1 << len(hidden.lines))]
    if hidden.wins is None:
        return np.array([every & ~mask | setting for setting in settings], np.uint8)
    lost = mask if hidden.wins == 0 else 0
    return np.array(
        [np.where(every & mask == lost, every, every & ~mask | setting) for setting in settings if setting != lost],
        np.uint8,
    )


def hidden_pairs(name: Name, hidden: Hidden) -> npt.NDArray[np.int32]:
    """Return what a byte as read scores behind another as code of a CPU, in table units, int32[256, 256]."""
    options = may_be(hidden)
    weights = np.exp(adjacent_weights(name).astype(np.float32) / np.float32(SCALE))
    rows = sum(weights[option] for option in options)
    mean = sum(rows[:, option] for option in options) / len(options) ** 2
    score: npt.NDArray[np.int32] = np.rint(np.log(mean) * SCALE).astype(np.int32)
    return score


def filled_in(value: Bytes, hidden: Hidden, name: Name) -> Bytes:
    """Return bytes with what is hidden taken for what suits the neighbours best, as code of a CPU."""
    options = may_be(hidden)[:, value]
    alone = byte_weights()[NAMES.index(name)].astype(np.int32)
    pairs = adjacent_weights(name).astype(np.int32)
    best: Bytes = options[alone[options].argmax(axis=0), np.arange(len(value))]
    for number in range(2 * ROUNDS):
        at = np.arange(number % 2, len(value), 2)
        before, after = best[np.maximum(at - 1, 0)], best[np.minimum(at + 1, len(value) - 1)]
        score = np.where(at > 0, pairs[before, options[:, at]], 0)
        score += np.where(at < len(value) - 1, pairs[options[:, at], after], 0)
        best[at] = options[score.argmax(axis=0), at]
    return best
