"""The rules of a rig: what its wiring and its bench must agree on with its part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping

from romassay.catalogue.hosts import number_slips, range_slips
from romassay.catalogue.strict import Slip, Step, meant
from romassay.part import Function, Part
from romassay.rig import Rig, line_number
from romassay.wiring import Completed, own_pins


def wiring_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    """Yield pins on lines that they cannot be on, or held where they must not be."""
    if part is None:
        return
    kinds = {pin.name: pin.kind for pin in part.pins}
    addressed = _addressed(part)
    for pin, line in rig.wiring.items():
        steps = ("wiring", pin)
        if kinds[pin] in ("power", "ground"):
            yield Slip(steps, f"{pin} is a {kinds[pin]} pin", "supplies are no part of the wiring")
        elif pin in addressed:
            number = line_number(line, "A")
            strobed = pin not in own_pins(part) and rig.steady(pin) is not None
            if not strobed and (number is None or number >= rig.address_bits):
                allowed = f"allowed: A0 to A{rig.address_bits - 1}, or hold the pin under [held]"
                yield Slip(steps, f"'{line}' is no address line of the host", allowed)
        elif kinds[pin] == "data":  # those that carry addresses too were looked at above
            number = line_number(line, "D")
            if number is None or number > 7:
                yield Slip(steps, f"'{line}' is no data line of the host", "allowed: D0 to D7")
    for pin in rig.held:
        if pin in rig.wiring:
            yield Slip(("held", pin), f"{pin} is wired to {rig.wiring[pin]} as well", "wire it or hold it")
        elif kinds[pin] in ("data", "address-data"):
            yield Slip(("held", pin), f"{pin} is a data pin", "wire it to the host, or leave it open")
    if rig.held.get("R/W") == "low":
        yield Slip(("held", "R/W"), "held low, the host's reads would write", "hold it high, or wire it to the host")


def _addressed(part: Part) -> set[str]:
    """Return the pins that functions are addressed and selected by."""
    return {part.pin(name).name for item in part.functions for name in (*item.own, *item.selects)}


def loose_pins(found: Completed, part: Part | None) -> Iterator[Slip]:
    """Yield inputs that float: they make a reading worthless. Outputs and port pins may stay open."""
    if part is None:
        return
    for name in found.loose:
        advice = f"add '{name} = …' under [wiring], or under [held]"
        yield Slip(("wiring",), f"{name} (pin {part.pin(name).n}) is neither wired nor held", advice)
    if not part.pins:
        yield Slip(("part",), f"no pin table of the {part.name} is known", "give a part file of your own that has one")


def bench_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    """Yield what cannot be in the tables beside the wiring."""
    for index, item in enumerate(rig.window):
        yield from range_slips(("window", index), item, rig.address_bits)
    for index, item in enumerate(rig.buffer.ranges if rig.buffer else ()):
        yield from range_slips(("buffer", "ranges", index), item, rig.address_bits)
    yield from _supply_slips(rig, part)
    names = {pin.name for pin in part.pins} if part else set()
    for table in ("pull_ups", "series"):
        for pin, ohms in getattr(rig, table).items():
            if pin not in names:
                yield Slip((table, pin), f"there is no pin '{pin}'", meant(pin, sorted(names)))
            yield from number_slips((table, pin), ohms, 1, 10_000_000)
    for index, pin in enumerate(rig.gated):
        if part is None or pin not in _addressed(part) - set(own_pins(part)):
            yield Slip(("gated", index), f"'{pin}' is no select pin", "name pins that only choose a function")


def _supply_slips(rig: Rig, part: Part | None) -> Iterator[Slip]:
    rails = (
        {pin.name for pin in part.pins if pin.kind in ("power", "program") or pin.hold == "raised"} if part else set()
    )
    for table in ("rails", "checked"):
        for pin in getattr(rig.supply, table):
            if pin not in rails:
                yield Slip(("supply", table, pin), f"'{pin}' is no supply pin", meant(pin, sorted(rails)))
    for pin, volts in rig.supply.rails.items():
        yield from number_slips(("supply", "rails", pin), volts, -100, 100)
    for index, pin in enumerate(rig.supply.order):
        if pin not in rails:
            yield Slip(("supply", "order", index), f"'{pin}' is no supply pin", meant(pin, sorted(rails)))
    regulator = rig.supply.regulator
    if regulator is not None:
        for name, most in (("input", 60), ("others", 10_000), ("ambient", 100), ("heat_sink", 1000)):
            yield from number_slips(("supply", "regulator", name), getattr(regulator, name), 0, most)


def mask_slips(
    table: str, said: Mapping[str, Mapping[str, str]], part: Part | None, at: tuple[Step, ...] = ()
) -> Iterator[Slip]:
    """Yield what a mask cannot have made of the selects; `said` is a table of levels for each function."""
    functions = {item.name: item for item in part.functions} if part else {}
    for name, levels in said.items():
        if name not in functions:
            yield Slip((*at, table, name), f"there is no function '{name}'", meant(name, functions))
            continue
        yield from _level_slips((*at, table, name), part, functions[name], levels)


def _name(part: Part | None, pin: str) -> str:
    try:
        return part.pin(pin).name if part else pin
    except KeyError:
        return pin


def _level_slips(
    at: tuple[Step, ...], part: Part | None, function: Function, levels: Mapping[str, str]
) -> Iterator[Slip]:
    for pin, level in levels.items():
        steps = (*at, pin)
        name = _name(part, pin)
        if part is None or name not in function.selects:
            yield Slip(steps, f"'{pin}' does not select '{function.name}'", meant(pin, function.selects))
        elif level not in part.options(function.name, name):
            options = part.options(function.name, name)
            yield Slip(steps, f"the {part.type} cannot have it {level}", f"allowed: {', '.join(options)}")
