"""Errors that every reading has alike: nothing differs, so that only the bytes of a program can show them.

A supply that sags under many ones may lose the same bit in every reading, and a bit that comes too late may do so
each time. Then an image has no byte with many ones and that bit set, and too many of what such a byte becomes; or lines
seldom turn where many turn at once. Programs have both.
"""

from __future__ import annotations

from collections.abc import Iterator
from functools import cache
from math import log

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, byte_weights
from romassay.cpus.model import Name
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.usual import FILLINGS
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.settle.model import Image

PARTLY = 0.05
"""Nats a byte as code, from which part of the bytes is a program. Text, tables and characters have 0.03 and less."""

HEAVY = range(4, 9)
"""Ones of a byte from which the supply may sag."""

LOST = 50.0
"""Nats by which bytes that lost a bit must explain an image better. Of 7654 pieces of programs, 1 to 4 KiB, of eleven
CPUs, 37 had more than 25 nats, 27 more than 40, and 12 more than 60."""

LOST_OF_ALL = 65.0
"""The same where only FF would lose it: a program may prefer one value of seven ones."""

MANY = range(5, 8)
"""Lines that turn at once, at which one may be late."""

NEAR = 12
"""Step between neighbours up to which they may be a curve or a ramp, and say nothing."""

SELDOM, TURNS = 0.05, 30.0
"""Share of the turns that chance gives, and nats by which there are fewer: 10 of the same 7654 pieces are beyond both.
At a share of 0.35 and 20 nats it was 241, for the loads and stores of one program are often alike."""

PAIRS = 200
"""Neighbours from which they tell."""

PAIRED = 64
"""Bytes and those across an address line, filling left out, from which they tell."""

EQUAL, EQUAL_TIMES = 0.3, 4.0
"""Share of them that are equal, and times as many as across any other line, from which that line is open."""

ALIKE = 0.5
"""Probability of what no two readings show. Common practice, no source."""

Floats = npt.NDArray[np.float64]


def steady(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Yield the doubt where the bytes of a program seem to have lost a bit, or to have kept one, in every reading."""
    read = evidence.senses.of(image.value)
    if read.nats < PARTLY:
        return
    wandering = _wanders(image.value)
    if wandering is not None:
        yield _open(image, *wandering)
        return
    sagged = _lost(image.value, read.cpu)
    if sagged is not None:
        yield _sag(image, *sagged)
        return
    late = _late(image.value)
    if late is not None:
        yield _timing(image, *late)


def _wanders(value: Bytes) -> tuple[int, float, float] | None:
    """Return the address line across which bytes are equal far more often than across others, and how often; or None.

    A line that is open reads one side or the other of each pair: half of the pairs are then equal. Bytes near the one
    before them are left out: they may be a curve or a ramp.
    """
    lines = len(value).bit_length() - 1
    where = np.arange(len(value))
    step = np.abs(np.diff(value.astype(np.int64), prepend=int(value[0]) - 1 - NEAR))
    told = ~np.isin(value, FILLINGS) & (step > NEAR)
    equal = []
    for line in range(lines):
        low = where[(where >> line & 1 == 0) & told]
        both = low[~np.isin(value[low | 1 << line], FILLINGS)]
        equal.append(float(np.mean(value[both] == value[both | 1 << line])) if len(both) >= PAIRED else 0.0)
    usual, most = sorted(equal)[-2:]
    return (equal.index(most), most, usual) if most >= max(EQUAL, EQUAL_TIMES * usual) else None


def _lost(value: Bytes, name: Name) -> tuple[int, int, int] | None:
    """Return the data line that bytes of many ones never have set, how many ones, and how many lost it; or None."""
    counts = np.bincount(value, minlength=256)
    every = np.arange(256)
    ones = np.bitwise_count(every.astype(np.uint8))
    best, found = 0.0, None
    for line in range(8):
        has = (every >> line & 1).astype(np.bool_)
        became = _becomes(name, line)
        for least in HEAVY:
            if counts[has & (ones >= least)].any():
                continue
            lost = ~has & (ones >= least - 1)
            gain = float((counts * became)[lost].sum()) - (LOST_OF_ALL if least == 8 else LOST)
            if gain > best:
                best, found = gain, (line, least, int(counts[lost].sum()))
    return found


@cache
def _becomes(name: Name, line: int) -> Floats:
    """Return for each byte the nats for its being its own and the one with that line set, against its own alone."""
    chance = np.exp(byte_weights()[NAMES.index(name)].astype(np.float64) / SCALE)
    gain: Floats = np.log1p(chance[np.arange(256) | 1 << line] / chance)
    return gain


def _late(value: Bytes) -> tuple[int, int, int, float] | None:
    """Return the data line that seldom turns with many others, how many, how often it does, and by chance; or None."""
    before, after = value[:-1].astype(np.int64), value[1:].astype(np.int64)
    filled = np.isin(before, FILLINGS) | np.isin(after, FILLINGS)
    told = ~filled & (np.abs(after - before) > NEAR)
    before, after = before[told], after[told]
    if len(before) < PAIRS:
        return None
    seen = np.bincount(before << 8 | after, minlength=1 << 16).astype(np.float64)
    pairs = np.outer(np.bincount(before, minlength=256), np.bincount(after, minlength=256)) * _apart()
    by_chance = pairs.ravel() * (len(before) / max(1.0, float(pairs.sum())))
    best, found = TURNS, None
    for line, many, turns in _turns():
        had, due = float(seen[turns].sum()), float(by_chance[turns].sum())
        if had < SELDOM * due:
            gain = due - had + (had * log(had / due) if had else 0.0)
            if gain > best:
                best, found = gain, (line, many, int(had), due)
    return found


@cache
def _apart() -> npt.NDArray[np.bool_]:
    """Tell which bytes are no near neighbours of each other, bool[256, 256]."""
    every = np.arange(256)
    far: npt.NDArray[np.bool_] = np.abs(every[:, None] - every) > NEAR
    return far & ~np.isin(every, FILLINGS) & ~np.isin(every, FILLINGS)[:, None]


@cache
def _turns() -> tuple[tuple[int, int, Index], ...]:
    """Return, for each data line that rises, falls, or does either, where so many lines turn, of 65536 pairs."""
    every = np.arange(256, dtype=np.uint8)
    turn = (every[:, None] ^ every).ravel()
    after = np.tile(every, 256)
    result = []
    for line in range(8):
        turns, high = turn >> line & 1 == 1, after >> line & 1 == 1
        result += [
            (line, many, np.flatnonzero(edge & (np.bitwise_count(turn) >= many)))
            for edge in (turns & high, turns & ~high, turns)
            for many in MANY
        ]
    return tuple(result)


def _open(image: Image, line: int, equal: float, usual: float) -> Finding:
    return Finding(
        "address-line-open",
        blocks=True,
        function=image.function,
        lines=(f"A{line}",),
        probability=ALIKE,
        evidence=f"{equal:.0%} of the bytes are as those across A{line}, and {usual:.0%} or less across other lines: "
        f"A{line} seems to have one level here and the other there, alike in every reading",
        advice=f"power off, then check A{line} at the specimen's pin for a broken wire or a bent pin",
    )


def _sag(image: Image, line: int, least: int, lost: int) -> Finding:
    ones = "FF" if least == 8 else f"a byte with {least} ones and more"
    return Finding(
        "supply-sag",
        blocks=True,
        function=image.function,
        lines=(f"D{line}",),
        probability=ALIKE,
        evidence=f"the bytes are a program's, but {ones} never has D{line} set, and {lost} bytes look as such a byte "
        f"does without D{line}: a supply that sags under many ones may lose it each time, alike in every reading",
        advice="measure the supply at the specimen's pins while it is read, add a capacitor there, and read at both "
        "ends of the rated supply",
    )


def _timing(image: Image, line: int, many: int, had: int, due: float) -> Finding:
    return Finding(
        "marginal-timing",
        blocks=True,
        function=image.function,
        lines=(f"D{line}",),
        probability=ALIKE,
        evidence=f"the bytes are a program's, but where {many} lines and more turn at once, D{line} does so {had} "
        f"times, and {due:.0f} times by chance: it may come too late each time, alike in every reading",
        advice="read slower, or let the host wait longer before it takes the byte, and compare",
    )
