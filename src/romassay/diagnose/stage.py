"""The stage: everything that a fault may show in, looked at once, and what it names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from romassay.diagnose.address_lines import address_lines, beside_pieces, crumbs, pieces, put_together, unseen
from romassay.diagnose.as_read import Shown
from romassay.diagnose.calibration import calibrated
from romassay.diagnose.data_lines import data_lines, wins
from romassay.diagnose.driven_twice import driven_twice, over_host
from romassay.diagnose.evidence import Evidence, gather
from romassay.diagnose.flips import moving
from romassay.diagnose.halved import Halved
from romassay.diagnose.hidden import Hidden
from romassay.diagnose.idle import idle, scattered
from romassay.diagnose.memory import power_up, ram_or_rom
from romassay.diagnose.missing import missing
from romassay.diagnose.orders import orders
from romassay.diagnose.parts import parts, two_chips
from romassay.diagnose.pins import at_pins
from romassay.diagnose.selects import selects
from romassay.diagnose.silent import latched
from romassay.diagnose.steady import steady
from romassay.diagnose.stepped import stepped
from romassay.diagnose.structure import overlaid, structure
from romassay.finding import Finding, Kind
from romassay.part import Part
from romassay.reading import ReadingSet
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.model import Survey
from romassay.survey.sizes import twice_across
from romassay.survey.stack import GRANULE_LINES

WIRES: tuple[Kind, ...] = ("data-line-stuck", "data-line-open", "data-lines-bridged")
"""Faults of wires that all images share."""

PINS: tuple[Kind, ...] = ("address-line-stuck", "address-lines-bridged")
"""Faults of a specimen's pins that all that it holds shares."""

BITS: tuple[Kind, ...] = (*WIRES, "data-lines-swapped", "data-inverted", "address-lines-swapped", "ram-or-rom")
"""Faults under which bytes are no longer those of code."""

SETTLED: tuple[Kind, ...] = ("marginal-timing", "supply-sag")
"""Faults of a few bytes, which leave enough to tell the order of the lines by."""

HALVING: tuple[Kind, ...] = ("address-line-stuck", "half-image", "address-lines-bridged")
"""Faults that leave half of the bytes whole."""

EVEN = 0.8
"""Probability up to which a finding is no reason to leave the order of the lines alone."""

SEARCHED = 2
"""Images whose lines are put in order: the first, and one more."""


def diagnose(
    readings: ReadingSet,
    found: Survey,
    images: Sequence[Image],
    *,
    part: Part | None = None,
    size: int | None = None,
    rig: Rig | None = None,
) -> tuple[Finding, ...]:
    """Return the faults of wiring, specimen and reading that show in readings, survey and images.

    Args:
        readings: what was read.
        found: who answers where.
        images: the settled ROMs.
        part: the declared part; its pins are named in the advice.
        size: bytes of the ROM, where no part says it.
        rig: how the part was wired.
    """
    evidence = gather(readings, found, images, part, size)
    return tuple(at_pins(finding, part, rig) for finding in calibrated(_faults(evidence, rig)))


def _faults(evidence: Evidence, rig: Rig | None) -> tuple[Finding, ...]:
    kept = tuple(stepped(evidence))
    if kept:  # a byte that is kept hides all else, and makes lines look dead that are not
        return kept
    images = evidence.images
    result: list[Finding] = []
    for image in images:
        result += structure(evidence, image)
        result += data_lines(evidence, image)
        result += address_lines(evidence, image)
        result += missing(evidence, image)
        result += driven_twice(evidence, image)
        result += list(idle(evidence, image)) or list(scattered(image))
    result = _once(result, WIRES)
    others = evidence.without([int(line[1:]) for f in result if f.kind == "data-line-open" for line in _sure(f)])
    woken = [finding for image in images[:SEARCHED] for finding in power_up(evidence, image)]
    result += woken or _many(others)
    result += over_host(evidence)
    result += parts(evidence)
    if not any(finding.kind == "wrong-part" for finding in result):
        result += selects(evidence, rig)
    result += two_chips(evidence)
    moved = moving(others)
    if not moved or moved[0].kind in SETTLED or moved[0].kind == "data-line-open":
        opened = [f for f in moved[:1] if f.kind in WIRES]
        for image in _searched(evidence):
            result += _in_order(evidence, image, [*opened, *result])
        result += _in_order_together(evidence, result)
    result = _told_by_others(_once(result, (*WIRES, *PINS)))
    fought = _fought(result)
    if moved and moved[0].kind == "mixed-specimens" and fought:
        return (*result, *(_less_likely(finding, fought[0]) for finding in moved))
    if moved:
        return (*moved, *(_less_likely(finding, moved[0]) for finding in result))
    return tuple(result)


def _sure(finding: Finding) -> tuple[str, ...]:
    """Return the lines of a finding that is more than likely."""
    return finding.lines if finding.probability > EVEN and finding.alternative_to is None else ()


def _in_order(evidence: Evidence, image: Image, known: Sequence[Finding]) -> Sequence[Finding]:
    """Return what the order of the lines of one image shows, as far as what is known leaves the bytes to tell it.

    Where a data line says nothing, and where an address line makes no difference or two act as one, what is left of the
    bytes tells. Nothing does where most of an image stands in it twice: then its size is open, and with it the lines.
    """
    lost = [
        f
        for f in known
        if f.blocks
        and (f.probability > EVEN or f.kind in WIRES or f.kind == "address-lines-swapped")
        and (f.kind not in HALVING or f.function == image.function)
    ]
    wires = [f for f in lost if f.kind in WIRES]
    halving = [f for f in lost if f.kind in HALVING]
    hidden, halved = _hidden(wires, image), _halved(halving, len(image))
    if len(lost) > len(wires) + len(halving) or (wires and not hidden) or (halving and not halved):
        return []
    if not lost and any(twice_across(image.value, line) for line in range(GRANULE_LINES, len(image).bit_length() - 1)):
        return []
    driven = np.uint8(evidence.found.functions[image.function].driven)
    shown = Shown(image.value, image.seen & driven, image.function)
    found = list(orders(evidence, shown, halved, hidden))
    if found or lost:
        return found
    untold = [] if _fought(known) else list(ram_or_rom(evidence, image))
    return untold or list(steady(evidence, image))


def _in_order_together(evidence: Evidence, known: Sequence[Finding]) -> Sequence[Finding]:
    """Return what the order of the lines of one ROM shows that the survey took for several pieces."""
    halving = [f for f in known if f.kind in HALVING and f.function is None]
    together = put_together(evidence)
    halved = _halved(halving, len(together[0].value)) if together else None
    if not halved or not together or any(f.kind not in HALVING for f in known if f.blocks):
        return []
    seen = np.where(together[0].whole, np.uint8(0xFF), np.uint8(0))
    return list(orders(evidence, Shown(together[0].value, seen, None), halved))


def _halved(halving: Sequence[Finding], size: int) -> Halved | None:
    """Return what leaves half of so many bytes: one address line that makes no difference, or two that act as one."""
    lines = {tuple(sorted(int(line[1:]) for line in finding.lines)) for finding in halving}
    only = lines.pop() if len(lines) == 1 else ()
    bridged = any(finding.kind == "address-lines-bridged" for finding in halving)
    return Halved(only) if len(only) == 1 + bridged and 1 << max(only) < size else None


def _hidden(wires: Sequence[Finding], image: Image) -> Hidden | None:
    """Return what the faulty data lines hide, where it is one that is stuck or open, or two that act as one."""
    lines = {tuple(int(line[1:]) for line in finding.lines) for finding in wires}
    if len(lines) != 1:
        return None
    only = tuple(sorted(lines.pop()))
    if wires[0].kind != "data-lines-bridged":
        return Hidden(only) if len(only) == 1 else None
    return Hidden(only, wins(image.value, only)) if len(only) == 2 else None


def _once(findings: Sequence[Finding], shared: Sequence[Kind]) -> list[Finding]:
    """Return the findings, those of the same wire once: all images come over the same."""
    kept: dict[tuple[object, ...], Finding] = {}
    for number, finding in enumerate(findings):
        kept.setdefault((finding.kind, finding.lines) if finding.kind in shared else (number,), finding)
    return list(kept.values())


def _many(evidence: Evidence) -> list[Finding]:
    """Return what makes one ROM look like several, or like none."""
    fought = list(overlaid(evidence))
    return fought + (
        list(latched(evidence))
        or list(pieces(evidence))
        or list(crumbs(evidence))
        or list(unseen(evidence))
        or list(beside_pieces(evidence))
    )


def _searched(evidence: Evidence) -> Sequence[Image]:
    """Return the images whose lines are put in order.

    All of a specimen share one wiring, so that one which reads well is enough; but where another answers in as many
    places, either may be the host's own.
    """
    few = evidence.images[:SEARCHED]
    copies = [len(evidence.found.functions[image.function].copies) for image in few]
    return few[:1] if len(few) > 1 and copies[1] < copies[0] and evidence.senses.of(few[0].value).well else few


OVERLAID = 0.8
"""Probability up to which two memories on one bus are only what the bytes of an image look like."""

LIKELY = 0.5
"""Probability from which another fault explains them."""


def _told_by_others(findings: list[Finding]) -> list[Finding]:
    """Give two memories on one bus as the alternative where another fault explains why the bytes read so."""
    others = [f for f in findings if f.kind in BITS and f.probability > LIKELY]
    if not others:
        return findings
    cause = max(others, key=lambda f: f.probability)
    return [
        replace(
            finding,
            probability=round(max(0.01, min(finding.probability, 1 - cause.probability)), 3),
            alternative_to=cause.kind,
        )
        if finding.kind == "contention" and finding.probability <= OVERLAID
        else finding
        for finding in findings
    ]


def _fought(findings: Sequence[Finding]) -> list[Finding]:
    """Return what makes readings differ without another specimen: RAM that pulls at a ROM, or stands in its place."""
    return [
        f
        for f in findings
        if (f.kind == "contention" and f.probability >= OVERLAID) or (f.kind == "wrong-part" and f.offsets)
    ]


SPOILT: tuple[Kind, ...] = (
    "mixed-specimens",
    "contention",
    "wrong-part",
    "latched-enable",
    "address-line-stuck",
    "half-image",
)
"""What structure shows only while the readings agree."""


def _less_likely(finding: Finding, cause: Finding) -> Finding:
    """Give what only seems so while the readings differ as the alternative to what makes them differ."""
    if finding.kind not in SPOILT:
        return finding
    left = round(max(0.01, min(finding.probability, 1 - cause.probability)), 3)
    return replace(finding, probability=left, alternative_to=cause.kind)
