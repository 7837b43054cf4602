"""Where each pin goes, what stands in its line, and the rules of reading and writing. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from dataclasses import dataclass

import msgspec

from romassay.address import Range
from romassay.part import Part, Pin
from romassay.plan.bus import (
    PORT_SERIES,
    buffer_family,
    conflict_resistor,
    level_problems,
    nearest_above,
    pull_range,
)
from romassay.plan.coverage import coverage, without
from romassay.plan.model import Net, Wire
from romassay.plan.power import volts_at
from romassay.rig import Buffer, BufferFamily, Rig, line_number
from romassay.wiring import Completed, select_pins

OPEN_COLLECTOR_HIGH = 2.4
OPEN_COLLECTOR_LEAKAGE = 0.1
"""Milliamperes into the outputs of one part and an input at a high level: from memory."""
DECODER_LINES = 3
"""Address lines that one common decoder takes."""


@dataclass(frozen=True, slots=True)
class Equipped:
    """A rig with the buffers and resistors that it needs, and which of them it does not say itself."""

    rig: Rig
    added: tuple[str, ...]


def equipped(found: Completed, part: Part) -> Equipped:
    """Return the rig with a buffer, pull-ups and series resistors proposed where it says nothing of them."""
    rig, added = found.rig, []
    shared = rig.host.writes or rig.host_memory
    if rig.buffer is None and (shared or _too_high(rig) or _wrong_level(rig, part, part.data_pins)):
        rig = _buffered(rig, part)
        added.append("buffer")
    elif rig.buffer and rig.buffer.fitted and not rig.buffer.ranges:
        rig = _buffered(rig, part)
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


def _buffered(rig: Rig, part: Part) -> Rig:
    """Return the rig with a buffer that keeps the specimen off the bus wherever it is not read.

    On a bus that is written to, it is on in one aligned block where there is a free one that tells every option from
    every other, because a few gates decode that; in all that is to be read elsewhere.
    """
    family: BufferFamily = rig.buffer.family if rig.buffer else ("LVC" if _too_high(rig) else "HCT")
    if not rig.host.writes and not rig.host_memory:
        return msgspec.structs.replace(rig, buffer=Buffer(family=family))
    block = None if rig.window else _block(rig, part)
    ranges = tuple(f"0x{r.first:04X}-0x{r.last:04X}" for r in ((block,) if block else rig.to_read))
    return msgspec.structs.replace(rig, buffer=Buffer(ranges=ranges, family=family), window=rig.window or ranges)


def _block(rig: Rig, part: Part) -> Range | None:
    enough = coverage(rig, part).enough
    if not enough:
        return None
    first, last = enough[0].first, enough[-1].last
    least = 1 << (first ^ last).bit_length()
    for unit in (max(least, 1 << max(0, rig.address_bits - DECODER_LINES)), least):
        block = Range(first & -unit, (first & -unit) + unit - 1)
        if without((block,), rig.host_memory) == (block,):
            return block
    return None


def block_levels(rig: Rig) -> tuple[tuple[int, int], ...]:
    """Return the levels of the address lines that stand for the buffer's one aligned block, highest line first."""
    where = rig.buffer.where if rig.buffer else ()
    if len(where) != 1 or where[0].size & (where[0].size - 1) or where[0].first % where[0].size:
        return ()
    low = where[0].size.bit_length() - 1
    return tuple((line, where[0].first >> line & 1) for line in reversed(range(low, rig.address_bits)))


_SIDE_A, _SIDE_B, _DIRECTION, _ENABLE = 2, 18, 1, 19
_GROUND, _SUPPLY = 10, 20


def buffer_wires(rig: Rig, part: Part) -> tuple[Wire, ...]:
    """Return where the pins of the bus driver go: side A to the specimen, side B to the host (SDLS146B, pin table)."""
    family = buffer_family(rig)
    if family is None:
        return ()
    supply = "+3.3 V" if family.name == "74LVC245" else "+5 V"
    rows = [
        Wire(_DIRECTION, "DIR", "direction", "high", supply, note="from A to B, for good"),
        Wire(_GROUND, "GND", "ground", "rail", "ground"),
        Wire(_ENABLE, "/OE", "enable", "control", enable_words(rig)),
        Wire(_SUPPLY, "VCC", "power", "rail", supply),
    ]
    for place in range(8):
        pin = part.data_pins[place] if place < len(part.data_pins) else None
        line = rig.wiring.get(pin.name, "") if pin else ""
        one = f"pin {pin.n} ({pin.name}) of the {part.type}" if pin else "ground"
        rows.append(Wire(_SIDE_A + place, f"A{place + 1}", "input", "data" if pin else "low", one))
        rows.append(Wire(_SIDE_B - place, f"B{place + 1}", "output", "data" if line else "open", line or "open"))
    return tuple(sorted(rows, key=lambda wire: wire.n))


def enable_words(rig: Rig) -> str:
    """Return when the buffer's enable is low."""
    signals = rig.host.signals
    reads = f"{signals.read_write} = 1" if signals.read_write else f"{signals.read} = 0" if signals.read else ""
    if not rig.host.writes:
        return f"low while {reads}" if signals.read else "ground"
    lines = [f"A{line} = {level}" for line, level in block_levels(rig)]
    where = (
        lines or [f"the address is in {', '.join(str(item) for item in rig.buffer.where if rig.buffer)}"]
        if (rig.buffer and rig.buffer.ranges)
        else []
    )
    return f"low while {', '.join([*([reads] if reads else []), *where])}"


def decoder_words(rig: Rig) -> str:
    """Return how one decoder chip makes the enable; '' where it takes more than one.

    Pins of the 74HCT138 (A, B, C on 1 to 3, enables on 4 to 6, outputs 15 down to 9 and 7): from memory.
    """
    lines = block_levels(rig)
    signals = rig.host.signals
    if not 1 <= len(lines) <= DECODER_LINES or not rig.host.writes or not (signals.read_write or signals.read):
        return ""
    number = sum(level << place for place, (_, level) in enumerate(reversed(lines)))
    inputs = [f"A{line} to its pin {place}" for place, (line, _) in enumerate(reversed(lines), 1)]
    inputs += [f"its pin {place} to ground" for place in range(len(lines) + 1, 4)]
    if signals.read_write:
        inputs.append(f"{signals.read_write} to its pin 6, pins 4 and 5 to ground")
    else:
        inputs.append(f"{signals.read} to its pin 4, pin 5 to ground, pin 6 to +5 V")
    output = (15, 14, 13, 12, 11, 10, 9, 7)[number]
    return (
        f"One 74HCT138 makes the enable: {', '.join(inputs)}; its pin {output} (output {number}) to pin 19 of the "
        "buffer; ground on 8, +5 V on 16 (pins from memory: check them)."
    )


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
        result.append(
            f"{name} between the data pins and the host's data lines: from the specimen to the host only, and on only "
            f"while the host reads{where}. Everywhere else the specimen is cut off from the bus."
        )
        if words := decoder_words(rig):
            result.append(words)
        if family and family.name == "74LVC245":
            result.append("It runs from the host's 3.3 V; its inputs take the specimen's 5 V.")
    if rig.host.levels and rig.host.levels.supply < 4.5:
        result.append("Direction is fixed everywhere: no shifters that find their direction by themselves.")
    if rig.drivers:
        result.append(
            f"{rig.drivers} drivers at the specimen's +5 V stand in every line marked so: one way, always on "
            "(74HCT541: inputs 2 to 9, outputs 18 to 11, pins 1, 10 and 19 to ground, 20 to +5 V; pins not checked)."
        )
    if rig.host.writes and not rig.host_memory:
        result.append("The host's memory map is empty: nothing here knows where it answers itself. Say it first.")
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
