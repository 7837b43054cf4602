"""Weak cells told from errors of the line.

An error of a cell follows its offset through all copies and readings, and hits one bit. An error of the line hits a
digit, seldom twice alike, and comes with the damage that a bad line also does to everything else it prints.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from romassay.bounds import binomial_cdf, poisson_quantile
from romassay.reading import Index, Reading
from romassay.settle.chance import LEVEL, SAME_ERROR
from romassay.settle.observed import Observed, first_known
from romassay.settle.vote import Vote
from romassay.survey.consensus import consensus
from romassay.survey.model import Survey
from romassay.survey.stack import GRANULE, Bools, Stack

LEFT = 0.08
"""Wrong digits that a line which replaces characters leaves at least for each damaged line: of the 95 printing
characters that may come instead of a digit 15 are other digits (code table of RFC 20), and half of a line is digits."""

CROWD = 4
"""Bytes of a granule that differ from copy to copy alone where something else answers; cells do not fail in crowds."""

MOST_LEFT = 3
"""Wrong digits that a line leaves at most for each damaged line."""

CHANGED = 3
"""Digits that must have changed in several bits before a line that damaged nothing is blamed: one may be two weak bits
of a cell's byte, and is not voted away."""

UNLIKELY = 0.01
"""Chance below which a line is not believed to have left so few wrong digits."""


@dataclass(frozen=True, slots=True)
class Line:
    """What the line to the log does.

    Attributes:
        damage: lines and records that it damaged.
        against: observations that differ from the others, where no memory answers.
        trials: observations there.
    """

    damage: int
    against: int
    trials: int


def measured(stacked: Stack, chosen: tuple[Reading, ...], found: Survey) -> Line:
    """Measure the line where no memory answers: what differs there from reading to reading is no cell's."""
    damage = sum(max(len(r.holes), r.source.bad_lines) for r in chosen)
    if not damage:
        return Line(0, 0, 0)
    beside = np.flatnonzero(~stacked.answered(found.functions))
    said = consensus(replace(stacked, value=stacked.value[:, beside], known=stacked.known[:, beside]))
    still = said.against.sum(axis=1, dtype=np.int64) * 8 < said.seen.sum(axis=1, dtype=np.int64)
    return Line(damage, int(said.against[still].sum(dtype=np.int64)), int(said.seen[still].sum(dtype=np.int64)))


def weak_cells(vote: Vote, observed: Observed, line: Line, certain: Bools) -> Index:
    """Return the offsets whose cell, not the line, made the difference.

    Where no line was damaged, or every record carried its sum, the line has no part in it, unless whole digits changed
    as only a line changes them. Else a cell is weak where the same bit differs more often than a line of that quality
    explains (binomial tail, over all bits tried), or where that is `certain` already; once one is, every offset that
    differs in a single bit is listed with it, for a cell that flipped once looks no different.
    """
    checked = all(r.unit == "record-checked" for r in observed.names)
    spared = not line.damage and not _digits_changed(vote, observed)
    if checked or spared or not len(vote.disputed):
        return vote.disputed[~_by_copy(vote, observed)]
    certain = certain | _too_often(vote)
    if not certain.any() and not (line.damage and vote.single.all() and _unlike_the_line(vote, line)):
        return vote.disputed[:0]
    return vote.disputed[vote.single | certain]


def _digits_changed(vote: Vote, observed: Observed) -> bool:
    """Tell whether one printed digit after another came otherwise once, and in several bits: no cells do that.

    Of the fifteen other digits four differ in one bit, so that a line leaves more that differ in several.
    """
    if any(reading.unit != "hex-digit" for reading in observed.names):
        return False
    changed = np.bitwise_or.reduce(
        (observed.value[:, vote.disputed] ^ vote.value[vote.disputed]) & observed.known[:, vote.disputed], axis=0
    )
    digit = ((changed & 0x0F) == 0) | ((changed & 0xF0) == 0)
    several = digit & ~vote.single & (vote.against == 1)
    return int(np.count_nonzero(several)) >= max(CHANGED, int(np.count_nonzero(vote.single))) and bool(
        (digit | vote.single).all()
    )


def _by_copy(vote: Vote, observed: Observed) -> Bools:
    """Tell which disputed bytes are otherwise at one copy, in every reading, with much of what stands beside them.

    No cell does that: something else answers at one of the copies.
    """
    steady = np.ones(len(vote.disputed), np.bool_)
    again = np.zeros(len(vote.disputed), np.bool_)
    for seat in np.unique(observed.seat):
        mine = observed.seat == seat
        value, known = observed.value[mine][:, vote.disputed], observed.known[mine][:, vote.disputed]
        first, _ = first_known(value, known)
        steady &= ~((value ^ first) & known).any(axis=0)
        again |= np.count_nonzero(known, axis=0) > 1
    alike = steady & again
    granule = vote.disputed // GRANULE
    crowd = np.bincount(granule[alike], minlength=len(vote.count) // GRANULE)
    by_copy: Bools = alike & (crowd[granule] >= CROWD)
    return by_copy


def _too_often(vote: Vote) -> Bools:
    """Tell which disputed bytes differ in one bit more often than the line explains, bool[d]."""
    tried = max(1, len(vote.count) * 8)
    others = max(0.5, float((vote.against - vote.often).sum() + np.count_nonzero(vote.often)))
    rate = min(0.5, others / max(1.0, float(vote.count.sum())) / 8)
    certain = np.zeros(len(vote.disputed), np.bool_)
    for row in np.flatnonzero(vote.often >= 2):
        trials = int(vote.count[vote.disputed[row]])
        tail = 1.0 - binomial_cdf(int(vote.often[row]) - 1, trials, rate)
        certain[row] = tail * tried < 1.0 - LEVEL
    return certain


def alike_everywhere(vote: Vote, observed: Observed, error: float) -> tuple[Bools, Bools]:
    """Tell which disputed bytes one reading has otherwise at every copy, and of which there are more than a line makes.

    A line seldom makes the same wrong digit twice; a weak cell, or another specimen, shows it at every copy.
    """
    every, unlikely = np.zeros(len(vote.disputed), np.bool_), np.zeros(len(vote.disputed), np.bool_)
    tried = len(vote.count) * len(observed.names)
    settled = vote.value[vote.disputed]
    for number in np.unique(observed.reading):
        mine = observed.reading == number
        value, known = observed.value[mine][:, vote.disputed], observed.known[mine][:, vote.disputed]
        whole = (known == np.bitwise_or.reduce(known, axis=0)) & (known != 0)
        said = np.where(whole, value, 0).max(axis=0)
        other = ((said ^ settled) & np.bitwise_or.reduce(known, axis=0)) != 0
        copies = np.count_nonzero(whole, axis=0)
        alike = other & (copies > 1) & ((value == said) | ~whole).all(axis=0)
        if alike.any():
            again = (error * SAME_ERROR) ** (int(copies[alike].min()) - 1)
            every |= alike
            unlikely |= alike & (np.count_nonzero(alike) > poisson_quantile(tried * error * again, LEVEL))
    return every, unlikely


def _unlike_the_line(vote: Vote, line: Line) -> bool:
    """Tell whether bytes that all differ in a single bit are unlike what the line leaves behind.

    A line that spoils characters leaves wrong digits in proportion to its damage, and where no memory answers as often
    as in the ROM. Far more of them here are a cell's. So are a few, if with all that damage the line left none.
    """
    here, trials = int(vote.against.sum()), int(vote.count.sum())
    if here > MOST_LEFT * (line.damage + 1):
        return not line.trials or here * line.trials > MOST_LEFT * (line.against + 1) * trials
    return here + line.against < poisson_quantile(LEFT * line.damage, UNLIKELY)
