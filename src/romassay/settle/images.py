"""Every ROM of a survey settled: its observations gathered and counted, what they leave open said."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from romassay.errors import BadValue
from romassay.reading import Bytes, Reading, ReadingSet
from romassay.settle.cells import Line, alike_everywhere, measured, weak_cells
from romassay.settle.chance import chance_wrong, doubts, error_rate
from romassay.settle.confidence import confidence_in
from romassay.settle.model import FILL, Decision, Image
from romassay.settle.observed import observe, readings_each, undriven
from romassay.settle.vote import count
from romassay.survey.model import Function, Survey
from romassay.survey.stack import Stack, granules_seen, stack


def settle(
    readings: ReadingSet,
    found: Survey,
    *,
    target: float = 0.01,
    decisions: Sequence[tuple[int, Decision]] = (),
) -> tuple[Image, ...]:
    """Settle every ROM of a survey.

    Args:
        readings: what was read.
        found: who answers where.
        target: wrong bytes that may remain in an image at 95 %.
        decisions: bytes decided by a person, with the index of their function.

    Returns:
        One image for each ROM, in the survey's order.

    Raises:
        BadValue: a decision lies outside its image.
    """
    chosen = readings.with_role("specimen") or readings.with_role("pulled-up") + readings.with_role("pulled-down")
    roms = [(i, f) for i, f in enumerate(found.functions) if f.kind == "rom"]
    if not roms:
        return ()
    stacked = stack(chosen, readings.address_bits, readings.excluded, granules_seen(chosen))
    line = measured(stacked, chosen, found)
    return tuple(
        _settled(stacked, chosen, line, function, index, target, tuple(d for i, d in decisions if i == index))
        for index, function in roms
    )


def _settled(
    stacked: Stack,
    chosen: tuple[Reading, ...],
    line: Line,
    function: Function,
    index: int,
    target: float,
    decided: tuple[Decision, ...],
) -> Image:
    """Settle one function, the `index`th of the survey."""
    observed = observe(stacked, chosen, function)
    digits = (0x0F, 0xF0) if all(r.unit == "hex-digit" for r in observed.names) else (0xFF,)
    vote = count(observed, function.driven, digits)
    error = error_rate(vote, observed, function.driven)
    wrong = chance_wrong(vote, error)
    alike, unlikely = alike_everywhere(vote, observed, error)
    flipped = weak_cells(vote, observed, line, unlikely)
    open_ones = np.union1d(flipped, vote.disputed[alike])
    weak = np.isin(vote.disputed, flipped)
    value = np.where(vote.seen == 0, FILL, vote.value | undriven(stacked, function)).astype(np.uint8)
    return Image(
        function=index,
        value=_as_decided(value, decided),
        seen=vote.seen,
        posterior=(1.0 - wrong).astype(np.float32),
        observations=vote.count,
        readings=readings_each(observed, function.driven),
        doubtful=doubts(vote, observed, wrong, open_ones, error, function.driven),
        flipped=tuple(int(i) for i in flipped),
        link_errors=tuple(int(i) for i in vote.disputed[~weak]),
        decided=decided,
        confidence=confidence_in(vote, observed, function, target),
    )


def _as_decided(value: Bytes, decided: Sequence[Decision]) -> Bytes:
    """Put in the bytes that a person decided."""
    for decision in decided:
        if decision.offset >= len(value):
            raise BadValue(
                f"a decision is on offset {decision.offset:04X}, and the image has {len(value)} bytes",
                advice="take the decision back",
            )
        value[decision.offset] = decision.value
    return value
