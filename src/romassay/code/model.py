"""What the bytes of an image say about themselves: the CPU, the origin, the entries, the firmware's own checks."""

from __future__ import annotations

from dataclasses import dataclass

from romassay.cpus.model import Name

NO_VECTOR = "start"
"""Name of the entry at the first byte of code that holds neither a vector nor an address at which the CPU enters."""


@dataclass(frozen=True, slots=True)
class Check:
    """A check that the firmware seems to make of its own image, and that chance does not explain.

    Attributes:
        kind: 'sum-8', 'crc-16/xmodem' and so on, as listed by `romassay.code.sums.KINDS`.
        first: offset of the first byte that it covers.
        last: offset of the last one.
        stored_at: offset of the stored value, or None where the range comes out at a constant by itself. Where it lies
            between `first` and `last`, the stored bytes are left out.
        value: what it comes out at.
        chance_hits: how many hits as convincing chance alone would give over everything that was tried.
    """

    kind: str
    first: int
    last: int
    stored_at: int | None
    value: int
    chance_hits: float


@dataclass(frozen=True, slots=True)
class Code:
    """What the bytes of one image say.

    Attributes:
        cpu: the likeliest, or None where the bytes are no code, or too few to tell.
        candidates: (CPU or None for 'no code', probability), likeliest first.
        origin: address of the first byte, or None where nothing tells.
        origins: (address, probability), likeliest first.
        entries: (name, address) at which the program begins and interrupts go, as far as the image holds them.
        checks: the firmware's own.
        references: absolute references that the origin was judged by.
    """

    cpu: Name | None
    candidates: tuple[tuple[Name | None, float], ...]
    origin: int | None = None
    origins: tuple[tuple[int, float], ...] = ()
    entries: tuple[tuple[str, int], ...] = ()
    checks: tuple[Check, ...] = ()
    references: int = 0

    @property
    def no_code(self) -> float:
        """Probability that the bytes are no code of any CPU that is known here."""
        return dict(self.candidates).get(None, 0.0)
