"""What the person declared of part and rig: loaded from the catalogue, a file of their own, or the docket's copy."""

from __future__ import annotations

import hashlib
from collections.abc import Collection, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import msgspec

from romassay.docket.folder import Addition
from romassay.docket.manifest import PART_FILE, RIG_FILE, Settings, Span
from romassay.formats.contents import content_of
from romassay.part import Part
from romassay.rig import Rig
from romassay.session.rigs import kept_rig

if TYPE_CHECKING:
    from romassay.catalogue import FoundPart


@dataclass(frozen=True, slots=True)
class Declared:
    """What the person said of part and rig; `files` are those that the docket has yet to keep."""

    part: Part | None = None
    rig: Rig | None = None
    files: tuple[Addition, ...] = ()


def declare(
    settings: Settings, docket: Path | None, *, newly: Collection[str] = (), folders: Sequence[Path] = ()
) -> Declared:
    """Load the declared rig or part.

    Args:
        settings: what is declared, by name.
        docket: the folder that has copies of what was declared before, or None.
        newly: the settings that this call declares: their names are those of files, not of the docket's copies.
        folders: directories of part files of one's own.

    Raises:
        BadCatalogue: no such part, or a file that breaks the rules.
    """
    if settings.rig is not None:
        return _rig(settings.rig, None if "rig" in newly else docket, folders)
    return Declared() if settings.part is None else _part(settings.part, None if "part" in newly else docket, folders)


def _rig(name: str, docket: Path | None, folders: Sequence[Path]) -> Declared:
    """Load a rig: from the file named in this call, or from the docket's copy."""
    from romassay.catalogue import load_rig

    if docket:
        found = load_rig(docket / RIG_FILE)
        return Declared(found.part, found.rig)
    found = load_rig(name, folders)
    files = kept_rig(found)
    digests = {name: hashlib.sha256(data).hexdigest() for name, data in files.items()}
    return Declared(found.part, found.rig, tuple(Addition(name, digests[name], data) for name, data in files.items()))


def _part(name: str, docket: Path | None, folders: Sequence[Path]) -> Declared:
    """Load a part: from the catalogue, from a file named in this call, or from the docket's copy of one."""
    from romassay.catalogue import find_part, load_part, part_of, parts_named

    if name == PART_FILE and docket:
        return Declared(load_part(docket / PART_FILE))
    alike = _alike(parts_named(name, folders))
    if alike is not None:
        return Declared(alike)
    found = find_part(name, folders)
    if found.file is None:
        return Declared(found.part)
    data = content_of(found.file)
    part = part_of(data.data.decode("utf-8-sig", "replace"), name)
    return Declared(part, files=(Addition(PART_FILE, data.sha256, data.data),))


def _alike(matching: Sequence[FoundPart]) -> Part | None:
    """Return what parts of one type number have in common, where that is all that readings ask of a part.

    Two pin-outs of one memory answer alike on the bus; which of them it is matters where pins are named. Where they
    want other supplies, taking one for the other destroys it: then the person has to say which.
    """
    functions = {tuple((item.kind, item.size) for item in found.part.functions) for found in matching}
    supplies = {frozenset(rail.nominal for rail in found.part.rails) for found in matching}
    if len(matching) < 2 or len(functions) > 1 or len(supplies) > 1 or any(found.file for found in matching):
        return None
    return msgspec.structs.replace(matching[0].part, variant="", pins=(), selects=(), row=None)


def as_kept(settings: Settings, declared: Declared) -> Settings:
    """Return the settings as a docket keeps them: files of one's own by the names that they have there."""
    places = {item.place for item in declared.files}
    if RIG_FILE in places:
        return msgspec.structs.replace(settings, rig=RIG_FILE)
    return msgspec.structs.replace(settings, part=PART_FILE) if PART_FILE in places else settings


def on_bus(settings: Settings, declared: Declared) -> Settings:
    """Return the settings with what the rig says of its host: the lines of its bus, and its memory to leave out."""
    rig = declared.rig
    if rig is None:
        return settings
    memory = tuple(Span(item.first, item.last) for item in rig.unread)
    return msgspec.structs.replace(
        settings, address_bits=settings.address_bits or rig.address_bits, exclude=(*settings.exclude, *memory)
    )
