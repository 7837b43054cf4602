"""What a UART delivers of a line, at its rate or at a wrong one: bits as levels in time, and a receiver that samples.

The receiver is the usual one (common practice, no source): it waits for a falling edge, samples each bit in its
middle, and hands a character on whether its stop bit was high or not. After a low stop bit it takes that for the next
start bit, as most do, or waits for the line to be high, as some.
"""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass

from romassay.rig import Parity, Serial


@dataclass(frozen=True)
class Frame:
    """How a character is framed."""

    data_bits: int = 8
    parity: Parity = "none"
    stop_bits: int = 1


def levels_of(data: bytes, frame: Frame, pause: int = 0) -> list[int]:
    """Return the levels on a line, one for each bit time; at line ends the host pauses for so many bit times."""
    levels: list[int] = [1] * 12
    for byte in data:
        ones = [byte >> i & 1 for i in range(frame.data_bits)]
        even = sum(ones) % 2
        extra = {"none": [], "even": [even], "odd": [1 - even], "mark": [1]}[frame.parity]
        levels += [0, *ones, *extra, *([1] * frame.stop_bits)]
        if byte == 10:
            levels += [1] * pause
    return levels


def received(levels: list[int], sent: int, settings: Serial, *, at_once: bool = True) -> Iterator[tuple[float, int]]:
    """Yield (seconds, byte) of what a receiver makes of a line.

    Args:
        levels: one a bit time of the sender.
        sent: rate of the sender.
        settings: of the receiver.
        at_once: after a low stop bit that bit is the next start bit.
    """
    step = sent / settings.baud  # the receiver's bit time in the sender's
    end = len(levels)
    bits = settings.data_bits + (settings.parity != "none")
    at = 0.0
    while True:
        while at < end and levels[int(at)]:
            at = int(at) + 1.0
        if at + step * (bits + 2) >= end:
            return
        middle = at + step / 2
        if levels[int(middle)]:
            at = middle  # a spike is no start bit
            continue
        while True:
            sampled = [levels[int(middle + step * (n + 1))] for n in range(bits + 1)]
            stop_at = middle + step * (bits + 1)
            yield stop_at / sent, sum(bit << n for n, bit in enumerate(sampled[: settings.data_bits]))
            if sampled[-1] or not any(sampled) or not at_once:
                break
            middle = stop_at
            if middle + step * (bits + 1) >= end:
                return
        at = stop_at
        while at < end and not levels[int(at)]:
            at = int(at) + 1.0
        if at >= end:
            return


def dump_text(seed: int, lines: int = 60) -> bytes:
    """Return a hex dump of random bytes."""
    chance = random.Random(seed)
    rows = (f"{0xD000 + 8 * n:04X}  {chance.randbytes(8).hex(' ').upper()}\r\n" for n in range(lines))
    return "".join(rows).encode()
