"""Doubts whether a memory is the specimen's ROM: it may be the host's, RAM, or one of two that are alike."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romassay.code.model import Code
from romassay.finding import Finding
from romassay.judge.evidence import (
    DOUBTED,
    RAM_SIZES,
    bytes_in_words,
    host_known,
    reads_as_code,
    tells_of_itself,
    told_apart,
)
from romassay.part import Part
from romassay.reading import ReadingSet
from romassay.settle.model import Image
from romassay.survey.model import Function, Survey
from romassay.survey.pairs import SAME_SHARE

LITTLE = 2048
"""Bits of a function up to which neither its size nor its being a ROM is believed without a declared part or size."""


def about_host(readings: ReadingSet, found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt whether a memory that appears once, beside a ROM that repeats, is the specimen's at all."""
    if len(images) < 2 or host_known(readings) or len(found.functions[images[0].function].copies) < 2:
        return
    for image in images[1:]:
        function = found.functions[image.function]
        if len(function.copies) == 1:
            first = function.copies[0].first
            yield Finding(
                "ram-or-rom",
                blocks=True,
                probability=DOUBTED,
                function=image.function,
                where=(function.place(first),),
                evidence="it appears once, beside a ROM that repeats: it may be the host's own memory",
                advice="exclude the host's memory, or add a reading of the empty socket",
            )


def about_likeness(found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt the first ROM where another holds nearly the same bytes: one of them was disturbed, nothing tells which."""
    for other in images[1:]:
        first = images[0]
        if len(other) != len(first):
            continue
        differs = ((first.value ^ other.value) & first.seen & other.seen) != 0
        amount = int(np.count_nonzero(differs))
        if not 0 < amount <= (1 - SAME_SHARE) * len(first):
            continue
        places = " and ".join(f"{found.functions[image.function].copies[0].first:04X}" for image in (first, other))
        yield Finding(
            "contention",
            blocks=True,
            probability=DOUBTED,
            function=first.function,
            offsets=tuple(int(i) for i in np.flatnonzero(differs)),
            evidence=f"what answers at {places} is the same but for {bytes_in_words(amount)}, each the same in every "
            "reading: something else drives the bus there, or these are two versions",
            advice="read again without the host's interrupts and devices; declare the size if this is one larger ROM",
        )
        return


def about_choice(
    readings: ReadingSet,
    found: Survey,
    images: Sequence[Image],
    part: Part | None,
    size: int | None,
    codes: Sequence[Code],
) -> Iterator[Finding]:
    """Doubt which memory is the specimen's ROM, where nothing tells; of several alike not even its size does.

    A check of its own tells that a ROM is whole; the host's has one as well.
    """
    if not images or told_apart(readings, images):
        return
    functions = [found.functions[image.function] for image in images]
    first = functions[0]
    larger = any(f.size > first.size for f in found.functions)
    declared = bool(part or size)
    if len(functions) > 1 and len(first.copies) == 1 and not (declared and readings.excluded):
        places = ", ".join(f"{f.copies[0].first:04X}" for f in functions[:4])
        yield Finding(
            "ram-or-rom",
            blocks=True,
            probability=DOUBTED,
            evidence=f"memories that each appear once answer at {places}; nothing tells the specimen's from the host's",
            advice="exclude the host's memory, or add a reading of the empty socket",
        )
    elif part or (size and reads_as_code(codes)) or tells_of_itself(codes, images):
        return
    elif len(first.copies) == 1 and not host_known(readings) and _small_beside(found, first):
        yield Finding(
            "ram-or-rom",
            blocks=True,
            probability=DOUBTED,
            function=images[0].function,
            evidence="it appears once, beside a smaller memory that repeats: it may be the host's own, and the smaller "
            "one the specimen's",
            advice="exclude the host's memory, declare the part, or add a reading of the empty socket",
        )
    elif declared:
        return
    elif first.size * first.width <= LITTLE and (len(first.copies) == 1 or first.size in RAM_SIZES or larger):
        yield Finding(
            "ram-or-rom",
            blocks=True,
            probability=DOUBTED,
            function=images[0].function,
            evidence=f"{first.size} bytes could as well be RAM, or a part of more: no part or size was declared",
            advice="declare the part, or read again after a power cycle with another --session name",
        )


def _small_beside(found: Survey, first: Function) -> bool:
    """Tell whether something that was taken for RAM or registers repeats.

    Registers that repeat within the space of the ROM alone are decoded as it is: a combination chip shows so.
    """
    return any(f.kind != "rom" and _repeats(f, first) for f in found.functions)


def _repeats(function: Function, first: Function) -> bool:
    """Tell whether a function stands in several places; of registers, in several blocks of the ROM's size."""
    if function.kind == "registers":
        return len({copy.first // first.size for copy in function.copies}) > 1
    return len(function.copies) > 1
