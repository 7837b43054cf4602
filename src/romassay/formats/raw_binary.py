"""Raw binary: the bytes and nothing else.

Nothing in such a file says that it is one, nor where it belongs, so its content never chooses it: it is read where the
person names the format, or gives an address for its first byte and no other format knows the content. Anything else
that is not text is refused at the door as what it most often is: the wrong file.
"""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise

import numpy as np

from romassay.errors import BadInput, BadValue
from romassay.formats.model import ADDRESS_SPACE, Format, Hints, Parsed, Piece, WriteOptions
from romassay.formats.records.tracks import address_bits
from romassay.reading import Reading, Source


def sniff(_source: bytes) -> float:
    """Return 0: no content is raw binary by itself."""
    return 0.0


def read(source: bytes, hints: Hints) -> Parsed:
    """Read a file as one run of bytes from `hints.base`, or from 0."""
    base = hints.base or 0
    if not source:
        raise BadInput("holds no bytes", advice="check the file")
    if base + len(source) > ADDRESS_SPACE:
        raise BadInput(f"{len(source)} bytes from {base:X} on go beyond 32 address bits", advice="give a lower base")
    reading = Reading(
        runs=np.array([[base, 0, len(source), 1]], np.int64),
        value=np.frombuffer(source, np.uint8),
        known=None,
        address_bits=address_bits(base + len(source) - 1, hints),
        unit="raw",
        role=hints.role,
        source=Source(lines=(1, 1)),
    )
    return Parsed((reading,))


def write(pieces: Sequence[Piece], _options: WriteOptions) -> bytes:
    """Write the bytes; BadValue where there is a gap, as a raw file has no way to show it."""
    for before, after in pairwise(pieces):
        if before.first + len(before.data) != after.first:
            gap = before.first + len(before.data)
            raise BadValue(
                f"nothing is known from {gap:04X} to {after.first - 1:04X}", advice="give --fill or a --range"
            )
    return b"".join(piece.data for piece in pieces)


FORMAT = Format(
    name="raw-binary",
    title="raw binary",
    standard="none: the bytes and nothing else",
    suffixes=(".bin", ".rom", ".img"),
    sniff=sniff,
    read=read,
    write=write,
)
