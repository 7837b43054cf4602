"""Rigs that can be built: a part of the catalogue on a host of the catalogue, with what the host leaves open said."""

from __future__ import annotations

from functools import cache

from hypothesis import strategies as st

from romassay.catalogue import RigFile, host_names, load_part, part_types, rig_of, rig_text
from romassay.plan import Names, Plan, make_plan
from romassay.rig import HeldAt

PARTS_WITH_ROM = tuple(name for name in part_types() if load_part(name).pins and load_part(name).of_kind("rom"))
CHECKED = "an invented data sheet, p. 1"
NAMES = Names("rig.toml")


@cache
def legal_rig(part: str, host: str, level: HeldAt = "low") -> RigFile | None:
    """Return a rig of a part on a host without a problem in its plan; None where there is none.

    Voltages above the supply are said to be checked, and selects for which the host has no line are held. A rig whose
    window hides some option is left out.
    """
    found = rig_of(f'part = "{part}"\nhost = "{host}"\n', "rig.toml", strict=False)
    assert found.part is not None
    held = [f'"{pin}" = "{level}"' for pin in found.loose if found.part.pin(pin).kind == "select"]
    rails = {pin.name: pin.hold_volts or 18.0 for pin in found.part.pins if pin.hold == "raised"}
    supplies = {item.pin: item.nominal for item in found.part.rails if item.nominal}
    volts = {pin.name: supplies[pin.n] for pin in found.part.pins if pin.n in supplies} | rails
    text = [f'part = "{part}"', f'host = "{host}"', "[held]", *held, "[supply.rails]"]
    text += [f'"{pin}" = {value}' for pin, value in volts.items()]
    text += ["[supply.checked]", *(f'"{pin}" = "{CHECKED}"' for pin in volts)]
    rig = rig_of("\n".join(text), "rig.toml", strict=False)
    plan = plan_of(rig)
    return None if plan.problems or plan.coverage is None or plan.coverage.hidden else rig


def plan_of(found: RigFile) -> Plan:
    """Return the plan of a rig file."""
    assert found.part is not None
    return make_plan(found.said, found.part, NAMES)


def legal_rigs() -> st.SearchStrategy[RigFile]:
    """Any part with a ROM on any host that reads it."""
    return (
        st.tuples(st.sampled_from(PARTS_WITH_ROM), st.sampled_from(host_names()), st.sampled_from(["high", "low"]))
        .map(lambda chosen: legal_rig(*chosen))
        .filter(lambda found: found is not None)
    )


__all__ = ["NAMES", "PARTS_WITH_ROM", "legal_rig", "legal_rigs", "plan_of", "rig_text"]
