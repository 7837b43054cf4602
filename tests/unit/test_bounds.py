"""The published interval, against printed numbers and against scipy."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta, binom, poisson

from romassay.bounds import binomial_cdf, poisson_quantile, upper_bound


def lower_bound(successes: int, trials: int, level: float) -> float:
    """Return the lower limit of a proportion, as the upper one of its counterpart: published tables give both."""
    return 1.0 - upper_bound(trials - successes, trials, level)


def test_the_handbooks_worked_example() -> None:
    """N = 20, Nd = 4, 90 %: NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.4.1 (0.071354 to 0.401028)."""
    assert lower_bound(4, 20, 0.95) == pytest.approx(0.071354, abs=1e-5)
    assert upper_bound(4, 20, 0.95) == pytest.approx(0.401028, abs=1e-5)


@pytest.mark.parametrize(
    ("n", "bound"), [(10, 0.25887), (30, 0.09503), (100, 0.02951), (300, 0.00994), (1000, 0.00299)]
)
def test_nothing_seen_in_n_follows_the_rule_of_three(n: int, bound: float) -> None:
    """Exact 1 - 0.05^(1/n), which the rule of three approximates: Hanley and Lippman-Hand, JAMA 249 (1983) 1743."""
    assert upper_bound(0, n) == pytest.approx(bound, abs=5e-6)
    assert upper_bound(0, n) == pytest.approx(3 / n, rel=0.16)


@pytest.mark.parametrize(
    ("x", "n", "low", "high"),
    [
        (4, 20, 0.057334, 0.436614),
        (1, 10, 0.002529, 0.445016),
        (2, 10, 0.025211, 0.556095),
        (5, 10, 0.187086, 0.812914),
    ],
)
def test_two_sided_95_percent_values(x: int, n: int, low: float, high: float) -> None:
    """Clopper-Pearson limits on which scipy and statsmodels agree."""
    assert lower_bound(x, n, 0.975) == pytest.approx(low, abs=1e-6)
    assert upper_bound(x, n, 0.975) == pytest.approx(high, abs=1e-6)


@settings(max_examples=100)
@given(st.integers(1, 4000), st.data(), st.sampled_from([0.9, 0.95, 0.99]))
def test_against_scipys_beta_quantiles(n: int, data: st.DataObject, level: float) -> None:
    x = data.draw(st.integers(0, min(n - 1, 60)))
    assert upper_bound(x, n, level) == pytest.approx(float(beta.ppf(level, x + 1, n - x)), rel=1e-9)
    if x:
        assert lower_bound(x, n, level) == pytest.approx(float(beta.ppf(1 - level, x, n - x + 1)), rel=1e-6, abs=1e-9)


@settings(max_examples=100)
@given(st.integers(1, 500), st.data(), st.floats(0.0, 1.0))
def test_the_distribution_against_scipy(n: int, data: st.DataObject, p: float) -> None:
    x = data.draw(st.integers(0, n))
    assert binomial_cdf(x, n, p) == pytest.approx(float(binom.cdf(x, n, p)), abs=1e-10)


def test_the_ends() -> None:
    assert binomial_cdf(0, 1, 5e-324) == 1.0
    assert upper_bound(0, 0) == 1.0
    assert upper_bound(5, 5) == 1.0


@settings(max_examples=100)
@given(st.floats(1e-6, 5000.0), st.sampled_from([0.5, 0.9, 0.95, 0.99]))
def test_the_poisson_quantile_against_scipy(mean: float, level: float) -> None:
    found = poisson_quantile(mean, level)
    assert poisson.cdf(found, mean) >= level - 1e-9
    assert found == 0 or poisson.cdf(found - 1, mean) < level + 1e-9
