"""What is wrong with a rig: every reason not to switch it on, named, with the pins concerned. Pure."""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator

from romassay.part import Part
from romassay.plan.bus import clock_advice, level_problems, timing_problems
from romassay.plan.coverage import free_block
from romassay.plan.model import Coverage, Problem
from romassay.plan.power import power_problems
from romassay.rig import Rig, line_number
from romassay.wiring import Completed, fixed_level, own_pins, reading_level, select_pins

_SUPPLIES = ("power", "ground", "program")


def problems(found: Completed, rig: Rig, part: Part, seen: Coverage | None) -> tuple[Problem, ...]:
    """Return everything that is wrong, what can kill a specimen first.

    Args:
        found: the rig as completed, for the inputs that are loose.
        rig: with its buffers and resistors.
        part: of it.
        seen: what its window shows; None where the part cannot be wired.
    """
    if seen is None:
        text = f"no pin table of the {part.name} is known"
        return (Problem("no-pin-table", (), text, "give a part file of your own that has one"),)
    every = (
        *power_problems(rig, part),
        *_supply_wiring(rig, part),
        *_outputs(rig, part),
        *_inputs(found, part),
        *_lines(rig, part),
        *_shared(rig, part),
        *_selects(rig, part),
        *timing_problems(rig, part),
        *level_problems(rig, part),
        *_bus(rig, part, seen),
    )
    return tuple(dict.fromkeys(every))


def _supply_wiring(rig: Rig, part: Part) -> Iterator[Problem]:
    rails = {item.pin for item in part.rails}
    for pin in part.pins:
        if pin.n in rails or pin.kind in _SUPPLIES:
            for table in (rig.wiring, rig.held):
                if pin.name in table:
                    yield Problem(
                        "supply-in-wiring",
                        (pin.name,),
                        f"{pin.name} (pin {pin.n}) is a supply pin and stands under the wiring",
                        "take it away there; its volts go under [supply.rails]",
                    )


def _outputs(rig: Rig, part: Part) -> Iterator[Problem]:
    """Data pins are outputs: each on a data line of its own, and none held."""
    on: dict[int, list[str]] = defaultdict(list)
    for pin in part.data_pins:
        if pin.name in rig.held:
            text = f"{pin.name} drives, and is held {rig.held[pin.name]}"
            yield Problem("output-held", (pin.name,), text, "wire it to a data line, or leave it open")
        line = rig.wiring.get(pin.name)
        number = line_number(line or "", "D")
        if number is not None:
            on[number].append(pin.name)
    lost = tuple(pin.name for pin in part.data_pins if pin.name not in rig.wiring and pin.kind == "data")
    if lost:
        text = f"{_listed(lost)} {'is' if len(lost) == 1 else 'are'} on no data line, and never seen"
        yield Problem("data-line-open", lost, text, "wire each to a data line of its own")
    for number, pins in on.items():
        if len(pins) > 1:
            text = f"{' and '.join(pins)} drive D{number} together"
            yield Problem("two-outputs-on-one-line", tuple(pins), text, "give each a line of its own")
    for pin in part.pins:
        tied = pin.name in rig.wiring or pin.name in rig.held
        if tied and (pin.hold == "open" or pin.kind == "no-connect"):
            text = f"{pin.name} (pin {pin.n}) stays open for reading"
            yield Problem("output-held", (pin.name,), text, "take it away")
        elif tied and pin.kind == "io" and pin.name not in rig.series and not _addresses(part, pin.name):
            text = f"{pin.name} is a port pin that may drive, and is tied without a resistor"
            advice = f"leave it open, or put a resistor there: [series] {pin.name} = 1000"
            yield Problem("output-held", (pin.name,), text, advice)


def _addresses(part: Part, name: str) -> bool:
    return name in (*own_pins(part), *select_pins(part))


def _listed(names: tuple[str, ...]) -> str:
    return ", ".join(names[:-1]) + f" and {names[-1]}" if len(names) > 1 else "".join(names)


def _inputs(found: Completed, part: Part) -> Iterator[Problem]:
    both = tuple(name for name in found.loose if part.pin(name).kind == "address-data")
    if both:
        text = f"{_listed(both)} take an address and give data over one line, and the host has no such lines"
        yield Problem("input-floating", both, text, "use a host with multiplexed lines, such as reader-multiplexed")
    for name in found.loose:
        if name in both:
            continue
        pin = part.pin(name)
        if pin.kind == "clock" or pin.hold == "clock":
            text = f"{name} (pin {pin.n}) needs a clock, and the host has no line for one"
            yield Problem("no-clock", (name,), text, clock_advice(name))
        else:
            text = f"{name} (pin {pin.n}) is an input, and nothing is left to wire it to"
            advice = "hold it at one level and then at the other, and read in both"
            yield Problem("input-floating", (name,), text, advice)


def _lines(rig: Rig, part: Part) -> Iterator[Problem]:
    """Lines that the host does not have, or that are of the wrong kind for a pin."""
    addressed = {*own_pins(part), *select_pins(part)}
    data = {pin.name for pin in part.data_pins}
    named = {line for line in _signals(rig) if line}
    for pin, line in rig.wiring.items():
        address, bit = line_number(line, "A"), line_number(line, "D")
        both = address is not None and bit is not None
        good = (
            (both and address is not None and address < rig.host.multiplexed and pin in data)
            if both or (pin in data and pin in addressed)
            else bit is not None and bit < 8
            if pin in data
            else (address is not None and address < rig.address_bits) or (line in named and pin in select_pins(part))
            if pin in addressed
            else (line in named or not named) and address is None and bit is None
        )
        if not good and not _supply(part, pin):
            text = f"{pin} is on '{line}', which is no line of this host for such a pin"
            yield Problem("no-such-line", (pin,), text, _lines_for(rig, pin in data, pin in addressed))


def _supply(part: Part, name: str) -> bool:
    pin = part.pin(name)
    return pin.kind in _SUPPLIES or any(item.pin == pin.n for item in part.rails)


def _lines_for(rig: Rig, data: bool, addressed: bool) -> str:
    if data and addressed:
        return "a host with multiplexed lines, AD0 and up"
    if data:
        return "D0 to D7"
    if addressed:
        return f"A0 to A{rig.address_bits - 1}, or a level under [held]"
    return f"one of {', '.join(line for line in _signals(rig) if line)}, or a level under [held]"


def _signals(rig: Rig) -> tuple[str, ...]:
    s = rig.host.signals
    return tuple(
        dict.fromkeys((s.clock, s.clock_inverse, s.read_write, s.read, s.write, s.reset, s.latch, s.latch_rise))
    )


def _shared(rig: Rig, part: Part) -> Iterator[Problem]:
    """Two pins of one function on one address line: half of it, or all, is out of reach."""
    for function in part.functions:
        on: dict[int, list[str]] = defaultdict(list)
        for name in (*function.own, *function.selects):
            pin = part.pin(name).name
            line = rig.address_line(pin)
            if line is not None:
                on[line].append(pin)
        for line, pins in on.items():
            if len(set(pins)) > 1:
                named = " and ".join(dict.fromkeys(pins))
                text = f"{named} share A{line}: not every address of the {function.name} can be reached"
                yield Problem("line-used-twice", tuple(dict.fromkeys(pins)), text, "give each a line of its own")


def _selects(rig: Rig, part: Part) -> Iterator[Problem]:
    for name in select_pins(part):
        wanted, steady = fixed_level(part, name), rig.steady(name)
        if wanted is not None and steady is not None and (wanted == "high") != bool(steady):
            where = f"is held {rig.held[name]}" if name in rig.held else f"is on {rig.wiring[name]}"
            text = f"{name} {where}, and must be {wanted}: nothing would ever answer"
            yield Problem("select-never-true", (name,), text, f"hold it {wanted}, or wire it to an address line")
    yield from _held_wrong(rig, part)
    if rig.held.get("R/W") == "low" or rig.steady("R/W") == 0:
        yield Problem("writes-to-specimen", ("R/W",), "R/W is low: every read would write", "hold it high")
    for name in ("/RES", "/RESET"):
        if rig.held.get(name) == "low":
            text = f"{name} is held low: the bus drivers are off"
            yield Problem("held-in-reset", (name,), text, "hold it high, or wire it to the host's reset")


def _held_wrong(rig: Rig, part: Part) -> Iterator[Problem]:
    """Pins at another level than reading wants: a programming input, a test pin, a strobe that would write."""
    for pin in part.pins:
        wanted = reading_level(part, pin)
        steady = rig.steady(pin.name)
        if wanted is not None and steady is not None and (wanted == "high") != bool(steady):
            if pin.name in ("R/W", "/RES", "/RESET"):
                continue  # named more exactly elsewhere
            text = f"{pin.name} (pin {pin.n}) is {'high' if steady else 'low'}; for reading it must be {wanted}"
            yield Problem("held-wrong", (pin.name,), text, f"hold it {wanted}")


def _bus(rig: Rig, part: Part, seen: Coverage) -> Iterator[Problem]:
    if not free_block(rig, part, seen.free):
        text = "no block of the window is free: what is read there is the host's own memory, or nothing at all"
        yield Problem("no-free-block", (), text, "choose a window beside the host's memory")
    elif all(not setting.copies for item in seen.expected[:1] for setting in item.settings):
        pins = select_pins(part)
        yield Problem(
            "select-never-true",
            pins,
            "whatever the mask made of them, nothing answers in the window",
            "wire the selects to address lines that change in it",
        )
    yield from _conflicts(rig, part, seen)


def _polarity_known(rig: Rig, part: Part, pin: str) -> bool:
    """Tell whether a gate can switch a select off: only where its level is known for every function it concerns."""
    if fixed_level(part, pin) is not None:
        return True
    levels = {rig.known.get(f.name, {}).get(pin) for f in part.functions if pin in f.selects}
    return len(levels) == 1 and levels <= {"high", "low"}


def _conflicts(rig: Rig, part: Part, seen: Coverage) -> Iterator[Problem]:
    """Where the specimen and the host may drive at once: on reads, and on the host's writes."""
    selects = select_pins(part)
    clashing = [item.function for item in seen.expected if any(setting.clashes for setting in item.settings)]
    if clashing:
        memory = ", ".join(str(item) for item in rig.host_memory)
        text = (
            f"the specimen's {' and '.join(clashing)} may answer in the host's own memory ({memory}): both would drive"
        )
        yield Problem("clash-with-host-memory", selects, text, "a buffer that is on in the window only")
    if not rig.host.writes or (rig.buffer and rig.buffer.fitted):
        return
    quiet = (
        rig.wiring.get("R/W") in (rig.host.signals.read_write, rig.host.signals.write)
        or any(rig.wiring.get(pin) == rig.host.signals.read != "" for pin in selects)
        or any(_polarity_known(rig, part, pin) for pin in rig.gated)
    )
    if not quiet:
        text = "nothing keeps the specimen from driving while the host writes"
        advice = "gate a select with the host's read ([gated]), or put a buffer between them"
        yield Problem("specimen-drives-on-writes", selects, text, advice)
