"""Text dumps: what a monitor, a debugger or a dump program printed, as a terminal kept it."""

from __future__ import annotations

import re

import numpy as np

from romassay.errors import BadInput
from romassay.formats.model import Format, Hints, Left, Parsed
from romassay.reading import Reading, Source

_LINE = re.compile(
    rb"^\W*(?:0x|\$)?([0-9A-Fa-f]{3,8})[hH]?[:\-]?\s+((?:[0-9A-Fa-f]{2}[ -]{1,2}){0,63}[0-9A-Fa-f]{2})\b"
)


def sniff(data: bytes) -> float:
    """Tell how surely this is a text dump, from the share of lines that look like one."""
    lines = [line for line in data[:65536].splitlines() if line.strip()]
    return 0.6 * sum(bool(_LINE.match(line)) for line in lines) / len(lines) if lines else 0.0


def read(data: bytes, hints: Hints) -> Parsed:
    """Read the passes in a log."""
    passes: list[list[tuple[int, bytes, int]]] = [[]]
    left = []
    for number, line in enumerate(data.splitlines(), 1):
        match = _LINE.match(line)
        if not match:
            if line.strip():
                left.append(Left(number, line.decode("latin-1")[:80], "no line of the dump", damage=False))
            continue
        first, values = int(match[1], 16), bytes.fromhex(match[2].decode().replace("-", " "))
        if passes[-1] and first == passes[-1][0][0]:
            passes.append([])
        passes[-1].append((first, values, number))
    if not passes[-1]:
        raise BadInput("this holds no dump", advice="give --layout for a text dump")
    bits = hints.address_bits or 16
    readings = tuple(_reading(rows, bits) for rows in passes)
    return Parsed(readings, tuple(left[:1000]), len(left), "")


def _reading(rows: list[tuple[int, bytes, int]], bits: int) -> Reading:
    counts = [len(values) for _, values, _ in rows]
    starts = np.cumsum([0, *counts])[:-1]
    runs = np.array([(f, s, len(v), n) for (f, v, n), s in zip(rows, starts, strict=True)], np.int64)
    value = np.frombuffer(b"".join(v for _, v, _ in rows), np.uint8).copy()
    source = Source(lines=(rows[0][2], rows[-1][2]))
    return Reading(runs=runs, value=value, known=None, address_bits=bits, unit="hex-digit", source=source)


FORMAT = Format(
    name="text-dump",
    title="text dump of any layout",
    standard="none: the layout is learnt from the log itself",
    suffixes=(".log", ".txt"),
    sniff=sniff,
    read=read,
)
