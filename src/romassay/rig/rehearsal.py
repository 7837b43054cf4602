"""A specimen that does not exist, the evening with it, and the line over which it is heard: the table `twin`."""

from __future__ import annotations

from typing import Literal

from msgspec import field

from romassay.address import Range, parse_range
from romassay.part import FunctionKind, Option
from romassay.rig.host import Parity
from romassay.rig.table import Table

FloatKind = Literal["pulled", "constant", "address-low", "address-high", "address-bank", "previous", "decay", "noise"]
Toss = Literal["read", "reading", "session"]
Control = Literal["empty-socket", "pulled-up", "pulled-down"]
Newline = Literal["crlf", "lf", "cr"]
Encoding = Literal["ascii", "latin-1", "utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be"]


class Contents(Table, frozen=True):
    """What a ROM holds: a file of its size beside the rig file, or bytes invented from a seed."""

    file: str = ""
    seed: int | None = None


class WeakCell(Table, frozen=True):
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


class FreeFunction(Table, frozen=True):
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


class FloatingBus(Table, frozen=True):
    """What data lines say that nobody drives; see the twin."""

    kind: FloatKind
    value: int = 0xFF
    rate: float = 0.5
    lines: tuple[str, ...] = ("D0-D7",)


class Noise(Table, frozen=True):
    """What the line does to characters: rates from 0 to 1, see the twin."""

    substitute: float = 0.0
    digit: float = 0.0
    flip: float = 0.0
    drop: float = 0.0
    burst: float = 0.0
    burst_length: int = 12


class Line(Table, frozen=True):
    """What lies between the host and the file."""

    newline: Newline = "crlf"
    nuls: int = 0
    parity: Parity = "none"
    encoding: Encoding = "ascii"
    colour: bool = False
    typos: bool = False


class Evening(Table, frozen=True):
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


class Rehearsal(Table, frozen=True):
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
    mask: dict[str, dict[str, Option]] = field(default_factory=dict)
    contents: dict[str, Contents] = field(default_factory=dict)
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
