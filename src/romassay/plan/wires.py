"""Where each pin goes, what stands in its line, and the rules of reading and writing. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec

from romassay.part import Part, Pin
from romassay.plan.bus import (
    PORT_SERIES,
    buffer_family,
    conflict_resistor,
    level_problems,
    nearest_above,
    pull_range,
)
from romassay.plan.model import Net, Wire
from romassay.plan.power import volts_at
from romassay.rig import Buffer, BufferFamily, Rig, line_number
from romassay.wiring import Completed, select_pins

OPEN_COLLECTOR_HIGH = 2.4
OPEN_COLLECTOR_LEAKAGE = 0.1
"""Milliamperes into the outputs of one part and an input at a high level: from memory."""
HOLDS_FOR_INPUTS = ("high", "low", "clock", "strobe")


@dataclass(frozen=True, slots=True)
class Equipped:
    """A rig with the buffers and resistors that it needs, and which of them it does not say itself."""

    rig: Rig
    added: tuple[str, ...]


def equipped(found: Completed, part: Part) -> Equipped:
    """Return the rig with a buffer, pull-ups and series resistors proposed where it says nothing of them."""
    rig, added = found.rig, []
    if rig.buffer is None and (rig.host.writes or _too_high(rig) or _wrong_level(rig, part, part.data_pins)):
        rig = msgspec.structs.replace(rig, buffer=_buffer(rig))
        added.append("buffer")
    elif rig.buffer and rig.buffer.fitted and not rig.buffer.ranges:
        rig = msgspec.structs.replace(rig, buffer=msgspec.structs.replace(rig.buffer, ranges=_buffer(rig).ranges))
    if rig.drivers is None and _wrong_level(rig, part, [pin for pin in part.pins if pin not in part.data_pins]):
        rig = msgspec.structs.replace(rig, drivers="HCT")
        added.append("drivers")
    if part.output and part.output.kind == "open-collector" and not rig.pull_ups:
        ohms = _pull_up(rig, part)
        rig = msgspec.structs.replace(rig, pull_ups={pin.name: ohms for pin in part.data_pins})
        added.append("pull-ups")
    series = dict(rig.series)
    for name in select_pins(part):
        pin = part.pin(name)
        if pin.also_kind == "io" and name not in series:
            series[name] = PORT_SERIES
    if rig.host.writes and buffer_family(rig) is None:
        for pin in part.data_pins:
            series.setdefault(pin.name, conflict_resistor(5.0))
    if series != rig.series:
        rig = msgspec.structs.replace(rig, series=series)
        added.append("series resistors")
    return Equipped(rig, tuple(added))


def _too_high(rig: Rig) -> bool:
    return rig.host.levels is not None and rig.host.levels.most_in < 5.0


def _wrong_level(rig: Rig, part: Part, pins: Iterable[Pin]) -> bool:
    """Tell whether a level between the host and some of the pins is not reached, or not stood."""
    names = {pin.name for pin in pins}
    return any(not names.isdisjoint(item.pins) for item in level_problems(rig, part))


def _buffer(rig: Rig) -> Buffer:
    family: BufferFamily = "LVC" if _too_high(rig) else "HCT"
    ranges = () if not rig.host.writes else tuple(f"0x{r.first:04X}-0x{r.last:04X}" for r in rig.to_read)
    return Buffer(ranges=ranges, family=family)


def _pull_up(rig: Rig, part: Part) -> float:
    family = buffer_family(rig)
    load = family.load if family else (rig.host.levels.load if rig.host.levels else 0.2)
    takes = [abs(i.at) for i in part.levels_of("VOL", part.data_pins[0].name) if i.at is not None]
    least, most = pull_range(5.0, OPEN_COLLECTOR_HIGH, min(takes, default=16.0), OPEN_COLLECTOR_LEAKAGE, load)
    return min(nearest_above(max(least * 2, 1000.0)), most)


def wires(found: Completed, rig: Rig, part: Part) -> tuple[Wire, ...]:
    """Return where each pin goes, by its number.

    Args:
        found: the rig as completed, for what was proposed.
        rig: with its buffers and resistors.
        part: of it.
    """
    return tuple(_wire(found, rig, part, pin) for pin in sorted(part.pins, key=lambda pin: pin.n))


def _wire(found: Completed, rig: Rig, part: Part, pin: Pin) -> Wire:
    net, to = _goal(rig, part, pin)
    return Wire(
        n=pin.n,
        pin=f"{pin.name} ({pin.also})" if pin.also else pin.name,
        role=pin.kind,
        net=net,
        to=to,
        via="; ".join(_via(rig, pin, net)),
        proposed=pin.name in found.proposed or (net in ("rail",) and pin.name not in rig.supply.rails),
        note=pin.note,
    )


def _goal(rig: Rig, part: Part, pin: Pin) -> tuple[Net, str]:
    rail = next((item for item in part.rails if item.pin == pin.n), None)
    if rail is not None:
        if not rail.nominal:
            return "rail", "ground"
        volts = volts_at(rig, rail, pin.name)
        return ("open", "no supply") if not volts else ("rail", f"{volts:+g} V")
    line = rig.wiring.get(pin.name)
    if line is not None:
        return _net(line), line
    level = rig.held.get(pin.name)
    if level is not None:
        return ("high", "+5 V") if level == "high" else ("low", "ground")
    if pin.hold == "raised":
        volts = rig.supply.rails.get(pin.name, pin.hold_volts)
        sure = pin.name in rig.supply.checked and volts is not None
        return ("raised", f"{volts:+g} V") if sure else ("open", "nothing yet")
    return "open", "open"


def _net(line: str) -> Net:
    if line_number(line, "D") is not None:
        return "data"
    return "address" if line_number(line, "A") is not None else "control"


def _via(rig: Rig, pin: Pin, net: Net) -> Iterator[str]:
    if net == "data" and (family := buffer_family(rig)):
        yield family.name
    if net in ("address", "control") and rig.drivers:
        yield f"{rig.drivers} driver"
    if pin.name in rig.gated:
        yield "gate with the host's read"
    if pin.name in rig.series:
        yield f"{ohms(rig.series[pin.name])} in series"
    if pin.name in rig.pull_ups:
        yield f"{ohms(rig.pull_ups[pin.name])} to +5 V"


def ohms(value: float) -> str:
    """Return a resistance as the trade writes it: 560 Ω, 4.7 kΩ."""
    return f"{value:g} Ω" if value < 1000 else f"{value / 1000:g} kΩ"


def rules(rig: Rig, part: Part) -> tuple[str, ...]:
    """Return the rules of this rig: who may drive the bus when, what strobes a read, what must never be low."""
    result = list(_strobe_rules(rig, part))
    buffer = rig.buffer
    if buffer and buffer.fitted:
        family = buffer_family(rig)
        where = f" in {', '.join(str(item) for item in buffer.where)}" if buffer.ranges else ""
        name = family.name if family else ""
        gate = rig.host.signals.read_write or rig.host.signals.read
        read = f" (decode those addresses and {gate})" if rig.host.writes and gate else ""
        result.append(
            f"{name} between the data pins and the host's data lines: from the specimen to the host only, and on only "
            f"while the host reads{where}{read}. Everywhere else the specimen is cut off from the bus."
        )
        if family and family.name == "74LVC245":
            result.append("It runs from the host's 3.3 V; its inputs take the specimen's 5 V.")
    if rig.host.levels and rig.host.levels.supply < 4.5:
        result.append("Direction is fixed everywhere: no shifters that find their direction by themselves.")
    ports = [name for name in select_pins(part) if part.pin(name).also_kind == "io"]
    if ports:
        result.append(
            f"{' and '.join(ports)} may be port bits in this specimen: the series resistor keeps its driver and the "
            "host's from harm. Nothing may be written to the specimen."
        )
    if rig.host.writes and not (buffer and buffer.fitted):
        result.append(
            f"{ohms(conflict_resistor(5.0))} in each data line keeps two drivers at odds under 10 mA; it is a fuse for "
            "mistakes, no licence for them."
        )
    return tuple(result)


def _strobe_rules(rig: Rig, part: Part) -> Iterator[str]:
    names = {pin.name for pin in part.pins}
    if "R/W" in names:
        if rig.held.get("R/W") == "high":
            yield "R/W is held high: the specimen is only ever read."
        else:
            yield (
                f"R/W follows the host's {rig.wiring.get('R/W')}: a write to an address of the specimen writes into "
                "its RAM or ports, so nothing may be written there."
            )
    if "/RES" in names:
        yield "/RES must be high while it is read: low, its bus drivers are off. Low once after power-on, then high."
    for latch in part.latches:
        takes = f"{latch.takes[0]} to {latch.takes[-1]}" if len(latch.takes) > 1 else latch.takes[0]
        yield f"{latch.pin} takes in {takes} at its {latch.edge}: it must come again for each address."
    if part.clock and part.clock.needed:
        yield f"{part.clock.pin} needs a clock that runs all the time; sample late in its high half."
    if rig.gated:
        yield f"{', '.join(rig.gated)}: gated with the host's read, so that nothing is driven while the host writes."
