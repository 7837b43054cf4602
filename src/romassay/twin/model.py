"""What is simulated: specimens with their functions and selects, the host's memory, and what an undriven bus says.

Values only. Bus lines are plain numbers, 0 the least significant address line. A pin that is not on the bus is held:
`HIGH` or `LOW` stands in place of its line number.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

from romassay.errors import BadValue

Kind = Literal["rom", "ram", "registers"]
Role = Literal["specimen", "empty-socket", "pulled-up", "pulled-down"]
FloatKind = Literal["pulled", "constant", "address-low", "address-high", "address-bank", "previous", "decay", "noise"]
Toss = Literal["read", "reading", "session"]
Contention = Literal["low-wins", "high-wins"]

HIGH = -1
LOW = -2


@dataclass(frozen=True, slots=True)
class Weak:
    """A cell that does not always read as it was made.

    Attributes:
        offset: in the ROM.
        line: data pin of the specimen, 0 to 7.
        to: level that it fails to; where that is the cell's own level nothing shows.
        chance: probability of failing, at each toss.
        toss: how often chance is asked: at each read, once a reading (through all copies), or once a session.
    """

    offset: int
    line: int
    to: int
    chance: float
    toss: Toss = "read"


@dataclass(frozen=True, slots=True)
class Function:
    """What a specimen does when its selects agree.

    Attributes:
        kind: rom, ram or registers.
        own: where the function's own address pins are, lowest pin first: bus lines, or `HIGH` or `LOW`.
        selects: (bus line, `HIGH` or `LOW`; level at which it selects) for every input that is not ignored.
        data: contents of a ROM, 2 ** len(own) bytes; empty for the others.
        driven: data pins that it drives, as a bit mask.
        weak: weak cells of a ROM.
        steady: share of a RAM's cells that come up the same at each power-up.
        name: the part's name for it.
    """

    kind: Kind
    own: tuple[int, ...]
    selects: tuple[tuple[int, int], ...]
    data: bytes = b""
    driven: int = 0xFF
    weak: tuple[Weak, ...] = ()
    steady: float = 0.75
    name: str = ""

    def __post_init__(self) -> None:
        if self.kind == "rom" and len(self.data) != 1 << len(self.own):
            raise BadValue(
                f"a ROM with {len(self.own)} address pins holds {1 << len(self.own)} bytes, not {len(self.data)}"
            )

    @property
    def size(self) -> int:
        """Bytes inside the function, also those that held pins keep out of sight."""
        return 1 << len(self.own)


STRAIGHT = (0, 1, 2, 3, 4, 5, 6, 7)
OPEN = -1


@dataclass(frozen=True, slots=True)
class Specimen:
    """One chip.

    Attributes:
        functions: what it does.
        port_a: levels that the pins of its first port see.
        port_b: of its second.
        data_lines: the host's data line that each of its data pins is on, lowest pin first; `OPEN` where on none.
        within: ranges in which it reaches the bus; everywhere where there are none.
    """

    functions: tuple[Function, ...]
    port_a: int = 0xFF
    port_b: int = 0xFF
    data_lines: tuple[int, ...] = STRAIGHT
    within: tuple[tuple[int, int], ...] = ()

    def on_bus(self, value: int) -> int:
        """Return the levels on the host's data lines for levels on the data pins; 0 on lines without a pin."""
        return sum((value >> pin & 1) << line for pin, line in enumerate(self.data_lines) if line != OPEN)


@dataclass(frozen=True, slots=True)
class Memory:
    """Memory of the host in the window.

    Attributes:
        first: first address.
        last: last address, included.
        kind: ram or rom.
        data: contents, repeated to fill the range; empty for invented contents.
        busy: share of the bytes of a RAM that differ from one reading to the next.
    """

    first: int
    last: int
    kind: Literal["ram", "rom"] = "ram"
    data: bytes = b""
    busy: float = 0.02


@dataclass(frozen=True, slots=True)
class Floating:
    """What data lines say that nobody drives.

    Attributes:
        kind: `pulled` and `constant` (the reading instruction's opcode or operand, say) give the bits of `value`;
            `address-low`, `-high` and `-bank` give bits 0-7, 8-15 and 16-23 of the address; `previous` keeps what was
            last driven (`value` before that); `decay` keeps it for a while and then falls to `value`; `noise` gives 1
            with probability `rate`.
        value: see above.
        rate: for `decay` the reads after which a bit has fallen, on average (not less than 1); for `noise` the share
            of 1.
        lines: data lines that behave so, as a bit mask.
    """

    kind: FloatKind = "pulled"
    value: int = 0xFF
    rate: float = 0.5
    lines: int = 0xFF


@dataclass(frozen=True, slots=True)
class Bench:
    """Everything on the bus: `observe` asks it.

    Attributes:
        address_bits: lines of the bus, 8 to 24.
        specimens: one, or two that were put in together.
        memory: the host's own.
        floating: what undriven lines say; together they cover the eight data lines.
        unrest: probability that an undriven bit reads inverted.
        contention: who wins where two drive one line.
        cycles: clock cycles from one byte read to the next, as the timers see it.
        seed: of everything that is left to chance.
    """

    address_bits: int
    specimens: tuple[Specimen, ...]
    memory: tuple[Memory, ...] = ()
    floating: tuple[Floating, ...] = (Floating(),)
    unrest: float = 0.0
    contention: Contention = "low-wins"
    cycles: int = 3125
    seed: int = 0

    def __post_init__(self) -> None:
        if not 8 <= self.address_bits <= 24:
            raise BadValue(f"a bus of {self.address_bits} lines", advice="give 8 to 24")
        covered = 0
        for item in self.floating:
            covered |= item.lines
        if covered != 0xFF:
            raise BadValue(f"the floating bus says nothing for the data lines in {0xFF & ~covered:#04x}")


_PATTERN_ADVICE = "write one character a line, highest first: 1, 0, '-' where ignored, 'a' for the function's own lines"


def function_from_pattern(
    kind: Kind, pattern: str, data: bytes = b"", *, driven: int = 0xFF, weak: tuple[Weak, ...] = (), name: str = ""
) -> Function:
    """Make a function from a line pattern, the highest bus line first.

    `110100aaaaaaaaaa` is a ROM of 1 KiB at D000 that decodes all lines; '-' stands for a line that is ignored. Spaces
    and underscores may be put in for the eye.
    """
    levels = [c for c in pattern.lower() if c not in " _"]
    if set(levels) - set("01-a") or not levels:
        raise BadValue(f"'{pattern}' is no line pattern", advice=_PATTERN_ADVICE)
    lines = dict(enumerate(reversed(levels)))
    return Function(
        kind=kind,
        own=tuple(i for i, c in lines.items() if c == "a"),
        selects=tuple((i, int(c)) for i, c in lines.items() if c in "01"),
        data=data,
        driven=driven,
        weak=weak,
        name=name or kind,
    )


def without_specimens(bench: Bench) -> Bench:
    """Return the bench with an empty socket."""
    return replace(bench, specimens=())


def pulled(bench: Bench, value: int) -> Bench:
    """Return the bench with resistors on all data lines, up (FF) or down (00)."""
    return replace(bench, floating=(Floating("pulled", value),), unrest=0.0)
