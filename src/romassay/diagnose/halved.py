"""Half of an image, where one of its address lines makes no difference or two act as one: what is left tells the rest.

The other half says nothing new. Where the bytes that are left stand in the specimen depends on which of its own lines
it is that the faulty one reaches, and on the level that it is held at.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from romassay.reading import Bytes, Index


@dataclass(frozen=True, slots=True)
class Halved:
    """Address lines of the bus that leave half of an image.

    Attributes:
        lines: one that makes no difference, or two that act as one.
    """

    lines: tuple[int, ...]

    def left(self, value: Bytes, address: Sequence[int]) -> Bytes:
        """Return the half that is left of bytes put in order, `address[i]` being what reaches the specimen's line i."""
        half: Bytes = value[self.places(len(value), address)[0]]
        return half

    def places(self, size: int, address: Sequence[int]) -> list[Index]:
        """Return where the bytes that are left may stand in the specimen, int64[size / 2], one for each level."""
        offset = np.arange(size)
        own = [address.index(line) for line in self.lines]
        if len(own) == 2:
            return [np.flatnonzero((offset >> own[0] ^ offset >> own[1]) & 1 == 0)]
        return [np.flatnonzero(offset >> own[0] & 1 == level) for level in (0, 1)]
