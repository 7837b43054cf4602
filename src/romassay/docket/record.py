"""The record that other programs rely on: `assay.json`, and the image files beside it, from an Assay. Pure.

Every key is described in docs/reference-assay-json.md. Keys may be added; a changed one is a new `SCHEMA`. Equal
assays give equal bytes: nothing in here knows the time, the machine or the folder.
"""

from __future__ import annotations

import hashlib
import zlib
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import msgspec
import numpy as np

from romassay.address import Range
from romassay.chain import Assay
from romassay.code.model import Code
from romassay.finding import Finding
from romassay.formats.model import Piece
from romassay.reading import Reading
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.model import Function, Region
from romassay.version import VERSION

LEAST_CHANCE = 0.0005
"""Probability below which a CPU is left out of the record."""

SCHEMA = "romassay/assay/1"
RECORD_FILE = "assay.json"

Record = dict[str, Any]


@dataclass(frozen=True, slots=True)
class File:
    """A file to be written: its name in the docket and its content."""

    name: str
    data: bytes

    @property
    def sha256(self) -> str:
        """The digest of the content, lower-case hex."""
        return hashlib.sha256(self.data).hexdigest()


def encode(record: Record) -> bytes:
    """Return the record as indented JSON that ends with a line feed."""
    return msgspec.json.format(msgspec.json.encode(record), indent=2) + b"\n"


def result_files(assay: Assay) -> tuple[File, ...]:
    """Return everything that an assay leaves at the top of a docket: the record first, then the images."""
    return (File(RECORD_FILE, encode(record_of(assay))), *image_files(assay))


def image_files(assay: Assay) -> tuple[File, ...]:
    """Return each image as raw bytes and as Intel HEX.

    The raw file holds `romassay.settle.model.FILL` where a byte was never seen. The Intel HEX file stands at the
    address of the image's first copy and leaves such bytes out.
    """
    from romassay.formats.model import WriteOptions
    from romassay.formats.records.intel_hex import FORMAT

    write = FORMAT.write
    files = []
    for number, image in enumerate(assay.images):
        first = first_address(assay.survey.functions[image.function])
        files.append(File(image_name(number, "bin"), bytes(image)))
        if write:
            files.append(File(image_name(number, "hex"), write(_seen_pieces(image, first), WriteOptions())))
    return tuple(files)


def image_name(number: int, suffix: str) -> str:
    """Return the file name of an image: 'image.bin', then 'image-2.bin' and so on."""
    return f"image.{suffix}" if number == 0 else f"image-{number + 1}.{suffix}"


def _seen_pieces(image: Image, first: int) -> list[Piece]:
    seen = np.flatnonzero(image.seen)
    if not len(seen):
        return []
    runs = np.split(seen, np.flatnonzero(np.diff(seen) > 1) + 1)
    data = bytes(image)
    return [Piece(first + int(run[0]), data[int(run[0]) : int(run[-1]) + 1]) for run in runs]


def first_address(function: Function) -> int:
    """Return the lowest address at which the function was seen alone on the bus, or at all."""
    alone = [copy.first for copy in function.copies if not copy.contended]
    return min(alone or [copy.first for copy in function.copies] or [function.cube.value])


def record_of(assay: Assay) -> Record:
    """Return the record of an assay as plain dictionaries, lists, strings and numbers."""
    images = {image.function: number for number, image in enumerate(assay.images)}
    return {
        "schema": SCHEMA,
        "version": VERSION,
        "options": _options(assay),
        "verdict": assay.verdict,
        "limits": list(assay.limits),
        "readings": [_reading(reading) for reading in assay.readings.readings],
        "duplicates": list(assay.readings.duplicates),
        "regions": [_region(region) for region in assay.survey.regions],
        "functions": [
            _function(assay, function, images.get(index)) for index, function in enumerate(assay.survey.functions)
        ],
        "findings": [_finding(finding) for finding in assay.findings],
    }


def _options(assay: Assay) -> Record:
    options = assay.options
    return {
        "part": options.part.type if options.part else None,
        "rig": _rig(options.rig) if options.rig else None,
        "size": options.size,
        "target": options.target,
        "address_bits": assay.readings.address_bits,
        "exclude": [_range(item) for item in assay.readings.excluded],
        "apply_findings": options.apply_findings,
    }


def _rig(rig: Rig) -> Record:
    return {"title": rig.title, "wiring": dict(rig.wiring), "held": dict(rig.held)}


def _range(item: Range) -> Record:
    return {"first": item.first, "last": item.last}


def _reading(reading: Reading) -> Record:
    spans = reading.spans()
    source = reading.source
    return {
        "source": source.name,
        "sha256": source.sha256,
        "role": reading.role,
        "session": reading.conditions.session,
        "first": spans[0].first if spans else None,
        "last": spans[-1].last if spans else None,
        "bytes": len(reading),
        "holes": len(reading.holes),
        "bad_lines": source.bad_lines,
        "format": source.format,
        "layout": source.layout,
        "pass": source.pass_number,
        "lines": list(source.lines),
        "resent": len(reading.resent),
    }


def _region(region: Region) -> Record:
    return {
        "first": region.first,
        "last": region.last,
        "kind": region.kind,
        "function": region.function,
        "copy": region.copy,
    }


def _function(assay: Assay, function: Function, number: int | None) -> Record:
    record: Record = {
        "kind": function.kind,
        "name": function.name,
        "size": function.size,
        "width": function.width,
        "own_lines": list(function.own_lines),
        "decode": dict(function.decode),
        "pins": None if function.pins is None else dict(function.pins),
        "copies": [
            {"first": c.first, "agreement": c.agreement, "seen": c.seen, "contended": c.contended}
            for c in function.copies
        ],
        "read_next": [{**_range(item.where), "resolves": list(item.lines)} for item in function.read_next],
        "driven": [f"D{i}" for i in range(8) if function.driven >> i & 1],
        "sizes": list(function.sizes),
    }
    if number is not None:
        image = assay.images[number]
        record |= {
            "image": _image(image, number, first_address(function))
            | {"put_right": [finding.kind for finding in assay.applied(image)]},
            "confidence": _confidence(image),
            "code": code_record(assay.codes[number] if number < len(assay.codes) else None),
        }
    return record


def code_record(code: Code | None) -> Record:
    """Return what an image says about itself; probabilities in four digits."""
    if code is None:
        return {"cpu": None, "candidates": [], "origin": None, "origins": [], "entries": [], "checks": []}
    return {
        "cpu": code.cpu,
        "candidates": [[name, round(chance, 4)] for name, chance in code.candidates if chance >= LEAST_CHANCE],
        "origin": code.origin,
        "origins": [[address, round(chance, 4)] for address, chance in code.origins],
        "entries": [[name, address] for name, address in code.entries],
        "checks": [
            {
                "kind": check.kind,
                "first": check.first,
                "last": check.last,
                "stored_at": check.stored_at,
                "value": check.value,
                "chance_hits": check.chance_hits,
            }
            for check in code.checks
        ],
    }


def _image(image: Image, number: int, first: int) -> Record:
    data = bytes(image)
    return {
        "file": image_name(number, "bin"),
        "size": len(data),
        "first": first,
        "crc32": crc32(data),
        "sha1": hashlib.sha1(data, usedforsecurity=False).hexdigest(),
        "sha256": hashlib.sha256(data).hexdigest(),
        "doubtful": [
            {"offset": d.offset, "alternatives": [[value, count] for value, count, _ in d.alternatives]}
            for d in image.doubtful
        ],
        "decided": [{"offset": d.offset, "value": d.value, "reason": d.reason} for d in image.decided],
        "unseen": [_range(item) for item in unseen(image)],
    }


def crc32(data: bytes) -> str:
    """Return the CRC-32 (of IEEE 802.3, as in zlib) as eight lower-case hex digits."""
    return f"{zlib.crc32(data):08x}"


def unseen(image: Image) -> Iterator[Range]:
    """Yield the runs of offsets of which no bit was ever observed."""
    missing = np.flatnonzero(image.seen == 0)
    if len(missing):
        for run in np.split(missing, np.flatnonzero(np.diff(missing) > 1) + 1):
            yield Range(int(run[0]), int(run[-1]))


def _confidence(image: Image) -> Record:
    c = image.confidence
    return {
        "readings": c.readings,
        "sessions": c.sessions,
        "copies": c.copies,
        "observations_min": c.observations_min,
        "disagreements": c.disagreements,
        "wrong_bytes_upper_bound": c.wrong_bytes_upper_bound,
        "level": c.level,
        "more_readings_for_target": c.more_readings_for_target,
    }


def _finding(finding: Finding) -> Record:
    return {
        "kind": finding.kind,
        "function": finding.function,
        "lines": list(finding.lines),
        "offsets": list(finding.offsets),
        "where": [_range(item) for item in finding.where],
        "mapping": dict(finding.mapping) or None,
        "probability": finding.probability,
        "blocks": finding.blocks,
        "evidence": finding.evidence,
        "advice": finding.advice,
        "alternative_to": finding.alternative_to,
    }
