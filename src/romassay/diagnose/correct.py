"""An image put right: lines read in the order that a finding names, data turned upright. The readings stay as is."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import replace

import numpy as np

from romassay.diagnose.order import Order, data_table, put_right, sources
from romassay.finding import Finding, Kind
from romassay.settle.model import Decision, Doubt, Image

CORRECTED: tuple[Kind, ...] = ("data-lines-swapped", "data-inverted", "address-lines-swapped")
"""Faults that only put bits in other places: nothing is lost, so that the image can be put right."""

LIKELY = 0.5
"""Probability from which a finding is applied."""


def applicable(findings: Iterable[Finding], function: int) -> tuple[Finding, ...]:
    """Return the findings about one function that can be applied to its image, each kind once, the likeliest first."""
    chosen: dict[Kind, Finding] = {}
    for finding in sorted(findings, key=lambda f: -f.probability):
        likely = finding.probability >= LIKELY and finding.alternative_to is None
        if finding.kind in CORRECTED and finding.function == function and likely:
            chosen.setdefault(finding.kind, finding)
    return tuple(chosen.values())


def corrected(images: Sequence[Image], findings: Sequence[Finding]) -> tuple[Image, ...]:
    """Return the images with everything put right that `applicable` names; the others as they are."""
    return tuple(_corrected(image, applicable(findings, image.function)) for image in images)


def order_of(findings: Sequence[Finding], lines: int) -> Order:
    """Return the order of the lines that some findings name together."""
    data, address = list(range(8)), list(range(lines))
    for finding in findings:
        for wired, meant in finding.mapping:
            if finding.kind == "data-lines-swapped":
                data[int(wired[1:])] = int(meant[1:])
            else:
                address[int(meant[1:])] = int(wired[1:])
    return Order(tuple(data), any(f.kind == "data-inverted" for f in findings), tuple(address))


def _corrected(image: Image, findings: Sequence[Finding]) -> Image:
    if not findings:
        return image
    order = order_of(findings, len(image.value).bit_length() - 1)
    at = sources(order, len(image.value))
    back = np.empty_like(at)
    back[at] = np.arange(len(at))
    table, turned = data_table(order.data), 0xFF if order.inverted else 0
    return replace(
        image,
        value=put_right(image.value, order),
        seen=table[image.seen[at]],
        posterior=image.posterior[at],
        observations=image.observations[at],
        readings=image.readings[at],
        doubtful=tuple(
            sorted(
                (
                    Doubt(int(back[d.offset]), tuple((int(table[v ^ turned]), n, p) for v, n, p in d.alternatives))
                    for d in image.doubtful
                ),
                key=lambda d: d.offset,
            )
        ),
        flipped=tuple(sorted(int(back[offset]) for offset in image.flipped)),
        link_errors=tuple(sorted(int(back[offset]) for offset in image.link_errors)),
        decided=tuple(Decision(int(back[d.offset]), int(table[d.value ^ turned]), d.reason) for d in image.decided),
    )
