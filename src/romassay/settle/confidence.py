"""How many bytes of an image may still be wrong, and how many more readings would bring that under a target."""

from __future__ import annotations

import numpy as np

from romassay.bounds import poisson_quantile, upper_bound
from romassay.settle.chance import LEVEL, SAME_ERROR
from romassay.settle.model import Confidence
from romassay.settle.observed import Observed
from romassay.settle.vote import Vote
from romassay.survey.model import Function

LEAST_BOUND = 1e-9
"""No count of repetitions makes surer than this: other errors than the line's are likelier by far."""

MOST_READINGS = 100


def confidence_in(
    vote: Vote,
    observed: Observed,
    function: Function,
    target: float,
) -> Confidence:
    """State how many bytes may still be wrong: what their number stays under at the upper 95 % limit of the error rate.

    The limit is Clopper and Pearson's (NIST/SEMATECH e-Handbook 7.2.4.1), over every observation beyond the first of
    each byte. It covers random errors of the line only.
    """
    against = int(vote.against.sum())
    spare = int(np.maximum(vote.count - 1, 0).sum())
    bound = _bound(vote, against, spare, 0)
    copies = [c for c in function.copies if not c.contended]
    return Confidence(
        readings=len(observed.names),
        sessions=len({r.conditions.session for r in observed.names}),
        copies=len(copies),
        observations_min=int(vote.count.min()) if len(vote.count) else 0,
        disagreements=against,
        wrong_bytes_upper_bound=max(float(bound), LEAST_BOUND),
        level=LEVEL,
        more_readings_for_target=_more(vote, against, spare, max(1, len(copies)), target, bound),
    )


def _bound(vote: Vote, against: int, spare: int, more: int) -> float:
    """Return the bound on the number of wrong bytes, if `more` observations of each byte agreed.

    Where fewer are expected than one in twenty images would have, that expectation; else the count that a Poisson
    variable of that mean exceeds once in twenty times.
    """
    expected = _expected_wrong(vote, upper_bound(against, spare, LEVEL), more)
    if expected <= 1 - LEVEL:
        return expected
    return float(min(len(vote.count), poisson_quantile(expected, LEVEL)))


def _expected_wrong(vote: Vote, error: float, more: int) -> float:
    """Return the expected number of wrong bytes at an error rate, if `more` observations of each byte agreed."""
    again = min(1.0, error * SAME_ERROR)
    amounts, counts = np.unique(vote.count, return_counts=True)
    seen = amounts + more
    total = float(np.sum(counts * np.where(seen > 0, error * again ** np.maximum(seen - 1.0, 0.0), 1.0)))
    lead = again ** (vote.margin + more).astype(np.float64)
    agreed = error * again ** np.maximum(vote.count[vote.disputed] + more - 1.0, 0.0)
    return max(0.0, total + float(np.sum(lead / (1.0 + lead) - agreed)))


def _more(vote: Vote, against: int, spare: int, copies: int, target: float, bound: float) -> int | None:
    """Return how many more readings of the same kind would bring the bound under the target."""
    if bound <= target:
        return 0
    size = len(vote.count)
    for readings in range(1, MOST_READINGS + 1):
        extra = readings * copies * size
        first = size if not int(vote.count.sum()) else 0
        trials = spare + extra - first
        expected = round(against * trials / spare) if spare else 0
        if _bound(vote, expected, trials, readings * copies) <= target:
            return readings
    return None
