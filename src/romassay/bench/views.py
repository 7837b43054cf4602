"""What the page is told of a docket, as plain dictionaries and bytes. Pure; one function for a question."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

import numpy as np

from romassay.docket.record import record_of
from romassay.errors import BadValue
from romassay.formats.text.terminal import clean, in_words
from romassay.reading import Bytes, Reading
from romassay.report.code import code_sentences
from romassay.report.drawing_decode import equation
from romassay.report.drawing_image import data_address
from romassay.report.drawing_map import is_mirror, letter_of, what_of
from romassay.report.findings import findings_in_words
from romassay.report.picture import name_of
from romassay.report.places import next_to_read
from romassay.report.steps import steps
from romassay.report.strip import strip
from romassay.report.summary import because, besides, bound_words, decode_in_words, headline, seen_words
from romassay.report.words import LIMITS
from romassay.session.assay import Derived
from romassay.session.listing import Wanted, list_found
from romassay.survey.consensus import Consensus, consensus
from romassay.survey.stack import GRANULE, GRANULE_LINES, Stack, stack

MOST_BYTES = 1 << 20
MOST_LINES = 2000
LONGEST_LISTED = 0x10000
UNSEEN, ONCE, AGREED, DIFFERING = range(4)
"""What stands behind a byte at an address of the bus."""


@dataclass(frozen=True, slots=True, eq=False)
class Seen:
    """The specimen's readings laid over each other."""

    stacked: Stack
    said: Consensus


def seen_of(found: Derived) -> Seen:
    """Lay the specimen's readings over each other; nothing is left out."""
    readings = found.assay.readings
    stacked = stack(readings.with_role("specimen"), readings.address_bits)
    return Seen(stacked, consensus(stacked))


def overview(name: str, found: Derived) -> dict[str, Any]:
    """Return everything but bytes and lines: the record, and the words for it."""
    assay, survey = found.assay, found.assay.survey
    head, _ = headline(assay)
    record = record_of(assay)
    for index, function in enumerate(record["functions"]):
        value = survey.functions[index]
        function["read_next"] = [
            {"first": item.where.first, "last": item.where.last, "resolves": item.lines}
            for item in next_to_read(value, assay.options.rig)
        ]
        function["title"] = name_of(survey, index)
        function["words"] = decode_in_words(value)
        function["equation"] = equation(value, function["title"])
    for number, image in enumerate(assay.images):
        function = record["functions"][image.function]
        function["number"] = number
        function["seen"] = seen_words(image)
        function["bound"] = bound_words(image)
        function["flipped"] = list(image.flipped)
        function["righted"] = list(image.link_errors)
    command = "romassay assay -o " + name
    return {
        "name": name,
        "headline": head,
        "because": because(assay),
        "besides": besides(assay),
        "limits": [LIMITS[limit] for limit in assay.limits],
        "steps": [{"text": step.text, "command": step.command} for step in steps(assay, command, keeps=True)],
        "findings": findings_in_words(assay),
        "address_bits": survey.address_bits,
        "regions": [
            [r.first, r.last, r.kind, letter_of(survey, r), what_of(survey, r), is_mirror(survey, r)]
            for r in survey.regions
        ],
        "record": record,
        "files": [_file(found, index) for index in range(len(found.manifest.readings))],
        "decisions": [
            {"function": d.function, "offset": d.offset, "value": d.value, "reason": d.reason}
            for d in found.manifest.decisions
        ],
        "history": [{"when": e.when, "did": e.did} for e in found.manifest.history],
        "readings": [
            {"name": r.source.name, "pass": r.source.pass_number, "role": r.role}
            for r in assay.readings.with_role("specimen")
        ],
    }


def _file(found: Derived, index: int) -> dict[str, Any]:
    entry, loaded = found.manifest.readings[index], found.loaded[index]
    return {
        "file": entry.file,
        "role": entry.role,
        "session": entry.said.session,
        "bytes": entry.bytes,
        "format": loaded.format,
        "layout": loaded.layout,
        "said": entry.said.layout,
        "passes": len(loaded.readings),
        "left": loaded.left_total,
        "notes": list(loaded.notes),
        "damaged": sum(reading.source.bad_lines for reading in loaded.readings),
        "holes": sum(len(reading.holes) for reading in loaded.readings),
    }


def bytes_at(found: Derived, seen: Seen, source: str, first: int, count: int) -> bytes:
    """Return `count` values and then `count` states, from an address or offset on.

    Args:
        found: the docket.
        seen: its readings laid over each other.
        source: 'all' for what the readings say together, 'reading:N' for one of them, 'image:N' for an image.
        first: address on the bus, or offset into the image.
        count: of bytes.

    Raises:
        BadValue: there is no such source or range.
    """
    if not (0 < count <= MOST_BYTES and 0 <= first < 1 << 32):
        raise BadValue(f"a range of {count} bytes at {first:X}", advice=f"ask for 1 to {MOST_BYTES} bytes")
    kind, _, number = source.partition(":")
    if kind == "image":
        return _of_image(found, number, first, count)
    value, state = np.zeros(count, np.uint8), np.zeros(count, np.uint8)
    address = np.arange(first, first + count, dtype=np.int64)
    at = seen.stacked.positions(address >> GRANULE_LINES)
    inside, low = at >= 0, address & (GRANULE - 1)
    if kind == "reading":
        row = _number(number, len(seen.stacked.value))
        value[inside] = seen.stacked.value[row, at[inside], low[inside]]
        state[inside] = np.where(seen.stacked.known[row, at[inside], low[inside]] != 0, ONCE, UNSEEN)
    elif kind == "all":
        value[inside] = seen.said.value[at[inside], low[inside]]
        state[inside] = _state(seen, at[inside], low[inside])
    else:
        raise BadValue(f"there is no source '{source}'", advice="name all, reading:N or image:N")
    return value.tobytes() + state.tobytes()


def _state(seen: Seen, at: Any, low: Any) -> Bytes:
    count, against = seen.said.seen[at, low], seen.said.against[at, low]
    any_known = seen.stacked.known[:, at, low].any(axis=0)
    state = np.where(count > 1, AGREED, np.where(any_known, ONCE, UNSEEN))
    return np.where((against > 0) | (any_known & ~seen.said.sure[at, low]), DIFFERING, state).astype(np.uint8)


def _of_image(found: Derived, number: str, first: int, count: int) -> bytes:
    image = found.assay.images[_number(number, len(found.assay.images))]
    value, state = np.zeros(count, np.uint8), np.zeros(count, np.uint8)
    here = max(0, min(count, len(image) - first))
    part = slice(first, first + here)
    value[:here] = image.value[part]
    doubtful = np.zeros(len(image), np.bool_)
    doubtful[[d.offset for d in image.doubtful]] = True
    settled = np.where(image.observations[part] > 1, AGREED, ONCE)
    state[:here] = np.where(image.seen[part] == 0, UNSEEN, np.where(doubtful[part], DIFFERING, settled))
    return value.tobytes() + state.tobytes()


def _number(text: str, count: int) -> int:
    number = int(text) if text.isascii() and text.isdigit() and len(text) < 9 else -1
    if not 0 <= number < count:
        raise BadValue(f"there is no number '{text[:20]}' of {count}", advice="count from 0")
    return number


def observations(found: Derived, number: int, offset: int) -> dict[str, Any]:
    """Return everything that was seen of one byte of an image, and what it is settled as.

    Raises:
        BadValue: there is no such byte.
    """
    image = found.assay.images[_number(str(number), len(found.assay.images))]
    if not 0 <= offset < len(image):
        raise BadValue(f"offset {offset:X} lies outside the image", advice=f"it has {len(image)} bytes")
    function = found.assay.survey.functions[image.function]
    places = sorted(copy.first + offset for copy in function.copies)
    rows = [row for reading in found.assay.readings.with_role("specimen") for row in _observed(reading, places)]
    doubt = next((d for d in image.doubtful if d.offset == offset), None)
    return {
        "offset": offset,
        "value": int(image.value[offset]),
        "probability": float(image.posterior[offset]),
        "alternatives": [list(item) for item in doubt.alternatives] if doubt else [],
        "observations": rows,
    }


def _observed(reading: Reading, places: list[int]) -> Iterator[dict[str, Any]]:
    """Yield what one reading saw at some addresses."""
    address, known = reading.addresses(), reading.known_bits()
    for place in places:
        for at in np.flatnonzero(address == place):
            yield {
                "reading": reading.source.name,
                "pass": reading.source.pass_number,
                "session": reading.conditions.session,
                "address": place,
                "value": int(reading.value[at]),
                "known": int(known[at]),
            }


def code_view(found: Derived, name: str, number: int) -> dict[str, Any]:
    """Return what one image's code says: sentences, and where a CPU is known a listing and a strip.

    Raises:
        BadValue: there is no such image.
    """
    assay = found.assay
    index = _number(str(number), len(assay.images))
    shown: dict[str, Any] = {"sentences": code_sentences(assay, index), "listing": "", "strip": "", "notes": []}
    if index < len(assay.codes) and assay.codes[index].cpu is not None and len(assay.images[index]) <= LONGEST_LISTED:
        listed = list_found(assay, name, Wanted(image=index + 1))
        drawn = data_address(strip(listed.listing, "svg"), "image/svg+xml")
        shown |= {"listing": listed.text, "strip": drawn, "notes": list(listed.notes)}
    return shown


def lines_of(data: bytes, found: Derived, file: str, first: int, count: int) -> dict[str, Any]:
    """Return lines of a file as a terminal would show them, each with what became of it.

    Args:
        data: the file's content.
        found: the docket.
        file: its name there.
        first: first line, from 1.
        count: of lines.

    Raises:
        BadValue: the range is none.
    """
    if not (0 < count <= MOST_LINES and first > 0):
        raise BadValue(f"{count} lines from line {first}", advice=f"ask for 1 to {MOST_LINES} lines, from line 1")
    loaded = next(item for item in found.loaded if item.name == file)
    if loaded.format == "raw-binary":
        return {"total": 0, "lines": []}
    lines = clean(data).split(b"\n")
    taken = {int(line) for reading in loaded.readings for line in np.unique(reading.runs[:, 3])}
    left = {item.line: item for item in loaded.left}
    holes = {hole.line: hole.reason for reading in loaded.readings for hole in reading.holes if hole.line}
    shown = []
    for number in range(first, min(first + count, len(lines) + 1)):
        item = left.get(number)
        reason = item.reason if item else holes.get(number, "")
        damaged = bool(item.damage if item else reason)
        mark = "damaged" if damaged else "taken" if number in taken else "left"
        shown.append([number, in_words(lines[number - 1], 240), mark, reason])
    return {"total": len(lines), "lines": shown}
