"""What readings with the data lines pulled say of an image: they are readings of the specimen as well, if only partly.

A pull moves no bit that the specimen drives. So they take no part in the vote, but where they say otherwise than all
plain readings, a cell that failed alike in these did not there, or is driven too weakly to stand against the pull.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.finding import Finding
from romassay.judge.evidence import DOUBTED
from romassay.reading import Bytes, Reading, ReadingSet
from romassay.settle.model import Image
from romassay.settle.observed import observe
from romassay.survey.model import Function
from romassay.survey.stack import Bools, granules_seen, stack

FEW = 0.05
"""Share of an image's bytes up to which single cells are to blame for what pulled readings say otherwise. Common
practice, no source."""

HEARD = 0.5
"""Share of an image's bytes that pulled readings must show before they can be readings of something else."""

AGAIN = 2
"""Times that a byte must read otherwise over a line that damages characters: it seldom errs twice in one place."""


@dataclass(frozen=True, slots=True)
class Witnessed:
    """What pulled readings say of one image.

    Attributes:
        against: offsets that read otherwise in them, where these are few.
        other: share of the bytes that read otherwise and against the pull, where so many do that something else was
            read; else 0.
    """

    against: tuple[int, ...] = ()
    other: float = 0.0


def witnessed(readings: ReadingSet, function: Function, image: Image) -> Witnessed:
    """Hold an image against the readings with the data lines pulled, if there are any."""
    pulled = readings.with_role("pulled-up") + readings.with_role("pulled-down")
    if not pulled:
        return Witnessed()
    stacked = stack(pulled, readings.address_bits, readings.excluded, granules_seen(pulled))
    observed = observe(stacked, pulled, function)
    if not len(observed.value):
        return Witnessed()
    known = observed.known & image.seen & np.uint8(function.driven)
    otherwise: Bytes = (observed.value ^ image.value) & known
    up = np.array([pulled[number].role == "pulled-up" for number in observed.reading.tolist()])
    against_pull: Bytes = otherwise & np.where(up[:, None], image.value, ~image.value)
    other = float(_share(against_pull, known).min())
    if other > FEW and np.count_nonzero(known.any(axis=0)) >= HEARD * len(image):
        return Witnessed(other=other)
    near = _share(otherwise, known) <= FEW
    clean = np.array([_is_clean(pulled[number]) for number in observed.reading.tolist()])
    times = (otherwise != 0) * (np.where(clean, AGAIN, 1) * near)[:, None]
    return Witnessed(tuple(np.flatnonzero(times.sum(axis=0) >= AGAIN).tolist()))


def _share(bits: Bytes | Bools, known: Bytes) -> npt.NDArray[np.float64]:
    """Return for each observation the share of its bytes that have any of the bits set."""
    share: npt.NDArray[np.float64] = (bits != 0).sum(axis=1) / np.maximum(1, (known != 0).sum(axis=1))
    return share


def _is_clean(reading: Reading) -> bool:
    """Tell whether the line damaged nothing in a reading."""
    return not reading.holes and not reading.source.bad_lines


def about_witness(image: Image, seen: Witnessed) -> Iterator[Finding]:
    """Doubt an image of which the pulled readings show other bytes throughout."""
    if seen.other:
        yield Finding(
            "mixed-specimens",
            blocks=True,
            function=image.function,
            probability=DOUBTED,
            evidence=f"with the data lines pulled, {seen.other:.0%} of its bytes read otherwise, and against the pull: "
            "those readings are of another specimen, or another wiring",
            advice="read again with the pulls, with the same specimen in the same wiring; or leave these readings out",
        )
