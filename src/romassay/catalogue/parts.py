"""Part files: the catalogue and directories of one's own, looked up by type number, loaded, checked in themselves."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

from romassay.catalogue.part_rules import part_slips
from romassay.catalogue.strict import meant, parse, read_text
from romassay.errors import BadCatalogue, reason_of
from romassay.part import Part

_SUFFIX = ".toml"


@dataclass(frozen=True, slots=True)
class FoundPart:
    """A part, and the file of one's own that it stands in; None where it is the catalogue's."""

    part: Part
    file: Path | None = None


def part_types() -> tuple[str, ...]:
    """Return the names of the parts in the catalogue, sorted: type number, and variant where there is one."""
    return tuple(sorted(_names()))


def catalogue_parts(folders: Iterable[Path] = ()) -> tuple[FoundPart, ...]:
    """Return every part of the catalogue and of directories of one's own, sorted by name.

    Raises:
        BadCatalogue: for a directory that cannot be read, and a file in it that breaks the rules.
    """
    every = [*(FoundPart(_catalogued(name)) for name in _names()), *_own(folders)]
    return tuple(sorted(every, key=lambda found: found.part.name))


def part_files(folders: Iterable[Path]) -> tuple[Path, ...]:
    """Return the part files in directories, sorted; BadCatalogue where one is no directory that can be read."""
    found: list[Path] = []
    for folder in folders:
        try:
            found += sorted(item for item in folder.iterdir() if item.name.endswith(_SUFFIX))
        except OSError as e:
            advice = "give a directory of part files"
            raise BadCatalogue(f"cannot be read ({reason_of(e)})", place=str(folder), advice=advice) from e
    return tuple(found)


def load_part(name_or_path: str | Path, folders: Sequence[Path] = ()) -> Part:
    """Return a part by its type number, or one from a file of one's own; see `find_part`."""
    return find_part(name_or_path, folders).part


def find_part(name_or_path: str | Path, folders: Sequence[Path] = ()) -> FoundPart:
    """Return a part by its type number, or one from a file of one's own.

    Args:
        name_or_path: '6530', '2716, 5 V', or a part file. Case, spaces and punctuation do not matter in a name.
        folders: directories of one's own that belong to the catalogue.

    Raises:
        BadCatalogue: for a type that is not there, with those that are; for one that stands for several parts, with
            their names; and for a file that breaks the rules.
    """
    name = str(name_or_path)
    matching = parts_named(name, folders)
    if len(matching) == 1:
        return matching[0]
    if len({found.part.name for found in matching}) > 1:
        choices = " or ".join(f"'{found.part.name}'" for found in matching)
        raise BadCatalogue(f"'{name}' stands for {len(matching)} parts", advice=f"say which: {choices}")
    if matching:
        places = " and in ".join(str(found.file or "the catalogue") for found in matching)
        raise BadCatalogue(f"'{name}' is in {places}", advice="name the file, or give yours a 'variant' of its own")
    if name.endswith(_SUFFIX) or "/" in name or Path(name).is_file():
        return FoundPart(part_of(read_text(Path(name), "part"), name), Path(name))
    types = sorted({_type(known) for known in _names()} | {found.part.type for found in _own(folders)})
    raise BadCatalogue(f"'{name}' is not in the catalogue", advice=f"{meant(name, types)}, or a part file of your own")


def parts_named(name: str, folders: Iterable[Path] = ()) -> tuple[FoundPart, ...]:
    """Return the parts of that name; where there is none, those of that type number. Empty where it is neither."""
    folded, names = _folded(name), _names()
    own = _own(folders)
    for key in (str, _type):
        found = [FoundPart(_catalogued(known)) for known in names if _folded(key(known)) == folded]
        found += [item for item in own if _folded(key(item.part.name)) == folded]
        if found:
            return tuple(found)
    return ()


def _own(folders: Iterable[Path]) -> list[FoundPart]:
    return [FoundPart(part_of(read_text(file, "part"), str(file)), file) for file in part_files(folders)]


def _type(name: str) -> str:
    return name.partition(",")[0]


def _folded(name: str) -> str:
    return "".join(letter for letter in name.casefold() if letter.isalnum())


@cache
def _names() -> dict[str, str]:
    """Return the parts of the catalogue and their files, which are named like them: '2716, 5 V' is 2716_5_V.toml."""
    folder = files("romassay.catalogue") / "parts"
    names = sorted(item.name for item in folder.iterdir() if item.name.endswith(_SUFFIX))
    return {name.removesuffix(_SUFFIX).replace("_", ", ", 1).replace("_", " "): name for name in names}


@cache
def _catalogued(name: str) -> Part:
    file = _names()[name]
    return part_of((files("romassay.catalogue") / "parts" / file).read_text("utf-8"), file)


def part_of(text: str, place: str) -> Part:
    """Return the part that a TOML text describes; BadCatalogue names `place`, the line, the key and what is allowed."""
    part = parse(text, Part, place)
    for slip in part_slips(part):
        raise slip.blamed(text, place)
    return part


def part_complaints(text: str, place: str) -> tuple[BadCatalogue, ...]:
    """Return all that is wrong with a part's TOML text, each with its line, its key and what is allowed there.

    Where the text is no TOML, or a key is misspelt, missing or of the wrong kind, that comes alone: the rest can't be
    looked at before it is mended.
    """
    try:
        part = parse(text, Part, place)
    except BadCatalogue as e:
        return (e,)
    return tuple(slip.blamed(text, place) for slip in part_slips(part))
