"""Bytes typed in by a person who reads them off a display. Pure: text to bytes, bytes to text, and what differs.

An entry is kept as a plain text dump, eight bytes a line, `??` for a byte that could not be made out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence

from romassay.address import Range
from romassay.errors import BadValue

LINE = 8
LAYOUT = 'address=hex4 after="  " cells=8 cell=hex2 gap=" "'
UNREADABLE = "??"
_BYTE = re.compile(r"[0-9A-Fa-f]{2}|\?\??")

Entry = dict[int, int | None]
"""Address -> byte, None where it could not be made out."""


def lines_in(window: Iterable[Range]) -> list[Range]:
    """Return the window cut into lines to type, at addresses that are multiples of a line."""
    result: list[Range] = []
    for item in window:
        first = item.first
        while first <= item.last:
            last = min(item.last, first - first % LINE + LINE - 1)
            result.append(Range(first, last))
            first = last + 1
    return result


def typed_bytes(text: str, count: int) -> tuple[int | None, ...]:
    """Return the bytes of a typed line.

    Args:
        text: two hex digits a byte, with or without blanks between them; '?' for a byte that can't be made out.
        count: how many there have to be.

    Raises:
        BadValue: something else stands there, or more or fewer bytes.
    """
    packed = "".join(text.split())
    items = _BYTE.findall(packed)
    if "".join(items) != packed:
        raise BadValue("this is not all hex digits", advice="type two digits a byte, or ? where one can't be made out")
    if len(items) != count:
        raise BadValue(f"these are {len(items)} bytes, not {count}", advice="type the line again")
    return tuple(None if "?" in item else int(item, 16) for item in items)


def rendered(heading: str, entry: Mapping[int, int | None]) -> bytes:
    """Return an entry as a text dump below a heading; lines of which nothing was typed are left out."""
    rows = [heading]
    for start in sorted({address - address % LINE for address in entry}):
        cells = [entry.get(address) for address in range(start, start + LINE)]
        rows.append(f"{start:04X}  " + " ".join(UNREADABLE if cell is None else f"{cell:02X}" for cell in cells))
    return ("\n".join(rows) + "\n").encode()


def entry_of(data: bytes) -> Entry:
    """Return the entry that `rendered` wrote."""
    entry: Entry = {}
    for row in data.decode("ascii", "replace").splitlines()[1:]:
        address, *cells = row.split()
        for number, cell in enumerate(cells):
            entry[int(address, 16) + number] = None if "?" in cell else int(cell, 16)
    return entry


def differences(one: Mapping[int, int | None], other: Mapping[int, int | None]) -> Sequence[int]:
    """Return the addresses at which both entries have a byte, and not the same one."""
    return sorted(
        address
        for address, value in one.items()
        if value is not None and other.get(address) is not None and other[address] != value
    )
