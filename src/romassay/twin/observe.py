"""What the host reads at each address, worked out address by address from the levels on the pins.

All functions take int64 arrays of addresses in the order of time and give uint8 arrays of the same length. What happens
at an address depends on the seed, the session, the reading and the address; only an undriven bus that remembers, and
the timers, depend on what was read before.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.twin.chance import bits, octets, share
from romassay.twin.model import (
    HIGH,
    LOW,
    STRAIGHT,
    Bench,
    Floating,
    Function,
    Memory,
    Role,
    Specimen,
    pulled,
    without_specimens,
)

Addresses = npt.NDArray[np.int64]
Octets = npt.NDArray[np.uint8]
Truths = npt.NDArray[np.bool_]


@dataclass(frozen=True, slots=True)
class _Moment:
    seed: int
    session: int
    reading: int


def level(addresses: Addresses, line: int) -> Addresses:
    """Return the level on a bus line, or the level at which a pin is held, for each address."""
    if line == HIGH:
        return np.ones_like(addresses)
    if line == LOW:
        return np.zeros_like(addresses)
    return addresses >> line & 1


def selected(function: Function, addresses: Addresses) -> Truths:
    """Tell for each address whether every select of the function has its level."""
    chosen = np.ones(len(addresses), np.bool_)
    for line, wanted in function.selects:
        chosen &= level(addresses, line) == wanted
    return chosen


def reaches(specimen: Specimen, addresses: Addresses) -> Truths:
    """Tell for each address whether what the specimen says reaches the bus."""
    if not specimen.within:
        return np.ones(len(addresses), np.bool_)
    inside = np.zeros(len(addresses), np.bool_)
    for first, last in specimen.within:
        inside |= (addresses >= first) & (addresses <= last)
    return inside


def offsets(function: Function, addresses: Addresses) -> Addresses:
    """Return the offset in the function that its own address pins give, for each address."""
    result = np.zeros(len(addresses), np.int64)
    for pin, line in enumerate(function.own):
        result |= level(addresses, line) << pin
    return result


def on_bus(specimen: Specimen, value: Octets) -> Octets:
    """Return the levels on the host's data lines for levels on the specimen's data pins."""
    if specimen.data_lines == STRAIGHT:
        return value
    table = np.array([specimen.on_bus(v) for v in range(256)], np.uint8)
    return table[value]


def _filled(positions: Truths) -> Addresses:
    """Return for each place the last place, itself included, at which `positions` is True; -1 before the first."""
    return np.maximum.accumulate(np.where(positions, np.arange(len(positions)), -1))


def _rom(function: Function, addresses: Addresses, moment: _Moment, key: int) -> Octets:
    where = offsets(function, addresses)
    result = np.frombuffer(function.data, np.uint8)[where]
    for number, cell in enumerate(function.weak):
        hit = np.flatnonzero(where == cell.offset)
        time = {
            "read": (moment.session, moment.reading, addresses[hit]),
            "reading": (moment.session, moment.reading),
            "session": (moment.session,),
        }[cell.toss]
        failed = np.broadcast_to(share(moment.seed, "weak", key, number, *time) < cell.chance, hit.shape)
        bit = np.uint8(1 << cell.line)
        result[hit[failed]] = (result[hit[failed]] & ~bit) | (bit if cell.to else np.uint8(0))
    return result


def _ram(function: Function, addresses: Addresses, moment: _Moment, key: int) -> Octets:
    where = offsets(function, addresses)
    steady = bits(function.steady, moment.seed, "steady", key, where)
    always = octets(moment.seed, "cells", key, where)
    now = octets(moment.seed, "power-up", key, moment.session, where)
    return (always & steady) | (now & ~steady)


def _registers(
    function: Function, addresses: Addresses, chosen: Truths, moment: _Moment, specimen: Specimen, cycles: int
) -> Octets:
    """Ports, data direction and timer of the 6530 and 6532 as they read after a reset.

    A2 = 0: port A, its direction (all inputs: 00), port B, its direction. A2 = 1: the timer where A0 = 0, which goes on
    counting every cycle after its time is out; the interrupt flag in bit 7 where A0 = 1, cleared by reading the timer.
    """
    where = offsets(function, addresses)
    start = int(octets(moment.seed, "timer", moment.session, moment.reading)[0])
    places = np.arange(len(addresses), dtype=np.int64)
    clock = places * cycles + (octets(moment.seed, "jitter", moment.session, moment.reading, places) & 7)
    timer = (start - clock) & 0xFF
    is_timer = where & 5 == 4
    last = _filled(is_timer & chosen)
    passed = np.where(last < 0, True, clock - clock[last] > timer[last])
    ports = np.array([specimen.port_a, 0, specimen.port_b, 0], np.int64)[where & 3]
    value = np.where(where & 4 == 0, ports, np.where(is_timer, timer, np.where(passed, 0x80, 0)))
    return value.astype(np.uint8)


def _host(memory: Memory, addresses: Addresses, moment: _Moment, key: int) -> Octets:
    if memory.data:
        value = np.frombuffer(memory.data, np.uint8)[(addresses - memory.first) % len(memory.data)]
    else:
        value = octets(moment.seed, "host", key, addresses)
    if memory.kind == "rom":
        return value
    busy = share(moment.seed, "busy", key, moment.session, moment.reading, addresses) < memory.busy
    return np.where(busy, octets(moment.seed, "written", key, moment.session, moment.reading, addresses), value)


@dataclass(frozen=True, slots=True)
class _Drive:
    """Somebody on the bus: at which addresses, which lines, which byte."""

    where: Truths
    lines: int
    value: Octets


def _drives(bench: Bench, addresses: Addresses, moment: _Moment) -> Iterable[_Drive]:
    for number, specimen in enumerate(bench.specimens):
        for index, function in enumerate(specimen.functions):
            key = number * 256 + index
            chosen = selected(function, addresses) & reaches(specimen, addresses)
            if not chosen.any():
                continue
            value = np.zeros(len(addresses), np.uint8)
            if function.kind == "rom":
                value[chosen] = _rom(function, addresses[chosen], moment, key)
            elif function.kind == "ram":
                value[chosen] = _ram(function, addresses[chosen], moment, key)
            else:
                value = _registers(function, addresses, chosen, moment, specimen, bench.cycles)
            yield _Drive(chosen, specimen.on_bus(function.driven), on_bus(specimen, value))
    for number, memory in enumerate(bench.memory):
        inside = (addresses >= memory.first) & (addresses <= memory.last)
        value = np.zeros(len(addresses), np.uint8)
        value[inside] = _host(memory, addresses[inside], moment, number)
        yield _Drive(inside, 0xFF, value)


def _remembered(floating: Floating, value: Octets, driven: Octets) -> tuple[Octets, Addresses]:
    """Return the bits last driven on each line, and the reads since then on the line that waited longest."""
    result = np.full(len(value), floating.value, np.uint8)
    waited = np.zeros(len(value), np.int64)
    places = np.arange(len(value), dtype=np.int64)
    for line in (i for i in range(8) if floating.lines >> i & 1):
        bit = np.uint8(1 << line)
        last = _filled(driven & bit != 0)
        seen = last >= 0
        result[seen] = (result[seen] & ~bit) | (value[last[seen]] & bit)
        waited = np.maximum(waited, np.where(seen, places - last, 1 << 40))
    return result, waited


def _floating(floating: Floating, addresses: Addresses, value: Octets, driven: Octets, moment: _Moment) -> Octets:
    if floating.kind in ("pulled", "constant"):
        return np.full(len(addresses), floating.value, np.uint8)
    if floating.kind.startswith("address-"):
        shift = {"address-low": 0, "address-high": 8, "address-bank": 16}[floating.kind]
        return (addresses >> shift & 0xFF).astype(np.uint8)
    if floating.kind == "noise":
        return bits(floating.rate, moment.seed, "float", moment.session, moment.reading, addresses)
    result, waited = _remembered(floating, value, driven)
    if floating.kind == "previous":
        return result
    kept = np.zeros(len(addresses), np.uint8)
    odds = np.exp(-waited / max(floating.rate, 1.0))
    for line in range(8):
        stays = share(moment.seed, "decay", line, moment.session, moment.reading, addresses) < odds
        kept |= stays.astype(np.uint8) << np.uint8(line)
    return (result & kept) | (np.uint8(floating.value) & ~kept)


def _bus(bench: Bench, addresses: Addresses, moment: _Moment) -> tuple[Octets, Octets]:
    """Return what is driven, and which lines are."""
    low = np.full(len(addresses), 0xFF, np.uint8)
    high = np.zeros(len(addresses), np.uint8)
    driven = np.zeros(len(addresses), np.uint8)
    for drive in _drives(bench, addresses, moment):
        lines = np.where(drive.where, np.uint8(drive.lines), np.uint8(0))
        low &= drive.value | ~lines
        high |= drive.value & lines
        driven |= lines
    return (low if bench.contention == "low-wins" else high) & driven, driven


def observe(
    bench: Bench, addresses: npt.ArrayLike, *, session: int = 1, reading: int = 1, role: Role = "specimen"
) -> Octets:
    """Return the byte that the host reads at each address, uint8, in the order of the addresses.

    Args:
        bench: what is on the bus.
        addresses: one address or many, in the order of time.
        session: the power-up, from 1.
        reading: the pass within all sessions, from 1.
        role: what is in the socket and how the bus is biased.
    """
    if role == "empty-socket":
        bench = without_specimens(bench)
    elif role == "pulled-up":
        bench = pulled(bench, 0xFF)
    elif role == "pulled-down":
        bench = pulled(bench, 0x00)
    at = np.atleast_1d(np.asarray(addresses, np.int64)) & ((1 << bench.address_bits) - 1)
    moment = _Moment(bench.seed, session, reading)
    value, driven = _bus(bench, at, moment)
    loose = np.zeros(len(at), np.uint8)
    for item in bench.floating:
        loose |= _floating(item, at, value, driven, moment) & np.uint8(item.lines)
    if bench.unrest:
        loose ^= bits(bench.unrest, bench.seed, "unrest", session, reading, at)
    return value | (loose & ~driven)
