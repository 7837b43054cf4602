"""Rate, parity and word length of a line, from what comes in while the host prints text. Pure but for the port.

The line is listened to at each common rate with eight bits and no parity. At the right rate nearly all characters are
printable text, of some variety and with line ends in it; the eighth bit then tells the parity: for a character of seven
bits with parity it makes the number of ones even, or odd, in every one of them. An eighth bit that is always set is a
second stop bit. At a wrong rate the receiver samples bits of another character, and the characters are spread over all
codes, or are a few that long bits make.

A frame of nine bits (seven, no parity) or of eleven (eight with parity) is garbled by a receiver that is set for ten.
Where no rate fits, the rates are tried again with these. Which parity eight bits have does not show in the characters:
but set for no parity, a receiver takes each low parity bit for the next start bit, and garbles others with each parity.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Protocol

from romassay.errors import BadInput
from romassay.rig import Parity, Serial

RATES = (9600, 19200, 38400, 57600, 115200, 4800, 2400, 1200, 600, 300, 150, 110)
"""Common rates, the likeliest first: common practice, no source."""

_TEXT = frozenset((7, 8, 9, 10, 13, *range(0x20, 0x7F)))
_FILL = b"\x00\x7f"
"""What hosts send while a carriage returns, and what a receiver that is set too fast makes of long bits."""
_LINE_ENDS = frozenset(b"\r\n")
_ENOUGH = 200
_LEAST = 24
_LEAST_KINDS = 6
_SURE = 0.95
_PARITY_SURE = 0.97
_TICK = 0.1
_LONGER = 4
"""A slow line brings part of a line in the usual time: what may be text is listened to for so many times as long."""


@dataclass(frozen=True, slots=True)
class Tried:
    """What came in at one rate.

    Attributes:
        baud: the rate.
        characters: how many came.
        text: share of them that is text, parity taken off.
        parity: that the characters carry.
        data_bits: without the parity bit.
        stop_bits: that the characters carry at least.
        varied: True where there are line ends among them, and several characters besides.
    """

    baud: int
    characters: int
    text: float
    parity: Parity
    data_bits: int
    stop_bits: int = 1
    varied: bool = False

    @property
    def fits(self) -> bool:
        """Tell whether enough came, and nearly all of it is text."""
        return self.characters >= _LEAST and self.text >= _SURE and self.varied


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
    parity, bits, stops = _parity_of(data)
    return replace(_read_as(data, baud, bits), parity=parity, data_bits=bits, stop_bits=stops)


def _read_as(data: bytes, baud: int, bits: int) -> Tried:
    """Return how well characters of so many bits read as text."""
    plain = bytes(byte & 0x7F for byte in data) if bits == 7 else data
    said = plain.translate(None, _FILL)
    text = sum(byte in _TEXT for byte in said) / max(len(said), len(plain) / 2)
    kinds = set(said)
    return Tried(baud, len(data), text, "none", bits, 1, bool(kinds & _LINE_ENDS) and len(kinds) >= _LEAST_KINDS)


def _parity_of(data: bytes) -> tuple[Parity, int, int]:
    """Return parity, word length and stop bits from the eighth bit; a bit that is never set says nothing of it."""
    high = sum(byte >> 7 for byte in data)
    even = sum(byte.bit_count() % 2 == 0 for byte in data)
    if not high:
        return "none", 8, 1
    if even >= _PARITY_SURE * len(data):
        return "even", 7, 1
    if len(data) - even >= _PARITY_SURE * len(data):
        return "odd", 7, 1
    if high >= _PARITY_SURE * len(data):
        return "none", 7, 2
    return "none", 8, 1


def even_or_odd(garbled: bytes, text: bytes) -> Parity:
    """Return the parity of characters of eight bits.

    Args:
        garbled: what a receiver set for no parity made of them: those whose parity bit is low break it.
        text: what one set for a parity made of them: all are whole, whichever parity it is.
    """
    likelihood: dict[Parity, float] = {}
    for parity in ("even", "odd"):
        counts = Counter(_without_parity(text, parity))
        total = counts.total() + 128
        likelihood[parity] = sum(math.log((counts[byte] + 0.5) / total) for byte in garbled)
    return max(likelihood, key=likelihood.__getitem__)


def _without_parity(text: bytes, parity: Parity) -> bytes:
    """Return what a receiver set for no parity makes of characters with one: a low parity bit is the next start bit."""
    bits: list[int] = []
    for byte in text:
        odd = byte.bit_count() % 2
        bits += [0, *(byte >> n & 1 for n in range(8)), odd if parity == "even" else 1 - odd, 1]
    result = bytearray()
    at = 0
    while at + 9 < len(bits):
        if bits[at]:
            at += 1
            continue
        result.append(sum(bit << n for n, bit in enumerate(bits[at + 1 : at + 9])))
        at += 9
    return bytes(result)


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

    def listen(baud: int, data_bits: int, parity: Parity) -> bytes:
        port.set(Serial(kind="rs-232", baud=baud, data_bits=data_bits, parity=parity))
        port.read(_TICK)  # what was under way when the rate changed
        data = bytearray()
        end = clock() + patience_s
        longest = end + _LONGER * patience_s
        while len(data) < _ENOUGH and (left := end - clock()) > 0:
            data += port.read(min(left, _TICK))
            if end < longest and clock() >= end and _may_be_text(bytes(data), data_bits):
                end = longest
        return bytes(data)

    tried: list[Tried] = []
    came: dict[int, bytes] = {}
    for baud in rates:
        came[baud] = listen(baud, 8, "none")
        tried.append(weighed(came[baud], baud))
        tell(tried[-1])
        if tried[-1].fits and tried[-1].text == 1.0:
            break
    if not any(item.fits for item in tried):
        tried += _tried_again(tried, came, listen, tell)
    fitting = [item for item in tried if item.fits]
    if fitting:
        return max(fitting, key=lambda item: item.text)
    if not any(item.characters for item in tried):
        raise BadInput("nothing came in at any rate", advice="let the host print while this listens; check the cable")
    raise BadInput(
        "what comes in reads as text at no rate",
        advice="let the host print a long dump while this listens, or see whether the line is inverted",
    )


def _may_be_text(data: bytes, bits: int) -> bool:
    """Tell whether the little that came at a slow rate is text, if only a part of a line."""
    found = weighed(data, 0) if bits == 8 else _read_as(data, 0, bits)
    return found.text >= _SURE and not found.fits


def _tried_again(
    tried: Sequence[Tried],
    came: Mapping[int, bytes],
    listen: Callable[[int, int, Parity], bytes],
    tell: Callable[[Tried], None],
) -> list[Tried]:
    """Listen with frames of nine and of eleven bits, at the rates first at which most read as text with ten."""
    again: list[Tried] = []
    for item in sorted(tried, key=lambda item: -item.text):
        if item.characters < _LEAST:
            continue
        nine = replace(_read_as(listen(item.baud, 7, "none"), item.baud, 7), stop_bits=2)
        data = listen(item.baud, 8, "even")
        eleven = replace(_read_as(data, item.baud, 8), parity=even_or_odd(came[item.baud], data))
        again += [nine, eleven]
        best = max(again[-2:], key=lambda found: (found.fits, found.text))
        tell(best)
        if best.fits and best.text == 1.0:
            break
    return again
