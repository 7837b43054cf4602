"""Faults that make readings differ: an open line, timing at its limit, a supply that sags, two specimens.

Where the readings agree everywhere nothing here speaks. Where they differ, `causes` weighs what the differences follow;
two groups of readings that each agree with themselves are two specimens, unless another cause explains them.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from romassay.address import Range, merge_ranges
from romassay.diagnose.causes import Cause, causes, odds, probability
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.specimens import beside, mixed
from romassay.diagnose.usual import LARGEST
from romassay.finding import Finding, Kind
from romassay.survey.stack import GRANULE

EXPLAINED = 0.75
"""Share of the differences that a cause explains, from which they are not those of two specimens."""

PLAINLY = 40.0
"""Logarithm of the odds of late or sagging outputs from which half of the differences are enough: where many bits fail
in both of two readings, neither says what is right."""

HALF = 0.4

NEARLY_ALL = 0.6
"""The same for an address line: what was moved by a byte also looks like the other side of A0."""

SURE = 0.9
"""Probability of two specimens from which no other cause is asked for."""


def moving(evidence: Evidence) -> list[Finding]:
    """Return what makes the readings differ, the likeliest first; none where nothing but noise does."""
    weighed = [cause for cause in causes(evidence, _reach(evidence)) if not _spares_rom(evidence, cause)]
    two, differ, size = mixed(evidence)
    if two and (two.probability >= SURE or not (weighed and _explains(weighed[0], differ, size))):
        return [two]
    found = [_named(evidence, cause, probability(cause, weighed)) for cause in weighed[:2]]
    if not found and not two:
        return list(beside(evidence))
    if two:
        two = replace(two, probability=round(max(0.01, 1 - found[0].probability), 3))
        found.append(two)
    return [found[0], *(replace(other, alternative_to=found[0].kind) for other in found[1:])] if found else []


SPARED = 8
"""So much rarer are changes in a ROM that a fault of the specimen's wires or supply does not explain them."""

EXPECTED = 16
"""Changes that would be expected in the ROM, from which their absence tells."""

TELLING = 256
"""Bytes of the smallest ROM whose agreement tells."""


def _spares_rom(evidence: Evidence, cause: Cause) -> bool:
    """Tell whether a ROM that was found hardly has a change where the rest has many: then it is RAM, or a timer.

    Lines, timing and supply are the same for all that a specimen holds. A ROM that appears once may be the host's, so
    that it tells only where it is of the declared size, or more than all that changes.
    """
    images = [image for image in evidence.images[:1] if len(image) >= TELLING and not image.doubtful]
    if not images or len(evidence.chosen) < 2:
        return False
    function = evidence.found.functions[images[0].function]
    once = len(function.copies) == 1 and evidence.size != function.size
    firsts = np.array([copy.first for copy in function.copies], np.int64)
    inside = np.isin(cause.addresses // function.size, firsts // function.size)
    granules = np.unique(cause.addresses[~inside] // GRANULE)
    around = len(granules) * GRANULE
    if not around or (once and around > function.size):
        return False
    rate = np.count_nonzero(~inside) / around
    there = function.size * len(firsts)
    return bool(rate * there >= EXPECTED and np.count_nonzero(inside) * SPARED < rate * there)


def _explains(cause: Cause, differ: int, size: int) -> bool:
    """Tell whether a cause explains so many of the bytes that differ that two specimens are not needed for it."""
    least = NEARLY_ALL if cause.name == "address-open" else EXPLAINED
    if cause.name in ("timing", "sag") and odds(cause) >= PLAINLY:
        least = HALF
    places = len(np.unique(cause.addresses % max(1, size)))
    return places >= least * min(differ, cause.total)


def _named(evidence: Evidence, cause: Cause, likely: float) -> Finding:
    share = f"{cause.explained:.0f} of the {cause.total} bytes in which the readings differ"
    kind, lines, told, advice = _told_of(cause)
    function, offsets, where = _place(evidence, cause)
    if lines:  # a wire is shared by all that the specimen holds
        function, offsets = None, ()
    return Finding(
        kind,
        blocks=True,
        function=function,
        lines=lines,
        offsets=offsets,
        where=where,
        probability=likely,
        evidence=f"{share} {told}",
        advice=advice,
    )


def _told_of(cause: Cause) -> tuple[Kind, tuple[str, ...], str, str]:
    """Return the kind of a cause, the lines that it is about, what the changes do, and what to check."""
    data = ", ".join(f"D{line}" for line in cause.lines)
    only = f", in {data} alone" if cause.lines else ""
    if cause.name == "timing":
        return (
            "marginal-timing",
            (),
            f"do so only in bits that had to turn from the byte before{only}: these kept its level",
            "read slower, or lengthen the access: the outputs were still on their way; check the clock and the "
            "enable at the specimen with an oscilloscope",
        )
    if cause.name == "sag":
        return (
            "supply-sag",
            (),
            f"fail to one side{only}, and the more ones a byte has, the oftener",
            "measure the supply at the specimen's own pins while it is read, with an oscilloscope; add a "
            "capacitor of 100 nF across them and shorten the wires",
        )
    if cause.name == "data-open":
        return (
            "data-line-open",
            tuple(f"D{line}" for line in cause.lines),
            f"do so in {data} alone, whatever the byte before was; the other lines stand still",
            f"power off, then check the {'wire' if len(cause.lines) == 1 else 'wires'} of {data} from the "
            "specimen's pin to the bus with a continuity tester",
        )
    line = f"A{cause.lines[0]}"
    return (
        "address-line-open",
        (line,),
        f"are, in one of them, what stands on the other side of {line}",
        f"power off, then check the wire of {line} to the specimen's pin: an open input follows what is near",
    )


def _place(evidence: Evidence, cause: Cause) -> tuple[int | None, tuple[int, ...], tuple[Range, ...]]:
    """Return the function whose copies hold most of the changes with their offsets in it, or else the ranges."""
    for image in evidence.images[:1]:
        size = len(image)
        firsts = np.array([copy.first for copy in evidence.found.functions[image.function].copies], np.int64)
        inside = np.isin(cause.addresses // size, firsts // size)
        if np.count_nonzero(inside) * 2 >= len(inside):
            return image.function, tuple(int(i) for i in np.unique(cause.addresses[inside] % size)), ()
    return None, (), merge_ranges(Range(int(a), int(a)) for a in cause.addresses)[:100]


def _reach(evidence: Evidence) -> int:
    """Return the lines that may count inside a ROM: those of the declared size, else of the window, 8 KiB at most."""
    if evidence.size:
        return evidence.size.bit_length() - 1
    spans = [span for reading in evidence.chosen for span in reading.spans()]
    widest = max((span.size for span in spans), default=1)
    return min(LARGEST, evidence.readings.address_bits, max(4, (widest - 1).bit_length()))
