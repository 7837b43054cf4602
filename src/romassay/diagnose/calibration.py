"""How likely a finding is, as it turned out: what the diagnosis states by its constants, and how often that was right.

The constants of the diagnosis tell which of two findings is the likelier. How often findings of one kind that were
stated so were right was counted on benches with a known fault (`training/fit_faults.py`); `calibration.toml` keeps it,
a rising curve for each kind, those that another finding explains as well apart, and those that name an order of lines.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from functools import cache
from importlib.resources import files

import msgspec
import numpy as np

from romassay.finding import Finding, Kind

Class = tuple[Kind, bool, bool]
"""Findings that are counted together: the kind, whether it is an alternative, whether it names an order of lines."""


def class_of(finding: Finding) -> Class:
    """Return with which others a finding is counted."""
    return finding.kind, finding.alternative_to is not None, bool(finding.mapping)


class Curve(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """How often findings of a kind were right, by the probability that they were stated with.

    Attributes:
        kind: of the findings.
        alternative: True for those given as the alternative to another.
        mapped: True for those that say in which order the lines are.
        said: probabilities, ascending.
        right: how often they were right, never falling.
        found: how many were counted.
    """

    kind: Kind
    alternative: bool
    mapped: bool
    said: tuple[float, ...]
    right: tuple[float, ...]
    found: int

    def __post_init__(self) -> None:
        """Refuse a curve that is none.

        Raises:
            ValueError: it does not rise, or is no probability.
        """
        ascending = all(a < b for a, b in zip(self.said, self.said[1:], strict=False))
        rising = all(a <= b for a, b in zip(self.right, self.right[1:], strict=False))
        inside = all(0 < p < 1 for p in self.right) and all(0 <= p <= 1 for p in self.said)
        if not (self.said and len(self.said) == len(self.right) and ascending and rising and inside):
            raise ValueError(f"the curve of {self.kind} does not rise from one probability to another")

    def at(self, said: float) -> float:
        """Return how often a finding stated with a probability is right."""
        return float(np.interp(said, self.said, self.right))


class Table(msgspec.Struct, frozen=True, forbid_unknown_fields=True):
    """All curves, and how they were counted.

    Attributes:
        command: what wrote them.
        seed: of the draws.
        cases: benches that were drawn.
        curves: one for each kind of finding.
    """

    command: str
    seed: int
    cases: int
    curves: tuple[Curve, ...]


@cache
def curves() -> Mapping[Class, Curve]:
    """Return the curve of each class of findings.

    Raises:
        msgspec.ValidationError: the table is none.
    """
    raw = files("romassay.diagnose").joinpath("calibration.toml").read_bytes()
    return {
        (curve.kind, curve.alternative, curve.mapped): curve for curve in msgspec.toml.decode(raw, type=Table).curves
    }


def calibrated(findings: Sequence[Finding]) -> tuple[Finding, ...]:
    """Return findings with the probability that their like turned out to have; nothing else of them changes.

    What is given as the alternative to another is no likelier than what the other leaves.
    """
    known = curves()
    first = [_at(finding, known.get(class_of(finding))) for finding in findings]
    likeliest = {f.kind: f.probability for f in reversed(first) if f.alternative_to is None}
    return tuple(_left(finding, likeliest) for finding in first)


def _at(finding: Finding, curve: Curve | None) -> Finding:
    return finding if curve is None else replace(finding, probability=round(curve.at(finding.probability), 3))


def _left(finding: Finding, likeliest: Mapping[Kind, float]) -> Finding:
    """Bound an alternative by what the likelier finding leaves, and by that finding itself."""
    other = likeliest.get(finding.alternative_to) if finding.alternative_to else None
    if other is None:
        return finding
    most = max(0.01, min(other, 1 - other))
    return finding if finding.probability <= most else replace(finding, probability=round(most, 3))
