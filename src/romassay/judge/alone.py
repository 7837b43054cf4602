"""Doubts about a memory that answers at one place only: no second place shows whose it is, and where it ends."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romassay.address import Range
from romassay.code.model import Code
from romassay.finding import Finding
from romassay.judge.evidence import DOUBTED, RAM_SIZES, reads_as_code, socket_shows, tells_of_itself
from romassay.part import Part
from romassay.reading import ReadingSet
from romassay.settle.model import Image
from romassay.survey.model import Function, Survey


def about_alone(
    readings: ReadingSet,
    found: Survey,
    images: Sequence[Image],
    part: Part | None,
    size: int | None,
    codes: Sequence[Code],
    *,
    known: Sequence[Finding] = (),
) -> Iterator[Finding]:
    """Doubt a first ROM that answers at one place only, as long as the empty socket was not read there.

    Where neither part nor size was declared, its size rests on its edges alone: half of it may be another chip's, or
    the host's, and so may all of it. Where one was, it is doubted beside something that is not clear, unless it reads
    as code or the person said where the host's memory is. A check of its own tells in any case. What another doubt
    that is `known` already says of its size is not said again.
    """
    if not images or tells_of_itself(codes, images):
        return
    function = found.functions[images[0].function]
    places = [copy.first for copy in function.copies if not copy.contended]
    if len(places) > 1 or socket_shows(readings, function):
        return
    if not part and not size:
        if not any(f.kind == "size-ambiguous" and f.blocks for f in known):
            yield _of_unknown_size(images[0], function)
    elif not readings.excluded and not reads_as_code(codes) and (beside := _not_clear(found)):
        yield _beside_others(images[0], beside)


def _of_unknown_size(image: Image, function: Function) -> Finding:
    first = function.copies[0].first
    return Finding(
        "size-ambiguous",
        blocks=True,
        function=image.function,
        probability=DOUBTED,
        where=(function.place(first),),
        evidence=f"it answers at {first:04X} only, and neither part nor size was declared: half of it may be another "
        "chip's, and any of it the host's own memory",
        advice="declare the part or the size, and add a reading of the empty socket; or read more of the address "
        "space: a second place where it answers shows how large it is",
    )


def _beside_others(image: Image, beside: Sequence[Range]) -> Finding:
    places = ", ".join(str(where) for where in beside[:4])
    return Finding(
        "ram-or-rom",
        blocks=True,
        function=image.function,
        probability=DOUBTED,
        where=tuple(beside),
        evidence=f"it appears once, and something that is not clear answers at {places}: that may be the specimen, and "
        "this the host's own memory",
        advice="exclude the host's memory, or add a reading of the empty socket",
    )


def _not_clear(found: Survey) -> Sequence[Range]:
    """Return where something speaks that nothing explains, if it is as large as the smallest memory of a part."""
    regions = [Range(r.first, r.last) for r in found.regions if r.kind in ("unknown", "contended")]
    return regions if sum(where.size for where in regions) >= RAM_SIZES[0] else ()
