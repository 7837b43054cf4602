"""How far every reading agrees with the image at every copy: the table that a sceptic asks for. Values only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from romassay.chain import Assay
from romassay.reading import Bytes, Index, Reading
from romassay.settle.model import Image

MAX_COPIES = 64
"""More copies than this are shown by the first of them."""


@dataclass(frozen=True, slots=True, eq=False)
class Agreement:
    """Readings down, copies across.

    Attributes:
        readings: the specimen's readings, R of them.
        copies: first address of each copy, C of them, lowest first.
        left_out: copies beyond `MAX_COPIES`.
        seen: int64[R, C], observations of the image's bytes there.
        differing: int64[R, C], those that differ from the image in a data line that the function drives.
    """

    readings: tuple[Reading, ...]
    copies: tuple[int, ...]
    left_out: int
    seen: Index
    differing: Index


def agreement(assay: Assay, image: Image) -> Agreement:
    """Compare each reading with the image at each copy; a byte that was never settled is left out."""
    function = assay.survey.functions[image.function]
    copies = tuple(sorted(copy.first for copy in function.copies))
    shown = copies[:MAX_COPIES]
    readings = assay.readings.with_role("specimen")
    seen = np.zeros((len(readings), len(shown)), np.int64)
    differing = np.zeros_like(seen)
    for row, reading in enumerate(readings):
        address = reading.addresses()
        order = np.argsort(address, kind="stable")
        inside = _Sorted(address[order], reading.value[order], reading.known_bits()[order])
        for column, first in enumerate(shown):
            seen[row, column], differing[row, column] = inside.against(image, first, function.driven)
    return Agreement(readings, shown, len(copies) - len(shown), seen, differing)


@dataclass(frozen=True, slots=True, eq=False)
class _Sorted:
    """A reading's observations by address."""

    address: Index
    value: Bytes
    known: Bytes

    def against(self, image: Image, first: int, driven: int) -> tuple[int, int]:
        """Return how many bytes of a copy were seen, and how many of them differ from the image."""
        low, high = np.searchsorted(self.address, [first, first + len(image)])
        offset = self.address[low:high] - first
        bits = self.known[low:high] & image.seen[offset] & np.uint8(driven)
        wrong = (self.value[low:high] ^ image.value[offset]) & bits
        return int(np.count_nonzero(bits)), int(np.count_nonzero(wrong))
