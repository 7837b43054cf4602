"""Dumps that begin at the last address: their lines are read in the order of the addresses, and told in that of time.

All that judges lines, from the learner of layouts to the search for passes, expects addresses that grow. A log whose
addresses fall from line to line is turned over for it, and what comes out is turned back.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.formats.lines.rows import Rows
from romassay.formats.text.counting import Count, count_of
from romassay.reading import Reading

_SAMPLE = 1 << 12
_LEAST_STEP = 4
"""A list of months, or of what is left to do, may fall by less."""
_LEAST_LINES = 24
_LEAST_DIGITS = 4
_NEARLY_ALL = 0.8


def falls(text: bytes) -> bool:
    """Tell whether the addresses of a cleaned text fall from line to line."""
    lines = [line for line in text[:_SAMPLE].split(b"\n") if line.strip()]
    count = count_of(lines)
    if count is None or count.place < 0 or count.step >= 0:
        return False
    return count.step <= -_LEAST_STEP or _is_long_list(lines, count)


def _is_long_list(lines: Sequence[bytes], count: Count) -> bool:
    """Tell whether addresses of four digits or more fall on many lines, hardly one left out."""
    values = [value for line in lines if (value := count.value(line)) is not None]
    long = sum(value >= count.base ** (_LEAST_DIGITS - 1) for value in values)
    return len(values) >= _LEAST_LINES and count.share >= _NEARLY_ALL and long >= _NEARLY_ALL * len(values)


def turned_text(text: bytes) -> bytes:
    """Return a text with its last line first."""
    return b"\n".join(text.rstrip(b"\n").split(b"\n")[::-1]) + b"\n"


def turned_rows(rows: Rows, lines: int) -> Rows:
    """Return the rows of a text of so many lines as they would be with its last line first."""
    return replace(
        rows,
        line=lines + 1 - rows.line[::-1],
        address=rows.address[::-1],
        start=rows.start[::-1],
        count=rows.count[::-1],
        state=rows.state[::-1],
        checked=rows.checked[::-1],
        edits=rows.edits[::-1],
        length=rows.length[::-1],
        reason=rows.reason[::-1],
        foreign=lines + 1 - rows.foreign[::-1],
        damaged=lines + 1 - rows.damaged[::-1],
        suspect=lines + 1 - rows.suspect[::-1],
    )


def turned_readings(readings: tuple[Reading, ...], lines: int) -> tuple[Reading, ...]:
    """Return the readings of such rows in the order of time, with the lines of the text as it is."""
    return tuple(_turned(reading, number, lines) for number, reading in enumerate(reversed(readings), 1))


def _turned(reading: Reading, number: int, lines: int) -> Reading:
    runs = reading.runs[::-1].copy()
    runs[:, 3] = lines + 1 - runs[:, 3]
    index = np.concatenate([np.zeros(0, np.int64), *(np.arange(a, a + n) for a, n in runs[:, 1:3].tolist())])
    runs[:, 1] = np.cumsum(runs[:, 2]) - runs[:, 2]
    holes = (replace(hole, line=lines + 1 - hole.line if hole.line else 0) for hole in reversed(reading.holes))
    first, last = reading.source.lines
    return replace(
        reading,
        runs=runs,
        value=reading.value[index],
        known=None if reading.known is None else reading.known[index],
        holes=tuple(holes),
        resent=len(runs) - 1 - reading.resent[::-1],
        source=replace(reading.source, pass_number=number, lines=(lines + 1 - last, lines + 1 - first)),
    )
