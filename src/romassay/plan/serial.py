"""The line to the file: how long a pass takes, and how many readings a bound needs. Pure.

A character takes start, data, parity and stop bits: ten bit times for 8 data bits without parity and one stop bit,
eleven at the 110 baud of a teleprinter.
"""

from __future__ import annotations

import math
from collections.abc import Iterable

from romassay.address import Range
from romassay.bounds import upper_bound
from romassay.plan.model import Rate, SerialPlan
from romassay.rig import Dump, Host, Serial

STANDARD_RATES = (110, 300, 600, 1200, 2400, 4800, 9600, 19200, 38400, 57600, 115200)
TARGET = 0.01
LEVEL = 0.95
SAME_ERROR = 0.25
"""Chance that a second error at a byte gives the same wrong value: what the settling of bytes reckons with as well."""
MOST_READINGS = 100

_KINDS = {
    "current-loop": "a 20 mA current loop: an isolated loop interface, never straight to a computer's port",
    "rs-232": "RS-232 levels, up to 15 V either way: a level converter before anything with logic levels",
    "ttl": "logic levels, idle high: a USB adapter of the same voltage, ground joined first",
    "ttl-inverted": "logic levels, idle low: inverted, so an inverter, or an adapter that can be set to invert",
    "usb": "USB",
}


def serial_plan(
    host: Host, window: Iterable[Range], enough: Iterable[Range], size: int, copies: int, target: float = TARGET
) -> SerialPlan | None:
    """Return the sums of the line; None where the host says nothing of it.

    Args:
        host: with its serial line and its dump.
        window: what is to be read.
        enough: the smallest set of ranges.
        size: bytes of the ROM.
        copies: fewest copies to expect in the window.
        target: wrong bytes that may remain at 95 %.
    """
    if host.serial is None or host.dump is None:
        return None
    whole, quick = list(window), list(enough)
    rates = sorted({*STANDARD_RATES, *host.serial.rates, host.serial.baud})
    counts = sorted({1, max(1, copies)})
    return SerialPlan(
        notes=_notes(host.serial),
        rates=tuple(_rate(host.serial, host.dump, whole, baud) for baud in rates),
        quick=tuple(_rate(host.serial, host.dump, quick, baud) for baud in rates),
        readings=tuple((count, readings_needed(size, count, target)) for count in counts),
        target=target,
    )


def _rate(serial: Serial, dump: Dump, ranges: list[Range], baud: int) -> Rate:
    seconds = sum(dump_seconds(dump, serial.frame, item.size, baud) for item in ranges)
    return Rate(baud, seconds, baud == serial.baud)


def dump_seconds(dump: Dump, frame: int, count: int, baud: int) -> float:
    """Return how long a dump of so many bytes takes: whole lines, and the host's pause at each of them."""
    lines = math.ceil(count / dump.bytes_a_line)
    return lines * (dump.line_characters * frame / baud + dump.pause)


def readings_needed(size: int, copies: int, target: float) -> int:
    """Return how many readings without a disagreement bring the bound on wrong bytes under a target.

    The bound is the expected number of wrong bytes at the upper 95 % limit of the error rate (exact binomial, no
    disagreement among all observations beyond the first of each byte); two readings at least, or nothing was compared.
    """
    for readings in range(2, MOST_READINGS):
        seen = readings * copies
        error = upper_bound(0, size * (seen - 1), LEVEL)
        if size * error * min(1.0, error * SAME_ERROR) ** (seen - 1) <= target:
            return readings
    return MOST_READINGS


def _notes(serial: Serial) -> tuple[str, ...]:
    parity = "no" if serial.parity == "none" else serial.parity
    frame = f"{serial.data_bits} data bits, {parity} parity, {serial.stop_bits} stop bit"
    frame += "s" if serial.stop_bits > 1 else ""
    notes = [f"The line is {_KINDS[serial.kind]}.", f"Set the terminal to {serial.baud} baud, {frame}."]
    notes.append("Log as text as it comes: no line wrapping, no translation of line ends, local echo off.")
    return tuple(notes)
