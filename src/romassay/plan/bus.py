"""Timing and levels between the specimen and the host: margins in the worst case, loads, and what helps. Pure.

Buffers: 74LS245 data sheet SDLS146B (levels, 12 ns through); 74HCT product specification (levels);
delays of HCT, and 74LVC245 at 3.3 V with inputs that take 5 V: from memory.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator
from dataclasses import dataclass

from romassay.part import Level, LevelKind, Part, Pin, Timing, is_unchecked
from romassay.plan.model import Margin, Problem, ProblemKind, Status
from romassay.rig import BufferFamily, BusLevels, ReadCycle, Rig
from romassay.wiring import own_pins, select_pins


@dataclass(frozen=True, slots=True)
class Family:
    """A bus driver: volts, milliamperes as magnitudes, nanoseconds."""

    name: str
    high_in: float
    low_in: float
    most_in: float
    high: float
    low: float
    high_current: float
    low_current: float
    load: float
    delay: float


FAMILIES: dict[BufferFamily, Family] = {
    "LS": Family("74LS245", 2.0, 0.8, 5.5, 2.4, 0.4, 3.0, 12.0, 0.2, 12.0),
    "HCT": Family("74HCT245", 2.0, 0.8, 5.5, 3.84, 0.33, 4.0, 4.0, 0.001, 25.0),
    "LVC": Family("74LVC245", 2.0, 0.8, 5.5, 2.4, 0.4, 4.0, 4.0, 0.005, 8.0),
}

CONFLICT_CURRENT = 10.0
"""Milliamperes that two drivers at odds may push through each other: within the 25 mA of an HCT output and the short
circuits that NMOS outputs stand; common practice, no source."""
PORT_SERIES = 1000.0
"""Ohms in front of a select pin that may be a port bit: 5 mA at most if it drives; common practice, no source."""
_E12 = (10, 12, 15, 18, 22, 27, 33, 39, 47, 56, 68, 82)


def nearest_above(ohms: float) -> float:
    """Return the next value of the E12 series (IEC 60063) that is not below a resistance."""
    if ohms <= 0:
        return 0.0
    decade = 10.0 ** (math.floor(math.log10(ohms)) - 1)
    return next((value * decade for value in (*_E12, 100) if value * decade >= ohms * (1 - 1e-9)), 100 * decade)


def conflict_resistor(volts: float) -> float:
    """Return the series resistance at which two drivers of opposite levels push no more than `CONFLICT_CURRENT`."""
    return nearest_above(volts / (CONFLICT_CURRENT / 1000))


def buffer_family(rig: Rig) -> Family | None:
    """Return the driver between the specimen's data pins and the bus, or None."""
    return FAMILIES[rig.buffer.family] if rig.buffer and rig.buffer.fitted else None


def timing(rig: Rig, part: Part) -> tuple[Margin, ...]:
    """Return the margins of time, the worst case of each."""
    cycle = rig.host.cycle
    if cycle is None:
        return ()
    through = (family.delay if (family := buffer_family(rig)) else 0.0) + (
        FAMILIES[rig.drivers].delay if rig.drivers else 0.0
    )
    return tuple(_times(rig, part, cycle, through))


def _times(rig: Rig, part: Part, cycle: ReadCycle, through: float) -> Iterator[Margin]:
    late = cycle.address_to_data - through
    clocked = part.clock is not None and part.clock.needed
    if not clocked or part.times("address-access"):
        yield _under("address to data", part.times("address-access"), late)
    if select_pins(part) and not clocked:
        on_strobe = any(rig.wiring.get(pin) == rig.host.signals.read for pin in select_pins(part)) or bool(rig.gated)
        yield _under("select to data", part.times("enable-access"), late)
        if part.times("output-enable"):
            have = cycle.clock_to_data - through if on_strobe else late
            yield _under("output enable to data", part.times("output-enable"), have)
    if part.clock and part.clock.needed:
        yield _under("clock to data", part.times("clock-access"), cycle.clock_to_data - through)
        before = cycle.address_to_data - cycle.clock_to_data
        yield _under("address before clock", part.times("address-before-clock"), before, least=True)
        yield _under("R/W before clock", part.times("control-before-clock"), before, least=True)
        yield from _clock(part.times("clock-period"), cycle.clock_mhz)
    if part.latches:
        yield _under("latch to data", part.times("latch-access"), late)
        yield _under("strobe to data", part.times("strobe-access"), cycle.clock_to_data - through)


def _figure(times: Iterable[Timing], *, least: bool) -> tuple[float | None, bool]:
    """Return the worst figure of the grades, and whether one of them is unchecked."""
    every = tuple(times)
    figures = [item.minimum if least else item.maximum for item in every]
    known = [item for item in figures if item is not None]
    return (max(known) if known else None), any(is_unchecked(item.src) for item in every)


def _under(what: str, times: Iterable[Timing], have: float, *, least: bool = False) -> Margin:
    need, unchecked = _figure(times, least=least)
    return margin_of(what, need, have, "ns", unchecked=unchecked)


def margin_of(
    what: str, need: float | None, have: float | None, unit: str, *, unchecked: bool = False, below: bool = False
) -> Margin:
    """Return a margin: what there is beyond what is needed; with `below`, what is needed is a ceiling."""
    if need is None or have is None:
        return Margin(what, need, have, unit, None, "unknown", unchecked)
    left = round(need - have if below else have - need, 6)
    status: Status = "good" if left >= 0 else "bad"
    return Margin(what, need, have, unit, left, status, unchecked)


def _clock(times: tuple[Timing, ...], mhz: float) -> Iterator[Margin]:
    """The clock's period against its limits: the tightest of the grades for the least, the narrowest for the most."""
    unchecked = any(is_unchecked(item.src) for item in times)
    period = 1000 / mhz if mhz else None
    least = max((item.minimum for item in times if item.minimum is not None), default=None)
    most = min((item.maximum for item in times if item.maximum is not None), default=None)
    yield margin_of("clock period, shortest", least, period, "ns", unchecked=unchecked)
    yield margin_of("clock period, longest", most, period, "ns", unchecked=unchecked, below=True)


_SLOW: dict[str, tuple[ProblemKind, str]] = {
    "clock period, shortest": ("clock-too-fast", "slow the host's clock down"),
    "clock period, longest": ("clock-too-slow", "raise the clock, or use a host with a faster one"),
}


def timing_problems(rig: Rig, part: Part) -> Iterator[Problem]:
    """Yield what is wrong with the clock, the latches and the time that the host leaves."""
    cycle = rig.host.cycle
    for item in timing(rig, part):
        if item.status == "bad" and item.margin is not None:
            kind, advice = _SLOW.get(item.what, ("too-slow-for-host", "slow the host's clock down, or sample later"))
            pins = (part.clock.pin,) if part.clock and "clock" in item.what else ()
            yield Problem(kind, pins, f"{item.what}: {item.need:g} ns against {item.have:g} ns", advice)
    yield from _clock_problems(rig, part, cycle)
    yield from _latch_problems(rig, part)


def _clock_problems(rig: Rig, part: Part, cycle: ReadCycle | None) -> Iterator[Problem]:
    clock = part.clock
    if clock is None or not clock.needed:
        return
    if clock.pin in rig.held or rig.wiring.get(clock.pin, rig.host.signals.clock) != rig.host.signals.clock:
        line = rig.host.signals.clock
        advice = f"wire it to {line}" if line else clock_advice(clock.pin)
        yield Problem("no-clock", (clock.pin,), f"{clock.pin} is not on the host's clock", advice)
    elif cycle and not cycle.free_running and clock.stoppable != "yes":
        yield Problem(
            "clock-stops",
            (clock.pin,),
            "the host's clock stands still between reads, and the part needs one that runs",
            "use a clock that runs freely, hold the address, and sample late",
        )


def clock_advice(pin: str) -> str:
    """Return what to do where a host has no line that is called its clock."""
    return f"say in the rig which line of the host is its clock: [host.signals] clock = '{pin}'; or take another host"


def _latch_problems(rig: Rig, part: Part) -> Iterator[Problem]:
    """An enable that takes the address in must come again for each address."""
    for latch in part.latches:
        line = rig.wiring.get(latch.pin, "")
        cycled = line in (rig.host.signals.latch, rig.host.signals.latch_rise) and line
        strobed = line == rig.host.signals.read and rig.host.cycle is not None and rig.host.cycle.strobed and line
        if not cycled and not strobed:
            yield Problem(
                "latch-not-cycled",
                (latch.pin,),
                f"{latch.pin} takes the address in at its edge, and nothing gives that edge for each address",
                "wire it to a strobe that comes anew with each address",
            )


def levels(rig: Rig, part: Part) -> tuple[Margin, ...]:
    """Return the margins of voltage and current, the worst pin of each."""
    bus = rig.host.levels
    return () if bus is None else tuple(item for _, _, item in _level_checks(rig, part, bus))


def _level_checks(rig: Rig, part: Part, bus: BusLevels) -> Iterator[tuple[ProblemKind, tuple[str, ...], Margin]]:
    driven = [pin for pin in part.pins if rig.wiring.get(pin.name) and pin.kind not in ("data",)]
    if driven:
        yield from _inputs(rig, part, bus, driven)
    data = [pin for pin in part.data_pins if pin.name in rig.wiring]
    if data:
        yield from _outputs(rig, part, bus, data[0].name)


def _inputs(
    rig: Rig, part: Part, bus: BusLevels, pins: list[Pin]
) -> Iterator[tuple[ProblemKind, tuple[str, ...], Margin]]:
    """What the specimen's inputs ask of the host, or of the drivers in between."""
    family = FAMILIES[rig.drivers] if rig.drivers else None
    high, low = (family.high, family.low) if family else (bus.high, bus.low)
    helped = [pin for pin in pins if pin.name in rig.pull_ups]
    plain = [pin for pin in pins if pin.name not in rig.pull_ups] or helped
    pin, need, unchecked = _worst(part, "VIH", plain, least=True)
    yield "level-too-low", (pin,), margin_of(f"high into {pin}", need, high, "V", unchecked=unchecked)
    pin, need, unchecked = _worst(part, "VIL", pins, least=False)
    yield "level-too-high", (pin,), margin_of(f"low into {pin}", need, low, "V", unchecked=unchecked, below=True)
    loads = [item for item in part.loads if item.what == "input-current"]
    if loads:
        drawn = max(abs(item.minimum or 0.0) for item in loads) / 1000
        gives = family.low_current if family else bus.low_current
        unsure = any(is_unchecked(item.src) for item in loads)
        names = tuple(item.name for item in pins)
        yield "overload", names, margin_of("current at a low input", drawn, gives, "mA", unchecked=unsure)


def _outputs(rig: Rig, part: Part, bus: BusLevels, pin: str) -> Iterator[tuple[ProblemKind, tuple[str, ...], Margin]]:
    """What the host's data inputs, or the buffer in between, ask of the specimen; then of the buffer."""
    family = buffer_family(rig)
    names = tuple(item.name for item in part.data_pins)
    taker, where = (family, family.name) if family else (bus, "the host")
    _, gives, unsure = _worst(part, "VOH", [part.pin(pin)], least=False)
    pulled = all(name in rig.pull_ups for name in names)
    if pulled or (part.output and part.output.kind == "open-collector"):
        gives, unsure = (5.0 if pulled else 0.0), False
    yield "level-too-low", names, margin_of(f"data pins high at {where}", taker.high_in, gives, "V", unchecked=unsure)
    _, gives, unsure = _worst(part, "VOL", [part.pin(pin)], least=True)
    drop = max((rig.series.get(name, 0.0) for name in names), default=0.0) * taker.load / 1000
    low = None if gives is None else gives + drop
    yield (
        "level-too-high",
        names,
        margin_of(f"data pins low at {where}", taker.low_in, low, "V", unchecked=unsure, below=True),
    )
    supply = max((rig.supply.rails or {}).get("VCC", 5.0), 0.0)
    yield "over-voltage-at-host", names, margin_of(f"most at {where}", taker.most_in, supply, "V", below=True)
    takes = _worst_current(part, pin)
    yield "overload", names, margin_of(f"load of {where} when low", taker.load, takes, "mA")
    if family:
        yield "level-too-low", names, margin_of("high from the buffer", bus.high_in, family.high, "V")
        yield "level-too-high", names, margin_of("low from the buffer", bus.low_in, family.low, "V", below=True)
        top = 3.3 if family.name == "74LVC245" else 5.0
        yield "over-voltage-at-host", names, margin_of("most from the buffer", bus.most_in, top, "V", below=True)


def _worst(part: Part, what: LevelKind, pins: Iterable[Pin], *, least: bool) -> tuple[str, float | None, bool]:
    """Return the pin with the hardest figure: the highest of VIH and VOL (`least`), the lowest of VIL and VOH."""
    found: list[tuple[float, str, Level]] = []
    names = []
    for pin in pins:
        names.append(pin.name)
        for item in part.levels_of(what, pin.name):
            value = item.minimum if what in ("VIH", "VOH") else item.maximum
            if value is not None:
                found.append((value, pin.name, item))
    if not found:
        return (names[0] if names else ""), None, False
    value, name, item = max(found, key=lambda entry: entry[0]) if least else min(found, key=lambda entry: entry[0])
    return name, value, is_unchecked(item.src)


def _worst_current(part: Part, pin: str) -> float | None:
    return min((abs(item.at) for item in part.levels_of("VOL", pin) if item.at is not None), default=None)


_ADVICE: dict[ProblemKind, str] = {
    "level-too-low": "a pull-up or an HCT driver there",
    "level-too-high": "a driver that goes lower, or a smaller series resistor",
    "over-voltage-at-host": "a one-way buffer at the host's supply whose inputs take 5 V; no shifter that guesses its "
    "direction",
    "overload": "a driver in that line",
}


def level_problems(rig: Rig, part: Part) -> Iterator[Problem]:
    """Yield levels that are not reached, voltages that the host does not stand, and lines that carry too much."""
    bus = rig.host.levels
    if bus is None:
        return
    for kind, pins, item in _level_checks(rig, part, bus):
        if item.status == "bad":
            yield Problem(kind, pins, f"{item.what}: {item.have:g} {item.unit} against {item.need:g}", _ADVICE[kind])
    top = 5.0 if rig.drivers and rig.drivers != "LVC" else bus.supply
    for name in (*own_pins(part), *select_pins(part)):
        rating = part.voltage_rating(name)
        if rating and rating.maximum is not None and not getattr(rating, "against", "") and top > rating.maximum:
            problem = f"{top:g} V from the host is beyond {rating.maximum:g} V at {name}"
            yield Problem("input-beyond-maximum", (name,), problem, "a driver at the specimen's supply in that line")
            return


def pull_range(volts: float, high: float, low_current: float, leakage: float, sinks: float) -> tuple[float, float]:
    """Return the least and the most ohms of a pull-up on an open collector.

    Args:
        volts: of the supply.
        high: that the input must see.
        low_current: milliamperes that the output takes.
        leakage: milliamperes that flow away at a high level.
        sinks: milliamperes that the inputs add at a low level.
    """
    least = (volts - 0.45) / max(low_current - sinks, 1e-6) * 1000
    return least, (volts - high) / max(leakage, 1e-6) * 1000


def weak_pulls(rig: Rig, part: Part) -> tuple[float | None, float | None]:
    """Return the ohms of weak pull-ups and pull-downs for control readings; None where none would do.

    They must move an undriven line over the host's thresholds against what its inputs draw, and the specimen must still
    win against them.
    """
    family, bus = buffer_family(rig), rig.host.levels
    data = part.data_pins
    if bus is None or not data:
        return None, None
    load = max(family.load if family else bus.load, 0.001)
    high_in, low_in = (family.high_in, family.low_in) if family else (bus.high_in, bus.low_in)
    sinks = _worst_current(part, data[0].name) or 1.6
    gives = min((abs(i.at) for i in part.levels_of("VOH", data[0].name) if i.at), default=0.1)
    up = _between(5.0 / sinks * 4, (5.0 - high_in) / 0.04)
    down = _between(2.4 / gives, low_in / load)
    return up, down


def _between(least_k: float, most_k: float) -> float | None:
    """Return an E12 value near the geometric middle of two limits in kilohms; None where they cross."""
    if least_k > most_k:
        return None
    return min(nearest_above(math.sqrt(least_k * min(most_k, 1000)) * 1000), most_k * 1000)
