"""Named files entered into a docket's manifest with what was said of them, and all that it then names loaded.

Nothing is written here: what is new to the docket is returned, for whoever commits it.
"""

from __future__ import annotations

import dataclasses
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from romassay.docket.folder import Addition, altered, reading_path, reading_place, strangers
from romassay.docket.manifest import Entry, Manifest, Settings, safe_name, unique_name
from romassay.errors import BadInput
from romassay.formats.model import Loaded
from romassay.reading import Role
from romassay.session.loading import (
    Input,
    base_not_used,
    digest_of,
    in_company,
    length_of,
    load_named,
    load_together,
    renamed,
)

_Key = tuple[str, Role]
"""The same bytes in the same role are one entry."""


@dataclass(frozen=True, slots=True)
class Entered:
    """What came of named files.

    Attributes:
        manifest: with the new files in it.
        loaded: the readings of every file that it names, in its order.
        additions: what is new to the docket.
        notices: sentences about the files, such as that one adds nothing.
    """

    manifest: Manifest
    loaded: tuple[Loaded, ...]
    additions: tuple[Addition, ...]
    notices: tuple[str, ...]


def enter(inputs: Sequence[Input], former: Manifest, docket: Path | None, settings: Settings) -> Entered:
    """Enter named files into a manifest, and load what it then holds.

    Args:
        inputs: the files, in the order given.
        former: the manifest as it stands; its settings stay.
        docket: the folder that holds its readings, or None where it names none.
        settings: by which files are read, with what the rig says of its host.

    Raises:
        BadInput: a file that cannot be read or holds no dump, or a reading that is missing or was changed.
    """
    entries: dict[_Key, Entry] = {(entry.sha256, entry.role): entry for entry in former.readings}
    known = frozenset(entries)
    named: dict[_Key, tuple[Input, Loaded]] = {}
    notices: list[str] = []
    layouts = [entry.said.layout for entry in former.readings if entry.said.layout]
    for item, found in load_together(inputs, settings, layouts):
        key = (found.sha256, item.role)
        notices += filter(None, [base_not_used(item, found)])
        if key in entries:
            entries[key] = _again(entries[key], item, notices, filed=key in known and key not in named)
        else:
            name = _name_for(item, found.sha256, docket, former, entries.values())
            entries[key] = Entry(file=name, sha256=found.sha256, bytes=length_of(item), role=item.role, said=item.said)
        named.setdefault(key, (item, found))
    return Entered(
        manifest=msgspec.structs.replace(former, readings=tuple(entries.values())),
        loaded=_loaded(entries, named, docket, settings),
        additions=tuple(
            Addition(reading_place(entries[key].file), key[0], item.path if item.content is None else item.content)
            for key, (item, _) in named.items()
            if key not in known
        ),
        notices=tuple(notices),
    )


def _loaded(
    entries: Mapping[_Key, Entry], named: Mapping[_Key, tuple[Input, Loaded]], docket: Path | None, settings: Settings
) -> tuple[Loaded, ...]:
    """Load every entry by itself, and again in the company of the others, under the names that the docket uses."""
    alone = []
    for key, entry in entries.items():
        item = named[key][0] if key in named else _filed(docket, entry)
        found = _load_entry(entry, item, named.get(key), settings)
        alone.append((dataclasses.replace(item, role=entry.role), entry.said, found))
    loaded = in_company(alone, settings)
    return tuple(renamed(found, entry.file) for found, entry in zip(loaded, entries.values(), strict=True))


def _filed(docket: Path | None, entry: Entry) -> Input:
    """Return a docket's own file as an input."""
    if docket is None:
        raise ValueError("only a docket holds readings that were not named")
    path = reading_path(docket, entry.file)
    if not path.is_file():
        raise BadInput("the reading is missing", place=str(path), advice="put it back from a copy of the docket")
    return Input(path)


def _load_entry(entry: Entry, item: Input, named: tuple[Input, Loaded] | None, settings: Settings) -> Loaded:
    """Load a file with everything that was ever said about it, and see that its bytes are those that were filed."""
    if named and named[0].said == entry.said:
        return named[1]
    try:
        found = load_named(dataclasses.replace(item, role=entry.role, said=entry.said), settings)
    except BadInput as e:
        if item.content is None and digest_of(item.path) != entry.sha256:
            raise altered(item.path) from e
        raise
    if found.sha256 != entry.sha256:
        raise altered(item.path)
    return found


def _again(entry: Entry, item: Input, notices: list[str], *, filed: bool) -> Entry:
    """Return the entry of a file whose bytes are known already, with what is newly said about it."""
    amended = entry.said.amended(item.said)
    name = safe_name(item.path.name)
    if amended != entry.said:
        notices.append(f"{name}: known already; what is said about it now counts")
    elif filed and name in (entry.file, *entry.also):
        notices.append(f"{name}: in the docket already; it adds nothing")
    else:
        notices.append(f"{name}: the same file as {entry.file}, byte for byte; it adds nothing")
    newly = () if filed and name in (entry.file, *entry.also) else (name,)
    return msgspec.structs.replace(entry, said=amended, also=(*entry.also, *newly))


def _name_for(item: Input, sha256: str, docket: Path | None, former: Manifest, entries: Iterable[Entry]) -> str:
    """Return the name under which a file is kept; no file that lies in the docket is written over."""
    taken = {entry.file for entry in entries}
    if docket is not None:
        wanted = unique_name(item.path.name, taken)
        taken |= {
            name
            for name in strangers(docket, former)
            if name.casefold() != wanted.casefold() or digest_of(reading_path(docket, name)) != sha256
        }
    return unique_name(item.path.name, taken)
