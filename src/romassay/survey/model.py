"""What a survey says: regions, functions, their copies and their decode. Values only."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from romassay.address import Cube, Range, line_name, lines_of
from romassay.part import FunctionKind

RegionKind = Literal["rom", "ram", "registers", "open-bus", "host", "contended", "unknown"]
Level = Literal["0", "1", "any", "unknown"]


@dataclass(frozen=True, slots=True)
class Region:
    """A run of addresses that behave alike."""

    first: int
    last: int
    kind: RegionKind
    function: int | None = None
    copy: int | None = None


@dataclass(frozen=True, slots=True)
class Copy:
    """One appearance of a function in the window.

    Attributes:
        first: its first address.
        seen: how many of its bytes were seen at all.
        agreement: share of those that agree with the other copies, 0 to 1.
        contended: True where something else drives the bus at the same time.
        covered: ranges inside it in which the host's own memory answers instead, or as well.
    """

    first: int
    seen: int
    agreement: float
    contended: bool = False
    covered: tuple[Range, ...] = ()


@dataclass(frozen=True, slots=True)
class ReadNext:
    """A range to read next, and the bus lines that it resolves."""

    where: Range
    lines: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Function:
    """What the specimen does at the addresses of one cube.

    Attributes:
        kind: rom, ram or registers.
        name: the part's own name for it, or the kind.
        size: bytes.
        width: data bits that it drives.
        own: lines that count inside the function, as a bit mask.
        cube: the decode; own lines are free in it, unknown lines too.
        unknown: lines that the window could not resolve, as a bit mask.
        copies: where it was seen, the best-agreeing contents first among equals, else by address.
        driven: data lines that it drives, as a bit mask.
        read_next: what to read to resolve the unknown lines.
        sizes: other sizes that explain the readings as well.
        resting: lines decided only by memory that appears once, which may be the host's, as a bit mask.
        pins: the decode in the specimen's own pins, where a rig is given.
    """

    kind: FunctionKind
    name: str
    size: int
    width: int
    own: int
    cube: Cube
    unknown: int
    copies: tuple[Copy, ...]
    driven: int = 0xFF
    read_next: tuple[ReadNext, ...] = ()
    sizes: tuple[int, ...] = ()
    resting: int = 0
    pins: tuple[tuple[str, Level], ...] | None = None

    def place(self, first: int) -> Range:
        """Return the addresses that it takes from a first one on."""
        return Range(first, first + self.size - 1)

    @property
    def own_lines(self) -> tuple[str, ...]:
        """Names of the function's own lines, lowest first."""
        return tuple(line_name(i) for i in lines_of(self.own))

    def level(self, line: int) -> Level:
        """Return what the bus line must be for the function to answer."""
        if self.unknown >> line & 1:
            return "unknown"
        level = self.cube.level(line)
        return "any" if level is None else "1" if level == "1" else "0"

    @property
    def decode(self) -> dict[str, Level]:
        """The level of every bus line that is not the function's own."""
        return {line_name(i): self.level(i) for i in range(self.cube.bits) if not self.own >> i & 1}


@dataclass(frozen=True, slots=True)
class Survey:
    """Who answers where.

    Attributes:
        address_bits: lines of the bus.
        regions: everything that was read, sorted, without overlap.
        functions: the ROM that answers in the most places first, on a tie the larger; then RAM and registers.
    """

    address_bits: int
    regions: tuple[Region, ...]
    functions: tuple[Function, ...]

    def __repr__(self) -> str:
        """One line for a notebook: who answers, and in how many places."""
        found = ", ".join(f"{f.kind} of {f.size} bytes in {len(f.copies)} place(s)" for f in self.functions)
        return f"<Survey of {self.address_bits} lines: {found or 'nothing answers'}; {len(self.regions)} region(s)>"
