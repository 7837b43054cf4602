"""Published intervals for a proportion: how many bytes may still be wrong, given how many were seen to be.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4.1 (exact intervals, with the worked example
N = 20, Nd = 4); Clopper and Pearson, Biometrika 26 (1934) 404-413.
"""

from __future__ import annotations

import math


def binomial_cdf(successes: int, trials: int, probability: float) -> float:
    """Return P(X <= successes) for X binomial. Exact sum of terms, in logarithms; errors below 1e-12."""
    if probability <= 0.0 or successes >= trials:
        return 1.0
    if probability >= 1.0 or successes < 0:
        return 0.0
    log_p, log_q = math.log(probability), math.log1p(-probability)
    terms = (
        math.lgamma(trials + 1) - math.lgamma(k + 1) - math.lgamma(trials - k + 1) + k * log_p + (trials - k) * log_q
        for k in range(successes + 1)
    )
    return min(1.0, math.fsum(math.exp(t) for t in terms))


def upper_bound(successes: int, trials: int, level: float = 0.95) -> float:
    """Return the one-sided Clopper-Pearson upper limit of a proportion.

    It is the probability at which seeing `successes` or fewer in `trials` has the chance 1 - `level`; 1.0 where nothing
    was tried or everything succeeded.
    """
    if trials <= 0 or successes >= trials:
        return 1.0
    if successes == 0:
        return float(-math.expm1(math.log1p(-level) / trials))
    low, high = successes / trials, 1.0
    for _ in range(80):
        middle = (low + high) / 2
        if binomial_cdf(successes, trials, middle) > 1 - level:
            low = middle
        else:
            high = middle
    return high


def lower_bound(successes: int, trials: int, level: float = 0.95) -> float:
    """Return the one-sided Clopper-Pearson lower limit of a proportion."""
    return 1.0 - upper_bound(trials - successes, trials, level) if trials > 0 else 0.0
