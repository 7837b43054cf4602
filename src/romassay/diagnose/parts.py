"""What speaks against the declared part or size: another part in the socket, or two chips side by side."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romassay.address import line_name, lines_of
from romassay.cpus.model import Name
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.usual import FILLINGS
from romassay.finding import Finding
from romassay.reading import Bytes
from romassay.survey.cubes import contents
from romassay.survey.model import Function

CHANGES = 0.15
"""Share of the bytes of a memory that differ from the byte before; on a bus that keeps its charge hardly one does."""

LEAST_CHANGES = 24
"""Bytes that must differ from the one before."""

ACROSS = 4
"""Jumps from one half to the other that must arrive, and nats that they must say, for both to be of one program."""

LEAST_BESIDE = 8
"""One in so many bytes beside a ROM that must answer for its program to go on there."""

RATHER = 0.5
"""Chance that what begins just behind such a ROM, and is less than a memory, is its rest. Common practice, no
source."""

NO_CODE = 0.75
"""Chance that it is one larger ROM where neither half is code, so that no jump tells. Common practice, no source."""

SIDE_BY_SIDE = 0.6
"""Chance that it is one larger ROM where no jump says so, but four or more stand side by side, or two without the RAM
that the declared part has. Common practice, no source."""

APART = -8.0
"""Nats below which the jumps say that two halves are no one program: in 69 images of one program the least was -6, in
most of 80 of two it was below -30."""

_FAMILY: dict[Name, Name] = {"65C02": "6502", "6801": "6800", "8085": "8080", "Z80": "8080"}
"""CPUs whose code another one's may be taken for."""

CHIP = 512
"""Bytes of the smallest half that is looked at: the smallest ROM of its own in the catalogue's time. Common practice,
no source."""

LARGEST = 16384
"""Bytes of the largest image that is looked at so."""


def parts(evidence: Evidence) -> Iterator[Finding]:
    """Return what speaks against the declared part or size."""
    roms = [f for f in evidence.found.functions if f.kind == "rom"]
    others = [f for f in evidence.found.functions if f.kind != "rom" and not inside(f, roms)]
    larger = _larger(roms, evidence.size)
    if larger:
        likely = _of_one(evidence, roms[0].size, 1 << len(larger))
        lone = evidence.part is not None and len(evidence.part.functions) > 1 and not others
        if not likely and (lone or len(larger) > 1):
            likely = SIDE_BY_SIDE
        if likely:
            yield _wrong_size(evidence, larger, roms[0], likely)
        return
    if len(roms) == 1 and evidence.size == roms[0].size:
        likely = _goes_on(evidence, roms[0])
        if likely:
            yield _wrong_size(evidence, (roms[0].size.bit_length() - 1,), roms[0], likely)
            return


def inside(function: Function, roms: Sequence[Function]) -> bool:
    """Tell whether a function appears only where a ROM does: line noise in a ROM may look like registers."""
    return any(
        {copy.first // rom.size for copy in function.copies} <= {copy.first // rom.size for copy in rom.copies}
        for rom in roms
        if rom.size >= function.size
    )


def _larger(roms: Sequence[Function], declared: int | None) -> tuple[int, ...]:
    """Return the lines that tell ROMs of the declared size apart, all else being the same: one larger ROM's own."""
    if declared is None or len(roms) < 2:
        return ()
    first = roms[0]
    same = [rom for rom in roms if rom.size == declared and rom.cube.care == first.cube.care]
    differ = 0
    for rom in same:
        differ |= rom.cube.value ^ first.cube.value
    lines = lines_of(differ)
    level = declared.bit_length() - 1
    adjacent = lines == tuple(range(level, level + len(lines)))
    return lines if lines and adjacent and len(same) >= max(2, 1 << (len(lines) - 1)) else ()


def _goes_on(evidence: Evidence, rom: Function) -> float:
    """Return how likely it is that a ROM goes on in what answers beside it, which is less than a whole memory.

    Its program may jump there. Where no jump tells, what begins just behind a ROM that appears once may be its rest, or
    the host's own memory.
    """
    size, first = rom.size, rom.copies[0].first
    beside, level = first ^ size, rom.size.bit_length()
    there = [region for region in evidence.found.regions if region.kind == "unknown"]
    seen = sum(max(0, min(r.last, beside + size - 1) - max(r.first, beside) + 1) for r in there)
    if seen * LEAST_BESIDE < size or size > LARGEST:
        return 0.0
    joined = contents(evidence.stacked, evidence.said.value, level, np.array([first >> level]))[0]
    whole = evidence.senses.of(joined)
    halves = [evidence.senses.of(half) for half in np.split(joined, 2)]
    across = whole.arrived - sum(half.arrived for half in halves)
    if whole.well and across >= ACROSS and whole.gain > sum(half.gain for half in halves) + ACROSS:
        return 0.95
    readings = evidence.readings
    alone = len(rom.copies) == 1 and not readings.excluded and not readings.with_role("empty-socket")
    behind = any(region.first == first + size == beside for region in there)
    return RATHER if alone and behind and len(evidence.chosen) > 1 else 0.0


def _of_one(evidence: Evidence, size: int, count: int) -> float:
    """Return how likely it is that ROMs side by side are one larger ROM, and not one beside the host's own memory.

    Memory of the host appears once. Where each appears once, the program tells: one that goes on in the other half
    jumps there, or was made to run at the addresses behind it. Nothing else in the window speaks for one ROM too.
    """
    functions = evidence.found.functions
    images = [image for image in evidence.images if len(image) == size][:count]
    images.sort(key=lambda image: functions[image.function].cube.value)
    if any(_keeps(image.value) for image in images):
        return 0.0
    if all(len(functions[image.function].copies) > 1 for image in images):
        return 0.95
    senses = [evidence.senses.of(image.value) for image in images]
    if not any(each.well for each in senses):
        return NO_CODE
    joined = evidence.senses.of(np.concatenate([image.value for image in images]))
    across = joined.arrived - sum(each.arrived for each in senses)
    if joined.well and across >= ACROSS and joined.gain > sum(each.gain for each in senses) + ACROSS:
        return 0.95
    bases = [each.jumps.base() for each in senses]
    if bases[0] is not None and bases == [bases[0] + number * size for number in range(len(bases))]:
        return 0.95
    alone = all(region.kind == "rom" for region in evidence.found.regions)
    untold = alone or None in bases
    one_cpu = len({each.cpu for each in senses if each.well} | ({joined.cpu} if joined.well else set())) == 1
    return NO_CODE if untold and one_cpu else 0.0


def _keeps(value: Bytes) -> bool:
    """Tell whether bytes mostly are the one before, filling left out, or nothing but filling: so is a bus."""
    filled = np.isin(value, FILLINGS)
    told = ~(filled[1:] & filled[:-1])
    changes = np.count_nonzero((value[1:] != value[:-1]) & told)
    return bool(changes < max(LEAST_CHANGES, CHANGES * np.count_nonzero(told)))


def two_chips(evidence: Evidence) -> Iterator[Finding]:
    """Yield the doubt where no size is declared and the halves of the first ROM are two programs, as in two chips."""
    if evidence.size or not evidence.images or not 2 * CHIP <= len(evidence.images[0]) <= LARGEST:
        return
    image = evidence.images[0]
    halves = [evidence.senses.of(half) for half in np.split(image.value, 2)]
    if not all(half.well for half in halves):
        return
    unlike = len({_FAMILY.get(half.cpu, half.cpu) for half in halves}) > 1
    if not unlike and evidence.senses.of(image.value).gain - sum(half.gain for half in halves) >= APART:
        return
    size = len(image) // 2
    yield Finding(
        "size-ambiguous",
        blocks=True,
        function=image.function,
        probability=0.7,
        evidence=f"each half of the {len(image)} bytes reads as a program of its own, whose jumps do not go to the "
        f"other's code: two ROMs of {size} bytes side by side read so",
        advice="declare the part or the size; if there are two chips, take one of them off the bus",
    )


def _wrong_size(evidence: Evidence, lines: Sequence[int], first: Function, likely: float) -> Finding:
    size = first.size << len(lines)
    names = tuple(line_name(line) for line in lines)
    declared = f"a {evidence.part.type}" if evidence.part else f"{evidence.size} bytes"
    return Finding(
        "wrong-part",
        blocks=True,
        lines=names,
        probability=likely,
        evidence=f"{declared} was declared, but different bytes stand on both sides of {', '.join(names)} at the same "
        f"selects, as in one ROM of {size} bytes",
        advice="read the type number on the specimen again, and declare the part that it is, or --size "
        f"{size}; if a second chip is on the bus, take it off",
    )
