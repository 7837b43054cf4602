"""Pictures of few colours as PNG: ISO/IEC 15948 (W3C Recommendation, second edition), indexed colour, zlib only."""

from __future__ import annotations

import struct
import zlib
from collections.abc import Sequence

_SIGNATURE = b"\x89PNG\r\n\x1a\n"
_INDEXED = 3


def png(rows: Sequence[bytes], palette: Sequence[tuple[int, int, int]]) -> bytes:
    """Return a PNG file.

    Args:
        rows: from the top, one byte a pixel: the number of its colour. All rows are of one length.
        palette: red, green, blue of each colour, 0 to 255.
    """
    width = len(rows[0]) if rows else 0
    header = struct.pack(">IIBBBBB", width, len(rows), 8, _INDEXED, 0, 0, 0)
    colours = b"".join(bytes(colour) for colour in palette)
    content = zlib.compress(b"".join(b"\0" + row for row in rows), 9)
    return b"".join(
        (_SIGNATURE, _chunk(b"IHDR", header), _chunk(b"PLTE", colours), _chunk(b"IDAT", content), _chunk(b"IEND", b""))
    )


def _chunk(kind: bytes, data: bytes) -> bytes:
    return struct.pack(">I", len(data)) + kind + data + struct.pack(">I", zlib.crc32(kind + data))
