"""A plan from a rig and its part: the sums joined. Pure."""

from __future__ import annotations

from dataclasses import replace

from romassay.part import Part
from romassay.plan.bus import buffer_family, levels, timing, weak_pulls
from romassay.plan.coverage import coverage
from romassay.plan.model import Coverage, Plan, Problem, ProblemKind, Wire
from romassay.plan.power import power
from romassay.plan.probe import checks
from romassay.plan.problems import problems
from romassay.plan.serial import serial_plan
from romassay.plan.sheet import Names, run_sheet
from romassay.plan.wires import buffer_wires, equipped, ohms, rules, wires
from romassay.rig import Rig
from romassay.wiring import completed, main_function

HARMFUL: frozenset[ProblemKind] = frozenset(
    (
        "supply-not-connected",
        "supply-in-wiring",
        "output-held",
        "two-outputs-on-one-line",
        "writes-to-specimen",
        "held-wrong",
        "rail-beyond-maximum",
        "rail-outside-limits",
        "unchecked-voltage",
    )
)
"""Problems whose pins a plan leaves open, so that nobody wires them as they are."""
SEE_PROBLEMS = "nothing: see problems"

_SECTIONS = ("rails", "ratings", "levels", "timing", "current", "loads")


def make_plan(said: Rig, part: Part, names: Names) -> Plan:
    """Return the plan of an evening.

    Args:
        said: the rig as its file has it; what it leaves out is proposed.
        part: of the specimen.
        names: what its commands need.

    Checklist and run sheet are left out while there is a problem.
    """
    found = completed(said, part)
    rig = equipped(found, part).rig if part.pins else found.rig
    seen = coverage(rig, part) if part.pins else None
    wrong = problems(found, rig, part, seen)
    if seen is None:
        return _bare(rig, part, wrong)
    supply, lines = power(rig, part), _unpowered(wires(found, rig, part), wrong, part)
    volts_good = not any(item.kind in HARMFUL for item in wrong)
    line = serial_plan(rig.host, seen.free, seen.enough, main_function(part).size, _fewest(seen, part))
    return Plan(
        title=rig.title,
        part=part.name,
        part_title=part.title,
        package=part.package,
        host=rig.host.title,
        wires=lines,
        buffer_name=family.name if (family := buffer_family(rig)) else "",
        buffer=buffer_wires(rig, part),
        rules=rules(rig, part),
        checks=() if wrong else checks(lines, supply),
        coverage=seen,
        power=supply if volts_good else None,
        timing=timing(rig, part),
        levels=levels(rig, part),
        level_notes=_notes(rig, part),
        serial=line,
        steps=() if wrong else run_sheet(rig, part, names, seen, supply, line),
        problems=wrong,
        unchecked=tuple(item for item in part.unchecked if item.split(":")[0] in _SECTIONS),
        address_bits=rig.address_bits,
    )


def _unpowered(lines: tuple[Wire, ...], wrong: tuple[Problem, ...], part: Part) -> tuple[Wire, ...]:
    """Return the wires with every pin open that would get a level or a voltage it must not have."""
    pins = {part.pin(name).n for item in wrong if item.kind in HARMFUL for name in item.pins}
    return tuple(replace(wire, net="open", to=SEE_PROBLEMS, via="") if wire.n in pins else wire for wire in lines)


def planned(said: Rig, part: Part) -> Rig:
    """Return the rig that a plan is of: with everything that it proposes, buffer and window too."""
    return equipped(completed(said, part), part).rig if part.pins else said


def _bare(rig: Rig, part: Part, wrong: tuple[Problem, ...]) -> Plan:
    """Return the plan of a part without a pin table: its problem, and nothing else."""
    return Plan(
        title=rig.title,
        part=part.name,
        part_title=part.title,
        package=part.package,
        host=rig.host.title,
        wires=(),
        buffer_name="",
        buffer=(),
        rules=(),
        checks=(),
        coverage=None,
        power=None,
        timing=(),
        levels=(),
        level_notes=(),
        serial=None,
        steps=(),
        problems=wrong,
        unchecked=(),
        address_bits=rig.address_bits,
    )


def _fewest(seen: Coverage, part: Part) -> int:
    """Return the fewest copies of the main function that an option which is seen at all gives."""
    name = main_function(part).name
    counts = [s.copies for item in seen.expected if item.function == name for s in item.settings if s.copies]
    return min(counts, default=1)


def _notes(rig: Rig, part: Part) -> tuple[str, ...]:
    result = []
    up, down = weak_pulls(rig, part)
    for value, to in ((up, "+5 V"), (down, "ground")):
        if value is not None:
            result.append(f"Weak resistors for control readings: {ohms(value)} from each data pin to {to}.")
    if rig.host.levels is None:
        result.append("The host says nothing of its levels: measure them before you rely on this.")
    if rig.host.cycle is None:
        result.append("The host says nothing of its read cycle: no margin of time can be worked out.")
    return tuple(result)
