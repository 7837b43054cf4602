"""Plans as a use case: a rig file in, a plan out, and a page where one is wanted."""

from __future__ import annotations

import shlex
from collections.abc import Sequence
from pathlib import Path

from romassay.catalogue import catalogue_parts, load_rig
from romassay.docket.files import write_atomically
from romassay.errors import BadCatalogue
from romassay.part import Part
from romassay.plan import Names, Plan, make_plan


def plan_rig(path: Path, part_folders: Sequence[Path] = ()) -> Plan:
    """Return the plan of a rig file; what is wrong with its wiring is in the plan.

    Raises:
        BadCatalogue: for a file that cannot be read as a rig, or one without a part.
    """
    found = load_rig(path, part_folders, strict=False)
    if found.part is None:
        raise BadCatalogue(
            "the rig names no part, so there is nothing to plan", place=str(path), advice="add part = 'TYPE'"
        )
    others = [item.part for item in catalogue_parts(part_folders)]
    return make_plan(found.said, found.part, Names(shlex.quote(str(path)), stand_ins(found.part, others)))


def write_page(plan: Plan, target: Path) -> int:
    """Write a plan as one HTML page; return its size in bytes. BadInput where it cannot be written."""
    from romassay.report.plan_page import plan_page

    content = plan_page(plan).encode("utf-8", "replace")
    write_atomically(target, content)
    return len(content)


def stand_ins(part: Part, others: Sequence[Part]) -> tuple[str, ...]:
    """Return the names of parts that a person can write and that have the same pins where it matters.

    Supplies, data and address pins must be at the same places, and every select of the stand-in must be a select of the
    part: the wiring then reads them both.
    """
    wanted = _places(part)
    return tuple(
        other.name
        for other in others
        if other.name != part.name
        and other.package == part.package
        and any(item.cell in ("uv-eprom", "fuse") for item in other.functions)
        and wanted
        and _places(other) == wanted
    )


def _places(part: Part) -> frozenset[tuple[int, str]]:
    """Return (pin, what it is) for the supplies, the data pins by place, and the ROM's address pins by place."""
    roms = part.of_kind("rom")
    if not roms or not part.pins:
        return frozenset()
    rom = max(roms, key=lambda item: item.size)
    supplies = {(item.pin, f"{item.nominal:g} V") for item in part.rails if item.programming is None}
    data = {(pin.n, f"D{place}") for place, pin in enumerate(part.data_pins)}
    own = {(part.pin(name).n, f"A{place}") for place, name in enumerate(rom.own)}
    return frozenset({*supplies, *data, *own})
