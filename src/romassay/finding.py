"""Findings: a diagnosed fault or doubt, where it is, how likely, and what to check on the bench."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, get_args

from romassay.address import Range

Wiring = Literal[
    "data-line-stuck",
    "data-line-open",
    "data-lines-bridged",
    "data-lines-swapped",
    "data-inverted",
    "address-line-stuck",
    "address-line-open",
    "address-lines-bridged",
    "address-lines-swapped",
    "contention",
    "select-tied",
    "latched-enable",
]
"""Faults of the rig: what is read once they are mended is no second opinion on what was read before."""

Kind = Literal[
    "single-reading",
    "duplicate-reading",
    "link-corruption",
    "link-dropout",
    "weak-bits",
    "undriven-bits",
    "short-window",
    "size-ambiguous",
    "byte-order",
    "place-not-shown",
    "blank",
    "not-code",
    Wiring,
    "marginal-timing",
    "supply-sag",
    "half-image",
    "wrong-part",
    "mixed-specimens",
    "ram-or-rom",
]

KINDS: tuple[Kind, ...] = get_args(Kind)
WIRING: frozenset[Kind] = frozenset(get_args(Wiring))

Limit = Literal["no-power-cycle", "no-control-reading", "part-not-declared", "no-own-check", "place-not-shown"]
"""What the verdict could not lean on."""


@dataclass(frozen=True, slots=True)
class Finding:
    """A fault or doubt.

    Attributes:
        kind: one of `KINDS`.
        blocks: True where it keeps the verdict from `confirmed`.
        evidence: a sentence for the person.
        advice: what to check or do on the bench, a sentence.
        probability: 1.0 for what was simply observed.
        function: index into the survey's functions, or None where it concerns no single one.
        lines: names of lines, 'D3', 'A10'.
        offsets: offsets into the function's image.
        where: address ranges.
        mapping: a permutation, where that is the fault: line as wired -> line as it should be.
        alternative_to: kind of a likelier finding that explains the same evidence.
    """

    kind: Kind
    blocks: bool
    evidence: str
    advice: str
    probability: float = 1.0
    function: int | None = None
    lines: tuple[str, ...] = ()
    offsets: tuple[int, ...] = ()
    where: tuple[Range, ...] = ()
    mapping: tuple[tuple[str, str], ...] = ()
    alternative_to: Kind | None = None


def ranked(findings: tuple[Finding, ...]) -> tuple[Finding, ...]:
    """Return the findings in the order in which they are shown: those that block first, then by probability."""
    return tuple(sorted(findings, key=lambda f: (not f.blocks, -f.probability, KINDS.index(f.kind))))
