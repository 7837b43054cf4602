"""The verdict: confidence and findings meet here, and nowhere else is it given."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import Literal

from romassay.code.model import Code
from romassay.finding import Finding, Kind, Limit, ranked
from romassay.judge.alone import about_alone
from romassay.judge.choice import about_choice, about_host, about_likeness
from romassay.judge.evidence import DOUBTED, is_settled, shows_places
from romassay.judge.extent import about_gap, about_hollow, about_other_half, about_pieces, about_rest
from romassay.judge.images import about_image
from romassay.judge.readings import about_place, about_readings
from romassay.judge.socket import about_socket
from romassay.part import Part
from romassay.reading import ReadingSet
from romassay.rig import Rig
from romassay.settle.model import Image
from romassay.survey.model import Survey

Verdict = Literal["confirmed", "provisional", "not-found"]

OTHERS = 0.5
"""Chance that what changes in another memory than the first ROM is weak cells. Common practice, no source."""

NEARLY_ALL = 0.9
"""Share of the weak bits of an image that must lie where a fault says that no ROM is."""

MOVERS: tuple[Kind, ...] = (
    "mixed-specimens",
    "marginal-timing",
    "supply-sag",
    "data-line-open",
    "address-line-open",
    "contention",
    "address-lines-bridged",
    "latched-enable",
)
"""Faults that make bits read otherwise now and then, or make copies of what are none: where one is found, the
cells themselves are less to blame."""


@dataclass(frozen=True, slots=True)
class Judgement:
    """The verdict, with all findings ranked and what it could not lean on."""

    verdict: Verdict
    findings: tuple[Finding, ...]
    limits: tuple[Limit, ...]


def judge(
    readings: ReadingSet,
    found: Survey,
    images: Sequence[Image],
    faults: Sequence[Finding] = (),
    *,
    part: Part | None = None,
    size: int | None = None,
    codes: Sequence[Code] = (),
    rig: Rig | None = None,
) -> Judgement:
    """Give the verdict.

    It is `confirmed` where every byte of every image is settled from at least two independent readings, none doubtful
    or decided by hand, and no finding blocks it.
    """
    findings = [*faults, *about_readings(readings, images)]
    for image in images:
        findings += about_image(readings, found.functions[image.function], image, rig)
        findings += about_socket(readings, found.functions[image.function], image)
    findings += about_host(readings, found, images)
    findings += about_likeness(found, images)
    findings += about_choice(readings, found, images, part, size, codes)
    findings += about_place(readings, found, images)
    findings += about_gap(readings, found, images, part, size)
    findings += about_pieces(found, images)
    if not part and not size:
        findings += about_rest(readings, found, images, codes)
        findings += about_other_half(found, images, codes)
    elif not any(fault.blocks for fault in faults):
        findings += about_hollow(images, codes)
    findings += about_alone(readings, found, images, part, size, codes, known=findings)
    first = images[0].function if images else None
    weighed = tuple(_weighed(finding, found, images) for finding in _explained(findings, faults, first))
    return Judgement(_verdict(images, weighed), ranked(weighed), _limits(readings, images, part, codes))


def _verdict(images: Sequence[Image], findings: Sequence[Finding]) -> Verdict:
    if not images:
        return "not-found"
    settled = all(is_settled(image) for image in images)
    return "confirmed" if settled and not any(f.blocks for f in findings) else "provisional"


def _explained(findings: Sequence[Finding], faults: Sequence[Finding], first: int | None) -> Iterator[Finding]:
    """Yield the findings; weak bits that another fault explains are given as the less likely alternative to it.

    A doubt that blocks takes the place of the same doubt that does not. Whether a memory is the specimen's is doubted
    less where a fault explains why it seems to be several. RAM whose pattern was taken for copies of one
    memory differs from copy to copy; what changes in another memory than the first ROM may be a timer, or RAM.
    """
    doubted = any(f.kind == "ram-or-rom" and f.blocks for f in findings)
    causes = [f for f in findings if f.kind in MOVERS]
    causes += [f for f in faults if f.kind == "ram-or-rom" and f.blocks]
    likeliest = max(causes, key=lambda f: f.probability, default=None)
    known = max((f for f in faults if f.blocks and f.kind != "ram-or-rom"), key=lambda f: f.probability, default=None)
    for finding in findings:
        if finding.kind == "ram-or-rom" and doubted and not finding.blocks:
            continue
        if finding.kind == "ram-or-rom" and known and known.probability >= DOUBTED and finding not in faults:
            left = round(DOUBTED * (1 - known.probability), 3)
            yield replace(finding, probability=left, alternative_to=known.kind)
        elif finding.kind == "weak-bits" and (cause := _covering(finding, faults)):
            left = round(max(0.01, 1 - cause.probability), 3)
            yield replace(finding, probability=left, alternative_to=cause.kind)
        elif finding.kind == "weak-bits" and likeliest:
            left = round(max(0.01, 1 - likeliest.probability), 3)
            yield replace(finding, probability=left, alternative_to=likeliest.kind)
        elif finding.kind == "weak-bits" and finding.function != first:
            yield replace(finding, probability=OTHERS)
        else:
            yield finding


def _covering(weak: Finding, faults: Sequence[Finding]) -> Finding | None:
    """Return the fault by which the part of an image that holds nearly all its weak bits is not the ROM's at all."""
    for fault in faults:
        if fault.kind not in ("half-image", "wrong-part") or len(fault.offsets) != 2 or fault.function != weak.function:
            continue
        first, last = fault.offsets
        inside = sum(first <= offset <= last for offset in weak.offsets)
        if inside >= NEARLY_ALL * len(weak.offsets):
            return fault
    return None


def _weighed(finding: Finding, found: Survey, images: Sequence[Image]) -> Finding:
    """Let a finding about a lesser ROM not block the verdict on the first: it answers in fewer places."""
    if finding.function is None or not finding.blocks or not images:
        return finding
    first = found.functions[images[0].function]
    other = found.functions[finding.function]
    if len(other.copies) >= len(first.copies):
        return finding
    return replace(finding, blocks=False)


def _limits(
    readings: ReadingSet, images: Sequence[Image], part: Part | None, codes: Sequence[Code]
) -> tuple[Limit, ...]:
    limits: list[Limit] = []
    if not images or images[0].confidence.sessions < 2:
        limits.append("no-power-cycle")
    if all(r.role == "specimen" for r in readings.readings):
        limits.append("no-control-reading")
    if part is None:
        limits.append("part-not-declared")
    if codes and not codes[0].checks:
        limits.append("no-own-check")
    if images and not shows_places(readings):
        limits.append("place-not-shown")
    return tuple(limits)
