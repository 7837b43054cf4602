"""The supply: rails, their order, currents and limits, and a linear regulator at its load. Pure.

A linear regulator turns (VIN - VOUT) x IOUT + VIN x IQ into heat, and its junction is hotter than the air by that times
the thermal resistance (general formula). Resistances and limits: L7800 series data sheet, rev. 12, tables 1 and 2, and
MC7800 data sheet, of which the larger figure is taken; dropout and quiescent current: secondary sources.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise

from romassay.part import Part, Rail, Rating, is_unchecked
from romassay.plan.model import Power, Problem, RailPlan, RegulatorPlan
from romassay.rig import Regulator, Rig

DROPOUT = 2.0
QUIESCENT = 8.0
JUNCTION_TO_CASE = 5.0
JUNCTION_TO_AIR = 65.0
HOTTEST_JUNCTION = 125.0
OUTPUT = 5.0
HEADROOM = 1.25
"""The current limit, as a multiple of the most that the part may draw: common practice, no source."""
UNKNOWN_LIMIT = 100.0
"""Milliamperes to begin with where the part's current is not known: common practice, no source."""
PLAIN_SUPPLY = 5.5
"""Volts above which a voltage needs a data sheet that somebody has looked at."""


def power(rig: Rig, part: Part) -> Power:
    """Return the rails in the order in which they come on, and the regulator where there is one."""
    rails = tuple(
        sorted(
            (_rail(rig, part, item) for item in live_rails(part)),
            key=lambda item: (item.order, abs(item.volts), item.n),
        )
    )
    load = sum(item.maximum or item.limit for item in rails if 4 < item.volts < PLAIN_SUPPLY)
    regulator = rig.supply.regulator
    return Power(
        rails=rails,
        regulator=regulated(regulator, load + regulator.others) if regulator else None,
        off=tuple(item.pin for item in reversed(rails)),
    )


def regulated(regulator: Regulator, load: float) -> RegulatorPlan:
    """Return what a linear regulator of 5 V makes of its load.

    Args:
        regulator: its input, the air around it, and its heat sink.
        load: milliamperes that it gives.
    """
    drop = regulator.input - OUTPUT
    watts = drop * load / 1000 + regulator.input * QUIESCENT / 1000
    to_air = JUNCTION_TO_CASE + regulator.heat_sink if regulator.heat_sink else JUNCTION_TO_AIR
    rise = watts * to_air
    return RegulatorPlan(drop, load, watts, rise, regulator.ambient + rise, regulator.heat_sink)


def live_rails(part: Part) -> tuple[Rail, ...]:
    """Return the rails that are not ground."""
    return tuple(item for item in part.rails if item.nominal)


def volts_at(rig: Rig, rail: Rail, pin: str) -> float | None:
    """Return what the rig gives a supply pin; None where others are named and it is not."""
    given = rig.supply.rails
    return given.get(pin) if given else rail.nominal


def _name(part: Part, rail: Rail) -> str:
    return next((pin.name for pin in part.pins if pin.n == rail.pin), rail.name)


def _rail(rig: Rig, part: Part, rail: Rail) -> RailPlan:
    pin = _name(part, rail)
    currents = [item for item in part.current if item.rail in (rail.name, pin)]
    most = max((item.maximum for item in currents if item.maximum is not None), default=None)
    usual = max((item.typical for item in currents if item.typical is not None), default=None)
    order = rig.supply.order.index(pin) + 1 if pin in rig.supply.order else rail.order + len(rig.supply.order)
    return RailPlan(
        pin=pin,
        n=rail.pin,
        volts=volts_at(rig, rail, pin) or 0.0,
        least=rail.minimum,
        most=rail.maximum,
        order=order,
        typical=usual,
        maximum=most,
        limit=limit_for(most),
        unchecked=is_unchecked(rail.src) or is_unchecked(rail.limits_src) or any(is_unchecked(c.src) for c in currents),
    )


def limit_for(most: float | None) -> float:
    """Return the current limit to set, in whole tens of milliamperes."""
    return UNKNOWN_LIMIT if most is None else math.ceil(most * HEADROOM / 10) * 10.0


def power_problems(rig: Rig, part: Part) -> Iterator[Problem]:
    """Yield what is wrong with the supply."""
    for rail in live_rails(part):
        yield from _rail_problems(rig, part, rail)
    yield from _raised_problems(rig, part)
    yield from _order_problems(rig, part)
    if rig.supply.regulator:
        yield from _regulator_problems(power(rig, part).regulator)


def _rail_problems(rig: Rig, part: Part, rail: Rail) -> Iterator[Problem]:
    pin = _name(part, rail)
    volts = volts_at(rig, rail, pin)
    if volts is None or volts == 0:
        yield Problem(
            "supply-not-connected",
            (pin,),
            f"{pin} (pin {rail.pin}) gets no supply",
            f"give it {rail.nominal:+g} V under [supply.rails]",
        )
        return
    rating = part.voltage_rating(pin) if _has(part, pin) else None
    if rating is not None and _beyond(volts, rating) and not _beyond(rail.nominal, rating):
        yield Problem(
            "rail-beyond-maximum",
            (pin,),
            f"{volts:+g} V at {pin} is beyond the absolute maximum{_of(rating)}",
            f"the rail is {rail.nominal:+g} V",
        )
    elif rail.minimum is not None and rail.maximum is not None and not rail.minimum <= volts <= rail.maximum:
        yield Problem(
            "rail-outside-limits",
            (pin,),
            f"{volts:+g} V at {pin} is outside {rail.minimum:+g} to {rail.maximum:+g} V",
            f"give it {rail.nominal:+g} V",
        )
    elif volts * rail.nominal < 0 or abs(volts) > abs(rail.nominal) * 1.1 + 1e-9:
        yield Problem(
            "rail-outside-limits",
            (pin,),
            f"{volts:+g} V at {pin}, whose rail is {rail.nominal:+g} V",
            f"give it {rail.nominal:+g} V",
        )
    unsure = is_unchecked(rail.src) or is_unchecked(rail.limits_src)
    if volts > PLAIN_SUPPLY and unsure and pin not in rig.supply.checked:
        yield _unchecked(pin, rail.pin, f"{volts:+g} V")


def _unchecked(pin: str, n: int, volts: str) -> Problem:
    return Problem(
        "unchecked-voltage",
        (pin,),
        f"{pin} (pin {n}) gets {volts}, above the supply, and nobody has checked it",
        f'look it up in a data sheet of this very type, and say so: [supply.checked] "{pin}" = "title, page"',
    )


def _has(part: Part, pin: str) -> bool:
    return any(pin in item.names for item in part.pins)


def _beyond(volts: float, rating: Rating) -> bool:
    return (rating.maximum is not None and volts > rating.maximum) or (
        rating.minimum is not None and volts < rating.minimum
    )


def _of(rating: Rating) -> str:
    least = "" if rating.minimum is None else f"{rating.minimum:+g} to "
    most = "" if rating.maximum is None else f"{rating.maximum:+g}"
    return f" of {least}{most} V" if least or most else ""


def _raised_problems(rig: Rig, part: Part) -> Iterator[Problem]:
    """Pins that are raised above the supply for reading: refused until somebody has looked the voltage up."""
    for pin in part.pins:
        if pin.hold != "raised" or pin.name in rig.held or pin.name in rig.wiring:
            continue
        volts = rig.supply.rails.get(pin.name, pin.hold_volts)
        if pin.name not in rig.supply.checked:
            yield _unchecked(pin.name, pin.n, "a voltage that no source gives" if volts is None else f"{volts:+g} V")
        elif volts is None:
            yield Problem(
                "supply-not-connected",
                (pin.name,),
                f"{pin.name} (pin {pin.n}) is raised above the supply for reading, and nothing says to what",
                f"give its volts under [supply.rails], as the data sheet that you checked has them: {pin.name} = …",
            )


def _order_problems(rig: Rig, part: Part) -> Iterator[Problem]:
    order = rig.supply.order
    ranks = {_name(part, rail): rail.order for rail in live_rails(part) if rail.order}
    named = [pin for pin in order if pin in ranks]
    for one, other in pairwise(named):
        if ranks[one] > ranks[other]:
            yield Problem(
                "rail-order",
                (other, one),
                f"{one} comes on before {other}",
                f"switch {other} on first and off last",
            )


def _regulator_problems(plan: RegulatorPlan | None) -> Iterator[Problem]:
    if plan is None:
        return
    if plan.drop < DROPOUT:
        yield Problem(
            "regulator-drop-out",
            (),
            f"{plan.drop:.1f} V over the regulator; it needs {DROPOUT:g} V",
            f"feed it {OUTPUT + DROPOUT:g} V or more",
        )
    if plan.junction > HOTTEST_JUNCTION:
        yield Problem(
            "regulator-too-hot",
            (),
            f"its junction would reach {plan.junction:.0f} °C; {HOTTEST_JUNCTION:.0f} °C is the limit",
            "lower its input, give it a heat sink, or feed less from it",
        )
