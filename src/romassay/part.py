"""Parts: what a chip type is, pin by pin and function by function. Frozen values; no disk."""

from __future__ import annotations

from typing import Literal

import msgspec

PinRole = Literal["address", "data", "select", "control", "clock", "io", "power", "ground", "no-connect"]
FunctionKind = Literal["rom", "ram", "registers"]
Option = Literal["high", "low", "ignored"]


class Pin(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """One pin of the package."""

    n: int
    name: str
    kind: PinRole
    src: str
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
    """A pin that chooses between functions or enables the chip, and the levels a mask may have given it."""

    name: str
    pin: int
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
    """A chip type by type number and pin-out."""

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
    unchecked: tuple[str, ...] = ()

    def function(self, name: str) -> Function:
        """Return the function of that name; KeyError where there is none."""
        for item in self.functions:
            if item.name == name:
                return item
        raise KeyError(name)

    def of_kind(self, kind: FunctionKind) -> tuple[Function, ...]:
        """Return the functions of one kind."""
        return tuple(f for f in self.functions if f.kind == kind)
