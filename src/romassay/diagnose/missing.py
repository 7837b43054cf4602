"""Mirrors that are missing: two lines that act as one, of which one counts and the other does not.

The selects of a chip are ANDed levels, so that it answers in a whole power of two of places. Where a line that it
ignores and one of its selects are bridged, it answers at three of the four settings of the two.
"""

from __future__ import annotations

from collections.abc import Iterator
from itertools import combinations

import numpy as np

from romassay.diagnose.evidence import Evidence
from romassay.finding import Finding
from romassay.reading import Index
from romassay.settle.model import Image
from romassay.survey.model import Function
from romassay.survey.stack import Bools

MOST_LINES = 12
"""Lines that do not count, of which all settings are looked at."""

THREE_OF_FOUR = 0.85
"""Probability of a bridge where three settings answer and nothing drives the bus at the fourth. The host may keep the
bus from the specimen there: common practice, no source."""


def missing(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Yield the pairs of lines of whose four settings a ROM answers at three, and the bus floats at the fourth."""
    function = evidence.found.functions[image.function]
    level = function.size.bit_length() - 1
    free = [line for line in range(level, evidence.found.address_bits) if function.level(line) == "any"]
    if not 2 <= len(free) <= MOST_LINES:
        return
    places = _settings(function, free)
    answers = np.isin(places, [copy.first for copy in function.copies])
    floats = ~answers & _floating(evidence, places, function.size)
    if not floats.any():
        return
    for one, other in combinations(free, 2):
        for high in (1, 0):
            fourth = ((places >> one & 1) == high) & ((places >> other & 1) == high)
            if (
                not (answers & fourth).any()
                and not (floats & ~fourth).any()
                and _all_others(places, answers, one, other)
            ):
                yield _bridged(one, other, image.function, high)


def _settings(function: Function, free: list[int]) -> Index:
    """Return the first address of every place at which the function would answer by its decode, int64[n]."""
    places = np.array([function.copies[0].first & ~sum(1 << line for line in free)], np.int64)
    for line in free:
        places = np.r_[places, places | 1 << line]
    return places


def _floating(evidence: Evidence, places: Index, size: int) -> Bools:
    """Tell at which places nothing drives the bus over the whole of a block, bool[n]."""
    out = np.zeros(len(places), np.bool_)
    for region in evidence.found.regions:
        if region.kind == "open-bus":
            out |= (places >= region.first) & (places + size - 1 <= region.last)
    return out


def _all_others(places: Index, answers: Bools, one: int, other: int) -> bool:
    """Tell whether the function was heard at three of the four settings of two lines."""
    settings = (places >> one & 1) | (places >> other & 1) << 1
    return len(np.unique(settings[answers])) == 3


def _bridged(one: int, other: int, function: int | None, high: int) -> Finding:
    names = f"A{one} and A{other}"
    at, wins = ("high", "low") if high else ("low", "high")
    return Finding(
        "address-lines-bridged",
        blocks=True,
        function=function,
        lines=(f"A{one}", f"A{other}"),
        probability=THREE_OF_FOUR,
        evidence=f"of the four settings of {names} three read the same, and nothing answers where both are {at}: no "
        f"select does that, but a bridge where the {wins} level wins",
        advice=f"power off, then look for a solder bridge or a whisker between {names} at the socket; see whether the "
        "host keeps the bus for itself there",
    )
