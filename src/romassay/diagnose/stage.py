"""The stage: everything that a fault may show in, looked at once, and what it names."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from romassay.diagnose.address_lines import address_lines, pieces
from romassay.diagnose.data_lines import data_lines
from romassay.diagnose.evidence import gather
from romassay.diagnose.flips import flips, mixed, restless
from romassay.diagnose.orders import orders
from romassay.diagnose.parts import parts
from romassay.diagnose.silent import latched
from romassay.diagnose.structure import structure
from romassay.finding import Finding
from romassay.part import Part
from romassay.reading import ReadingSet
from romassay.settle.model import Image
from romassay.survey.model import Survey


def diagnose(
    readings: ReadingSet, found: Survey, images: Sequence[Image], *, part: Part | None = None, size: int | None = None
) -> tuple[Finding, ...]:
    """Return the faults of wiring, specimen and reading that show in readings, survey and images."""
    evidence = gather(readings, found, images, part, size)
    result: list[Finding] = []
    for image in images:
        result += structure(evidence, image)
        result += data_lines(evidence, image)
        result += address_lines(evidence, image)
    result += pieces(evidence)
    result += parts(evidence)
    result += latched(evidence)
    if not any(finding.blocks for finding in result):
        for image in images:
            result += orders(evidence, image)
    moving = restless(evidence) or mixed(evidence)
    if moving:
        return (*(_less_likely(finding, moving) for finding in result), moving)
    for image in images:
        result += flips(evidence, image)
    return tuple(result)


def _less_likely(finding: Finding, cause: Finding) -> Finding:
    """Give a bus conflict as the alternative to what makes the readings differ: two drivers always read the same."""
    if finding.kind != "contention":
        return finding
    return replace(finding, probability=round(1 - cause.probability, 3), alternative_to=cause.kind)
