"""A chip type as a whole: what its pins, functions and figures are together."""

from __future__ import annotations

import re
from collections.abc import Iterator

from romassay.part.figures import (
    Clock,
    Current,
    Latch,
    Level,
    LevelKind,
    Load,
    Output,
    Rail,
    Rating,
    Timing,
    TimingKind,
    of_pin,
    of_pins,
)
from romassay.part.pins import Function, FunctionKind, Option, Pin, Register, Select
from romassay.part.sources import Citation, Cited, is_unchecked
from romassay.part.table import Table


class Remark(Table, frozen=True, kw_only=True):
    """What to mind at the bench, or what is worth knowing and has no number."""

    text: str
    src: str


class Part(Table, frozen=True, kw_only=True):
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

    def __repr__(self) -> str:
        """One line for a notebook: name, what it is, and how much of it has no source."""
        return f"<Part {self.name}: {self.title}, {self.package}; {len(self.unchecked)} entries without a source>"

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
        return next(of_pin((item for item in self.ratings if item.what == "voltage"), self.pin(pin).names), None)

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
        return tuple(of_pin((item for item in self.levels if item.what == what), self.pin(pin).names))


def _number(pin: Pin) -> int:
    found = re.search(r"[0-9]{1,3}", pin.name)
    return int(found[0]) if found else 0
