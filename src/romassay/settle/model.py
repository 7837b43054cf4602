"""What settling says: the bytes of a function, how sure each one is, and what stood against it. Values only."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes


@dataclass(frozen=True, slots=True)
class Doubt:
    """An offset that could not be settled beyond doubt.

    Attributes:
        offset: into the image.
        alternatives: (value, how often it was seen, its probability), likeliest first.
    """

    offset: int
    alternatives: tuple[tuple[int, int, float], ...]


@dataclass(frozen=True, slots=True)
class Decision:
    """A byte decided by a person; it never counts towards `confirmed`."""

    offset: int
    value: int
    reason: str


@dataclass(frozen=True, slots=True)
class Confidence:
    """How sure, and of what: random errors between the chip and the log only.

    Attributes:
        readings: independent readings that saw the function.
        sessions: power-ups among them.
        copies: copies seen.
        observations_min: the fewest independent observations of any byte; 0 where a byte was never seen.
        disagreements: observations that differ from the settled value.
        wrong_bytes_upper_bound: at `level`, no more than so many bytes of the image are wrong.
        level: of that bound.
        more_readings_for_target: how many more would bring the bound under the target; None where no number would.
    """

    readings: int
    sessions: int
    copies: int
    observations_min: int
    disagreements: int
    wrong_bytes_upper_bound: float
    level: float
    more_readings_for_target: int | None


@dataclass(frozen=True, slots=True, eq=False)
class Image:
    """The settled bytes of one function.

    Attributes:
        function: index into the survey's functions.
        value: uint8[size]; bytes that were never seen hold `FILL`.
        seen: uint8[size], the bits of each byte that were observed at all.
        posterior: float32[size], probability that the byte is as settled.
        observations: int32[size], independent observations of each byte.
        readings: int32[size], readings that saw each byte.
        doubtful: offsets that are not settled beyond doubt.
        flipped: offsets of cells that did not read the same each time (weak bits).
        link_errors: offsets where the line, not the chip, made the difference.
        decided: by a person.
        confidence: over the whole image.
    """

    function: int
    value: Bytes
    seen: Bytes
    posterior: npt.NDArray[np.float32]
    observations: npt.NDArray[np.int32]
    readings: npt.NDArray[np.int32]
    doubtful: tuple[Doubt, ...]
    flipped: tuple[int, ...]
    link_errors: tuple[int, ...]
    decided: tuple[Decision, ...]
    confidence: Confidence

    def __bytes__(self) -> bytes:
        return self.value.tobytes()

    def __len__(self) -> int:
        return len(self.value)

    def __repr__(self) -> str:
        """One line for a notebook: whose bytes, how often they were seen, and what is open."""
        sure = self.confidence
        return (
            f"<Image of function {self.function}: {len(self)} bytes, each seen {sure.observations_min} times or more "
            f"in {sure.readings} reading(s), {len(self.doubtful)} in doubt>"
        )


FILL = 0xFF
"""What stands in the image for a byte that was never seen: an erased or missing cell reads so on most boards."""
