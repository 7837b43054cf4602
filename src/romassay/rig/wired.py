"""The wiring of one specimen: which pin is on which host line or held at which level, and what feeds it."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Literal

from msgspec import field

from romassay.address import Range, merge_ranges, parse_range
from romassay.part import Option, Part
from romassay.rig.host import Host
from romassay.rig.lines import line_number, outside
from romassay.rig.rehearsal import Rehearsal
from romassay.rig.table import Table

HeldAt = Literal["high", "low"]
BufferFamily = Literal["HCT", "LS", "LVC"]


class Regulator(Table, frozen=True):
    """The linear regulator that makes the rail of 5 V: volts, milliamperes, kelvin per watt, degrees Celsius.

    Attributes:
        input: volts that go in.
        others: what else it feeds.
        ambient: of the air around it.
        heat_sink: from its case to the air, where it has one; 0 for none.
    """

    input: float
    others: float = 0.0
    ambient: float = 25.0
    heat_sink: float = 0.0


class Supply(Table, frozen=True):
    """What feeds the specimen.

    Attributes:
        rails: volts for each supply pin, the nominal ones where nothing is said; a pin that is left out where others
            are named has none.
        order: supply pins in the order in which they come on; the part's order where nothing is said.
        checked: supply pin -> data sheet and page in which a voltage above 5 V was looked up.
        regulator: what makes the 5 V, where that is a linear regulator.
    """

    rails: dict[str, float] = field(default_factory=dict)
    order: tuple[str, ...] = ()
    checked: dict[str, str] = field(default_factory=dict)
    regulator: Regulator | None = None


class Buffer(Table, frozen=True):
    """A bus driver between the specimen's data pins and the host's data lines.

    Attributes:
        ranges: where it is on, while the host reads; nowhere else does the specimen reach the bus.
        family: 74HCT245 or 74LS245 at 5 V, or 74LVC245 at 3.3 V with inputs that take 5 V.
        fitted: False where there is none, and none is to be proposed.
    """

    ranges: tuple[str, ...] = ()
    family: BufferFamily = "HCT"
    fitted: bool = True

    @property
    def where(self) -> tuple[Range, ...]:
        """The ranges as values."""
        return tuple(parse_range(item) for item in self.ranges)


class Rig(Table, frozen=True):
    """The wiring of one specimen.

    Attributes:
        host: the machine that reads it.
        part: type number or part file; empty where only the twin's free functions are on the bus.
        wiring: pin name -> host line name ('A10', 'D3', 'PHI2' …). In the file, 'A0-A9' stands for all of them.
        held: pin name -> level.
        title: for people.
        window: what is to be read; all of the bus beside the host's memory where nothing is said.
        known: for each function, what the mask is known to have made of its selects.
        supply: what feeds the specimen.
        buffer: between its data pins and the bus.
        drivers: family of one-way drivers at the specimen's supply in its address, select and control lines.
        gated: select pins that pass a gate which opens only while the host reads.
        pull_ups: pin name -> ohms to the supply.
        series: pin name -> ohms in the line.
        twin: a specimen to rehearse with.
    """

    host: Host
    part: str = ""
    wiring: dict[str, str] = field(default_factory=dict)
    held: dict[str, HeldAt] = field(default_factory=dict)
    title: str = ""
    window: tuple[str, ...] = ()
    known: dict[str, dict[str, Option]] = field(default_factory=dict)
    supply: Supply = Supply()
    buffer: Buffer | None = None
    drivers: BufferFamily | None = None
    gated: tuple[str, ...] = ()
    pull_ups: dict[str, float] = field(default_factory=dict)
    series: dict[str, float] = field(default_factory=dict)
    twin: Rehearsal | None = None

    @property
    def address_bits(self) -> int:
        """Lines of the host's bus."""
        return self.host.address_bits

    def reaches(self, line: str) -> bool:
        """Tell whether a line of the host is on a pin of the specimen; the others only open a gate, if anything."""
        return line in self.wiring.values()

    @property
    def to_read(self) -> tuple[Range, ...]:
        """What is to be read: the window, or all of the bus beside the host's memory."""
        if self.window:
            return tuple(parse_range(item) for item in self.window)
        return outside(self.host_memory, self.address_bits)

    @property
    def unread(self) -> tuple[Range, ...]:
        """Where the specimen is not heard: the host's memory, and what lies beyond a buffer's ranges."""
        if self.buffer is None or not self.buffer.fitted or not self.buffer.ranges:
            return self.host_memory
        return merge_ranges((*self.host_memory, *outside(self.buffer.where, self.address_bits)))

    @property
    def host_memory(self) -> tuple[Range, ...]:
        """The ranges in which the host itself answers."""
        return tuple(item.where for item in self.host.memory)

    def address_line(self, pin: str) -> int | None:
        """Return the address line of the host that a pin is on, or None."""
        number = line_number(self.wiring.get(pin, ""), "A")
        return number if number is not None and number < self.address_bits else None

    def steady(self, pin: str) -> int | None:
        """Return the level that a pin has at every read: it is held, or on a line such as R/W; None for the others."""
        if pin in self.held:
            return int(self.held[pin] == "high")
        return self.host.signals.level(self.wiring.get(pin, ""))

    def pin_levels(self, part: Part, function: str, decode: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
        """Return a function's decode in the specimen's own pins.

        Args:
            part: the rig's part.
            function: name of one of its functions.
            decode: level of each bus line: 'A10' -> '1', '0', 'any' or 'unknown'.

        Returns:
            (pin, level) for each of the function's selects; 'unknown' where a pin is held, which exercises nothing.
        """
        selects = part.function(function).selects
        return tuple((pin, decode.get(self.wiring.get(pin, ""), "unknown")) for pin in selects)
