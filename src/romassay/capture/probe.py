"""Rate, parity and word length of a line, from what comes in while the host prints text. Pure but for the port.

The line is listened to at each common rate with eight bits and no parity. At the right rate nearly all characters are
printable text; the eighth bit then tells the parity: for a character of seven bits with parity it makes the number of
ones even, or odd, in every one of them. At a wrong rate the receiver samples bits of another character, and the
characters are spread over all codes.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Protocol

from romassay.errors import BadInput
from romassay.rig import Parity, Serial

RATES = (9600, 19200, 38400, 57600, 115200, 4800, 2400, 1200, 600, 300, 150, 110)
"""Common rates, the likeliest first: common practice, no source."""

_TEXT = frozenset((7, 8, 9, 10, 13, *range(0x20, 0x7F)))
_FILL = b"\x00\x7f"
"""What hosts send while a carriage returns, and what a receiver that is set too fast makes of long bits."""
_ENOUGH = 200
_LEAST = 24
_SURE = 0.95
_PARITY_SURE = 0.97
_TICK = 0.1


@dataclass(frozen=True, slots=True)
class Tried:
    """What came in at one rate.

    Attributes:
        baud: the rate.
        characters: how many came.
        text: share of them that is text, parity taken off.
        parity: that the characters carry.
        data_bits: without the parity bit.
    """

    baud: int
    characters: int
    text: float
    parity: Parity
    data_bits: int

    @property
    def fits(self) -> bool:
        """Tell whether enough came, and nearly all of it is text."""
        return self.characters >= _LEAST and self.text >= _SURE


class Adjustable(Protocol):
    """A line whose rate can be changed while it is open."""

    def read(self, timeout: float) -> bytes:
        """Return what has come in, waiting for it at most so many seconds."""

    def set(self, settings: Serial) -> None:
        """Change rate, parity and word length."""


def weighed(data: bytes, baud: int) -> Tried:
    """Return how well characters that were received with eight bits and no parity read as text at a rate."""
    if not data:
        return Tried(baud, 0, 0.0, "none", 8)
    parity, bits = _parity_of(data)
    plain = bytes(byte & 0x7F for byte in data) if bits == 7 else data
    said = plain.translate(None, _FILL)
    text = sum(byte in _TEXT for byte in said) / max(len(said), len(plain) / 2)
    return Tried(baud, len(data), text, parity, bits)


def _parity_of(data: bytes) -> tuple[Parity, int]:
    """Return parity and word length from the eighth bit; a bit that is never set says nothing of it."""
    high = sum(byte >> 7 for byte in data)
    even = sum(byte.bit_count() % 2 == 0 for byte in data)
    if not high:
        return "none", 8
    if even >= _PARITY_SURE * len(data):
        return "even", 7
    if len(data) - even >= _PARITY_SURE * len(data):
        return "odd", 7
    if high >= _PARITY_SURE * len(data):
        return "mark", 7
    return "none", 8


def probe(
    port: Adjustable,
    clock: Callable[[], float],
    *,
    rates: Sequence[int] = RATES,
    patience_s: float = 3.0,
    tell: Callable[[Tried], None] = lambda _: None,
) -> Tried:
    """Listen at each rate and return the one at which text comes in.

    Args:
        port: an open line; the host has to print all the while.
        clock: seconds.
        rates: to try, in this order.
        patience_s: longest time at one rate.
        tell: is told of each rate as it is done.

    Raises:
        BadInput: nothing came in, or nothing that reads as text at any rate.
    """
    tried: list[Tried] = []
    for baud in rates:
        port.set(Serial(kind="rs-232", baud=baud))
        port.read(_TICK)  # what was under way when the rate changed
        data = bytearray()
        end = clock() + patience_s
        while len(data) < _ENOUGH and (left := end - clock()) > 0:
            data += port.read(min(left, _TICK))
        tried.append(weighed(bytes(data), baud))
        tell(tried[-1])
        if tried[-1].fits and tried[-1].text == 1.0:
            break
    fitting = [item for item in tried if item.fits]
    if fitting:
        return max(fitting, key=lambda item: item.text)
    if not any(item.characters for item in tried):
        raise BadInput("nothing came in at any rate", advice="let the host print while this listens; check the cable")
    raise BadInput(
        "what comes in reads as text at no rate",
        advice="let the host print a long dump while this listens, or see whether the line is inverted",
    )
