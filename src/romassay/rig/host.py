"""The machine whose bus reads the specimen: what its bus gives and takes, and its line to the file."""

from __future__ import annotations

from typing import Literal

from romassay.address import Range, parse_range
from romassay.dialogue import Dialogue
from romassay.rig.table import Table

Parity = Literal["none", "even", "odd", "mark"]
SerialKind = Literal["current-loop", "rs-232", "ttl", "ttl-inverted", "usb"]


class HostMemory(Table, frozen=True):
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


class BusLevels(Table, frozen=True):
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


class ReadCycle(Table, frozen=True):
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


class Signals(Table, frozen=True):
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


class Serial(Table, frozen=True):
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


class Dump(Table, frozen=True):
    """How much the host prints: for the sums of time, not for reading it back.

    Attributes:
        bytes_a_line: of a full line.
        line_characters: of a full line, with its end and whatever fills the time of a carriage return.
        pause: seconds that the host waits at each line, on top of its characters.
    """

    bytes_a_line: int
    line_characters: int
    pause: float = 0.0


class Host(Table, frozen=True):
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
