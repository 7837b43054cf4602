"""What a plan says: values only. Volts, milliamperes, nanoseconds, ohms, seconds, degrees Celsius."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from romassay.address import Range
from romassay.part import FunctionKind

ProblemKind = Literal[
    "no-pin-table",
    "no-such-line",
    "input-floating",
    "supply-not-connected",
    "supply-in-wiring",
    "output-held",
    "two-outputs-on-one-line",
    "line-used-twice",
    "data-line-open",
    "select-never-true",
    "writes-to-specimen",
    "held-in-reset",
    "held-wrong",
    "specimen-drives-on-writes",
    "clash-with-host-memory",
    "no-free-block",
    "rail-beyond-maximum",
    "rail-outside-limits",
    "rail-order",
    "unchecked-voltage",
    "input-beyond-maximum",
    "regulator-drop-out",
    "regulator-too-hot",
    "no-clock",
    "clock-too-fast",
    "clock-too-slow",
    "clock-stops",
    "latch-not-cycled",
    "too-slow-for-host",
    "level-too-low",
    "level-too-high",
    "over-voltage-at-host",
    "overload",
]
Net = Literal["address", "data", "control", "rail", "high", "low", "open", "raised"]
Moment = Literal["before", "wiring", "power-off", "empty-socket", "practice", "insertion", "readings", "afterwards"]
Status = Literal["good", "bad", "unknown"]


@dataclass(frozen=True, slots=True)
class Problem:
    """Something that is wrong with a rig: it must not be switched on like this.

    Attributes:
        kind: its name.
        pins: of the specimen, that it concerns.
        text: what is wrong.
        advice: what to do.
    """

    kind: ProblemKind
    pins: tuple[str, ...]
    text: str
    advice: str


@dataclass(frozen=True, slots=True)
class Wire:
    """Where one pin goes.

    Attributes:
        n: its number.
        pin: its name.
        role: what it is, in the part's words.
        net: what kind of thing it goes to.
        to: the host's line, the rail, or what it is held at.
        via: what is on the way, in words: ohms in the line or to the supply, a gate, a buffer; '' where nothing is.
        proposed: True where the rig file says nothing of it.
        note: what to mind.
    """

    n: int
    pin: str
    role: str
    net: Net
    to: str
    via: str = ""
    proposed: bool = False
    note: str = ""


@dataclass(frozen=True, slots=True)
class Check:
    """One step of the checklist before the specimen: what to put the probes on, and what must show."""

    power: bool
    pins: tuple[int, ...]
    probe: str
    expect: str


@dataclass(frozen=True, slots=True)
class Setting:
    """One thing that the mask may have made of a function's selects, and how often it is then seen in the window."""

    levels: tuple[tuple[str, str], ...]
    copies: int
    clashes: int


@dataclass(frozen=True, slots=True)
class Expected:
    """How many copies of a function to expect, for every mask option that is still open."""

    function: str
    kind: FunctionKind
    size: int
    settings: tuple[Setting, ...]


@dataclass(frozen=True, slots=True)
class Coverage:
    """What the window shows.

    Attributes:
        window: what is to be read.
        free: of it, what lies beside the host's memory and within the buffer's ranges.
        expected: for each function.
        enough: the smallest set of ranges that tells every open option from every other.
        lines: address lines that it exercises.
        hidden: levels of those lines at which the window has no free block: an option that needs them is not seen.
    """

    window: tuple[Range, ...]
    free: tuple[Range, ...]
    expected: tuple[Expected, ...]
    enough: tuple[Range, ...]
    lines: tuple[int, ...]
    hidden: tuple[tuple[tuple[int, int], ...], ...]


@dataclass(frozen=True, slots=True)
class RailPlan:
    """One supply pin: what it gets, when, and what it may draw."""

    pin: str
    n: int
    volts: float
    least: float | None
    most: float | None
    order: int
    typical: float | None
    maximum: float | None
    limit: float
    unchecked: bool


@dataclass(frozen=True, slots=True)
class RegulatorPlan:
    """A linear regulator at its load: volts over it, watts in it, degrees at its junction."""

    drop: float
    load: float
    watts: float
    rise: float
    junction: float
    heat_sink: float


@dataclass(frozen=True, slots=True)
class Power:
    """The supply: rails in the order in which they come on, and the regulator."""

    rails: tuple[RailPlan, ...]
    regulator: RegulatorPlan | None
    off: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Margin:
    """A figure that is needed, and what there is of it; the margin is what is left in the worst case.

    Attributes:
        what: in words.
        need: of the one side, or None where it is not known.
        have: of the other.
        unit: of both.
        margin: what is left; None where one side is not known.
        status: good, bad or unknown.
        unchecked: True where a figure rests on memory or practice.
    """

    what: str
    need: float | None
    have: float | None
    unit: str
    margin: float | None
    status: Status
    unchecked: bool = False


@dataclass(frozen=True, slots=True)
class Rate:
    """How long one pass takes at a rate."""

    baud: int
    seconds: float
    set_now: bool


@dataclass(frozen=True, slots=True)
class SerialPlan:
    """The line to the file: what to mind, how long a pass takes, how many readings the bound needs."""

    notes: tuple[str, ...]
    rates: tuple[Rate, ...]
    quick: tuple[Rate, ...]
    readings: tuple[tuple[int, int], ...]
    target: float


@dataclass(frozen=True, slots=True)
class Step:
    """One step of the evening.

    Attributes:
        when: the moment, which brings its cautions.
        title: in a few words.
        do: what to do.
        typed: what to type at the host.
        file: what to save it as.
        command: what to type afterwards.
        cautions: where they apply.
    """

    when: Moment
    title: str
    do: tuple[str, ...]
    typed: tuple[str, ...] = ()
    file: str = ""
    command: str = ""
    cautions: tuple[str, ...] = ()


@dataclass(frozen=True, slots=True)
class Plan:
    """Everything that a person takes to the bench."""

    title: str
    part: str
    part_title: str
    package: str
    host: str
    wires: tuple[Wire, ...]
    buffer_name: str
    buffer: tuple[Wire, ...]
    rules: tuple[str, ...]
    checks: tuple[Check, ...]
    coverage: Coverage | None
    power: Power | None
    timing: tuple[Margin, ...]
    levels: tuple[Margin, ...]
    level_notes: tuple[str, ...]
    serial: SerialPlan | None
    steps: tuple[Step, ...]
    problems: tuple[Problem, ...]
    unchecked: tuple[str, ...]
    address_bits: int
