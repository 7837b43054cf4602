"""Figures of a data sheet: supplies, ratings, levels, loads, times, clocks, latches.

Units: V, mA, ns; loads in uA or pF, ratings in V, mW or degrees C, as each says.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Literal, TypeVar

from romassay.part.table import Table

TimingKind = Literal[
    "address-access",
    "enable-access",
    "output-enable",
    "output-off",
    "hold",
    "clock-period",
    "clock-high",
    "clock-low",
    "clock-edge",
    "address-before-clock",
    "control-before-clock",
    "port-before-clock",
    "clock-access",
    "hold-after-clock",
    "address-before-latch",
    "hold-after-latch",
    "latch-width",
    "latch-access",
    "strobe-access",
    "machine-cycle",
    "address-before-clock-write",
    "data-before-clock-write",
    "hold-after-clock-write",
    "port-after-clock",
]
"""Times in ns. Access: from address, enable, clock or strobe to valid data, at most. Before, hold, width: at least."""

LevelKind = Literal["VIH", "VIL", "VOH", "VOL"]

LoadKind = Literal["input-current", "output-off-current", "input-capacitance", "output-capacitance"]

RatingKind = Literal["voltage", "power", "operating", "storage"]

CurrentState = Literal["active", "standby", "read"]

OutputKind = Literal["three-state", "open-collector"]

Stoppable = Literal["yes", "no", "unknown"]

Edge = Literal["rise", "fall"]


class Figure(Table, frozen=True, kw_only=True):
    """A number, or a pair or a triple of them, with its source and the condition under which it holds."""

    src: str
    minimum: float | None = None
    typical: float | None = None
    maximum: float | None = None
    condition: str = ""
    note: str = ""


class Rail(Table, frozen=True, kw_only=True):
    """One supply pin; volts.

    Attributes:
        order: when it comes on: 1 first, then 2 …; they go off the other way round. 0: at any time.
        programming: what the pin gets for writing, and must never get for reading; None where that is not known.
        limits_src: the source of minimum and maximum, where it is not that of the nominal voltage.
        order_src: the source of `order`, where it is another one.
    """

    name: str
    pin: int
    nominal: float
    src: str
    minimum: float | None = None
    maximum: float | None = None
    limits_src: str = ""
    order: int = 0
    order_src: str = ""
    programming: float | None = None
    note: str = ""


class Rating(Figure, frozen=True, kw_only=True):
    """An absolute maximum: V, mW or degrees C. A voltage holds for `pins`, or for every pin that no other rating names.

    It is against the rail that `against` names, or against ground.
    """

    what: RatingKind
    pins: tuple[str, ...] = ()
    against: str = ""


class Level(Figure, frozen=True, kw_only=True):
    """A logic level in V, with the current in mA at which an output gives it (negative: out of the pin).

    Without `pins` it holds for every input or output that no other level of the kind names.
    """

    what: LevelKind
    pins: tuple[str, ...] = ()
    at: float | None = None


_OfPins = TypeVar("_OfPins", Rating, Level)


class Load(Figure, frozen=True, kw_only=True):
    """What a pin asks of its driver: current in uA (negative: out of the pin), or capacitance in pF."""

    what: LoadKind
    pins: tuple[str, ...] = ()


class Timing(Figure, frozen=True, kw_only=True):
    """A time in ns. `symbol` is what the data sheet calls it."""

    what: TimingKind
    symbol: str = ""


class Current(Figure, frozen=True, kw_only=True):
    """What a rail draws, in mA."""

    rail: str
    state: CurrentState = "active"


class Clock(Table, frozen=True, kw_only=True):
    """The clock pin of a clocked part.

    Attributes:
        pin: its name.
        needed: nothing is read without it.
        stoppable: whether it may stand still between readings; 'no' for a dynamic part.
    """

    pin: str
    needed: bool
    stoppable: Stoppable
    src: str
    note: str = ""


class Latch(Table, frozen=True, kw_only=True):
    """An edge that takes pins in: they must be steady around it, and it must come again for each address."""

    pin: str
    edge: Edge
    takes: tuple[str, ...]
    src: str
    note: str = ""


class Output(Table, frozen=True, kw_only=True):
    """How the data pins drive; an open collector wants a pull-up on each of them."""

    kind: OutputKind
    src: str
    note: str = ""


def of_pins(what: str, pins: tuple[str, ...]) -> str:
    """Return a name for something that holds for some pins: 'VIH' or 'VIH PHI2'."""
    return f"{what} {', '.join(pins)}" if pins else what


def of_pin(items: Iterable[_OfPins], names: tuple[str, ...]) -> Iterator[_OfPins]:
    """Yield the figures that name a pin by one of its names, or those that name none where no figure does."""
    every = tuple(items)
    own = [item for item in every if not set(names).isdisjoint(item.pins)]
    yield from own or [item for item in every if not item.pins]
