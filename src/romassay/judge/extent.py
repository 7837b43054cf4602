"""Doubts how far a ROM reaches: blank blocks inside it, and what would be blank in one of twice its size."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence

import numpy as np

from romassay.address import Range
from romassay.code.model import Code
from romassay.finding import Finding
from romassay.judge.evidence import BLANKS, DOUBTED, RAM_SIZES, ends_in_vectors, reads_as_code, tells_of_itself
from romassay.part import Part
from romassay.reading import Bytes, ReadingSet
from romassay.settle.model import Image
from romassay.survey.consensus import consensus
from romassay.survey.model import Survey
from romassay.survey.pairs import SAME_SHARE
from romassay.survey.stack import GRANULE_LINES, stack

CUT_OUT = 0.5
"""Chance that a blank block cut sharply out of a program is padding from elsewhere. Common practice, no source."""

LARGER = 0.15
"""Chance that a ROM is larger than what it does not leave blank. Common practice, no source."""

MOST_BESIDE = 4
"""Memories beside a ROM: RAM, ports and a timer of a combination chip, and one of the host's."""

REGIONS = 64
"""Stretches of the floating bus, and copies, that are looked at."""


SHOWN_PLACES = 4
"""Places that a finding names."""


def about_gap(
    readings: ReadingSet, found: Survey, images: Sequence[Image], part: Part | None, size: int | None
) -> Iterator[Finding]:
    """Doubt the size of a ROM that holds one value over a whole block: two chips may stand there.

    Where it stands once, any such block is doubted that something follows which begins as a chip would. At its end, or
    where it repeats, only one that begins and ends exactly as a chip would: code ends raggedly.
    """
    controlled = any(r.role == "empty-socket" for r in readings.readings)
    if not images or part or size or controlled:
        return
    image = images[0]
    once = len(found.functions[image.function].copies) == 1
    gap = next((g for g in _of_one_value(image) if _is_exact(image, g) or (once and _chip_follows(image, g))), None)
    if gap is None:
        return
    base = found.functions[image.function].copies[0].first
    yield Finding(
        "size-ambiguous",
        blocks=True,
        function=image.function,
        probability=DOUBTED,
        where=(Range(base + gap.first, base + gap.last),),
        evidence=f"{gap.first:04X}-{gap.last:04X} of it hold one value only: a blank part, or the floating bus between "
        "two chips" + ("; it appears once, so nothing tells" if once else ""),
        advice="declare the part or the size, or add a reading of the empty socket",
    )


def about_pieces(found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt the size of a ROM beside more small memories than any chip has: they may be pieces of a larger one."""
    beside = len(found.functions) - 1
    if not images or beside <= MOST_BESIDE:
        return
    yield Finding(
        "size-ambiguous",
        blocks=True,
        function=images[0].function,
        probability=DOUBTED,
        evidence=f"{beside} other memories answer beside it, more than any chip has: they may be pieces of one larger "
        "ROM, the rest of which reads as the bus does",
        advice="declare the part or the size, or read with the data lines pulled up and then down: what stays is "
        "driven",
    )


def about_other_half(found: Survey, images: Sequence[Image], codes: Sequence[Code]) -> Iterator[Finding]:
    """Doubt an undeclared size where nothing free stands across the next line: the host's memory, or other memories.

    Where the host's memory covers half of a copy, only the other half is seen twice, and beside its copies stand what
    is hidden there and what hides it. Where the same memory stands beside every copy, the line is a select.
    """
    if not images or tells_of_itself(codes, images):
        return
    function = found.functions[images[0].function]
    line = function.size.bit_length() - 1
    if line >= found.address_bits or function.level(line) not in ("0", "1"):
        return
    firsts = [copy.first ^ function.size for copy in function.copies[:REGIONS] if not copy.contended]
    beside = [_stands_at(found, first, function.size) for first in firsts]
    if not beside or None in beside or (len({*beside}) == 1 < len(beside) and beside[0] != "host"):
        return
    yield Finding(
        "size-ambiguous",
        blocks=True,
        function=images[0].function,
        probability=DOUBTED,
        where=tuple(map(function.place, firsts[:SHOWN_PLACES])),
        evidence=f"beside it, across A{line}, the bus is free nowhere: the host's memory, or another that appears less "
        f"often, may hide the other half of a ROM of {2 * function.size} bytes",
        advice="declare the part or the size, or read where it has the window to itself",
    )


def _stands_at(found: Survey, first: int, size: int) -> int | str | None:
    """Return what takes most of a block: which ROM, or 'host'; None where that is the bus, or anything else."""
    taken: Counter[int | str] = Counter()
    for region in found.regions:
        what: int | str = region.kind
        if region.kind == "rom" and region.function is not None:
            what = region.function
        taken[what] += max(0, min(region.last, first + size - 1) + 1 - max(region.first, first))
    chief, most = max(taken.items(), key=lambda item: item[1])
    return chief if most and (isinstance(chief, int) or chief == "host") else None


def about_rest(
    readings: ReadingSet, found: Survey, images: Sequence[Image], codes: Sequence[Code]
) -> Iterator[Finding]:
    """Doubt an undeclared size where the other half of a ROM of twice that size would read as the bus does, if blank.

    Unused bytes are at the end of a ROM for the most part; only there they count against it. A program that ends in
    its vectors, or that checks itself, is whole.
    """
    if not images or ends_in_vectors(codes) or tells_of_itself(codes, images):
        return
    function = found.functions[images[0].function]
    line = function.size.bit_length() - 1
    if line >= found.address_bits or function.level(line) not in ("0", "1"):
        return
    others = [copy.first ^ function.size for copy in function.copies]
    said = [_said(readings, other, function.size) for other in others]
    blank = next(
        (value for value in BLANKS if any(len(one) for one in said) and all(_is(one, value) for one in said)), -1
    )
    if blank < 0 or ("pulled-down" if blank else "pulled-up") in {r.role for r in readings.readings}:
        return
    follows, alone = function.level(line) == "0", not _rests_at(readings, found, blank, others, function.size)
    yield Finding(
        "size-ambiguous",
        blocks=follows or alone,
        function=images[0].function,
        probability=DOUBTED if alone else LARGER,
        where=(Range(others[0], others[0] + function.size - 1),),
        evidence=f"what {'follows' if follows else 'is before it'} reads {blank:02X} throughout, as blank bytes would, "
        "and "
        + ("as the bus does not elsewhere" if alone else "as the bus does where nobody answers")
        + f": the ROM may be larger than {function.size} bytes, and blank there",
        advice="declare the part or the size, or read with the data lines pulled "
        f"{'down' if blank else 'up'}: what still reads {blank:02X} there is the ROM's",
    )


def _rests_at(readings: ReadingSet, found: Survey, value: int, others: Sequence[int], size: int) -> bool:
    """Tell whether the floating bus says a value elsewhere than in some blocks, or is seen nowhere else."""
    open_bus = [region for region in found.regions if region.kind == "open-bus"]
    ends = [(max(r.first, start), min(r.last + 1, stop)) for r in open_bus for start, stop in _between(others, size)]
    blocks = [(first, stop - first) for first, stop in ends if stop - first >= 1 << GRANULE_LINES]
    said = np.concatenate([_said(readings, *block) for block in blocks[:REGIONS]] or [np.zeros(0, np.uint8)])
    return not len(said) or float(np.mean(said == value)) >= 0.5


def _between(firsts: Sequence[int], size: int) -> Iterator[tuple[int, int]]:
    """Yield the ranges, each as its first address and the one behind its last, that some blocks leave free."""
    start = 0
    for first in sorted(firsts):
        yield start, first
        start = first + size
    yield start, 1 << 32


def _said(readings: ReadingSet, first: int, size: int) -> Bytes:
    """Return the bytes of a block, as far as the readings of the specimen are sure of them."""
    granules = np.arange(first >> GRANULE_LINES, (first + size) >> GRANULE_LINES)
    said = consensus(stack(readings.with_role("specimen"), readings.address_bits, readings.excluded, granules))
    sure: Bytes = said.value[said.sure]
    return sure


def _is(said: Bytes, value: int) -> bool:
    """Tell whether bytes are one value, but for noise; of a block that was not read, nothing else is known."""
    return not len(said) or float(np.mean(said == value)) >= SAME_SHARE


def about_hollow(images: Sequence[Image], codes: Sequence[Code]) -> Iterator[Finding]:
    """Doubt a program with a blank block in its midst that cuts it off in full flow, and goes on as sharply behind.

    Unused room begins where code ends, raggedly; where two address lines act as one, padding takes a block's place.
    """
    if not images or not reads_as_code(codes):
        return
    image = images[0]
    inner = (
        g for g in _of_one_value(image) if g.first > 0 and g.last < len(image) - 1 and image.value[g.first] in BLANKS
    )
    gap = next((g for g in inner if _is_exact(image, g)), None)
    if gap is None:
        return
    yield Finding(
        "address-lines-bridged",
        blocks=True,
        function=image.function,
        offsets=(gap.first, gap.last),
        probability=CUT_OUT,
        evidence=f"{gap.first:04X}-{gap.last:04X} are blank, and the program before and behind breaks off just there: "
        "padding from elsewhere may stand in the place of code, as where two address lines act as one",
        advice="power off, then look for a bridge between the address lines, and between them and the selects",
    )


def _of_one_value(image: Image) -> Iterator[Range]:
    """Yield the blocks of an image, an eighth of it or more and as a chip could stand, that hold one value."""
    block = len(image) // 2
    while block >= max(RAM_SIZES[0], len(image) // 8):
        for first in range(0, len(image), block):
            value = image.value[first : first + block]
            if (value == value[0]).all():
                yield Range(first, first + block - 1)
        block //= 2


def _is_exact(image: Image, gap: Range) -> bool:
    """Tell whether the bytes on both sides of a block of one value are others, as far as there are any."""
    value = image.value[gap.first]
    beside = [image.value[at] for at in (gap.first - 1, gap.last + 1) if 0 <= at < len(image)]
    return all(byte != value for byte in beside)


def _chip_follows(image: Image, gap: Range) -> bool:
    """Tell whether what ends a run of one value begins where a chip could; vectors behind padding do not."""
    after = np.flatnonzero(image.value[gap.last + 1 :] != image.value[gap.first])
    return len(after) > 0 and (gap.last + 1 + int(after[0])) % RAM_SIZES[0] == 0
