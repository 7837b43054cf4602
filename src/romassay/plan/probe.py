"""The checklist before the specimen goes in, in the order in which a person probes: power off first. Pure.

First the supply, where a mistake kills; then round the package pin by pin, from the pin to where it must go; then each
pair of neighbours that must not be joined; last, with the power on and the socket still empty, the voltages.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from romassay.plan.model import Check, Power, Wire

LEAST_TO_GROUND = 100
NOT_JOINED = "not joined"


def checks(wires: tuple[Wire, ...], power: Power | None) -> tuple[Check, ...]:
    """Return the steps of the checklist."""
    return (*_supplies(wires), *_round(wires), *_neighbours(wires), *_powered(wires, power))


def _supplies(wires: tuple[Wire, ...]) -> Iterator[Check]:
    """Ground first: every other reading leans on it."""
    rails = [wire for wire in wires if wire.net == "rail"]
    for wire in sorted(rails, key=lambda wire: (wire.to != "ground", wire.n)):
        yield Check(False, (wire.n,), f"pin {wire.n} ({wire.pin}) to {wire.to}", "under 1 Ω")
    live = [wire for wire in rails if wire.to != "ground"]
    for wire in live:
        yield Check(
            False,
            (wire.n,),
            f"pin {wire.n} ({wire.pin}) to ground",
            f"no short: over {LEAST_TO_GROUND} Ω",
        )
    for place, wire in enumerate(live):
        for other in live[place + 1 :]:
            if wire.to != other.to:
                probe = f"pin {wire.n} ({wire.pin}) to pin {other.n} ({other.pin})"
                yield Check(False, (wire.n, other.n), probe, f"no short: over {LEAST_TO_GROUND} Ω")


def _round(wires: tuple[Wire, ...]) -> Iterator[Check]:
    for wire in wires:
        if wire.net == "rail":
            continue
        if wire.net == "open":
            yield Check(False, (wire.n,), f"pin {wire.n} ({wire.pin})", "joined to nothing")
        else:
            yield Check(False, (wire.n,), f"pin {wire.n} ({wire.pin}) to {_through(wire)}{wire.to}", _joined(wire))


def _through(wire: Wire) -> str:
    """What the line passes on its way: a buffer, a driver or a gate."""
    chip = wire.via.split("; ")[0]
    return f"the {chip}, and from it to " if chip and "Ω" not in chip else ""


def _joined(wire: Wire) -> str:
    for part in wire.via.split("; "):
        if part.endswith(" in series"):
            return part.removesuffix(" in series")
    return "under 1 Ω each" if _through(wire) else "under 1 Ω"


def _neighbours(wires: tuple[Wire, ...]) -> Iterator[Check]:
    """A bridge of solder joins neighbours; pins of one net may be joined."""
    for one, other in pairwise(wires):
        if one.net == "open" or other.net == "open" or one.to != other.to:
            yield Check(False, (one.n, other.n), f"pin {one.n} to pin {other.n}", NOT_JOINED)


def _powered(wires: tuple[Wire, ...], power: Power | None) -> Iterator[Check]:
    if power is None:
        return
    for rail in power.rails:
        limits = "" if rail.least is None or rail.most is None else f" ({rail.least:+g} to {rail.most:+g} V)"
        expect = f"{rail.volts:+g} V{limits}"
        yield Check(True, (rail.n,), f"socket empty, power on: pin {rail.n} ({rail.pin}) against ground", expect)
    most = max((rail.volts for rail in power.rails), default=0.0)
    inputs = tuple(wire.n for wire in wires if wire.net in ("address", "control", "high", "low", "data"))
    if inputs:
        yield Check(True, inputs, "every other wired pin against ground", f"never below -0.3 V, never above {most:g} V")
    clocks = tuple(wire.n for wire in wires if wire.role == "clock" and wire.net == "control")
    if clocks:
        yield Check(True, clocks, f"pin {clocks[0]}: the clock, with a scope or a logic probe", "it runs")
