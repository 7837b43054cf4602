"""Parts: what a chip type is, pin by pin and function by function. Frozen values; no disk."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Literal

import msgspec

PinRole = Literal["address", "data", "select", "control", "clock", "io", "power", "ground", "no-connect"]
FunctionKind = Literal["rom", "ram", "registers"]
Option = Literal["high", "low", "ignored"]

MEMORY = "memory"
"""The id of the source that is none: from memory, unchecked."""


def source_ids(src: str) -> tuple[str, ...]:
    """Return the ids in a `src` field: 'HW76 p. 139, memory' names HW76 and memory."""
    return tuple(word.split()[0] for word in src.split(",") if word.split())


class Pin(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One pin of the package.

    Attributes:
        n: its number.
        name: by which functions and rigs call it; a leading '/' stands for active low.
        kind: what it is.
        also: its other name, where a mask decides what it is.
    """

    n: int
    name: str
    kind: PinRole
    src: str
    also: str = ""
    note: str = ""


class Function(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What the part does at some of its addresses.

    `own` names the pins that count inside the function, lowest first; `selects` those that choose it.
    """

    kind: FunctionKind
    name: str
    size: int
    width: int
    own: tuple[str, ...]
    selects: tuple[str, ...]
    src: str
    note: str = ""


class Select(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A pin that chooses between functions or enables the chip, and the levels that a mask may have given it.

    A pin that must be high for one function and low for another has an entry for each. Where `masked` is False there is
    one option, the same in every chip of the type.
    """

    name: str
    functions: tuple[str, ...]
    options: tuple[Option, ...]
    masked: bool
    src: str
    note: str = ""


class Register(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One register, by its offset in the function, in words."""

    offset: str
    read: str
    write: str
    src: str


class Rail(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One supply pin; volts."""

    name: str
    pin: int
    nominal: float
    src: str
    minimum: float | None = None
    maximum: float | None = None


class Rating(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A rating, level, current or time, as a name and a value in words or numbers."""

    name: str
    src: str
    value: str = ""
    minimum: float | None = None
    maximum: float | None = None
    unit: str = ""
    condition: str = ""
    note: str = ""


class Caution(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """What to mind at the bench."""

    text: str
    src: str


class Citation(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A source that `src` fields name by its id."""

    id: str
    title: str
    date: str
    grade: str


class Part(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """A chip type by type number and pin-out.

    Every `src` names one or more of `sources`, by id and page, separated by commas. The id `memory` marks what was not
    found in any source: it is listed by `unchecked` and never to be shown as a data sheet's value.
    """

    type: str
    title: str
    package: str
    status: str
    pins: tuple[Pin, ...]
    functions: tuple[Function, ...]
    selects: tuple[Select, ...]
    rails: tuple[Rail, ...]
    sources: tuple[Citation, ...]
    registers: tuple[Register, ...] = ()
    ratings: tuple[Rating, ...] = ()
    levels: tuple[Rating, ...] = ()
    timing: tuple[Rating, ...] = ()
    current: tuple[Rating, ...] = ()
    cautions: tuple[Caution, ...] = ()

    @property
    def unchecked(self) -> tuple[str, ...]:
        """What rests on memory, at least in part, as 'section: name'."""
        return tuple(f"{section}: {name}" for section, name, src in self.cited() if MEMORY in source_ids(src))

    def cited(self) -> Iterator[tuple[str, str, str]]:
        """Yield (section, name, src) of everything that has a source, in the order of the file."""
        for pin in self.pins:
            yield "pins", pin.name, pin.src
        named: dict[str, tuple[Function | Select | Rail | Rating, ...]] = {
            "functions": self.functions,
            "selects": self.selects,
            "rails": self.rails,
            "ratings": self.ratings,
            "levels": self.levels,
            "timing": self.timing,
            "current": self.current,
        }
        for section, items in named.items():
            for item in items:
                yield section, item.name, item.src
        for register in self.registers:
            yield "registers", register.offset, register.src
        for caution in self.cautions:
            yield "cautions", caution.text, caution.src

    def function(self, name: str) -> Function:
        """Return the function of that name; KeyError where there is none."""
        for item in self.functions:
            if item.name == name:
                return item
        raise KeyError(name)

    def of_kind(self, kind: FunctionKind) -> tuple[Function, ...]:
        """Return the functions of one kind."""
        return tuple(f for f in self.functions if f.kind == kind)

    def pin(self, name: str) -> Pin:
        """Return the pin of that name, whichever of its two names it is; KeyError where there is none."""
        for item in self.pins:
            if name in (item.name, item.also):
                return item
        raise KeyError(name)

    def options(self, function: str, select: str) -> tuple[Option, ...]:
        """Return the levels at which a select may choose a function; KeyError where it does not concern it."""
        for item in self.selects:
            if item.name == select and function in item.functions:
                return item.options
        raise KeyError(select)
