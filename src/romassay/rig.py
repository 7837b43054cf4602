"""Rigs: which pin of the specimen is on which host line, or held at which level. Frozen values; no disk.

A rig file describes a wiring, the host's bus, and (in its `twin` table) a specimen to rehearse with. These are the
values that it is loaded into; the schema of the file is the same, key for key.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from typing import Literal

import msgspec

from romassay.address import Range, merge_ranges, parse_range
from romassay.dialogue import Dialogue
from romassay.errors import BadValue
from romassay.part import FunctionKind, Option, Part

HeldAt = Literal["high", "low"]
FloatKind = Literal["pulled", "constant", "address-low", "address-high", "address-bank", "previous", "decay", "noise"]
Toss = Literal["read", "reading", "session"]
Control = Literal["empty-socket", "pulled-up", "pulled-down"]
Newline = Literal["crlf", "lf", "cr"]
Parity = Literal["none", "even", "odd", "mark"]
SerialKind = Literal["current-loop", "rs-232", "ttl", "ttl-inverted", "usb"]
BufferFamily = Literal["HCT", "LS", "LVC"]
Encoding = Literal["ascii", "latin-1", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"]

_LINE = re.compile(r"(?P<bus>A|D|AD)(?P<number>0|[1-9]\d?)")
_SPAN = re.compile(r"(?P<stem>.*?)(?P<first>\d+)-(?P=stem)(?P<last>\d+)")


class _Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    """A table of a rig file."""


class HostMemory(_Table, frozen=True):
    """A range in which the host itself answers.

    Attributes:
        range: '0x0000-0x07FF' or '0x0000+0x800'.
        kind: ram or rom.
        pattern: contents in hex, repeated to fill the range; empty where not known.
        busy: share of the bytes of a RAM that change from one reading to the next.
    """

    range: str
    kind: Literal["ram", "rom"]
    pattern: str = ""
    busy: float = 0.02

    @property
    def where(self) -> Range:
        """The range as a value."""
        return parse_range(self.range)


class BusLevels(_Table, frozen=True):
    """What the host's bus lines give and take: volts, and milliamperes as magnitudes.

    Attributes:
        supply: of the drivers.
        high: least voltage of a high line, while it gives `high_current`.
        low: most voltage of a low line, while it takes `low_current`.
        high_in: least voltage that the data inputs take for high.
        low_in: most voltage that they take for low.
        most_in: what the data inputs stand at most.
        load: what one data input takes from a driver that is low.
        src: where the figures are from.
    """

    supply: float
    high: float
    low: float
    high_in: float
    low_in: float
    most_in: float
    high_current: float
    low_current: float
    load: float
    src: str


class ReadCycle(_Table, frozen=True):
    """One read of the bus, in nanoseconds.

    Attributes:
        address_to_data: from a stable address to the moment at which the host samples the data.
        clock_to_data: from the clock's (or the read strobe's) active edge to that moment.
        hold: for which the address stays after it.
        clock_mhz: frequency of the clock line; 0 where the host has none.
        free_running: True where the clock also runs between reads.
        strobed: True where the read strobe comes anew with each address: parts that latch need its edge.
        src: where the figures are from.
    """

    address_to_data: float
    clock_to_data: float
    src: str
    hold: float = 0.0
    clock_mhz: float = 0.0
    free_running: bool = True
    strobed: bool = False


class Signals(_Table, frozen=True):
    """Names of the host's lines beside address and data; empty where it has no such line.

    Attributes:
        clock: high in the half of a cycle in which data are on the bus.
        clock_inverse: the same, inverted.
        read_write: high while the host reads, low while it writes.
        read: low while the host reads.
        write: low while the host writes.
        reset: low until the host runs.
        latch: falls when a multiplexed line holds the address.
        latch_rise: the same, inverted.
    """

    clock: str = ""
    clock_inverse: str = ""
    read_write: str = ""
    read: str = ""
    write: str = ""
    reset: str = ""
    latch: str = ""
    latch_rise: str = ""

    def level(self, line: str) -> int | None:
        """Return the level of a line while the host samples what it reads; None where it is none of these lines."""
        levels = {
            self.clock: 1,
            self.clock_inverse: 0,
            self.read_write: 1,
            self.read: 0,
            self.write: 1,
            self.reset: 1,
            self.latch: 0,
            self.latch_rise: 1,
        }
        return levels.get(line) if line else None


class Serial(_Table, frozen=True):
    """The line from the host to the file.

    Attributes:
        kind: current loop (20 mA), RS-232 levels, logic levels with idle high (ttl) or idle low (ttl-inverted), or USB.
        baud: as it is set.
        rates: all that the host can be set to, where they are known.
        data_bits: of a character.
        parity: of a character.
        stop_bits: of a character.
        logic_volts: of a line at logic levels.
    """

    kind: SerialKind
    baud: int
    rates: tuple[int, ...] = ()
    data_bits: int = 8
    parity: Parity = "none"
    stop_bits: int = 1
    logic_volts: float = 5.0

    @property
    def frame(self) -> int:
        """Bit times of a character: start, data, parity, stop."""
        return 1 + self.data_bits + (self.parity != "none") + self.stop_bits


class Dump(_Table, frozen=True):
    """How much the host prints: for the sums of time, not for reading it back.

    Attributes:
        bytes_a_line: of a full line.
        line_characters: of a full line, with its end and whatever fills the time of a carriage return.
        pause: seconds that the host waits at each line, on top of its characters.
    """

    bytes_a_line: int
    line_characters: int
    pause: float = 0.0


class Host(_Table, frozen=True):
    """The machine whose bus reads the specimen, described by what it is.

    Attributes:
        address_bits: lines of its bus.
        memory: where it answers itself.
        title: for people.
        writes: True where it writes to its bus as well: any machine that runs programs does.
        multiplexed: lines, AD0 and up, that carry first the address and then the data.
        levels: of its bus.
        cycle: of a read.
        signals: names of its other lines.
        serial: its line to the file.
        dump: how much it prints.
        dialogue: how it is asked.
        mains: True where it is fed from the mains, and opened for the wiring.
        tube: True where it has a picture tube.
    """

    address_bits: int
    memory: tuple[HostMemory, ...] = ()
    title: str = ""
    writes: bool = True
    multiplexed: int = 0
    levels: BusLevels | None = None
    cycle: ReadCycle | None = None
    signals: Signals = Signals()
    serial: Serial | None = None
    dump: Dump | None = None
    dialogue: Dialogue | None = None
    mains: bool = False
    tube: bool = False


class Contents(_Table, frozen=True):
    """What a ROM holds: a file of its size beside the rig file, or bytes invented from a seed."""

    file: str = ""
    seed: int | None = None


class WeakCell(_Table, frozen=True):
    """A cell of a ROM that fails to one side; see the twin.

    Attributes:
        function: whose.
        offset: in it.
        line: data pin of the specimen, 0 to 7.
        to: level that it fails to.
        chance: of failing, at each toss.
        toss: at each read, once a reading, or once a session.
    """

    offset: int
    line: int
    to: int
    chance: float
    toss: Toss = "read"
    function: str = "rom"


class FreeFunction(_Table, frozen=True):
    """A function without a part: where it answers is a pattern over the bus lines, highest first.

    Attributes:
        pattern: '1', '0', '-' where ignored, 'a' for its own lines.
        contents: of a ROM; bytes invented from the rehearsal's seed where nothing is said.
        lines: data lines that it drives, such as 'D0-D3'.
    """

    kind: FunctionKind
    pattern: str
    name: str = ""
    contents: Contents = Contents()
    lines: tuple[str, ...] = ("D0-D7",)


class FloatingBus(_Table, frozen=True):
    """What data lines say that nobody drives; see the twin."""

    kind: FloatKind
    value: int = 0xFF
    rate: float = 0.5
    lines: tuple[str, ...] = ("D0-D7",)


class Noise(_Table, frozen=True):
    """What the line does to characters: rates from 0 to 1, see the twin."""

    substitute: float = 0.0
    digit: float = 0.0
    flip: float = 0.0
    drop: float = 0.0
    burst: float = 0.0
    burst_length: int = 12


class Line(_Table, frozen=True):
    """What lies between the host and the file."""

    newline: Newline = "crlf"
    nuls: int = 0
    parity: Parity = "none"
    encoding: Encoding = "ascii"
    colour: bool = False
    typos: bool = False


class Evening(_Table, frozen=True):
    """What is read.

    Attributes:
        window: ranges, in the order in which they are read; the rig's own where nothing is said.
        readings: passes in each session.
        sessions: power-ups.
        controls: control readings, taken before the first session.
        layout: how the host prints, by the twin's name for it.
        together: True where the passes of a session stand in one log.
        prefix: what the names of the logs begin with.
    """

    window: tuple[str, ...] = ()
    readings: int = 3
    sessions: int = 1
    controls: tuple[Control, ...] = ()
    layout: str = "plain"
    together: bool = False
    prefix: str = ""

    @property
    def ranges(self) -> tuple[Range, ...]:
        """The window as values."""
        return tuple(parse_range(item) for item in self.window)


class Rehearsal(_Table, frozen=True):
    """A specimen that does not exist, and an evening with it.

    Attributes:
        evening: what is read.
        seed: of everything that is left to chance.
        mask: for each function of the part, what the mask made of each select; drawn by the seed where nothing is said.
        contents: of each ROM of the part, by the function's name.
        weak: weak cells.
        functions: functions without a part; beside a part they are a second specimen.
        floating: what the undriven bus says; FF where nothing is said.
        unrest: probability that an undriven bit reads inverted.
        contention: who wins where two drive one line.
        cycles: clock cycles from one byte to the next.
        noise: of the line.
        line: what lies between the host and the file.
    """

    evening: Evening = Evening()
    seed: int = 0
    mask: dict[str, dict[str, Option]] = {}
    contents: dict[str, Contents] = {}
    weak: tuple[WeakCell, ...] = ()
    functions: tuple[FreeFunction, ...] = ()
    floating: tuple[FloatingBus, ...] = ()
    unrest: float = 0.0
    contention: Literal["low-wins", "high-wins"] = "low-wins"
    cycles: int = 3125
    noise: Noise = Noise()
    line: Line = Line()


ANY_SPECIMEN = Rehearsal(
    evening=Evening(readings=3, sessions=2, controls=("empty-socket",)),
    noise=Noise(substitute=0.0002, drop=0.00005),
)
"""The rehearsal of a rig that says nothing of one: any specimen of its part, over a line with a little noise.

Without noise its passes would be equal byte for byte, and equal files count once.
"""


class Regulator(_Table, frozen=True):
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


class Supply(_Table, frozen=True):
    """What feeds the specimen.

    Attributes:
        rails: volts for each supply pin, the nominal ones where nothing is said; a pin that is left out where others
            are named has none.
        order: supply pins in the order in which they come on; the part's order where nothing is said.
        checked: supply pin -> data sheet and page in which a voltage above 5 V was looked up.
        regulator: what makes the 5 V, where that is a linear regulator.
    """

    rails: dict[str, float] = {}
    order: tuple[str, ...] = ()
    checked: dict[str, str] = {}
    regulator: Regulator | None = None


class Buffer(_Table, frozen=True):
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


class Rig(_Table, frozen=True):
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
    wiring: dict[str, str] = {}
    held: dict[str, HeldAt] = {}
    title: str = ""
    window: tuple[str, ...] = ()
    known: dict[str, dict[str, Option]] = {}
    supply: Supply = Supply()
    buffer: Buffer | None = None
    drivers: BufferFamily | None = None
    gated: tuple[str, ...] = ()
    pull_ups: dict[str, float] = {}
    series: dict[str, float] = {}
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


def outside(ranges: Iterable[Range], bits: int) -> tuple[Range, ...]:
    """Return the addresses of a bus that are in none of the ranges, as ranges."""
    result = []
    at = 0
    for item in merge_ranges(ranges):
        if item.first > at:
            result.append(Range(at, item.first - 1))
        at = item.last + 1
    if at < 1 << bits:
        result.append(Range(at, (1 << bits) - 1))
    return tuple(result)


def line_number(name: str, bus: Literal["A", "D"]) -> int | None:
    """Return the number of an address or data line: 'A10' is 10, 'AD3' is 3 of both; None for any other name."""
    match = _LINE.fullmatch(name)
    return int(match["number"]) if match and bus in match["bus"] else None


def spread(name: str) -> tuple[str, ...]:
    """Return the names that a span stands for: 'DB0-DB7' is DB0 … DB7; another name stands for itself.

    Spans may run downward. BadValue where one is longer than any bus.
    """
    match = _SPAN.fullmatch(name)
    if not match:
        return (name,)
    first, last = int(match["first"]), int(match["last"])
    if abs(last - first) >= 32:
        raise BadValue(f"'{name}' spans more lines than there are", advice="write it like A0-A9")
    step = 1 if last >= first else -1
    return tuple(f"{match['stem']}{n}" for n in range(first, last + step, step))


def data_mask(names: tuple[str, ...]) -> int:
    """Return the bit mask of data lines: ('D0-D3', 'D7') is 8F; BadValue where a name is no data line."""
    mask = 0
    for name in (part for item in names for part in spread(item)):
        number = line_number(name, "D")
        if number is None or number > 7:
            raise BadValue(f"'{name}' is no data line", advice="write D0 to D7, or a span like D0-D3")
        mask |= 1 << number
    return mask
