"""Names of bus lines, and the addresses of a bus that some ranges leave free."""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import Literal

from romassay.address import Range, merge_ranges
from romassay.errors import BadValue

_LINE = re.compile(r"(?P<bus>A|D|AD)(?P<number>0|[1-9]\d?)")
_SPAN = re.compile(r"(?P<stem>.*?)(?P<first>\d+)-(?P=stem)(?P<last>\d+)")


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
