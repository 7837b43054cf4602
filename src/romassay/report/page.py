"""The report: one self-contained page with the evidence, to print, to file or to hand on. From an Assay; pure.

No script, nothing from outside the page. Every picture has its numbers in a table or in words beside it, and kinds are
told apart by pattern, letter and shape before colour. Text that came with a log is escaped like any other.
"""

from __future__ import annotations

import hashlib
import struct
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from importlib.resources import files
from typing import Any

import jinja2
from markupsafe import Markup

from romassay.chain import Assay
from romassay.docket.manifest import Manifest
from romassay.docket.record import crc32, image_name
from romassay.report.agreement import Agreement, agreement
from romassay.report.bitmap import bitmap
from romassay.report.code import code_sentences
from romassay.report.drawing_decode import decode_drawing, equation
from romassay.report.drawing_image import (
    MARKS,
    agreement_drawing,
    columns_of,
    data_address,
    evidence_drawing,
    mark_sample,
    marks_of,
)
from romassay.report.drawing_map import legend, map_drawing, says_of
from romassay.report.findings import findings_in_words
from romassay.report.picture import name_of
from romassay.report.places import first_of, next_to_read, span
from romassay.report.steps import steps
from romassay.report.summary import (
    because,
    besides,
    bound_words,
    decode_in_words,
    headline,
    place_words,
    seen_words,
    vote,
)
from romassay.report.svg import drawing, element, rect
from romassay.report.words import LEVELS, LIMITS, digits, listed, plural, size, some
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.model import RegionKind, Survey
from romassay.version import VERSION

_MOST_RANGES = 100
_MOST_HEX = 0x2000
_MOST_DOUBTS = 400
_PNG_SIZE = 16
"""Where the width and height of a PNG stand (ISO/IEC 15948, 11.2.2)."""

_NO_DOCKET = Manifest()


@dataclass(frozen=True, slots=True)
class Photo:
    """A photograph kept with the docket."""

    name: str
    kind: str
    content: bytes


@dataclass(frozen=True, slots=True)
class Listed:
    """An image as source, and its strip of what is code, text and table as SVG."""

    text: str
    strip: bytes


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
            _image(assay, number, image, about.listings.get(number)) for number, image in enumerate(assay.images)
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


def render_page(template: str, context: dict[str, Any]) -> str:
    """Return a page of the house's make from one of the templates of this room; everything in it is escaped."""
    environment = jinja2.Environment(
        loader=jinja2.FunctionLoader(_source), autoescape=True, trim_blocks=True, undefined=jinja2.StrictUndefined
    )
    style = Markup(_source("page.css"))  # noqa: S704 - a file of this package
    return environment.get_template(template).render(css=style, patterns=_patterns(), **context)


def _source(name: str) -> str:
    return (files("romassay.report") / "templates" / name).read_text("utf-8")


def _svg(text: str) -> Markup:
    """Mark a drawing of our own as safe: its words were escaped when it was made."""
    return Markup(text)  # noqa: S704 - made by romassay.report.svg


def _patterns() -> Markup:
    """Return the fills by which kinds are told apart without colour."""
    strokes = {
        "ram": ("#fbe3b0", "M0 8L8 0M-2 2L2 -2M6 10L10 6", "#6a4a00"),
        "registers": ("#f4d3e6", "M2 2h2v2h-2zM6 6h2v2h-2z", "#6b2250"),
        "open-bus": ("#f6f6f6", "M0 7.5h8", "#d5d5d5"),
        "host": ("#dcdcdc", "M0 0L8 8M0 8L8 0", "#8a8a8a"),
        "contended": ("#ffd9d6", "M0 4h8M4 0v8", "#8c1a1a"),
        "unknown": ("#ffffff", "M0 0L8 8", "#777777"),
    }
    parts = [
        element(
            "pattern",
            [rect(0, 0, 8, 8, fill=back), element("path", d=path, stroke=ink, stroke_width=1.2, fill="none")],
            id=f"p-{kind}",
            width=8,
            height=8,
            patternUnits="userSpaceOnUse",
        )
        for kind, (back, path, ink) in strokes.items()
    ]
    defs = element("defs", parts)
    return _svg(element("svg", [defs], width=0, height=0, style="position:absolute", aria_hidden="true"))


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
        "drawing": _svg(map_drawing(survey)),
        "legend": [
            {"sample": _sample(kind), "words": f"{letter} {words}".strip()} for kind, letter, words in legend(survey)
        ],
        "rows": [
            {"what": what, "where": some(places, _MOST_RANGES), "size": size(extent[what])}
            for what, places in ranges.items()
        ],
    }


def _sample(kind: RegionKind) -> Markup:
    return _svg(drawing([rect(1, 1, 22, 14, class_=f"k-{kind}")], 24, 16, kind))


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
        "drawing": _svg(decode_drawing(function, pins_on)),
        "levels": [(line, LEVELS[level]) for line, level in reversed(function.decode.items())],
        "pins": [(pin, LEVELS[level]) for pin, level in function.pins or ()],
        "next": listed(read),
    }


def _image(assay: Assay, number: int, image: Image, source: Listed | None) -> dict[str, Any]:
    data = bytes(image)
    file = image_name(number, "bin")
    shown = min(len(data), _MOST_HEX)
    return {
        "name": name_of(assay.survey, image.function),
        "file": file,
        "seen": seen_words(image),
        "bound": bound_words(image),
        "agreement": _agreement(assay, agreement(assay, image)),
        "evidence": _evidence(image),
        "doubts": [
            {
                "offset": f"{d.offset:04X}",
                "words": listed([vote(value, count) for value, count, _ in d.alternatives]) or "nothing",
            }
            for d in image.doubtful[:_MOST_DOUBTS]
        ],
        "decided": [
            {"offset": f"{d.offset:04X}", "value": f"{d.value:02X}", "reason": d.reason} for d in image.decided
        ],
        "digests": [
            ("Size", f"{len(data)} bytes"),
            ("Place", place_words(assay, image)),
            ("CRC-32", crc32(data)),
            ("SHA-1", hashlib.sha1(data, usedforsecurity=False).hexdigest()),
            ("SHA-256", hashlib.sha256(data).hexdigest()),
        ],
        "code": code_sentences(assay, number),
        "listing": source.text if source else "",
        "strip": data_address(source.strip, "image/svg+xml") if source else "",
        "bits": _bits(data),
        "hex": _hex(image, first_of(assay, image), shown, digits(assay.survey.address_bits)),
        "hex_more": f"The first {size(shown)} of {size(len(data))}; all of it is in {file}."
        if shown < len(data)
        else "",
    }


def _evidence(image: Image) -> dict[str, Any]:
    """Return the picture of what stands behind each byte, with its legend."""
    return {
        "drawing": _svg(evidence_drawing(image)),
        "columns": columns_of(len(image)),
        "legend": [
            {"sample": _svg(mark_sample(kind)), "words": f"{plural(len(offsets), 'byte')} {MARKS[kind]}"}
            for kind, offsets in marks_of(image).items()
            if offsets
        ],
    }


def _bits(data: bytes) -> dict[str, Any]:
    """Return the bits as a picture, with its size in dots."""
    picture = bitmap(data, 64, "png")
    width, height = struct.unpack_from(">II", picture, _PNG_SIZE)
    return {"address": data_address(picture, "image/png"), "width": width, "height": height}


def _agreement(assay: Assay, table: Agreement) -> dict[str, Any]:
    return {
        "drawing": _svg(agreement_drawing(table, digits(assay.survey.address_bits))),
        "left_out": table.left_out,
        "rows": [
            {
                "name": _named(reading.source.name, reading.source.pass_number),
                "seen": int(seen),
                "differing": int(wrong),
            }
            for reading, seen, wrong in zip(
                table.readings, table.seen.sum(axis=1), table.differing.sum(axis=1), strict=True
            )
        ],
    }


def _named(name: str, number: int) -> str:
    return f"{name}, pass {number}" if number > 1 else name or "unnamed"


def _hex(image: Image, first: int, count: int, wide: int) -> Markup:
    """Return the bytes sixteen to a line, by address, with what is in doubt or was never seen outlined."""
    data = bytes(image)[:count]
    unsure = {d.offset for d in image.doubtful} | {d.offset for d in image.decided}
    missing = set(marks_of(image)["unseen"])
    lines = []
    for start in range(0, len(data), 16):
        row = data[start : start + 16]
        cells = [_byte(value, start + i, unsure, missing) for i, value in enumerate(row)]
        text = "".join(chr(c) if 0x20 <= c < 0x7F else "." for c in row)
        lines.append(
            Markup("{}  {}{}  {}\n").format(
                f"{first + start:0{wide}X}", Markup(" ").join(cells), "   " * (16 - len(row)), text
            )
        )
    return Markup("").join(lines)


def _byte(value: int, offset: int, unsure: set[int], missing: set[int]) -> Markup:
    if offset in missing:
        return Markup("<mark>??</mark>")
    return Markup("<mark>{}</mark>").format(f"{value:02X}") if offset in unsure else Markup("{}").format(f"{value:02X}")


def _reading(assay: Assay, index: int) -> dict[str, Any]:
    reading = assay.readings.readings[index]
    spans = reading.spans()
    source = reading.source
    return {
        "name": _named(source.name, source.pass_number),
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
