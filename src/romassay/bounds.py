"""Published intervals for a proportion: how many bytes may still be wrong, given how many were seen to be.

Sources: NIST/SEMATECH e-Handbook of Statistical Methods, section 7.2.4.1 (exact intervals, with the worked example
N = 20, Nd = 4); Clopper and Pearson, Biometrika 26 (1934) 404-413.
"""

from __future__ import annotations

import math

NEGLIGIBLE = 1e-18
"""Share of a sum below which its further, ever smaller terms are left out."""


def binomial_cdf(successes: int, trials: int, probability: float) -> float:
    """Return P(X <= successes) for X binomial: the sum of the shorter tail's terms.

    Errors below 1e-10 for thousands of trials, below 1e-8 for millions.
    """
    if probability <= 0.0 or successes >= trials:
        return 1.0
    if probability >= 1.0 or successes < 0:
        return 0.0
    log_p, log_q = math.log(probability), math.log1p(-probability)
    if successes < trials * probability:
        return min(1.0, _lower_tail(successes, trials, log_p, log_q))
    return max(0.0, 1.0 - _lower_tail(trials - successes - 1, trials, log_q, log_p))


def _lower_tail(successes: int, trials: int, log_p: float, log_q: float) -> float:
    """Return P(X <= successes), from the largest term down: each is the one above it times a ratio that falls."""
    term = math.exp(
        math.lgamma(trials + 1)
        - math.lgamma(successes + 1)
        - math.lgamma(trials - successes + 1)
        + successes * log_p
        + (trials - successes) * log_q
    )
    odds = math.exp(log_q - log_p) if successes else 0.0  # the least of numbers has odds beyond all of them
    total = term
    for k in range(successes, 0, -1):
        term *= k / (trials - k + 1) * odds
        total += term
        if term < NEGLIGIBLE * total:
            break
    return total


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


def poisson_quantile(mean: float, level: float = 0.95) -> int:
    """Return the smallest count that a Poisson variable of this mean exceeds with a chance of at most 1 - `level`.

    Poisson counts: NIST/SEMATECH e-Handbook of Statistical Methods, section 1.3.6.6.19.
    """
    low, high = -1, max(1, math.ceil(mean + 10 * math.sqrt(mean) + 10))
    while high - low > 1:
        middle = (low + high) // 2
        if _poisson_above(middle, mean) <= 1 - level:
            high = middle
        else:
            low = middle
    return high


def _poisson_above(count: int, mean: float) -> float:
    """Return P(X > count): the upper tail's terms, or one less the lower tail's, whichever fall from the first on."""
    if mean <= 0.0:
        return 0.0
    if count + 1 > mean:
        term = total = math.exp((count + 1) * math.log(mean) - mean - math.lgamma(count + 2))
        k = count + 2
        while term > NEGLIGIBLE * total and total > 0.0:
            term *= mean / k
            total += term
            k += 1
        return total
    term = total = math.exp(count * math.log(mean) - mean - math.lgamma(count + 1)) if count >= 0 else 0.0
    for k in range(count, 0, -1):
        term *= k / mean
        total += term
        if term < NEGLIGIBLE * total:
            break
    return 1.0 - total
