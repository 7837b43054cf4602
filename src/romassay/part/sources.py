"""Sources: what `src` fields name, and how what rests on none is told from the rest."""

from __future__ import annotations

import msgspec

from romassay.part.table import Table

MEMORY = "memory"
"""The id of the source that is none: from memory, unchecked."""

PRACTICE = "practice"
"""The id of common practice, for which there is no source; unchecked too."""

_NOT_SOURCES = frozenset((MEMORY, PRACTICE))


class Citation(Table, frozen=True, kw_only=True):
    """A source that `src` fields name by its id."""

    id: str
    title: str
    date: str
    grade: str


class Cited(msgspec.Struct, frozen=True):
    """Something that has a source: where it stands in the file, what to call it, and its `src`."""

    section: str
    index: int | None
    key: str
    name: str
    src: str


def source_ids(src: str) -> tuple[str, ...]:
    """Return the ids in a `src` field: 'HW76 p. 139, memory' names HW76 and memory."""
    return tuple(word.split()[0] for word in src.split(",") if word.split())


def is_unchecked(src: str) -> bool:
    """Whether something rests on memory or on practice, at least in part."""
    return not _NOT_SOURCES.isdisjoint(source_ids(src))
