"""What a page says of one image: the evidence behind its bytes, what is in doubt, its code, bits and bytes."""

from __future__ import annotations

import hashlib
import struct
from dataclasses import dataclass
from typing import Any

import numpy as np
from markupsafe import Markup

from romassay.chain import Assay
from romassay.code.stride import stride_of, wide_of
from romassay.docket.record import crc32, image_name
from romassay.report.agreement import Agreement, agreement
from romassay.report.bitmap import bitmap
from romassay.report.code import code_sentences
from romassay.report.drawing_image import (
    MARKS,
    agreement_drawing,
    columns_of,
    data_address,
    evidence_drawing,
    mark_sample,
    marks_of,
)
from romassay.report.picture import name_of
from romassay.report.places import first_of
from romassay.report.render import safe
from romassay.report.summary import (
    bound_words,
    place_words,
    seen_words,
    vote,
)
from romassay.report.words import digits, listed, pass_name, plural, size
from romassay.settle.model import Image

_MOST_HEX = 0x2000

_MOST_DOUBTS = 400

_STRIP = 64
"""Lines of a cell of bits, where the bytes tell of none."""

_PNG_SIZE = 16
"""Where the width and height of a PNG stand (ISO/IEC 15948, 11.2.2)."""


@dataclass(frozen=True, slots=True)
class Listed:
    """An image as source, and its strip of what is code, text and table as SVG."""

    text: str
    strip: bytes


def image_piece(assay: Assay, number: int, image: Image, source: Listed | None) -> dict[str, Any]:
    """Return what the template shows of one image, the first being 0, with its listing where there is one."""
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
        "drawing": safe(evidence_drawing(image)),
        "columns": columns_of(len(image)),
        "legend": [
            {"sample": safe(mark_sample(kind)), "words": f"{plural(len(offsets), 'byte')} {MARKS[kind]}"}
            for kind, offsets in marks_of(image).items()
            if offsets
        ],
    }


def _bits(data: bytes) -> dict[str, Any]:
    """Return the bits as a picture, with its size in dots and how it is to be read."""
    values = np.frombuffer(data, np.uint8)
    wide = wide_of(values)
    cell = stride_of(values, wide)
    stride = cell or _STRIP * wide
    picture = bitmap(data, stride, "png", wide=wide)
    width, height = struct.unpack_from(">II", picture, _PNG_SIZE)
    one = plural(wide, "byte")
    shape = f"cells of {stride} bytes, as they repeat" if cell else f"strips of {one} across and {_STRIP} down"
    return {"address": data_address(picture, "image/png"), "width": width, "height": height, "shape": shape}


def _agreement(assay: Assay, table: Agreement) -> dict[str, Any]:
    return {
        "drawing": safe(agreement_drawing(table, digits(assay.survey.address_bits))),
        "left_out": table.left_out,
        "rows": [
            {
                "name": pass_name(reading.source.name, reading.source.pass_number),
                "seen": int(seen),
                "differing": int(wrong),
            }
            for reading, seen, wrong in zip(
                table.readings, table.seen.sum(axis=1), table.differing.sum(axis=1), strict=True
            )
        ],
    }


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
