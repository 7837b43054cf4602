"""What the readings leave open: copied files, missing lines, words of unknown order, no addresses."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romassay.address import Range, merge_ranges
from romassay.finding import Finding
from romassay.judge.evidence import DOUBTED, ENOUGH, shows_places
from romassay.reading import ReadingSet
from romassay.settle.model import Image
from romassay.survey.model import Survey


def about_readings(readings: ReadingSet, images: Sequence[Image]) -> Iterator[Finding]:
    """Yield what the readings show before anything is known of what they hold."""
    yield from _counted_once(readings, images)
    yield from _of_unknown_order(readings)
    yield from _missing_lines(readings, images)


def _counted_once(readings: ReadingSet, images: Sequence[Image]) -> Iterator[Finding]:
    """Tell of files that are copies of others; they block where fewer independent readings are left than it takes."""
    few = not images or images[0].confidence.readings < ENOUGH
    if readings.duplicates:
        names = ", ".join(readings.duplicates[:4])
        yield Finding(
            "duplicate-reading",
            blocks=few,
            evidence=f"equal to a file already there, but for line ends or blanks at most, so counted once: {names}",
            advice="read again, both passes into one log or with the time before each line: where nothing but the "
            "bytes is logged, nobody can tell a second reading from a copied file, and a copy proves nothing",
        )
    if readings.copied:
        yield Finding(
            "duplicate-reading",
            blocks=few,
            evidence="the same digits are spoilt as in an earlier reading and all else is the same, as where one log "
            f"is saved or shown twice, so counted once: {'; '.join(readings.copied[:4])}",
            advice="read the specimen again into a new file; a copy proves nothing",
        )


def _of_unknown_order(readings: ReadingSet) -> Iterator[Finding]:
    """Doubt words of which nothing shows which byte comes first."""
    unordered = [r.source.name for r in readings.with_role("specimen") if r.source.unordered > 1]
    if unordered:
        yield Finding(
            "byte-order",
            blocks=True,
            evidence=f"{', '.join(unordered[:4])}: it prints words, and nothing shows which byte comes first",
            advice="add a reading printed byte by byte, or say it with --layout order=big or order=little",
        )


def _missing_lines(readings: ReadingSet, images: Sequence[Image]) -> Iterator[Finding]:
    """Tell of lines that came damaged or not at all; they block where some byte was seen too seldom for it."""
    holes = [hole for reading in readings.with_role("specimen") for hole in reading.holes]
    if holes:
        where = merge_ranges(Range(h.first, h.last) for h in holes if h.first is not None and h.last is not None)
        missing = sum(r.size for r in where)
        thin = bool(images) and int(images[0].readings.min(initial=ENOUGH)) < ENOUGH
        yield Finding(
            "link-dropout",
            blocks=thin,
            where=where[:100],
            evidence=f"{len(holes)} lines or records came damaged or not at all; {missing} addresses are missing from "
            "one reading or another",
            advice="read again; slow the line down or shorten the cable if it goes on",
        )


def about_place(readings: ReadingSet, found: Survey, images: Sequence[Image]) -> Iterator[Finding]:
    """Doubt where an image begins, if files without addresses begin inside it: with another base it is turned round."""
    if not images or shows_places(readings):
        return
    function = found.functions[images[0].function]
    starts = {int(reading.runs[0, 0]) for reading in readings.with_role("specimen") if len(reading.runs)}
    if all(start % function.size == 0 for start in starts):
        return
    yield Finding(
        "place-not-shown",
        blocks=True,
        function=images[0].function,
        probability=DOUBTED,
        evidence=f"the files hold no addresses, and begin at {min(starts):04X} by the base alone: that is inside a ROM "
        f"of {function.size} bytes, so that with another base another byte would be its first",
        advice="check the base; add a reading that prints its addresses, or one that begins where the ROM does",
    )
