"""The manifest of a docket, `docket.json`: which readings it holds and what was said about them. Values; no disk.

It is strict: an unknown key, a missing one or a wrong type is an error that names the key.
"""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Collection
from typing import Literal

import msgspec

from romassay.address import MAX_ADDRESS_BITS, Range
from romassay.errors import BadInput
from romassay.reading import Role
from romassay.settle.model import Decision

SCHEMA: Literal["romassay/docket/1"] = "romassay/docket/1"
MANIFEST_FILE = "docket.json"
READINGS_FOLDER = "readings"
PART_FILE = "part.toml"
"""A part file of one's own, as it was when it was named."""

RIG_FILE = "rig.toml"
"""The rig, with everything in it that its file only names, as it was when it was named."""

DEFAULT_TARGET = 0.01


class Span(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A range of addresses, both ends included."""

    first: int
    last: int

    def __post_init__(self) -> None:
        if not 0 <= self.first <= self.last < 1 << MAX_ADDRESS_BITS:
            raise ValueError("a range goes from a lower address to a higher one, within 32 bits")


class Settings(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What was said about the specimen and its bus.

    Attributes:
        part: type number, or `PART_FILE` for a part file of one's own, which the docket keeps; or None.
        rig: `RIG_FILE`, or None; what a rig says of part and host need not be said again.
        size: bytes of the ROM where no part says it, or None.
        target: wrong bytes that may remain at 95 %.
        address_bits: lines of the bus, or None to take them from the readings.
        exclude: ranges that are not to be looked at.
        apply_findings: whether images are put right where lines are swapped or data inverted.
    """

    part: str | None = None
    rig: str | None = None
    size: int | None = None
    target: float = DEFAULT_TARGET
    address_bits: int | None = None
    exclude: tuple[Span, ...] = ()
    apply_findings: bool = False

    def __post_init__(self) -> None:
        if self.size is not None and self.size <= 0:
            raise ValueError("a size is above 0")
        if not 0 < self.target < float("inf"):
            raise ValueError("a target is above 0")
        if self.address_bits is not None and not 0 < self.address_bits <= MAX_ADDRESS_BITS:
            raise ValueError("a bus has 1 to 32 lines")

    @property
    def excluded(self) -> tuple[Range, ...]:
        """The ranges to leave out."""
        return tuple(Range(item.first, item.last) for item in self.exclude)


class Said(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """What was said about one file; absent where it is learnt from the content."""

    format: str | None = None
    layout: str | None = None
    base: int | None = None
    encoding: str | None = None
    session: str | None = None

    def amended(self, other: Said) -> Said:
        """Return this with everything that the other one says."""
        given = {name: value for name, value in msgspec.structs.asdict(other).items() if value is not None}
        return msgspec.structs.replace(self, **given)


class Entry(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """One input file, kept verbatim.

    Attributes:
        file: its name in the folder of readings, and in the record.
        sha256: of its content.
        bytes: its length.
        role: what was in the socket.
        said: about its format and conditions.
        also: names of files that proved to be equal to it byte for byte.
    """

    file: str
    sha256: str
    bytes: int
    role: Role = "specimen"
    said: Said = Said()
    also: tuple[str, ...] = ()


class Decided(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A byte decided by a person: index of the function, offset into its image, value, and why."""

    function: int
    offset: int
    value: int
    reason: str

    def __post_init__(self) -> None:
        if min(self.function, self.offset, self.value) < 0 or self.value > 0xFF:
            raise ValueError("function, offset and value count from 0, and the value is a byte")


class Result(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A file that the last assay wrote, and its digest."""

    file: str
    sha256: str


class Event(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What was done: when (UTC, ISO 8601), by which version, by which command, with which outcome."""

    when: str
    version: str
    command: str
    did: str


class Manifest(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A docket's table of contents. Readings are in the order in which they were given."""

    schema: Literal["romassay/docket/1"] = SCHEMA
    settings: Settings = Settings()
    readings: tuple[Entry, ...] = ()
    decisions: tuple[Decided, ...] = ()
    results: tuple[Result, ...] = ()
    history: tuple[Event, ...] = ()

    @property
    def decided(self) -> tuple[tuple[int, Decision], ...]:
        """The decisions as the chain takes them."""
        return tuple((d.function, Decision(d.offset, d.value, d.reason)) for d in self.decisions)


def encode(manifest: Manifest) -> bytes:
    """Return the manifest as indented JSON that ends with a line feed."""
    return msgspec.json.format(msgspec.json.encode(manifest), indent=2) + b"\n"


class _Header(msgspec.Struct):
    """The one key of a manifest that every version has."""

    schema: str


def _other_schema(data: bytes) -> str | None:
    """Return the form of a manifest that another version wrote, or None."""
    try:
        schema = msgspec.json.decode(data, type=_Header).schema
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError):
        return None
    return schema if schema != SCHEMA and schema.startswith(SCHEMA.rpartition("/")[0]) else None


def decode(data: bytes, place: str) -> Manifest:
    """Read a manifest; BadInput names the key that is wrong."""
    try:
        manifest = msgspec.json.decode(data, type=Manifest)
    except (msgspec.DecodeError, UnicodeDecodeError, RecursionError) as e:
        other = _other_schema(data)
        if other is not None:
            raise BadInput(
                f"the docket is of the form '{other}', and this version of romassay knows '{SCHEMA}'",
                place=place,
                advice="open it with the version that its history names, or a newer one",
            ) from e
        problem = "is no JSON text" if not isinstance(e, msgspec.ValidationError) else "does not keep its form"
        raise BadInput(
            f"the docket's manifest {problem}: {e}", place=place, advice="put it back from a copy of the docket"
        ) from e
    for number, entry in enumerate(manifest.readings):
        if safe_name(entry.file) != entry.file:
            raise BadInput(
                f"'{entry.file}' is no name for a reading - at `$.readings[{number}].file`",
                place=place,
                advice="put the manifest back from a copy of the docket",
            )
    return manifest


_FORBIDDEN = frozenset('/\\:*?"<>|')
_RESERVED = re.compile(r"(con|prn|aux|nul|com\d|lpt\d)(\..*)?", re.IGNORECASE)
_LONGEST = 120


def safe_name(name: str) -> str:
    """Return a name that every file system takes and no shell or terminal minds; most names stay as they are."""
    text = unicodedata.normalize("NFC", name.encode("utf-8", "replace").decode())
    text = "".join("_" if c in _FORBIDDEN or not c.isprintable() else c for c in text).rstrip(" .").lstrip(" .-")
    stem, dot, suffix = text.rpartition(".")
    if not dot or len(suffix) > 12:
        stem, dot, suffix = text, "", ""
    while len((stem + dot + suffix).encode()) > _LONGEST:
        stem = stem[:-1]
    text = (stem.rstrip(" ") + dot + suffix) or "reading"
    return f"_{text}" if _RESERVED.fullmatch(text) else text


def unique_name(name: str, taken: Collection[str]) -> str:
    """Return a safe name that differs from the taken ones, also where capitals don't count: 'a.log', 'a-2.log'."""
    used = {other.casefold() for other in taken}
    wanted = safe_name(name)
    stem, dot, suffix = wanted.rpartition(".")
    if not dot:
        stem, suffix = wanted, ""
    candidate, number = wanted, 1
    while candidate.casefold() in used:
        number += 1
        candidate = f"{stem}-{number}{dot}{suffix}"
    return candidate
