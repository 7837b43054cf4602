"""Host files: machines to read a specimen with, described by what they are."""

from __future__ import annotations

import math
import re
from collections.abc import Iterator
from functools import cache
from importlib.resources import files
from pathlib import Path

from romassay.address import parse_range
from romassay.catalogue.strict import Slip, Step, meant, parse, read_text
from romassay.errors import BadCatalogue, BadValue
from romassay.rig import Host

FIRST_BITS, LAST_BITS = 8, 24
LAST_DATA_LINES = 8
_SUFFIX = ".toml"
_MOST_BAUD = 4_000_000


def host_names() -> tuple[str, ...]:
    """Return the names of the hosts in the catalogue, sorted."""
    folder = files("romassay.catalogue") / "hosts"
    return tuple(sorted(item.name.removesuffix(_SUFFIX) for item in folder.iterdir() if item.name.endswith(_SUFFIX)))


def load_host(name_or_path: str | Path) -> Host:
    """Return a host of the catalogue by its name, or one from a file of one's own.

    Raises:
        BadCatalogue: for a name that is not there, with those that are, or a file that breaks the rules.
    """
    name = str(name_or_path)
    if name in host_names():
        return _catalogued(name)
    if name.endswith(_SUFFIX) or "/" in name or Path(name).is_file():
        return host_of(read_text(Path(name), "host"), name)
    raise BadCatalogue(
        f"'{name}' is no host of the catalogue", advice=f"{meant(name, host_names())}, or a host file of your own"
    )


@cache
def _catalogued(name: str) -> Host:
    file = files("romassay.catalogue") / "hosts" / f"{name}{_SUFFIX}"
    return host_of(file.read_text("utf-8"), f"{name}{_SUFFIX}")


def host_of(text: str, place: str) -> Host:
    """Return the host that a TOML text describes; BadCatalogue names `place`, the line, the key and what is allowed."""
    host = parse(text, Host, place)
    for slip in host_slips(host, ()):
        raise slip.blamed(text, place)
    return host


def host_slips(host: Host, at: tuple[Step, ...]) -> Iterator[Slip]:
    """Yield what cannot be in a host whose keys stand under a path."""
    bits = host.address_bits
    if not FIRST_BITS <= bits <= LAST_BITS:
        yield Slip((*at, "address_bits"), f"{bits} lines", f"allowed: {FIRST_BITS} to {LAST_BITS}")
        return
    if not 0 <= host.multiplexed <= LAST_DATA_LINES:
        yield Slip((*at, "multiplexed"), f"{host.multiplexed} lines", f"allowed: 0 to {LAST_DATA_LINES}")
    for index, item in enumerate(host.memory):
        steps: tuple[Step, ...] = (*at, "memory", index)
        yield from range_slips((*steps, "range"), item.range, bits)
        if not re.fullmatch(r"(?:[0-9A-Fa-f]{2})*", item.pattern.replace(" ", "")):
            yield Slip((*steps, "pattern"), f"'{item.pattern}' is no bytes in hex", "write it like 'FF 00'")
        yield from share_slips((*steps, "busy"), item.busy)
    yield from _level_slips(host, at)
    yield from _cycle_slips(host, at)
    yield from _serial_slips(host, at)


def range_slips(steps: tuple[Step, ...], text: str, bits: int) -> Iterator[Slip]:
    """Yield what is wrong with a range on a bus of so many lines."""
    try:
        found = parse_range(text)
    except BadValue as e:
        yield Slip(steps, e.problem, e.advice)
        return
    if found.last >> bits:
        yield Slip(steps, f"{found} does not fit {bits} address lines", f"stay below {1 << bits:#x}")


def share_slips(steps: tuple[Step, ...], value: float) -> Iterator[Slip]:
    """Yield what is wrong with a share."""
    yield from number_slips(steps, value, 0, 1, "is no share")


def number_slips(
    steps: tuple[Step, ...], value: float, least: float, most: float, what: str = "cannot be"
) -> Iterator[Slip]:
    """Yield what is wrong with a number that has limits."""
    if not (math.isfinite(value) and least <= value <= most):
        yield Slip(steps, f"{value} {what}", f"allowed: {least:g} to {most:g}")


def _level_slips(host: Host, at: tuple[Step, ...]) -> Iterator[Slip]:
    levels = host.levels
    if levels is None:
        return
    for name in ("supply", "high", "low", "high_in", "low_in", "most_in"):
        yield from number_slips((*at, "levels", name), getattr(levels, name), 0, 30)
    for name in ("high_current", "low_current", "load"):
        yield from number_slips((*at, "levels", name), getattr(levels, name), 0, 1000)
    for low, high in (("low", "high"), ("low_in", "high_in")):
        if not getattr(levels, low) < getattr(levels, high):
            yield Slip((*at, "levels", low), "low is not below high", "write volts")
    if levels.high > levels.supply:
        yield Slip((*at, "levels", "high"), f"{levels.high} V is above the supply", "write volts")


def _cycle_slips(host: Host, at: tuple[Step, ...]) -> Iterator[Slip]:
    cycle = host.cycle
    if cycle is None:
        return
    for name in ("address_to_data", "clock_to_data", "hold"):
        yield from number_slips((*at, "cycle", name), getattr(cycle, name), 0, 1e9)
    yield from number_slips((*at, "cycle", "clock_mhz"), cycle.clock_mhz, 0, 1000)


def _serial_slips(host: Host, at: tuple[Step, ...]) -> Iterator[Slip]:
    if host.serial is not None:
        serial = host.serial
        for rate in (serial.baud, *serial.rates):
            yield from number_slips((*at, "serial", "baud"), rate, 1, _MOST_BAUD)
        yield from number_slips((*at, "serial", "data_bits"), serial.data_bits, 5, 9)
        yield from number_slips((*at, "serial", "stop_bits"), serial.stop_bits, 1, 2)
        yield from number_slips((*at, "serial", "logic_volts"), serial.logic_volts, 1, 30)
    if host.dump is not None:
        yield from number_slips((*at, "dump", "bytes_a_line"), host.dump.bytes_a_line, 1, 4096)
        yield from number_slips((*at, "dump", "line_characters"), host.dump.line_characters, 1, 100_000)
        yield from number_slips((*at, "dump", "pause"), host.dump.pause, 0, 3600)
