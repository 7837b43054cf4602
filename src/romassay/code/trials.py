"""One trial of a check: what it comes out at, and how likely chance makes it hit."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from romassay.code.model import Check
from romassay.code.sums import CRC_BY_NAME, WIDTHS, Bytes, Parts, Totals

Order = Literal["big", "little"]

LEAST = 64
"""Bytes of an image, or of a part of one, that is searched."""

HEADS = (3, 2, 4, 8)
"""Offsets at which a value may be stored behind a first jump or a header."""


@dataclass(frozen=True, slots=True)
class Trial:
    """A check that is tried, what it comes out at where it hits, and how likely chance makes it hit."""

    chance: float
    hits: tuple[Check, ...] = ()


def stored_at(totals: Totals, name: str, parts: Parts, at: int, order: Order | None) -> Trial:
    """Try a check whose value is stored: itself, and of a sum also its complement and its negative."""
    width = WIDTHS[name]
    top = (1 << width) - 1
    value = totals.value(name, parts)
    raw = totals.data[at : at + width // 8].tobytes()
    orders: tuple[Order, ...] = ("big", "little") if order is None else (order,)
    stored = {int.from_bytes(raw, one) for one in orders}
    wanted = {*as_stored(name, value)}
    chance = len(stored) * len(wanted) / (1 << width)
    hit = Check(name, parts[0][0], parts[-1][1] - 1, at, value, chance)
    behind_padding = name in CRC_BY_NAME and width > 8 and stored <= {0, top}
    return Trial(chance, (hit,) if stored & wanted and not behind_padding else ())


def as_stored(name: str, value: int) -> tuple[int, ...]:
    """Return what a check may be stored as: itself, and of a sum also its complement and its negative."""
    top = (1 << WIDTHS[name]) - 1
    return (value,) if name in CRC_BY_NAME else (value, value ^ top, -value & top)


def constant(totals: Totals, name: str, first: int, end: int) -> Trial:
    """Try a check that comes out at all zeros or all ones by itself."""
    width = WIDTHS[name]
    value = totals.value(name, ((first, end),))
    chance = 2 / (1 << width)
    hit = Check(name, first, end - 1, None, value, chance)
    return Trial(chance, (hit,) if value in (0, (1 << width) - 1) else ())


def is_blank(data: Bytes) -> bool:
    """Tell whether all bytes are equal."""
    return bool((data == data[0]).all())
