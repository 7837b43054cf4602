"""Pins, functions, the selects that choose them, and registers."""

from __future__ import annotations

from typing import Literal

from romassay.part.table import Table

PinRole = Literal[
    "address",
    "data",
    "address-data",
    "select",
    "control",
    "clock",
    "io",
    "power",
    "program",
    "ground",
    "no-connect",
]
"""`address-data` is a pin that takes an address and later gives data; `program` a supply that only writing raises."""

FunctionKind = Literal["rom", "ram", "registers"]

Option = Literal["high", "low", "ignored"]

Cell = Literal["mask", "uv-eprom", "fuse", "static-ram", "ports"]
"""What holds the bits of a function."""

HOLDS = ("high", "low", "open", "clock", "strobe", "raised")
"""How a pin may be held for reading, beside the name of a rail: a level, open, a free-running clock, driven in step
with each reading, or raised above the supply."""


class Pin(Table, frozen=True, kw_only=True):
    """One pin of the package.

    Attributes:
        n: its number.
        name: by which functions and rigs call it; a leading '/' stands for active low.
        kind: what it is.
        also: its other name, where a mask or another mode decides what it is.
        also_kind: what it is then.
        hold: how it is held for reading: one of `HOLDS`, or the name of a rail ('VCC'). Empty for pins of which the
            function decides: addresses, data, selects, supplies.
        hold_volts: where it is raised above the supply, to what; None where that is not known.
        hold_src: the source of `hold`, where it is not that of the pin.
    """

    n: int
    name: str
    kind: PinRole
    src: str
    also: str = ""
    also_kind: PinRole | None = None
    hold: str = ""
    hold_volts: float | None = None
    hold_src: str = ""
    note: str = ""

    @property
    def names(self) -> tuple[str, ...]:
        """Its name, and its other name where it has one."""
        return (self.name, self.also) if self.also else (self.name,)


class Function(Table, frozen=True, kw_only=True):
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
    cell: Cell | None = None
    note: str = ""


class Select(Table, frozen=True, kw_only=True):
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


class Register(Table, frozen=True, kw_only=True):
    """One register, by its offset in the function, in words."""

    offset: str
    read: str
    write: str
    src: str
