"""An image as it was read, and how well it reads in one order of its lines or another.

Neighbouring bytes are weighed as pairs; what fills an image counts by how it stands together, for every order of the
data lines leaves 00 and FF as they are.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import lru_cache
from math import log

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, adjacent_weights
from romassay.cpus.model import Name
from romassay.diagnose.halved import Halved
from romassay.diagnose.hidden import Hidden, filled_in, hidden_pairs
from romassay.diagnose.order import Order, put_right, straight
from romassay.diagnose.reads import Sense, filler, likely_cpus, sense
from romassay.reading import Bytes

STAYS = 0.97
"""Chance that filling follows filling in its right order."""

PADDED = 6
"""It is padding where it is more than one byte in so many."""


@dataclass(frozen=True, slots=True, eq=False)
class Shown:
    """Bytes as they were read, and of what.

    Attributes:
        value: uint8[2**n].
        seen: uint8[2**n], the bits that were seen and that somebody drives.
        function: which function of the survey they are of, or None for what it took for several.
    """

    value: Bytes
    seen: Bytes
    function: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Read:
    """An image as it was read.

    Attributes:
        value: its bytes.
        hidden: what a faulty data line hides of them, or None.
        halved: the address lines that leave half of them, or None.
    """

    value: Bytes
    hidden: Hidden | None = None
    halved: Halved | None = None

    @property
    def lines(self) -> int:
        """How many address lines it has."""
        return len(self.value).bit_length() - 1

    @property
    def left(self) -> Bytes:
        """The bytes that say something: half of them, where that is all that is left."""
        return self.value if self.halved is None else self.halved.left(self.value, straight(self.lines).address)

    def behind(self, order: Order) -> Hidden | None:
        """Return what is hidden of the specimen's own lines."""
        return self.hidden.behind(order.data, inverted=order.inverted) if self.hidden else None

    def adjacent(self, order: Order, name: Name) -> float:
        """Return how well neighbouring bytes follow each other in an order, in nats."""
        right = put_right(self.value, order)
        wide = (right if self.halved is None else self.halved.left(right, order.address)).astype(np.int32)
        pairs = following(name, padding_of(self.value ^ np.uint8(0xFF * order.inverted)), self.behind(order))
        return float(pairs[wide[:-1] << 8 | wide[1:]].sum()) / SCALE

    def sense(self, order: Order, name: Name) -> Sense:
        """Return how well the bytes read as code in an order, the filling counted for standing together."""
        right, hidden = put_right(self.value, order), self.behind(order)
        if self.halved is None:
            read = sense(_shown(right, hidden, name), name)
            return replace(read, score=read.score + in_runs(right))
        left = self.halved.left(right, order.address)
        shown = _shown(left, hidden, name)
        reads = [sense(shown, name, place, len(right)) for place in self.halved.places(len(right), order.address)]
        read = max(reads, key=lambda one: one.score)
        return replace(read, score=read.score + in_runs(left))

    def as_it_is(self) -> Sense:
        """Return how well the bytes read as code with every line in place."""
        same = straight(self.lines)
        names = likely_cpus(self.left, 3)
        if self.hidden is not None:  # what is hidden makes bytes of one CPU look like another's
            names = tuple(sorted(NAMES, key=lambda name: -self.adjacent(same, name))[:4])
        return max((self.sense(same, name) for name in names), key=lambda read: read.score)


def _shown(value: Bytes, hidden: Hidden | None, name: Name) -> Bytes:
    """Return bytes with what is hidden of them filled in; padding stays what it is."""
    if hidden is None:
        return value
    padding = padding_of(value)
    filled = filled_in(value, hidden, name)
    return filled if padding is None else np.where(value == padding.byte, value, filled)


@dataclass(frozen=True, slots=True)
class Padding:
    """The filling of an image that is padded with it, and how many sixteenths of the image it is."""

    byte: int
    share: int

    def weights(self) -> tuple[float, float, float]:
        """Return the nats, against any order, for filling behind filling, for its beginning and for its end."""
        part = self.share / 16
        return log(STAYS / part), log((1 - STAYS) / part), log((1 - STAYS) / (1 - part))


def padding_of(value: Bytes) -> Padding | None:
    """Return the filling of an image that is padded with it: in a wrong order it stands beside anything."""
    blank = filler(value)
    count = np.count_nonzero(value == blank) if blank is not None else 0
    if blank is None or count * PADDED < len(value):
        return None
    return Padding(blank, min(15, max(1, round(16 * count / len(value)))))


def in_runs(value: Bytes) -> float:
    """Return how much the filling stands together, in nats against any order; 0 where there is little of it."""
    padding = padding_of(value)
    if padding is None:
        return 0.0
    filled = value == padding.byte
    inside, begins, ends = padding.weights()
    both = np.count_nonzero(filled[1:] & filled[:-1])
    return float(
        both * inside
        + np.count_nonzero(filled[1:] & ~filled[:-1]) * begins
        + np.count_nonzero(~filled[1:] & filled[:-1]) * ends
    )


@lru_cache(maxsize=256)
def following(name: Name, padding: Padding | None = None, hidden: Hidden | None = None) -> npt.NDArray[np.int32]:
    """Return what a byte behind another scores, int32[65536]; two of the same say nothing, but padding is in one."""
    weights = hidden_pairs(name, hidden).copy() if hidden else adjacent_weights(name).astype(np.int32)
    np.fill_diagonal(weights, 0)
    if padding is not None:
        inside, begins, ends = (round(SCALE * nats) for nats in padding.weights())
        weights[:, padding.byte] = begins
        weights[padding.byte] = ends
        weights[padding.byte, padding.byte] = inside
    return weights.ravel()
