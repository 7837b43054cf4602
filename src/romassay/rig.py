"""Rigs: which pin of the specimen is on which host line, or held at which level. Frozen values; no disk.

A rig file describes a wiring, the host's bus, and (in its `twin` table) a specimen to rehearse with. These are the
values that it is loaded into; the schema of the file is the same, key for key.
"""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Literal

import msgspec

from romassay.address import Range, parse_range
from romassay.errors import BadValue
from romassay.part import FunctionKind, Option, Part

HeldAt = Literal["high", "low"]
FloatKind = Literal["pulled", "constant", "address-low", "address-high", "address-bank", "previous", "decay", "noise"]
Toss = Literal["read", "reading", "session"]
Control = Literal["empty-socket", "pulled-up", "pulled-down"]
Newline = Literal["crlf", "lf", "cr"]
Parity = Literal["none", "even", "odd", "mark"]
Encoding = Literal["ascii", "latin-1", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"]

_LINE = re.compile(r"(?P<bus>[AD])(?P<number>0|[1-9]\d?)")
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


class Host(_Table, frozen=True):
    """The machine whose bus reads the specimen.

    Attributes:
        address_bits: lines of its bus.
        memory: where it answers itself.
        title: for people.
    """

    address_bits: int
    memory: tuple[HostMemory, ...] = ()
    title: str = ""


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
        window: ranges, in the order in which they are read.
        readings: passes in each session.
        sessions: power-ups.
        controls: control readings, taken before the first session.
        layout: how the host prints, by the twin's name for it.
        together: True where the passes of a session stand in one log.
        prefix: what the names of the logs begin with.
    """

    window: tuple[str, ...]
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
        mask: for each function of the part, what the mask made of each select.
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

    evening: Evening
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


class Rig(_Table, frozen=True):
    """The wiring of one specimen.

    Attributes:
        host: the machine that reads it.
        part: type number or part file; empty where only the twin's free functions are on the bus.
        wiring: pin name -> host line name ('A10', 'D3', 'PHI2' …). In the file, 'A0-A9' stands for all of them.
        held: pin name -> level.
        title: for people.
        twin: a specimen to rehearse with.
    """

    host: Host
    part: str = ""
    wiring: dict[str, str] = {}
    held: dict[str, HeldAt] = {}
    title: str = ""
    twin: Rehearsal | None = None

    @property
    def address_bits(self) -> int:
        """Lines of the host's bus."""
        return self.host.address_bits

    @property
    def host_memory(self) -> tuple[Range, ...]:
        """The ranges in which the host itself answers."""
        return tuple(item.where for item in self.host.memory)

    def address_line(self, pin: str) -> int | None:
        """Return the address line that a pin is on, or None."""
        return line_number(self.wiring.get(pin, ""), "A")

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


def line_number(name: str, bus: Literal["A", "D"]) -> int | None:
    """Return the number of an address or data line: 'A10' is 10; None where the name is something else."""
    match = _LINE.fullmatch(name)
    return int(match["number"]) if match and match["bus"] == bus else None


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
