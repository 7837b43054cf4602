"""Files to readings: each by itself, and then in the company of the others, whose layout may explain it better."""

from __future__ import annotations

import dataclasses
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import msgspec

from romassay.docket.manifest import Said, Settings
from romassay.errors import BadInput
from romassay.formats import load, read
from romassay.formats.company import better_layouts
from romassay.formats.contents import content_of
from romassay.formats.model import Hints, Loaded
from romassay.reading import Reading, Role

NOTHING_SAID = Said()
_MOST_LIKELY = 3
"""Layouts of earlier files that are tried on a file."""


@dataclass(frozen=True, slots=True)
class Input:
    """A file named by the person, and what was said about it; `content` where there is no file but the bytes alone."""

    path: Path
    role: Role = "specimen"
    said: Said = NOTHING_SAID
    content: bytes | None = None


def load_named(item: Input, settings: Settings, likely: tuple[str, ...] = ()) -> Loaded:
    """Load one file with what was said about it; BadInput where it cannot be read or holds no dump.

    Args:
        item: the file.
        settings: of the docket.
        likely: layouts of other files that may fit this one.
    """
    hints = dataclasses.replace(_hints(item.said, item.role, settings), likely=likely)
    return load(item.path, hints) if item.content is None else read(item.content, item.path.name, hints)


_TAKES_A_BASE = frozenset({"raw-binary", "bnpf", "verilog-memory"})


def takes_a_base(found: Loaded) -> bool:
    """Tell whether a file leaves its addresses to be said; most formats and layouts say them."""
    lines_without = found.format == "text-dump" and "where=none" in found.layout.split()
    return lines_without or found.format in _TAKES_A_BASE


def base_not_used(item: Input, found: Loaded) -> str:
    """Return a notice where a base was said of a file that says its addresses itself; '' where it counts."""
    if item.said.base is None or takes_a_base(found):
        return ""
    return f"{item.path.name}: its addresses stand in it; --base is of no use there, and was not used"


def load_together(
    inputs: Sequence[Input], settings: Settings, layouts: Sequence[str] = ()
) -> list[tuple[Input, Loaded]]:
    """Load the named files; one that is refused by itself is read with the layout of the others, if that fits it.

    What the first files taught is tried on those behind them before a layout is learnt anew.

    Raises:
        BadInput: for the first file that is refused in any layout.
    """
    tried: list[tuple[Input, Loaded | BadInput]] = []
    likely: dict[str, None] = {}
    for item in inputs:
        one = _loaded_or_refused(item, settings, tuple(likely)[:_MOST_LIKELY])
        tried.append((item, one))
        if isinstance(one, Loaded) and one.format == "text-dump" and not one.notes:
            likely[one.layout] = None
    dumps = [found for _, found in tried if isinstance(found, Loaded) and found.format == "text-dump"]
    known = list(dict.fromkeys([*(found.layout for found in dumps), *layouts]))
    least = min((len(reading) for found in dumps for reading in found.readings), default=0) // 2
    result = []
    for item, found in tried:
        if isinstance(found, Loaded):
            result.append((item, found))
            continue
        if item.said.layout or item.said.format:
            raise found
        lent = _with_lent_layout(item, settings, known, least)
        if lent is None:
            raise found
        result.append(lent)
    return result


def _loaded_or_refused(item: Input, settings: Settings, likely: tuple[str, ...] = ()) -> Loaded | BadInput:
    try:
        return load_named(item, settings, likely)
    except BadInput as e:
        return e


def _with_lent_layout(
    item: Input, settings: Settings, layouts: Sequence[str], least: int
) -> tuple[Input, Loaded] | None:
    """Return a file as another one's layout reads it, with that layout said of it; None where hardly a line fits."""
    for layout in layouts:
        lent = dataclasses.replace(item, said=msgspec.structs.replace(item.said, layout=layout))
        found = _loaded_or_refused(lent, settings)
        if isinstance(found, Loaded) and max(len(reading) for reading in found.readings) >= least:
            return lent, found
    return None


def in_company(files: Sequence[tuple[Input, Said, Loaded]], settings: Settings) -> tuple[Loaded, ...]:
    """Load again, with another file's layout, each text dump that such a layout explains better than its own."""
    learnt = [i for i, (_, said, found) in enumerate(files) if found.format == "text-dump" and said.layout is None]
    result = [found for _, _, found in files]
    if len({result[i].layout for i in learnt}) < 2:
        return tuple(result)
    contents = [(result[i].layout, _content(files[i][0])) for i in learnt]
    for i, layout in zip(learnt, better_layouts(contents), strict=True):
        if layout is not None:
            item, said, found = files[i]
            item = dataclasses.replace(item, said=msgspec.structs.replace(said, layout=layout))
            again = _loaded_or_refused(item, settings)
            if not isinstance(again, Loaded):
                continue
            readings = tuple(_said_to_be(each, found) for each in again.readings)
            result[i] = dataclasses.replace(again, readings=readings)
    return tuple(result)


def _said_to_be(reading: Reading, found: Loaded) -> Reading:
    """Return a reading with the hints that the person gave, not those that another file did."""
    return dataclasses.replace(
        reading, source=dataclasses.replace(reading.source, hints=found.readings[0].source.hints)
    )


def _content(item: Input) -> bytes:
    return content_of(item.path).data if item.content is None else item.content


def _hints(said: Said, role: Role, settings: Settings) -> Hints:
    return Hints(**msgspec.structs.asdict(said), role=role, address_bits=settings.address_bits)


def length_of(item: Input) -> int:
    """Return the bytes of a file."""
    return item.path.stat().st_size if item.content is None else len(item.content)


def digest_of(path: Path) -> str:
    """Return the SHA-256 of a file, lower-case hex."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def renamed(found: Loaded, name: str) -> Loaded:
    """Return the readings under the name that the record uses."""
    readings = tuple(
        dataclasses.replace(each, source=dataclasses.replace(each.source, name=name)) for each in found.readings
    )
    return dataclasses.replace(found, name=name, readings=readings)
