"""What a serial line does to characters on their way: substitutions, single flipped bits, losses and bursts."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.errors import BadValue
from romassay.twin.chance import share

_PRINTABLE = range(0x20, 0x7F)


@dataclass(frozen=True, slots=True)
class LineNoise:
    """How often a character suffers, and how. All rates are per character, 0 to 1.

    Attributes:
        substitute: it becomes another printable character.
        digit: it becomes another hex digit, where it is one: the error that no reader can see.
        flip: one of its eight bits flips.
        drop: it is lost.
        burst: a run of `burst_length` characters starts here, each of which becomes a printable one.
        burst_length: characters.
    """

    substitute: float = 0.0
    digit: float = 0.0
    flip: float = 0.0
    drop: float = 0.0
    burst: float = 0.0
    burst_length: int = 12

    def __post_init__(self) -> None:
        for name in ("substitute", "digit", "flip", "drop", "burst"):
            if not 0.0 <= getattr(self, name) <= 1.0:
                raise BadValue(f"a noise rate '{name}' of {getattr(self, name)}", advice="give a share from 0 to 1")
        if self.burst_length < 1:
            raise BadValue(f"bursts of {self.burst_length} characters", advice="give 1 or more")


def _printable(characters: npt.NDArray[np.uint8], seed: int, stream: str) -> npt.NDArray[np.uint8]:
    """Return a printable character other than the one that stands there, for each."""
    places = np.arange(len(characters), dtype=np.int64)
    step = 1 + (share(seed, stream, places) * (len(_PRINTABLE) - 1)).astype(np.int64)
    index = (characters.astype(np.int64) - 0x20 + step) % len(_PRINTABLE)
    return (index + 0x20).astype(np.uint8)


def _other_digit(characters: npt.NDArray[np.uint8], seed: int) -> npt.NDArray[np.uint8]:
    """Return another hex digit of the same case for each hex digit; other characters as they are."""
    result = characters.copy()
    for digits in (b"0123456789ABCDEF", b"abcdef"):
        table = np.frombuffer(digits, np.uint8)
        rank = np.full(256, -1, np.int64)
        rank[table] = np.arange(len(table))
        where = np.flatnonzero(rank[characters] >= 0)
        step = 1 + (share(seed, "step", where) * (len(table) - 1)).astype(np.int64)
        result[where] = table[(rank[characters[where]] + step) % len(table)]
    return result


def disturb(log: bytes, noise: LineNoise, *, seed: int) -> bytes:
    """Return the log as it arrives over a noisy line. The same seed gives the same errors."""
    original = np.frombuffer(log, np.uint8)
    places = np.arange(len(original), dtype=np.int64)
    result = original.copy()

    def struck(rate: float, stream: str) -> npt.NDArray[np.bool_]:
        return share(seed, stream, places) < rate if rate else np.zeros(len(original), np.bool_)

    hit = struck(noise.substitute, "substitute")
    if noise.burst:
        starts = np.cumsum(struck(noise.burst, "burst").astype(np.int64))
        before = np.concatenate([np.zeros(noise.burst_length, np.int64), starts])[: len(starts)]
        hit |= starts > before
    result[hit] = _printable(original, seed, "character")[hit]
    hit = struck(noise.digit, "digit")
    result[hit] = _other_digit(original, seed)[hit]
    hit = struck(noise.flip, "flip")
    which = (share(seed, "bit", places) * 8).astype(np.uint8)
    result[hit] ^= np.left_shift(np.uint8(1), which)[hit]
    return result[~struck(noise.drop, "drop")].tobytes()
