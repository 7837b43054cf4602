"""Rigs: which pin of the specimen is on which host line, or held at which level. Frozen values; no disk."""

from __future__ import annotations

import msgspec

from romassay.address import Range


class Rig(msgspec.Struct, frozen=True, kw_only=True):
    """The wiring of one specimen.

    Attributes:
        part: type number.
        address_bits: lines of the host's bus.
        wiring: pin name -> host line name ('A10', 'D3', 'PHI2' …).
        held: pin name -> level, 0 or 1.
        host_memory: ranges in which the host itself answers.
    """

    part: str
    address_bits: int
    wiring: dict[str, str]
    held: dict[str, int] = msgspec.field(default_factory=dict)
    host_memory: tuple[Range, ...] = ()
