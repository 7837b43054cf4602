"""Selects that are tied or open: the ROM answers where the rest of its part should, or nothing answers at all."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romassay.address import line_name
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.parts import inside
from romassay.finding import Finding
from romassay.part import Part
from romassay.rig import Rig
from romassay.survey.model import Function

INSTEAD = 0.8
"""Probability of a tied select where the ROM takes the place of all else in half of the window; what is missing may
answer where nothing was read."""

EVERYWHERE = 4
"""Blocks of the window that all answer before a select counts as tied."""

NOWHERE = 0.6
"""Probability of a tied select where something answers, but no ROM: it may answer outside the window."""

REST = 0.85
"""The same where RAM and registers of just the part's sizes answer, each at several places."""

SILENT = 0.82
"""The same where nothing answers at all in a window that a ROM of the part fits into several times."""

SEVERAL = 2
"""So many times the ROM must fit into such a window."""

FLOATS = 0.98
"""Share of the window over which the bus floats, from which nothing answers."""

USELESS = 0.7
"""The same where no wired select does anything, though a mask may leave each of them out. Common practice, no
source."""


def selects(evidence: Evidence, rig: Rig | None) -> Iterator[Finding]:
    """Return what speaks for a select of the declared part that is tied, open or on another line."""
    part = evidence.part
    if part is None or not part.of_kind("rom"):
        return
    roms = [f for f in evidence.found.functions if f.kind == "rom"]
    others = [f for f in evidence.found.functions if f.kind != "rom" and not inside(f, roms)]
    lacks = [f for f in part.functions if f.kind != "rom"]
    if roms:
        if rig and any(rig.address_line(select.name) is not None for select in part.selects):
            yield from _wired(part, rig, roms[0], lonely=bool(lacks) and not others)
        elif lacks and not others:
            yield from _everywhere(evidence, part, roms[0])
    elif others or (lacks and _something(evidence)):
        yield _never(part, others)
    elif _silent(evidence):
        yield _off(part)


def _something(evidence: Evidence) -> bool:
    """Tell whether something answered that is no whole memory: a single reading does not show what."""
    return any(region.kind == "unknown" for region in evidence.found.regions)


def _wired(part: Part, rig: Rig, rom: Function, *, lonely: bool) -> Iterator[Finding]:
    """Yield the finding where a select is wired to a line that makes no difference to the ROM.

    A mask may leave a select out, most of all one that may be a port; one that chooses between the ROM and the rest of
    its part, which is nowhere, it hardly does. That no wired select does anything is no use to anybody.

    Args:
        part: the declared part.
        rig: how it is wired.
        rom: its ROM as found.
        lonely: True where the rest of the part is nowhere.
    """
    name = part.of_kind("rom")[0].name
    options = {select.name: select.options for select in part.selects if name in select.functions}
    options |= {pin: (option,) for pin, option in rig.known.get(name, {}).items()}
    lines = {pin: rig.address_line(pin) for pin in options}
    wired = {pin: line for pin, line in lines.items() if line is not None}
    heard = {pin: rom.level(line) for pin, line in wired.items()}
    idle = [pin for pin, level in heard.items() if level == "any"]
    must = [pin for pin in idle if "ignored" not in options[pin]]
    shared = {pin for f in part.functions if f.kind != "rom" for pin in f.selects}
    ports = {pin.name for pin in part.pins if pin.also}
    chooses = [pin for pin in idle if lonely and pin in shared - ports]
    if not must and not chooses and not (idle and len(idle) == len(wired) and len(rom.copies) > 1):
        return
    pins = must or chooses or idle
    told = ", ".join(f"{pin} is wired to {line_name(wired[pin])}" for pin in pins)
    rest = " and ".join(f.name for f in part.functions if f.kind != "rom")
    yield Finding(
        "select-tied",
        blocks=True,
        lines=tuple(pins),
        probability=0.95 if must else 0.9 if chooses else USELESS,
        evidence=f"{told}, but the ROM answers at both levels of it"
        + (f", and {rest} of the {part.type} nowhere" if lonely else ""),
        advice=f"power off, then check {', '.join(pins)} at the specimen's pin: a select that is tied or open keeps "
        "the ROM on the bus, against whatever else drives it" + ("" if must else "; a mask may also have left it out"),
    )


def _everywhere(evidence: Evidence, part: Part, rom: Function) -> Iterator[Finding]:
    """Yield the finding where the ROM answers at every block of the window and nothing else of the part does."""
    level = rom.size.bit_length() - 1
    free = [line for line in range(level, evidence.found.address_bits) if rom.level(line) == "any"]
    bound = [line for line in range(level, evidence.found.address_bits) if rom.level(line) in ("0", "1")]
    if len(rom.copies) < EVERYWHERE or 1 << len(free) != len(rom.copies):
        return
    missing = " and ".join(f.name for f in part.functions if f.kind != "rom")
    selects = sorted({s for f in part.of_kind("rom") for s in f.selects})
    if bound:
        if len(bound) == 1 and len(free) > len(bound):
            yield _instead(part, rom, missing, selects, bound)
        return
    yield Finding(
        "select-tied",
        blocks=True,
        probability=0.9,
        lines=tuple(selects),
        evidence=f"the ROM answers in all {len(rom.copies)} blocks of the window, and {missing} of the {part.type} "
        f"nowhere: no line from {line_name(level)} to {line_name(free[-1])} reaches a select",
        advice=f"check the wires of {', '.join(selects)}: a select that is tied or open keeps the ROM on the bus; or "
        "read the addresses at which the rest should answer",
    )


def _instead(part: Part, rom: Function, missing: str, selects: Sequence[str], bound: Sequence[int]) -> Finding:
    lines = " and ".join(line_name(line) for line in bound)
    return Finding(
        "select-tied",
        blocks=True,
        probability=INSTEAD,
        lines=tuple(selects),
        evidence=f"the ROM answers in {len(rom.copies)} blocks, told apart from nothing but {lines}, and {missing} of "
        f"the {part.type} nowhere: the line that should choose between them does not reach it",
        advice=f"check the wires of {', '.join(selects)}: a select that is tied or open keeps the ROM on the bus; or "
        "read the addresses at which the rest should answer",
    )


def _never(part: Part, others: Sequence[Function]) -> Finding:
    pins = sorted({s for f in part.of_kind("rom") for s in f.selects})
    sizes = ", ".join(f"{f.size} bytes of {f.kind}" for f in others[:2]) or "small memories"
    mirrored = {(f.kind, f.size) for f in others if len(f.copies) > 1}
    rest = {(f.kind, f.size) for f in part.functions if f.kind != "rom"} <= mirrored
    return Finding(
        "select-tied",
        blocks=True,
        probability=REST if rest else NOWHERE,
        lines=tuple(pins),
        evidence=f"{sizes} answer, but the ROM of the {part.type} nowhere in the window",
        advice=f"check {', '.join(pins)}: a select that is tied keeps the ROM off the bus; read the rest of the "
        "address space; read the type number on the specimen again",
    )


def _silent(evidence: Evidence) -> bool:
    """Tell whether nothing but a floating bus was heard, over several times what the ROM would fill."""
    regions = evidence.found.regions
    heard = sum(r.last - r.first + 1 for r in regions)
    floats = sum(r.last - r.first + 1 for r in regions if r.kind == "open-bus")
    return heard >= SEVERAL * (evidence.size or heard) and floats >= FLOATS * heard


def _off(part: Part) -> Finding:
    pins = sorted({s for f in part.of_kind("rom") for s in f.selects})
    return Finding(
        "select-tied",
        blocks=True,
        probability=SILENT,
        lines=tuple(pins),
        evidence=f"nothing of the {part.type} answers in the window: the bus floats throughout",
        advice=f"measure {', '.join(pins)} at the specimen while it is read: a select that is tied keeps it off the "
        "bus; check supply, ground and clock; then read the rest of the address space. Keep to the rated voltages: a "
        "pin that is tried beyond them may end the specimen",
    )
