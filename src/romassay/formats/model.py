"""What a format is, what a file gives, and what a writer takes. Values only."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from typing import BinaryIO

from romassay.reading import Reading, Role

ADDRESS_SPACE = 1 << 32
"""Addresses that any format can name."""


@dataclass(frozen=True, slots=True)
class Hints:
    """What the person says about a file; None where it is to be learnt from the content.

    Attributes:
        format: a registered format's name.
        layout: a text dump's layout, in the notation that `--layout` prints.
        base: address of the first byte, for formats that carry no addresses.
        address_bits: lines of the host's bus.
        encoding: a Python codec's name.
        role: what was in the socket.
        session: name of the power-up in which the readings were taken.
        likely: layouts of other logs that may fit this one; not said by a person, and taken only where they surely do.
    """

    format: str | None = None
    layout: str | None = None
    base: int | None = None
    address_bits: int | None = None
    encoding: str | None = None
    role: Role = "specimen"
    session: str | None = None
    likely: tuple[str, ...] = ()

    def pairs(self) -> tuple[tuple[str, str], ...]:
        """Return what was said, as (name, value) pairs, for a reading's source."""
        names = ("format", "layout", "base", "address_bits", "encoding", "session")
        return tuple((name, str(getattr(self, name))) for name in names if getattr(self, name) is not None)


@dataclass(frozen=True, slots=True)
class Left:
    """A line that was not taken, or not wholly.

    Attributes:
        line: in the source, from 1.
        text: the line, cleaned for showing and cut to a screen's width.
        reason: why, in words.
        damage: True where data was lost, False for prompts, banners and the like.
    """

    line: int
    text: str
    reason: str
    damage: bool


@dataclass(frozen=True, slots=True)
class Parsed:
    """What a format's reader found in one file.

    Attributes:
        readings: one for each pass, in the order of time. Their `source` need only hold what the reader knows (layout,
            pass, lines, bad lines); the door fills in name, digest and format.
        left: the lines that were not taken. At most `MAX_LEFT`; `left_total` counts all.
        layout: what was learnt, in its own notation.
        notes: what was assumed because the content does not say, in words.
    """

    readings: tuple[Reading, ...]
    left: tuple[Left, ...] = ()
    left_total: int = 0
    layout: str = ""
    notes: tuple[str, ...] = ()


MAX_LEFT = 1000


@dataclass(frozen=True, slots=True)
class Piece:
    """Consecutive bytes from an address on."""

    first: int
    data: bytes


@dataclass(frozen=True, slots=True)
class WriteOptions:
    """What a writer may be told.

    Attributes:
        record: data bytes in a record or line; None for the format's usual number.
        start: address at which the program starts, for formats that carry one.
        header: text for formats that carry one.
        word: bytes in a word, for formats addressed by words.
    """

    record: int | None = None
    start: int | None = None
    header: str = ""
    word: int = 1


@dataclass(frozen=True, slots=True)
class Format:
    """One format: how it is known by its content, read and written.

    Attributes:
        name: lower-case words joined by '-', for options and for a reading's source.
        title: for people.
        standard: the document that defines it, with the clause.
        suffixes: usual file endings, for naming output only; never used to choose a reader.
        sniff: how surely a file's content is of this format, 0 to 1; looks at a bounded sample.
        read: the whole content to readings; raises BadInput where it holds nothing of the format.
        write: sorted pieces that do not overlap to a file's content; None where there is no writer.
        follows: those of `WriteOptions` that the writer follows, by their names; it has no place for the others.
        stream: an open file to readings, piece by piece, where the content as a whole need not be in memory.
    """

    name: str
    title: str
    standard: str
    suffixes: tuple[str, ...]
    sniff: Callable[[bytes], float]
    read: Callable[[bytes, Hints], Parsed]
    write: Callable[[Sequence[Piece], WriteOptions], bytes] | None = None
    follows: tuple[str, ...] = ()
    stream: Callable[[BinaryIO, Hints], Parsed] | None = None


@dataclass(frozen=True, slots=True)
class Loaded:
    """The readings in a file, and what was taken and what was left.

    It can be handed to `assay` as it is.
    """

    name: str
    sha256: str
    format: str
    layout: str
    readings: tuple[Reading, ...]
    left: tuple[Left, ...] = ()
    left_total: int = 0
    notes: tuple[str, ...] = field(default=())

    def __repr__(self) -> str:
        """One line for a notebook: what the file was read as, and how much came of it."""
        sizes = ", ".join(str(len(reading)) for reading in self.readings)
        return (
            f"<Loaded {self.name}: {self.format}, {len(self.readings)} reading(s) of {sizes} bytes, "
            f"{self.left_total} line(s) left>"
        )
