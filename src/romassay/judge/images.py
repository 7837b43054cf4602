"""What is open in one image: bytes seen once, characters that changed, weak cells, lines never exercised, its size."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romassay.address import line_name, lines_of
from romassay.finding import Finding
from romassay.judge.evidence import ENOUGH, bytes_in_words, host_known
from romassay.judge.witnesses import about_witness, witnessed
from romassay.reading import ReadingSet
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.model import Function

ONCE = 0.5
"""Probability of cells that failed once each, where most observations agree. Common practice, no source."""

OFTEN = 4
"""Observations of each byte from which one that differs is but one of many."""


def about_image(readings: ReadingSet, function: Function, image: Image, rig: Rig | None) -> Iterator[Finding]:
    """Yield what is open in one image of a function: its observations, its cells, its decode and its size."""
    seen = witnessed(readings, function, image)
    yield from _seen_once(readings, image)
    yield from _changed_on_the_line(image)
    yield from _weak(image, seen.against)
    yield from about_witness(image, seen)
    yield from _not_exercised(function, image, rig)
    yield from _resting(readings, function, image)
    yield from _of_other_size(readings, function, image)


def _seen_once(readings: ReadingSet, image: Image) -> Iterator[Finding]:
    """Doubt bytes that fewer readings gave than a confirmed image needs; lines that are missing tell of themselves."""
    if image.confidence.readings < ENOUGH:
        yield Finding(
            "single-reading",
            blocks=True,
            function=image.function,
            evidence="the bytes come from one reading only: nothing shows that a second would agree",
            advice="read the same window again into a new file, best after a power cycle and a reseat",
        )
    elif int(image.readings.min(initial=ENOUGH)) < ENOUGH and not any(r.holes for r in readings.readings):
        thin = np.flatnonzero(image.readings < ENOUGH)
        yield Finding(
            "single-reading",
            blocks=True,
            function=image.function,
            offsets=tuple(int(i) for i in thin),
            evidence=f"{len(thin)} of {len(image)} bytes were seen in fewer than two readings",
            advice="read again over the whole of the ROM",
        )


def _changed_on_the_line(image: Image) -> Iterator[Finding]:
    """Tell of bytes whose characters a noisy line changed; they block where repetition left any open."""
    if not image.link_errors:
        return
    doubtful = {d.offset for d in image.doubtful}
    open_ones = [offset for offset in image.link_errors if offset in doubtful]
    count = bytes_in_words(len(image.link_errors))
    yield Finding(
        "link-corruption",
        blocks=bool(open_ones),
        function=image.function,
        offsets=image.link_errors,
        evidence=f"{count} did not come the same each time, as a noisy line makes them; "
        + (f"still open: {len(open_ones)}" if open_ones else "repetition put them right"),
        advice="read again until none is open; check the ground and the baud rate of the serial line"
        if open_ones
        else "nothing for these bytes; where there are many, check the ground and the baud rate of the serial line",
    )


def _weak(image: Image, against: tuple[int, ...]) -> Iterator[Finding]:
    """Doubt cells that changed in a way that no line of characters explains, or read otherwise where they are pulled.

    Args:
        image: the image.
        against: offsets that read otherwise with the data lines pulled.
    """
    flipped = tuple(sorted({*image.flipped, *against}))
    counted = image.confidence
    once = not against and counted.disagreements <= len(flipped) and counted.observations_min >= OFTEN
    if flipped:
        yield Finding(
            "weak-bits",
            blocks=True,
            function=image.function,
            probability=ONCE if once else 1.0,
            offsets=flipped,
            evidence=f"{bytes_in_words(len(flipped))} did not read the same each time"
            + (", pulled up or down" if against and not image.flipped else "")
            + (
                ", once each in one bit: a cell or a digit that was garbled on the way"
                if once
                else ", in a way that the line does not explain: cells or their supply are marginal"
            ),
            advice="read at both ends of the rated supply and at another temperature, and slower; do not trust a vote "
            "on these bytes alone",
        )


def _not_exercised(function: Function, image: Image, rig: Rig | None) -> Iterator[Finding]:
    """Name the bus lines that the window left open, of those that reach the specimen."""
    names = tuple(map(line_name, lines_of(function.unknown)))
    if rig is not None:
        names = tuple(filter(rig.reaches, names))
    if names:
        next_ones = [item.where for item in function.read_next if {*names}.intersection(item.lines)]
        yield Finding(
            "short-window",
            blocks=False,
            function=image.function,
            lines=names,
            where=tuple(next_ones),
            evidence=f"{', '.join(names)} never exercised: no two blocks of the window differ in that line alone",
            advice=f"read {_some([str(where) for where in next_ones])} as well",
        )


def _resting(readings: ReadingSet, function: Function, image: Image) -> Iterator[Finding]:
    """Doubt lines that rest on memory which appears once, as long as nothing says which memory is the host's."""
    if function.resting and not host_known(readings):
        names = tuple(line_name(i) for i in lines_of(function.resting))
        yield Finding(
            "short-window",
            blocks=False,
            function=image.function,
            lines=names,
            evidence=f"{', '.join(names)}: decided only by memory that appears once; if that is the host's own, the "
            "line is not exercised",
            advice="exclude the host's memory, or add a reading of the empty socket",
        )


def _of_other_size(readings: ReadingSet, function: Function, image: Image) -> Iterator[Finding]:
    """Doubt a size that is not the only one to explain the readings."""
    if not function.sizes:
        return
    sizes = " or ".join(f"{size} bytes" for size in function.sizes)
    larger = max(function.sizes) > function.size
    unread = larger and function.level(function.size.bit_length() - 1) == "unknown"
    why = "what follows was not read" if unread else "what follows may belong to it" if larger else ""
    yield Finding(
        "size-ambiguous",
        blocks=unread or not {"pulled-up", "pulled-down"} <= {r.role for r in readings.readings},
        function=image.function,
        evidence=f"{sizes} would explain the readings as well as {function.size}: "
        + (why or "half of it may be something else"),
        advice="declare the part or the size"
        + ("" if unread else ", or read with pull-ups and then with pull-downs on the data lines"),
    )


def _some(items: Sequence[str], shown: int = 4) -> str:
    more = len(items) - shown
    return ", ".join(items[:shown]) + (f" and {more} more" if more > 0 else "")
