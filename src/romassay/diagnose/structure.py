"""Faults that show in the survey's structure: two drivers on one bus, bits that nobody drives, a ROM half its size."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from romassay.diagnose.address_lines import TWICE, agreed
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.usual import SAME
from romassay.finding import Finding
from romassay.settle.model import Image
from romassay.survey.cubes import contents
from romassay.survey.model import Copy, Function

BLANK_SHARE = 0.999

FEWEST = 16
"""Bytes in which a fought-over copy must differ from the ROM."""

ONE_SIDED = 0.9
"""Share of these that must be the ROM's with bits pulled to one side; of garbled digits it is a third."""

ODD = 0.3
"""Chance that a memory which holds one byte other than 00 and FF is empty. Common practice, no source."""


def structure(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return the faults that the survey's structure shows at one image."""
    function = evidence.found.functions[image.function]
    yield from _contention(evidence, function, image)
    yield from _undriven(function, image.function)
    yield from _half(function, image, evidence.size)
    yield from _blank(function, image)


def _contention(evidence: Evidence, function: Function, image: Image) -> Iterator[Finding]:
    fought = [c for c in function.copies if c.contended and _pulled(evidence, function, image, c)]
    if fought:
        where = tuple(function.place(c.first) for c in fought)
        places = ", ".join(str(r) for r in where[:4])
        yield Finding(
            "contention",
            blocks=True,
            function=image.function,
            where=where,
            probability=0.9,
            evidence=f"at {places} the ROM's bytes appear with bits pulled to one side: something else drives too",
            advice="switch off; find the second driver at these addresses (host memory, a strapped select) and gate "
            "one of them before reading again",
        )


def _pulled(evidence: Evidence, function: Function, image: Image, copy: Copy) -> bool:
    """Tell whether enough bytes of a copy differ from the image, nearly all to one side: noise goes to both."""
    level = function.size.bit_length() - 1
    block = np.array([copy.first >> level])
    there = contents(evidence.stacked, evidence.said.value, level, block)[0]
    sure = contents(evidence.stacked, evidence.said.sure, level, block)[0]
    differ = sure & (image.seen == function.driven) & (image.value != there)
    mine, theirs = image.value[differ], there[differ]
    if len(mine) < FEWEST:
        return False
    return max(float(np.mean((mine & theirs) == theirs)), float(np.mean((mine | theirs) == theirs))) >= ONE_SIDED


def _undriven(function: Function, index: int) -> Iterator[Finding]:
    missing = [bit for bit in range(8) if not function.driven >> bit & 1]
    if missing:
        yield Finding(
            "undriven-bits",
            blocks=False,
            function=index,
            lines=tuple(f"D{bit}" for bit in missing),
            evidence=f"only {function.width} data lines are driven; the others do what the floating bus does",
            advice="right for a part so many bits wide; else check the data wires, power off, with a continuity tester",
        )


def _half(function: Function, image: Image, declared: int | None) -> Iterator[Finding]:
    if declared is None or function.size != declared or len(image.value) < 2:
        return
    low, high = np.split(image.value, 2)
    known_low, known_high = np.split(image.seen, 2)
    both = (known_low & known_high) == function.driven
    varied = len(np.unique(low[both])) > 1
    sure_low, sure_high = np.split(agreed(image), 2)
    if np.count_nonzero(sure_low & sure_high & (low != high)) >= TWICE:
        return
    if varied and np.count_nonzero(both) * 2 >= len(low) and np.mean(low[both] == high[both]) >= SAME:
        line = function.size.bit_length() - 2
        yield Finding(
            "half-image",
            blocks=True,
            function=image.function,
            lines=(f"A{line}",),
            probability=0.9,
            evidence=f"both halves of the {function.size} bytes are equal: A{line} makes no difference",
            advice=f"check the wire of A{line} to the specimen, or whether the specimen is a part half that size",
        )


def _blank(function: Function, image: Image) -> Iterator[Finding]:
    seen = image.value[image.seen == function.driven]
    if not len(seen):
        return
    counts = np.bincount(seen, minlength=256)
    filling = int(counts.argmax())
    if counts[filling] >= BLANK_SHARE * len(seen):
        yield Finding(
            "blank",
            blocks=True,
            function=image.function,
            probability=1.0 if filling in (0x00, 0xFF) else ODD,
            evidence=f"all bytes read {filling:02X}",
            advice="check supply, ground and the selects; an empty part reads so, and so does one that is not enabled",
        )


UNDER = 0.97
"""Share of the bytes of a fought-over copy that are the ROM's with bits pulled low; of another ROM it is a tenth."""


def overlaid(evidence: Evidence) -> Iterator[Finding]:
    """Return the conflict where one ROM is another with bits pulled low: a copy with a second driver on the bus."""
    for one in evidence.images:
        for other in evidence.images:
            if one is other or len(one) != len(other):
                continue
            differ = one.value != other.value
            under = (one.value & other.value) == other.value
            told = (one.value != 0xFF) & (other.value != 0x00)
            if np.count_nonzero(differ & told) * 16 < len(one) or np.mean(under[told]) < UNDER:
                continue
            function = evidence.found.functions[other.function]
            where = tuple(function.place(c.first) for c in function.copies)
            yield Finding(
                "contention",
                blocks=True,
                where=where,
                probability=0.95,
                evidence=f"what answers at {', '.join(str(r) for r in where[:4])} is the ROM with bits pulled low in "
                f"{np.count_nonzero(differ)} bytes: something else drives too",
                advice="switch off; find the second driver at these addresses (host memory, a strapped select) and "
                "gate one of them before reading again",
            )
            return
