"""Bytes typed in by a person who reads them off a display. Pure: text to bytes, bytes to text, and what differs.

An entry is kept as a plain text dump in the numbers of the display, eight bytes a line, question marks for a byte that
could not be made out.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass

from romassay.address import Range
from romassay.errors import BadValue

LINE = 8
_END = " |"
"""Ends each line of an entry, so that question marks in its last cell are not taken for a line that was cut off."""


@dataclass(frozen=True, slots=True)
class Numbers:
    """How a display shows numbers.

    Attributes:
        name: 'hex', 'octal' or 'decimal'.
        base: 16, 8 or 10.
        digits: of a byte.
        address_digits: of an address.
        sign: of the number in Python's formats.
        layout: of the dump that an entry is kept as.
    """

    name: str
    base: int
    digits: int
    address_digits: int
    sign: str
    layout: str

    def address(self, address: int) -> str:
        """Return an address as the display shows it."""
        return f"{address:0{self.address_digits}{self.sign}}"

    def byte(self, value: int | None) -> str:
        """Return a byte as the display shows it, or question marks."""
        return "?" * self.digits if value is None else f"{value:0{self.digits}{self.sign}}"


def _numbers(name: str, base: int, digits: int, address_digits: int, sign: str) -> Numbers:
    short = name[:3]
    layout = f'address={short}{address_digits} after="  " cells={LINE} cell={short}{digits} gap=" " end="{_END}"'
    return Numbers(name, base, digits, address_digits, sign, layout)


HEX = _numbers("hex", 16, 2, 4, "X")
NUMBERS = {n.name: n for n in (HEX, _numbers("octal", 8, 3, 6, "o"), _numbers("decimal", 10, 3, 5, "d"))}

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


def typed_bytes(text: str, count: int, numbers: Numbers = HEX) -> tuple[int | None, ...]:
    """Return the bytes of a typed line.

    Args:
        text: all digits of each byte, with or without blanks between them; of octal and decimal numbers that stand
            apart the zeros in front may be missing; '?' for a byte that can't be made out.
        count: how many there have to be.
        numbers: what they are typed in.

    Raises:
        BadValue: something else stands there, or more or fewer bytes.
    """
    items = [item for word in text.split() for item in _apart(word, numbers)]
    if len(items) != count:
        raise BadValue(f"these are {len(items)} bytes, not {count}", advice="type the line again")
    values = tuple(None if "?" in item else int(item, numbers.base) for item in items)
    for value in values:
        if value is not None and value > _LARGEST:
            raise BadValue(f"{numbers.byte(value)} is no byte", advice="type the line again")
    return values


_LARGEST = 0xFF
_DIGITS = {16: "[0-9A-Fa-f]", 8: "[0-7]", 10: "[0-9]"}


def _apart(word: str, numbers: Numbers) -> list[str]:
    """Return the bytes of a word that was typed without blanks."""
    digit, most = _DIGITS[numbers.base], numbers.digits
    if numbers.base != HEX.base and re.fullmatch(f"{digit}{{1,{most - 1}}}", word):
        return [word]
    items: list[str] = re.findall(rf"{digit}{{{most}}}|\?{{1,{most}}}", word)
    if "".join(items) != word:
        raise BadValue(
            f"this is not all {numbers.name} digits",
            advice=f"type {most} digits a byte, or ? where one can't be made out",
        )
    return items


def rendered(heading: str, entry: Mapping[int, int | None], numbers: Numbers = HEX) -> bytes:
    """Return an entry as a text dump below a heading; lines of which nothing was typed are left out."""
    rows = [heading]
    for start in sorted({address - address % LINE for address in entry}):
        cells = " ".join(numbers.byte(entry.get(address)) for address in range(start, start + LINE))
        rows.append(f"{numbers.address(start)}  {cells}{_END}")
    return ("\n".join(rows) + "\n").encode()


def entry_of(data: bytes, numbers: Numbers = HEX) -> Entry:
    """Return the entry that `rendered` wrote."""
    entry: Entry = {}
    for row in data.decode("ascii", "replace").splitlines()[1:]:
        address, *cells = row.removesuffix(_END).split()
        for number, cell in enumerate(cells):
            entry[int(address, numbers.base) + number] = None if "?" in cell else int(cell, numbers.base)
    return entry


def differences(one: Mapping[int, int | None], other: Mapping[int, int | None]) -> Sequence[int]:
    """Return the addresses at which both entries have a byte, and not the same one."""
    return sorted(
        address
        for address, value in one.items()
        if value is not None and other.get(address) is not None and other[address] != value
    )
