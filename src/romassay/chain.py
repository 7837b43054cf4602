"""The chain: readings in, an assay out. This is the one place where the stages are joined."""

from __future__ import annotations

import zlib
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import Literal, Protocol

import numpy as np

from romassay.address import Range
from romassay.code.model import Code
from romassay.errors import BadInput, BadValue
from romassay.finding import Finding, Limit
from romassay.order import ordered
from romassay.part import Part
from romassay.reading import Reading, ReadingSet, edges_of, is_copy, within
from romassay.rig import Rig
from romassay.settle.model import Decision, Image
from romassay.survey.model import Survey

Verdict = Literal["confirmed", "provisional", "not-found"]


@dataclass(frozen=True, slots=True)
class Options:
    """What the person said about the specimen and what is asked of the result.

    Attributes:
        part: the declared part, or None.
        rig: how it was wired, or None; the decode is then said in its pins too.
        size: bytes of the ROM where no part says it, or None to infer it.
        target: wrong bytes that may remain in the image at 95 %.
        decisions: bytes decided by a person, by function index; offsets are those of the image as read.
        apply_findings: put images right where lines are swapped or data inverted; nothing is confirmed by that.
    """

    part: Part | None = None
    rig: Rig | None = None
    size: int | None = None
    target: float = 0.01
    decisions: tuple[tuple[int, Decision], ...] = ()
    apply_findings: bool = False


@dataclass(frozen=True, slots=True, eq=False)
class Assay:
    """What comes out: who answers where, the settled bytes, what stands against them, and the verdict.

    Attributes:
        images: one for each ROM of the survey, in its order.
        limits: what the verdict could not lean on.
        codes: what each image says about itself, in their order.
    """

    readings: ReadingSet
    options: Options
    survey: Survey
    images: tuple[Image, ...]
    findings: tuple[Finding, ...]
    limits: tuple[Limit, ...]
    verdict: Verdict
    codes: tuple[Code, ...] = ()

    @property
    def image(self) -> Image | None:
        """The image of the first ROM, or None where nothing was found."""
        return self.images[0] if self.images else None

    def applied(self, image: Image) -> tuple[Finding, ...]:
        """Return the findings that were applied to an image: lines put in order, data turned upright."""
        from romassay.diagnose import applicable

        return applicable(self.findings, image.function) if self.options.apply_findings else ()

    def __repr__(self) -> str:
        """One line for a notebook: verdict, what was found, where, and its CRC-32."""
        image = self.image
        if image is None:
            return f"<Assay {self.verdict}: no ROM in {len(self.readings.readings)} reading(s)>"
        function = self.survey.functions[image.function]
        first = min((copy.first for copy in function.copies), default=function.cube.value)
        return (
            f"<Assay {self.verdict}: ROM of {len(image)} bytes at {first:04X}, {len(function.copies)} copies, "
            f"CRC-32 {zlib.crc32(bytes(image)):08x}>"
        )


STRAY_SHARE = 0.02
"""Share of a log's bytes at addresses that a garbled digit explains."""


MOST_PLACES = 1 << 19
"""Stretches of addresses, over all readings, that are surveyed."""

MOST_ISLANDS = 1 << 16
"""The same, of those that are `FAR` from each other."""

FAR = 1 << 10
"""Addresses between two stretches that no noise makes."""


class HasReadings(Protocol):
    """Anything that holds readings: what `load` returns, or a ReadingSet."""

    @property
    def readings(self) -> tuple[Reading, ...]:
        """The readings."""


def gather(
    sources: ReadingSet | HasReadings | Reading | Iterable[HasReadings | Reading],
    *,
    exclude: Iterable[Range] = (),
    address_bits: int | None = None,
) -> ReadingSet:
    """Put readings together as one set: files that are equal count once, and so do copies of a reading.

    Files are equal byte for byte, or as texts but for their blanks, line ends, capitals and encoding.
    The bus has as many lines as the widest reading, unless `address_bits` says otherwise; what lies beyond becomes a
    hole.

    Raises:
        TypeError: something that holds no readings, such as a file's name.
        BadInput: bytes in more separate places than any dump has.
    """
    if isinstance(sources, ReadingSet):
        return sources
    seen: set[tuple[str, str, int]] = set()
    kept: list[Reading] = []
    duplicates: list[str] = []
    for reading in _readings_of(sources):
        source = reading.source
        keys = {(said, reading.role, source.pass_number) for said in (source.sha256, source.wording) if said}
        if keys & seen:
            if source.name not in duplicates:
                duplicates.append(source.name)
            continue
        seen |= keys
        kept.append(reading)
    _refuse_scattered(kept)
    kept, copied = _without_copies(kept)
    bits = address_bits or _bus_lines(kept)
    readings = ordered([within(r, bits) for r in kept])
    return ReadingSet(readings, bits, tuple(exclude), tuple(duplicates), tuple(copied))


def _readings_of(sources: object) -> list[Reading]:
    """Return the readings of one source or of many; whatever else a person may hand over is named."""
    if isinstance(sources, Reading):
        return [sources]
    if hasattr(sources, "readings"):
        return list(sources.readings)
    if isinstance(sources, str) or not isinstance(sources, Iterable):
        raise TypeError(f"{sources!r} holds no readings; give what `romassay.load` returns for a file")
    return [reading for item in sources for reading in _readings_of(item)]


def _without_copies(readings: Sequence[Reading]) -> tuple[list[Reading], list[str]]:
    """Return the readings without those that are another one saved or shown twice, and the names of these."""
    kept: list[Reading] = []
    copied: list[str] = []
    for reading in readings:
        if any(one.role == reading.role and is_copy(one, reading) for one in kept):
            copied.append(f"{reading.source.name}, pass {reading.source.pass_number}")
        else:
            kept.append(reading)
    return kept, copied


def _refuse_scattered(readings: Sequence[Reading]) -> None:
    """Raise BadInput where the bytes stand in more places, or more far apart, than any dump has them."""
    if not readings:
        return
    edges = edges_of(np.concatenate([reading.runs for reading in readings]))
    apart = np.count_nonzero(edges[1:, 0] - edges[:-1, 1] > FAR)
    most = MOST_PLACES if len(edges) > MOST_PLACES else MOST_ISLANDS
    if len(edges) > MOST_PLACES or apart >= MOST_ISLANDS:
        raise BadInput(
            f"the bytes stand in more than {most} places with gaps between them: no dump is so scattered",
            place=max(readings, key=lambda reading: len(reading.runs)).source.name,
            advice="convert the part that matters with --range, and give that",
        )


def _bus_lines(readings: Sequence[Reading]) -> int:
    """Return the lines that the logs' addresses need; a few addresses far out are a garbled digit, not a wider bus."""
    bits = max((r.address_bits for r in readings), default=16)
    total = sum(len(r) for r in readings)
    while sum(_beyond(r, bits) for r in readings) > STRAY_SHARE * total:
        bits += 1
    return bits


def _beyond(reading: Reading, bits: int) -> int:
    """Return how many observed bytes lie beyond a bus of so many lines."""
    runs = reading.runs
    return int(runs[runs[:, 0] + runs[:, 2] > 1 << bits, 2].sum())


def assay(
    sources: ReadingSet | HasReadings | Reading | Iterable[HasReadings | Reading],
    options: Options | None = None,
    *,
    exclude: Iterable[Range] = (),
    address_bits: int | None = None,
) -> Assay:
    """Find the ROM among what answered, settle its bytes and say how sure that is.

    Args:
        sources: readings, or what `load` returned, one or many.
        options: part, size, target and decisions.
        exclude: ranges to leave out.
        address_bits: lines of the bus, where the logs do not show it.

    Raises:
        BadValue: there is no reading.
        TypeError, BadInput: as `gather`.
    """
    from romassay.code import about_code, read_code
    from romassay.diagnose import corrected, diagnose
    from romassay.judge import judge
    from romassay.settle import settle
    from romassay.survey import survey
    from romassay.survey.pins import in_pins

    options = options or Options()
    readings = gather(sources, exclude=exclude, address_bits=address_bits)
    if not readings.readings:
        raise BadValue("there is no reading to assay", advice="load at least one log of the specimen")
    found = in_pins(survey(readings, part=options.part, size=options.size), options.rig, options.part)
    images = settle(readings, found, target=options.target, decisions=options.decisions)
    faults = diagnose(readings, found, images, part=options.part, size=options.size, rig=options.rig)
    if options.apply_findings:
        images = corrected(images, faults)
    codes = read_code(images)
    doubts = (*faults, *about_code(codes, images))
    judgement = judge(
        readings, found, images, doubts, part=options.part, size=options.size, codes=codes, rig=options.rig
    )
    return Assay(readings, options, found, images, judgement.findings, judgement.limits, judgement.verdict, codes)
