"""Bus lines, address ranges and cubes: the exact algebra under surveys, plans and decode tables.

A bus has up to 32 address lines, A0 the least significant. A `Range` is a run of addresses, both ends included. A
`Cube` is the set of addresses in which some lines have a set level and the others are free, which is just what a
chip's select inputs can express.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from romassay.errors import BadValue

MAX_ADDRESS_BITS = 32

_ADDRESS = re.compile(r"(?:0[xX]|\$)(?P<hex>[0-9A-Fa-f]+)|(?P<trailing>[0-9A-Fa-f]+)[hH]|(?P<decimal>[0-9]+)")
_BARE_HEX = re.compile(r"[0-9A-Fa-f]{1,8}")
_RANGE = re.compile(r"\s*(?P<first>[^-+\s]+)\s*(?P<sign>[-+])\s*(?P<second>[^-+\s]+)\s*")


@dataclass(frozen=True, slots=True, order=True)
class Range:
    """A run of addresses from `first` to `last`, both included."""

    first: int
    last: int

    def __post_init__(self) -> None:
        if not 0 <= self.first <= self.last < 1 << MAX_ADDRESS_BITS:
            raise BadValue(
                f"{self.first:#x}-{self.last:#x} is no address range",
                advice="give the lower address first, none beyond 32 bits",
            )

    @property
    def size(self) -> int:
        """The number of addresses."""
        return self.last - self.first + 1

    def __contains__(self, address: int) -> bool:
        return self.first <= address <= self.last

    def __str__(self) -> str:
        return f"{self.first:04X}-{self.last:04X}"

    def intersect(self, other: Range) -> Range | None:
        """Return the addresses in both ranges, or None."""
        first, last = max(self.first, other.first), min(self.last, other.last)
        return Range(first, last) if first <= last else None


def parse_address(text: str) -> int:
    """Read an address as the trade writes it: 0xD000, $D000, D000h or decimal."""
    match = _ADDRESS.fullmatch(text.strip())
    if not match:
        bare = text.strip()
        as_hex = f"; in hex it is 0x{bare}" if _BARE_HEX.fullmatch(bare) else ""
        raise BadValue(
            f"'{text}' is no address", advice=f"write it as 0xD000, $D000, D000h or a decimal number{as_hex}"
        )
    digits = match["hex"] or match["trailing"]
    value = int(digits, 16) if digits else int(match["decimal"])
    if value >= 1 << MAX_ADDRESS_BITS:
        raise BadValue(f"'{text}' needs more than {MAX_ADDRESS_BITS} address bits", advice="check the number of digits")
    return value


def parse_range(text: str) -> Range:
    """Read a range: 0x4000-0x5FFF (both ends included) or 0x4000+0x2000 (first address and length)."""
    match = _RANGE.fullmatch(text)
    if not match:
        raise BadValue(f"'{text}' is no range", advice="write it as 0x4000-0x5FFF or 0x4000+0x2000")
    bare = [match["first"], match["second"]]
    if any(not item.isdigit() for item in bare) and all(_BARE_HEX.fullmatch(item) for item in bare):
        in_hex = match["sign"].join(f"0x{item}" for item in bare)
        raise BadValue(f"'{text}' is no range", advice=f"hex numbers begin with 0x: write it as {in_hex}")
    first, second = (parse_address(item) for item in bare)
    last = second if match["sign"] == "-" else first + second - 1
    if last < first:
        raise BadValue(f"'{text}' is an empty range", advice="give the lower address first, and a length above 0")
    return Range(first, last)


def parse_size(text: str) -> int:
    """Return a number of bytes above 0, written as an address is or in KiB: 1024, 0x400, 1K."""
    number, unit = (text[:-1], 1024) if text[-1:] in ("k", "K") else (text, 1)
    try:
        size = parse_address(number) * unit
    except BadValue as e:
        raise BadValue(f"'{text}' is no number of bytes", advice="write it as 1024, 0x400 or 1K") from e
    if not size:
        raise BadValue("0 bytes cannot be meant", advice="give a size above 0, such as 1024 or 1K")
    return size


def merge_ranges(ranges: Iterable[Range]) -> tuple[Range, ...]:
    """Return the same addresses as the fewest ranges, sorted."""
    merged: list[Range] = []
    for item in sorted(ranges, key=lambda item: (item.first, item.last)):
        if merged and item.first <= merged[-1].last + 1:
            if item.last > merged[-1].last:
                merged[-1] = Range(merged[-1].first, item.last)
        else:
            merged.append(item)
    return tuple(merged)


def line_name(line: int) -> str:
    """Return the name of a bus line: 10 is 'A10'."""
    return f"A{line}"


def lines_of(mask: int) -> tuple[int, ...]:
    """Return the numbers of the lines in a bit mask, lowest first."""
    return tuple(i for i in range(mask.bit_length()) if mask >> i & 1)


@dataclass(frozen=True, slots=True)
class Cube:
    """The addresses of a bus of `bits` lines in which the lines of `care` have the levels in `value`."""

    bits: int
    care: int
    value: int

    def __post_init__(self) -> None:
        space = (1 << self.bits) - 1
        if not 0 < self.bits <= MAX_ADDRESS_BITS or self.care & ~space or self.value & ~self.care:
            raise ValueError(f"no cube: {self.bits} lines, care {self.care:#x}, value {self.value:#x}")

    def __contains__(self, address: int) -> bool:
        return not (address ^ self.value) & self.care and not address >> self.bits

    def __str__(self) -> str:
        return "".join(self.level(i) or "-" for i in reversed(range(self.bits)))

    @property
    def free(self) -> int:
        """The lines that may have either level, as a bit mask."""
        return ((1 << self.bits) - 1) & ~self.care

    @property
    def size(self) -> int:
        """The number of addresses."""
        return 1 << self.free.bit_count()

    def level(self, line: int) -> str | None:
        """Return '1' or '0' where the line is cared about, None where it is free."""
        return str(self.value >> line & 1) if self.care >> line & 1 else None

    def intersect(self, other: Cube) -> Cube | None:
        """Return the addresses in both cubes, or None."""
        if (self.value ^ other.value) & self.care & other.care:
            return None
        return Cube(self.bits, self.care | other.care, self.value | other.value)

    def covers(self, other: Cube) -> bool:
        """Tell whether every address of the other cube is in this one."""
        return not self.care & ~other.care and not (self.value ^ other.value) & self.care

    def ranges(self) -> Iterator[Range]:
        """Yield the runs of addresses, lowest first."""
        free = lines_of(self.free)
        run = next((i for i, line in enumerate(free) if line != i), len(free))
        upper = free[run:]
        for number in range(1 << len(upper)):
            first = self.value | sum(1 << line for i, line in enumerate(upper) if number >> i & 1)
            yield Range(first, first + (1 << run) - 1)
