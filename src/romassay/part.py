"""Parts: what a chip type is, pin by pin and function by function. Frozen values; no disk.

Units: V, mA, ns; loads in uA or pF, ratings in V, mW or degrees C, as each says. A part file is this module as TOML.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from typing import Literal, TypeVar

import msgspec

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

HOLDS = ("high", "low", "open", "clock", "strobe", "raised")
"""How a pin may be held for reading, beside the name of a rail: a level, open, a free-running clock, driven in step
with each reading, or raised above the supply."""

MEMORY = "memory"
"""The id of the source that is none: from memory, unchecked."""

PRACTICE = "practice"
"""The id of common practice, for which there is no source; unchecked too."""

_NOT_SOURCES = frozenset((MEMORY, PRACTICE))


def source_ids(src: str) -> tuple[str, ...]:
    """Return the ids in a `src` field: 'HW76 p. 139, memory' names HW76 and memory."""
    return tuple(word.split()[0] for word in src.split(",") if word.split())


def is_unchecked(src: str) -> bool:
    """Whether something rests on memory or on practice, at least in part."""
    return not _NOT_SOURCES.isdisjoint(source_ids(src))


class _Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """A table of a part file: whatever is misspelt in it is refused."""


class Figure(_Table, frozen=True, kw_only=True):
    """A number, or a pair or a triple of them, with its source and the condition under which it holds."""

    src: str
    minimum: float | None = None
    typical: float | None = None
    maximum: float | None = None
    condition: str = ""
    note: str = ""


class Pin(_Table, frozen=True, kw_only=True):
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


class Function(_Table, frozen=True, kw_only=True):
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


class Select(_Table, frozen=True, kw_only=True):
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


class Register(_Table, frozen=True, kw_only=True):
    """One register, by its offset in the function, in words."""

    offset: str
    read: str
    write: str
    src: str


class Rail(_Table, frozen=True, kw_only=True):
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


class Clock(_Table, frozen=True, kw_only=True):
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


class Latch(_Table, frozen=True, kw_only=True):
    """An edge that takes pins in: they must be steady around it, and it must come again for each address."""

    pin: str
    edge: Edge
    takes: tuple[str, ...]
    src: str
    note: str = ""


class Output(_Table, frozen=True, kw_only=True):
    """How the data pins drive; an open collector wants a pull-up on each of them."""

    kind: OutputKind
    src: str
    note: str = ""


class Remark(_Table, frozen=True, kw_only=True):
    """What to mind at the bench, or what is worth knowing and has no number."""

    text: str
    src: str


class Citation(_Table, frozen=True, kw_only=True):
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


class Part(_Table, frozen=True, kw_only=True):
    """A chip type by type number and pin-out.

    Every `src` names one or more of `sources`, by id and page, separated by commas. The ids `memory` and `practice`
    mark what was not found in any source: `unchecked` lists it, and it is never to be shown as a data sheet's value.

    Attributes:
        type: the type number.
        variant: what tells it from another part of the same number, in plain words; empty where there is none.
        pins: every pin of the package; none at all where no pin table was found. Such a part can't be wired.
        row: distance of the two rows of pins, in inches.
        row_src: its source.
        output: None where it is not known.
        clock: None where the part has no clock.
    """

    type: str
    title: str
    package: str
    status: str
    pins: tuple[Pin, ...]
    functions: tuple[Function, ...]
    sources: tuple[Citation, ...]
    selects: tuple[Select, ...] = ()
    rails: tuple[Rail, ...] = ()
    variant: str = ""
    row: float | None = None
    row_src: str = ""
    output: Output | None = None
    clock: Clock | None = None
    latches: tuple[Latch, ...] = ()
    registers: tuple[Register, ...] = ()
    ratings: tuple[Rating, ...] = ()
    levels: tuple[Level, ...] = ()
    loads: tuple[Load, ...] = ()
    timing: tuple[Timing, ...] = ()
    current: tuple[Current, ...] = ()
    cautions: tuple[Remark, ...] = ()
    remarks: tuple[Remark, ...] = ()

    @property
    def name(self) -> str:
        """Type number, and the variant where there is one: '2716, 5 V'."""
        return f"{self.type}, {self.variant}" if self.variant else self.type

    @property
    def pin_count(self) -> int:
        """Pins of the package, by its name."""
        return int(self.package.rpartition("-")[2])

    @property
    def unchecked(self) -> tuple[str, ...]:
        """What has no source, at least in part, as 'section: name'."""
        return tuple(f"{item.section}: {item.name}" for item in self.cited() if is_unchecked(item.src))

    @property
    def data_pins(self) -> tuple[Pin, ...]:
        """The pins that give data, lowest bit first."""
        found = (pin for pin in self.pins if pin.kind in ("data", "address-data"))
        return tuple(sorted(found, key=_number))

    def cited(self) -> Iterator[Cited]:
        """Yield everything that has a source, section by section."""
        for index, pin in enumerate(self.pins):
            yield Cited("pins", index, "src", pin.name, pin.src)
            if pin.hold and pin.hold_src:
                yield Cited("pins", index, "hold_src", f"{pin.name} for reading", pin.hold_src)
        for index, rail in enumerate(self.rails):
            yield Cited("rails", index, "src", rail.name, rail.src)
            if rail.limits_src:
                yield Cited("rails", index, "limits_src", f"{rail.name} limits", rail.limits_src)
            if rail.order_src:
                yield Cited("rails", index, "order_src", f"{rail.name} order", rail.order_src)
        if self.row_src:
            yield Cited("row", None, "row_src", f"{self.row} inch between the rows", self.row_src)
        if self.output:
            yield Cited("output", None, "src", self.output.kind, self.output.src)
        if self.clock:
            yield Cited("clock", None, "src", self.clock.pin, self.clock.src)
        for section, items in self._named().items():
            for index, (name, src) in enumerate(items):
                yield Cited(section, index, "src", name, src)

    def _named(self) -> dict[str, list[tuple[str, str]]]:
        return {
            "functions": [(item.name, item.src) for item in self.functions],
            "selects": [(item.name, item.src) for item in self.selects],
            "latches": [(item.pin, item.src) for item in self.latches],
            "ratings": [(of_pins(item.what, item.pins), item.src) for item in self.ratings],
            "levels": [(of_pins(item.what, item.pins), item.src) for item in self.levels],
            "loads": [(of_pins(item.what, item.pins), item.src) for item in self.loads],
            "timing": [(item.what, item.src) for item in self.timing],
            "current": [(f"{item.rail} {item.state}", item.src) for item in self.current],
            "registers": [(item.offset, item.src) for item in self.registers],
            "cautions": [(item.text, item.src) for item in self.cautions],
            "remarks": [(item.text, item.src) for item in self.remarks],
        }

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
            if name in item.names:
                return item
        raise KeyError(name)

    def rail(self, name: str) -> Rail:
        """Return the rail of that name; KeyError where there is none."""
        for item in self.rails:
            if item.name == name:
                return item
        raise KeyError(name)

    def options(self, function: str, select: str) -> tuple[Option, ...]:
        """Return the levels at which a select may choose a function; KeyError where it does not concern it."""
        for item in self.selects:
            if item.name == select and function in item.functions:
                return item.options
        raise KeyError(select)

    def times(self, what: TimingKind) -> tuple[Timing, ...]:
        """Return the times of one kind, in the order of the file: one a grade, where grades differ."""
        return tuple(item for item in self.timing if item.what == what)

    def voltage_rating(self, pin: str) -> Rating | None:
        """Return the absolute maximum of a pin's voltage: its own, or that of all pins without one, or None."""
        return next(_of_pin((item for item in self.ratings if item.what == "voltage"), self.pin(pin).names), None)

    def voltage_limits(self, pin: str) -> tuple[float | None, float | None]:
        """Return the lowest and the highest voltage against ground that a pin stands, with all rails on."""
        rating = self.voltage_rating(pin)
        if rating is None:
            return None, None
        level = self.rail(rating.against).nominal if rating.against else 0.0
        low, high = (None if limit is None else limit + level for limit in (rating.minimum, rating.maximum))
        return low, high

    def levels_of(self, what: LevelKind, pin: str) -> tuple[Level, ...]:
        """Return the levels of one kind at a pin: its own, or those of all pins without one."""
        return tuple(_of_pin((item for item in self.levels if item.what == what), self.pin(pin).names))


def _number(pin: Pin) -> int:
    found = re.search(r"[0-9]{1,3}", pin.name)
    return int(found[0]) if found else 0


def of_pins(what: str, pins: tuple[str, ...]) -> str:
    """Return a name for something that holds for some pins: 'VIH' or 'VIH PHI2'."""
    return f"{what} {', '.join(pins)}" if pins else what


def _of_pin(items: Iterable[_OfPins], names: tuple[str, ...]) -> Iterator[_OfPins]:
    every = tuple(items)
    own = [item for item in every if not set(names).isdisjoint(item.pins)]
    yield from own or [item for item in every if not item.pins]
