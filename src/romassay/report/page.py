"""The report: one self-contained page with the evidence, to print, to file or to hand on. From an Assay; pure.

No script, nothing from outside the page. Every picture has its numbers in a table or in words beside it, and kinds are
told apart by pattern, letter and shape before colour. Text that came with a log is escaped like any other.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from markupsafe import Markup

from romassay.chain import Assay
from romassay.docket.manifest import Manifest
from romassay.report.drawing_decode import decode_drawing, equation
from romassay.report.drawing_image import (
    data_address,
)
from romassay.report.drawing_map import legend, map_drawing, says_of
from romassay.report.findings import findings_in_words
from romassay.report.page_image import Listed, image_piece
from romassay.report.picture import name_of
from romassay.report.places import next_to_read, span
from romassay.report.render import render_page, safe
from romassay.report.steps import steps
from romassay.report.summary import (
    because,
    besides,
    decode_in_words,
    headline,
)
from romassay.report.svg import drawing, rect
from romassay.report.words import LEVELS, LIMITS, digits, listed, pass_name, plural, size, some
from romassay.rig import Rig
from romassay.survey.model import RegionKind, Survey
from romassay.version import VERSION

_MOST_RANGES = 100

_NO_DOCKET = Manifest()


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph kept with the docket."""

    name: str
    kind: str
    content: bytes


@dataclass(frozen=True, slots=True)
class About:
    """What a page says beside the assay.

    Attributes:
        name: of the specimen or its docket, as a heading.
        manifest: history and what was said about the files.
        photos: to be shown.
        listings: of images, by their number from 0.
        command: the call that new files and options are added to.
    """

    name: str
    manifest: Manifest = _NO_DOCKET
    photos: tuple[Photo, ...] = ()
    listings: Mapping[int, Listed] = field(default_factory=dict)
    command: str = "romassay assay -o DOCKET"


CHECKING = (
    "Files. Each log lies in the docket's folder 'readings', byte for byte as it was given. In the docket, "
    "sha256sum readings/* *.bin prints digests to hold against those of this page.",
    "Results. On a copy of the docket, romassay assay -o COPY derives everything anew from the logs. The same version "
    "gives the same record and images, byte for byte.",
    "Bytes. What the image holds at an offset stands in the logs at that offset behind each of its places.",
    "How sure. From how often observations differ, the upper 95 % limit of the rate at which a single one errs is "
    "taken (Clopper and Pearson, Biometrika 26, 1934). At that rate, after all votes, so many bytes would be wrong: "
    "the count that a Poisson variable of this mean exceeds once in twenty times, or the mean where it is below 0.05.",
    "Probabilities. That of a CPU says how often such an answer was right on code that training had not seen. That of "
    "a finding is an estimate, held against invented specimens with known faults.",
)

CAUTIONS = (
    "What repetition proves: that the specimen put these bytes on the bus in this wiring. A stuck or swapped line, a "
    "wrong part, or RAM that was never switched off would repeat as well; what spoke against each is said above.",
    "The bound on wrong bytes covers random errors between the chip and the log only.",
    "Before the specimen goes into a socket again: check its supply pins and ratings against a data sheet of that very "
    "type number, discharge yourself, and switch off before you plug or pull it.",
    "Mains, picture tubes and charged capacitors inside a host can kill. Local codes and licensed practice come first.",
    "What a ROM holds may be somebody's work. Whether it may be copied, kept or passed on differs by place; this is no "
    "legal advice.",
)


def report_page(assay: Assay, about: About) -> str:
    """Return the report as one HTML page."""
    context = {
        "name": about.name,
        "version": VERSION,
        "verdict": _verdict(assay),
        "specimen": list(_specimen(assay, about)),
        "photos": [{"name": p.name, "address": data_address(p.content, p.kind)} for p in about.photos],
        "map": _map(assay.survey),
        "functions": _functions(assay.survey, assay.options.rig),
        "images": [
            image_piece(assay, number, image, about.listings.get(number)) for number, image in enumerate(assay.images)
        ],
        "findings": findings_in_words(assay),
        "limits": [LIMITS[limit] for limit in assay.limits],
        "steps": steps(assay, about.command, keeps=True),
        "readings": [_reading(assay, index) for index in range(len(assay.readings.readings))],
        "digests": _digests(assay),
        "history": about.manifest.history,
        "checking": CHECKING,
        "cautions": CAUTIONS,
    }
    return render_page("report.html", context)


def assay_piece(assay: Assay) -> str:
    """Return the verdict, the map and the decode of an assay as a small page, for a notebook."""
    pieces = {
        "verdict": _verdict(assay),
        "map": _map(assay.survey),
        "functions": _functions(assay.survey, assay.options.rig),
    }
    return render_page("piece.html", pieces)


def survey_piece(survey: Survey) -> str:
    """Return the map and the decode of a survey as a small page, for a notebook."""
    return render_page("piece.html", {"verdict": None, "map": _map(survey), "functions": _functions(survey)})


def _verdict(assay: Assay) -> dict[str, str]:
    head, _ = headline(assay)
    return {
        "kind": assay.verdict,
        "word": assay.verdict.replace("-", " "),
        "head": head,
        "because": because(assay),
        "besides": besides(assay),
    }


def _specimen(assay: Assay, about: About) -> Iterator[tuple[str, str]]:
    options = assay.options
    yield "Part", f"{options.part.type}: {options.part.title}" if options.part else "not declared"
    if options.size:
        yield "Size of the ROM", f"{size(options.size)}, as declared"
    yield "Bus", f"{assay.survey.address_bits} address lines"
    if options.rig:
        yield from _rig(options.rig)
    if assay.readings.excluded:
        yield "Left out", some([span(assay, item.first, item.last) for item in assay.readings.excluded], 8)
    sessions = sorted({r.conditions.session for r in assay.readings.readings if r.conditions.session})
    if sessions:
        yield "Sessions", ", ".join(sessions)
    roles = [r.role for r in assay.readings.readings]
    counts = [f"{plural(roles.count(role), 'reading')} ({role.replace('-', ' ')})" for role in dict.fromkeys(roles)]
    yield "Readings", listed(counts) or "none"
    if about.manifest.history:
        yield "Kept since", about.manifest.history[0].when


def _rig(rig: Rig) -> Iterator[tuple[str, str]]:
    """Yield the wiring, as far as the rig file says it."""
    if rig.title:
        yield "Rig", rig.title
    if rig.host.title:
        yield "Host", rig.host.title
    crossed = [f"{pin} on {line}" for pin, line in rig.wiring.items() if pin != line]
    straight = len(rig.wiring) - len(crossed)
    if rig.wiring:
        others = f"{straight} pins on the host's lines of the same name" if straight else ""
        yield "Wiring", "; ".join(text for text in (", ".join(crossed), others) if text)
    if rig.held:
        yield "Pins held", ", ".join(f"{pin} {level}" for pin, level in rig.held.items())


def _map(survey: Survey) -> dict[str, Any]:
    ranges: dict[str, list[str]] = {}
    extent: dict[str, int] = {}
    for region in survey.regions:
        where, what = says_of(survey, region)
        ranges.setdefault(what, []).append(where)
        extent[what] = extent.get(what, 0) + region.last - region.first + 1
    return {
        "drawing": safe(map_drawing(survey)),
        "legend": [
            {"sample": _sample(kind), "words": f"{letter} {words}".strip()} for kind, letter, words in legend(survey)
        ],
        "rows": [
            {"what": what, "where": some(places, _MOST_RANGES), "size": size(extent[what])}
            for what, places in ranges.items()
        ],
    }


def _sample(kind: RegionKind) -> Markup:
    return safe(drawing([rect(1, 1, 22, 14, class_=f"k-{kind}")], 24, 16, kind))


def _functions(survey: Survey, rig: Rig | None = None) -> list[dict[str, Any]]:
    pins_on: dict[str, list[str]] = {}
    for pin, line in rig.wiring.items() if rig else ():
        pins_on.setdefault(line, []).append(pin)
    return [_function(survey, index, pins_on, rig) for index in range(len(survey.functions))]


def _function(survey: Survey, index: int, pins_on: Mapping[str, Sequence[str]], rig: Rig | None) -> dict[str, Any]:
    function = survey.functions[index]
    name = name_of(survey, index)
    wide = digits(survey.address_bits)
    places = [f"{copy.first:0{wide}X}" for copy in function.copies]
    read = [
        f"{item.where.first:0{wide}X}-{item.where.last:0{wide}X} ({listed(item.lines)})"
        for item in next_to_read(function, rig)
    ]
    return {
        "name": name,
        "place": f"{size(function.size)} at {some(places, 8) or 'addresses that were not read'}",
        "equation": equation(function, name),
        "words": decode_in_words(function),
        "drawing": safe(decode_drawing(function, pins_on)),
        "levels": [(line, LEVELS[level]) for line, level in reversed(function.decode.items())],
        "pins": [(pin, LEVELS[level]) for pin, level in function.pins or ()],
        "next": listed(read),
    }


def _reading(assay: Assay, index: int) -> dict[str, Any]:
    reading = assay.readings.readings[index]
    spans = reading.spans()
    source = reading.source
    return {
        "name": pass_name(source.name, source.pass_number),
        "role": reading.role.replace("-", " "),
        "session": reading.conditions.session or "",
        "where": some([span(assay, item.first, item.last) for item in spans], 4) or "nothing",
        "bytes": len(reading),
        "holes": len(reading.holes),
        "bad": source.bad_lines,
        "format": source.format,
        "layout": source.layout,
    }


def _digests(assay: Assay) -> list[dict[str, str]]:
    named = {reading.source.name: reading.source.sha256 for reading in assay.readings.readings}
    return [{"name": name, "sha256": digest} for name, digest in named.items()]
