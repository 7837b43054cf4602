"""Probabilities as they turned out: a curve for each class of findings, and what it is held against."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

import msgspec
import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.faulty import first, told, window

from romassay.diagnose.calibration import Curve, Table, calibrated, class_of, curves
from romassay.finding import Finding

HELD_OUT = Path(__file__).with_name("held_out.csv")
"""What the diagnosis stated of 126 benches as `benchmarks.faults` draws them, and whether it was right. Their programs,
rigs and seeds are others than those that the curves were fitted on, and they were drawn after that and looked at once:

    PYTHONPATH=training:. python training/fit_faults.py --held-out FILE --cases 6 --seed 40404

wrote them."""

GOAL = 0.05
"""Expected calibration error that is allowed."""


def error(pairs: list[tuple[float, bool]]) -> float:
    """Return the expected calibration error by tenths (Naeini and others, AAAI 2015, equation 3)."""
    said, right = np.array(pairs, float).T
    tenth = np.minimum((said * 10).astype(int), 9)
    gaps = [abs(float((said - right)[tenth == n].sum())) for n in range(10)]
    return sum(gaps) / len(pairs)


def a_finding(kind: str = "data-line-stuck", probability: float = 0.9, alternative_to: str | None = None) -> Finding:
    return Finding(kind, True, "it shows", "look", probability, alternative_to=alternative_to)  # type: ignore[arg-type]


def held_out() -> list[tuple[Finding, bool]]:
    """Return what was stated, and whether it was right."""
    rows = csv.DictReader(HELD_OUT.read_text().splitlines())
    return [
        (
            Finding(
                row["kind"],  # type: ignore[arg-type]
                True,
                "",
                "",
                float(row["stated"]),
                mapping=(("A0", "A1"),) if row["mapped"] == "1" else (),
                alternative_to="blank" if row["alternative"] == "1" else None,
            ),
            row["right"] == "1",
        )
        for row in rows
    ]


def test_on_benches_that_were_not_counted_findings_are_as_often_right_as_they_say() -> None:
    first_ones = [(finding, right) for finding, right in held_out() if finding.alternative_to is None]
    stated = [(finding.probability, right) for finding, right in first_ones]
    said = [(calibrated([finding])[0].probability, right) for finding, right in first_ones]
    assert error(said) <= GOAL
    assert error(said) < error(stated)


def test_every_kind_that_the_benches_show_has_a_curve() -> None:
    missing = {class_of(finding) for finding, _ in held_out()} - set(curves())
    assert {kind for kind, alternative, _ in missing if not alternative} == set()


@settings(deadline=None)
@given(st.sampled_from(sorted(curves())), st.floats(0, 1), st.floats(0, 1))
def test_what_was_stated_likelier_is_no_less_likely(of: tuple[str, bool, bool], one: float, other: float) -> None:
    curve = curves()[of]  # type: ignore[index]
    low, high = sorted((one, other))
    assert 0 < curve.at(low) <= curve.at(high) < 1


@settings(deadline=None)
@given(of=st.sampled_from(sorted(curves())), probability=st.floats(0, 1), blocks=st.booleans())
def test_nothing_but_the_probability_changes(of: tuple[str, bool, bool], probability: float, *, blocks: bool) -> None:
    finding = replace(a_finding(of[0], probability, "blank" if of[1] else None), blocks=blocks, lines=("D3",))
    kept = calibrated([finding])[0]
    assert replace(kept, probability=probability) == finding


def test_an_alternative_gets_no_more_than_the_likelier_finding_leaves() -> None:
    likely, other = calibrated([a_finding("data-line-open", 0.98), a_finding("data-line-stuck", 0.3, "data-line-open")])
    assert other.probability <= 1 - likely.probability + 1e-9
    assert other.probability <= likely.probability


def test_what_is_simply_observed_stays_certain() -> None:
    assert calibrated([a_finding("undriven-bits", 1.0)])[0].probability == 1.0


def test_the_diagnosis_gives_what_the_curves_say() -> None:
    found = first(told(window(data=lambda value: value & np.uint8(0xFB))), "data-line-stuck")
    curve = curves()["data-line-stuck", False, False]
    assert found.probability == pytest.approx(curve.at(0.94 * 0.98), abs=0.002)
    assert found.blocks


@pytest.mark.parametrize(
    "points",
    [
        ([0.5, 0.5], [0.4, 0.6]),
        ([0.5, 0.6], [0.6, 0.4]),
        ([0.5], [0.4, 0.6]),
        ([0.5], [1.0]),
        ([], []),
    ],
)
def test_a_curve_that_does_not_rise_is_refused(points: tuple[list[float], list[float]]) -> None:
    with pytest.raises(ValueError, match="does not rise"):
        Curve("blank", alternative=False, mapped=False, said=tuple(points[0]), right=tuple(points[1]), found=1)


def test_a_table_with_a_key_too_many_or_of_no_kind_is_refused() -> None:
    good = b'command = ""\nseed = 1\ncases = 1\ncurves = []\n'
    assert msgspec.toml.decode(good, type=Table).seed == 1
    for bad in (good + b"more = 1\n", good.replace(b"seed = 1\n", b""), good.replace(b"[]", b'[{kind = "cold"}]')):
        with pytest.raises(msgspec.ValidationError):
            msgspec.toml.decode(bad, type=Table)
