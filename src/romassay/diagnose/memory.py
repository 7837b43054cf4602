"""RAM that looks like a ROM: it reads the same each time, for nothing was switched off in between.

Where no part or size is declared, nothing was power-cycled and the bytes have no sense, nothing tells the two apart,
and it blocks. What RAM wakes up with shows, whatever size was declared: cells lean to one side, a row this way and the
next that, so that 00 and FF alternate all over it. No code does that. Common practice, no source.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romassay.diagnose.evidence import Evidence
from romassay.diagnose.reads import TEXTUAL, WELL
from romassay.finding import Finding
from romassay.reading import Bytes
from romassay.settle.model import Image

LEAST_BYTES = 64
"""Bytes below which nothing can be said of the content."""

PRINTABLE = 0.8
"""Share of printable characters from which bytes may be text."""

SMOOTH = 12
"""Median step between neighbours up to which bytes may be a curve or a ramp."""


LONG = 16
"""Equal bytes in a row from which they are filling."""

LEANING = 0.5
"""Share of 00 and FF, filling left out, from which cells seem to have fallen to a side by themselves."""

EACH = 0.12
"""Share that either must have of its own."""


NEARLY = 0.75
"""The same for bytes of which all bits but one have fallen to one side; a third of them to either."""


def power_up(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return the finding where the bytes are such as RAM wakes up with, and no part or power-up says otherwise."""
    if not _untold(evidence) or not _leaning(image.value):
        return
    yield Finding(
        "ram-or-rom",
        blocks=True,
        function=image.function,
        probability=0.85,
        evidence="00 and FF alternate all over it, as in RAM that keeps what it woke up with; nothing was power-cycled",
        advice="switch off for a minute, read again with another --session name, and declare the part",
    )


def _untold(evidence: Evidence) -> bool:
    """Tell whether no part and no second power-up says what memory this is."""
    sessions = {reading.conditions.session for reading in evidence.chosen}
    return not (evidence.part or len(sessions) > 1)


def _leaning(value: Bytes) -> bool:
    """Tell whether 00 and FF alternate, each in short runs."""
    starts = np.flatnonzero(np.r_[True, value[1:] != value[:-1]])
    lengths = np.diff(np.r_[starts, len(value)])
    short = lengths < LONG
    counts = lengths[short].sum()
    if not counts or counts * 2 < len(value):
        return False
    low, high = (lengths[short & (value[starts] == side)].sum() / counts for side in (0x00, 0xFF))
    if low + high >= LEANING and min(low, high) >= EACH:
        return True
    ones = np.bitwise_count(value[starts])
    nearly = float(np.mean(ones <= 1)), float(np.mean(ones >= 7))
    return sum(nearly) >= NEARLY and min(nearly) >= NEARLY / 3


def ram_or_rom(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return the doubt where no part, no size, no power-up and no sense of the bytes says that this is a ROM."""
    if evidence.size or not _untold(evidence) or len(image.value) < LEAST_BYTES or not senseless(evidence, image.value):
        return
    yield Finding(
        "ram-or-rom",
        blocks=True,
        function=image.function,
        probability=0.65,
        evidence=f"the {len(image.value)} bytes are no code, no text and no curve, and nothing was power-cycled: RAM "
        "that keeps what it woke up with reads the same",
        advice="switch off for a minute, read again with another --session name, and declare the part",
    )


def senseless(evidence: Evidence, value: Bytes) -> bool:
    """Tell whether bytes are neither code nor text nor a curve."""
    if len(np.unique(value)) < 3:
        return False
    printable = float(np.mean(TEXTUAL[value]))
    told = value[(value != 0x00) & (value != 0xFF)]
    if printable >= PRINTABLE and np.count_nonzero(told >= 0x20) * 2 > len(value):
        return False
    step = np.abs(np.diff(told.astype(np.int64)))
    if len(told) * 2 > len(value) and np.median(step) <= SMOOTH:
        return False
    return evidence.senses.of(value).nats < WELL / 2
