"""The vote over all observations of a function, and what it leaves in doubt.

An error of the line hits a printed digit, so observations are compared digit by digit: half a byte in a hex dump, the
whole byte elsewhere. An error of a cell follows its offset through all copies and readings, and hits one bit. The two
are told apart by the damage that a bad line also does to everything else it prints.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from romassay.bounds import binomial_cdf, poisson_quantile, upper_bound
from romassay.errors import BadValue
from romassay.reading import Bytes, Index, Reading, ReadingSet
from romassay.settle.model import FILL, Confidence, Decision, Doubt, Image
from romassay.survey.model import Function, Survey
from romassay.survey.stack import GRANULE, Bools, Stack, consensus, granules_seen, stack

LEVEL = 0.95

SAME_ERROR = 0.25
"""Of two errors that hit the same digit, so many at most make the same wrong digit: a flipped bit of a hex digit's
character has four ways to stay a digit (from the code table of RFC 20)."""

MOST_UNSEEN = 1 << 18
"""Bytes never seen that are listed one by one: four times what a bus of 16 lines holds. `Image.seen` says all."""

DOUBT = 1e-4
"""A disputed byte is doubtful where the chance that it is wrong is larger."""

LEAST_BOUND = 1e-9
"""No count of repetitions makes surer than this: other errors than the line's are likelier by far."""

SURE_MARGIN = 5
"""Lead that a byte needs where a single bit differs: a cell that fails every other time shows its right value once in
five readings more often than a line errs in that one bit."""

UNTRIED = 1e-3
"""Assumed chance of a wrong digit where nothing was read twice, so that nothing could be measured; as many as there are
half-read bytes, where that is more: of the flips of a digit's character half make another digit (RFC 20)."""

LEFT = 0.08
"""Wrong digits that a line which replaces characters leaves at least for each damaged line: of the 95 printing
characters that may come instead of a digit 15 are other digits (code table of RFC 20), and half of a line is digits."""

MOST_LEFT = 3
"""Wrong digits that a line leaves at most for each damaged line."""

UNLIKELY = 0.01
"""Chance below which a line is not believed to have left so few wrong digits."""

OVERLAID = 0.5
"""Where so many bytes of a copy's granule differ, something else answered there and the granule is left out, but never
more than half of a copy."""

MOST_READINGS = 100


@dataclass(frozen=True, slots=True, eq=False)
class _Observed:
    """All observations of a function: uint8[n, size] and the bits known of each, by reading."""

    value: Bytes
    known: Bytes
    reading: Index
    names: tuple[Reading, ...]


@dataclass(frozen=True, slots=True, eq=False)
class _Vote:
    """What the observations say of each byte.

    Attributes:
        value: uint8[size].
        seen: uint8[size], bits that were observed.
        count: int32[size], observations of all driven bits.
        disputed: int64[d], offsets on which observations differ.
        margin: int64[d], by how many observations the winning digit leads, the closer of a byte's digits.
        against: int64[d], observations that differ from the settled value.
        single: bool[d], True where all that differ do so in one and the same bit.
        often: int64[d], observations that differ in the one bit that is alone in doing so most often.
    """

    value: Bytes
    seen: Bytes
    count: npt.NDArray[np.int32]
    disputed: Index
    margin: Index
    against: Index
    single: Bools
    often: Index


@dataclass(frozen=True, slots=True)
class _Line:
    """What the line to the log does.

    Attributes:
        damage: lines and records that it damaged.
        against: observations that differ from the others, where no memory answers.
        trials: observations there.
    """

    damage: int
    against: int
    trials: int


def settle(
    readings: ReadingSet,
    found: Survey,
    *,
    target: float = 0.01,
    decisions: Sequence[tuple[int, Decision]] = (),
) -> tuple[Image, ...]:
    """Settle every ROM of a survey.

    Args:
        readings: what was read.
        found: who answers where.
        target: wrong bytes that may remain in an image at 95 %.
        decisions: bytes decided by a person, with the index of their function.

    Returns:
        One image for each ROM, in the survey's order.

    Raises:
        BadValue: a decision lies outside its image.
    """
    chosen = readings.with_role("specimen") or readings.with_role("pulled-up") + readings.with_role("pulled-down")
    roms = [(i, f) for i, f in enumerate(found.functions) if f.kind == "rom"]
    if not roms:
        return ()
    stacked = stack(chosen, readings.address_bits, readings.excluded, granules_seen(chosen))
    line = _line(stacked, chosen, found)
    return tuple(
        _settled(stacked, chosen, line, function, index, target, tuple(d for i, d in decisions if i == index))
        for index, function in roms
    )


def _line(stacked: Stack, chosen: tuple[Reading, ...], found: Survey) -> _Line:
    """Measure the line where no memory answers: what differs there from reading to reading is no cell's."""
    damage = sum(max(len(r.holes), r.source.bad_lines) for r in chosen)
    if not damage:
        return _Line(0, 0, 0)
    beside = np.flatnonzero(~stacked.answered(found.functions))
    said = consensus(replace(stacked, value=stacked.value[:, beside], known=stacked.known[:, beside]))
    still = said.against.sum(axis=1, dtype=np.int64) * 8 < said.seen.sum(axis=1, dtype=np.int64)
    return _Line(damage, int(said.against[still].sum(dtype=np.int64)), int(said.seen[still].sum(dtype=np.int64)))


def _settled(
    stacked: Stack,
    chosen: tuple[Reading, ...],
    line: _Line,
    function: Function,
    index: int,
    target: float,
    decided: tuple[Decision, ...],
) -> Image:
    observed = _observed(stacked, chosen, function)
    digits = (0x0F, 0xF0) if all(r.unit == "hex-digit" for r in observed.names) else (0xFF,)
    vote = _vote(observed, function.driven, digits)
    error = _error_rate(vote, observed, function.driven)
    wrong = _chance_wrong(vote, error)
    alike, unlikely = _as_one(vote, observed, error)
    flipped = _weak(vote, observed, line, unlikely)
    open_ones = np.union1d(flipped, vote.disputed[alike])
    weak = np.isin(vote.disputed, flipped)
    value = np.where(vote.seen == 0, FILL, vote.value | _undriven(stacked, function)).astype(np.uint8)
    for decision in decided:
        if decision.offset >= len(value):
            raise BadValue(
                f"a decision is on offset {decision.offset:04X}, and the image has {len(value)} bytes",
                advice="take the decision back",
            )
        value[decision.offset] = decision.value
    per_reading = _readings_each(observed, function.driven)
    return Image(
        function=index,
        value=value,
        seen=vote.seen,
        posterior=(1.0 - wrong).astype(np.float32),
        observations=vote.count,
        readings=per_reading,
        doubtful=_doubts(vote, observed, wrong, open_ones, error, function.driven),
        flipped=tuple(int(i) for i in flipped),
        link_errors=tuple(int(i) for i in vote.disputed[~weak]),
        decided=decided,
        confidence=_confidence(vote, observed, function, target),
    )


def _undriven(stacked: Stack, function: Function) -> Bytes | int:
    """Return what the data lines said that the function does not drive, where they always said the same; else 0."""
    if function.driven == 0xFF:
        return 0
    numbers = (
        np.array([c.first // GRANULE for c in function.copies])[:, None] + np.arange(function.size // GRANULE)
    ).ravel()
    at = stacked.positions(numbers)
    shape = (-1, function.size)
    seen = stacked.known[:, np.maximum(at, 0)] * (at >= 0).astype(np.uint8)[:, None]
    high = (stacked.value[:, np.maximum(at, 0)] & seen).reshape(shape)
    low = (~stacked.value[:, np.maximum(at, 0)] & seen).reshape(shape)
    ones, zeros = np.bitwise_or.reduce(high, axis=0), np.bitwise_or.reduce(low, axis=0)
    steady: Bytes = ones & ~zeros & np.uint8(0xFF & ~function.driven)
    return steady


def _observed(stacked: Stack, chosen: tuple[Reading, ...], function: Function) -> _Observed:
    """Gather the bytes of every copy in every reading; granules in which something else answered are left out."""
    wide = max(1, function.size // GRANULE)
    seats = [copy.first // GRANULE for copy in function.copies if not copy.contended]
    numbers = (np.array(seats, np.int64)[:, None] + np.arange(wide)).ravel()
    at = stacked.positions(numbers)
    at = np.where(_covered(function, numbers), -1, at)
    shape = (len(seats), wide * GRANULE)
    values, knowns, rows = [], [], []
    for row in range(len(chosen)):
        value = stacked.value[row, np.maximum(at, 0)].reshape(shape)
        known = np.where((at >= 0)[:, None], stacked.known[row, np.maximum(at, 0)], 0).astype(np.uint8).reshape(shape)
        values.append(value & np.uint8(function.driven))
        knowns.append(known & np.uint8(function.driven))
        rows.append(np.full(len(seats), row))
    value, known, reading = np.concatenate(values), np.concatenate(knowns), np.concatenate(rows)
    used = np.flatnonzero(known.any(axis=1))
    value, known, reading = value[used], known[used], reading[used]
    return _Observed(value, _without_overlaid(value, known), reading, tuple(chosen[i] for i in np.unique(reading)))


def _covered(function: Function, granules: Index) -> Bools:
    """Return the granules in which the host's memory answers instead of a copy, bool[n]."""
    hidden = np.zeros(len(granules), np.bool_)
    for item in (item for copy in function.copies for item in copy.covered):
        hidden |= (granules >= item.first // GRANULE) & (granules <= item.last // GRANULE)
    return hidden


def _without_overlaid(value: Bytes, known: Bytes) -> Bytes:
    if len(value) < 3:
        return known
    first, _ = _first_known(value, known)
    if not ((value ^ first) & known).any():
        return known
    usual = np.zeros(value.shape[1], np.uint8)
    for bit in range(8):
        has = known >> bit & 1
        ones = np.count_nonzero((value >> bit & 1) & has, axis=0)
        usual |= ((2 * ones > np.count_nonzero(has, axis=0)).astype(np.uint8) << bit).astype(np.uint8)
    differs = (((value ^ usual) & known) != 0).reshape(len(value), -1, GRANULE).sum(axis=2)
    amount = (known != 0).reshape(len(value), -1, GRANULE).sum(axis=2)
    overlaid = (differs >= GRANULE // 4) & (differs > OVERLAID * amount)
    overlaid &= ~overlaid.all(axis=0) & (2 * np.count_nonzero(overlaid, axis=1) <= overlaid.shape[1])[:, None]
    if not overlaid.any():
        return known
    return np.where(np.repeat(overlaid, GRANULE, axis=1), 0, known).astype(np.uint8)


def _first_known(value: Bytes, known: Bytes) -> tuple[Bytes, Bytes]:
    """Return each bit as first observed, uint8[size], and the bits that were observed at all."""
    first = value[0] & known[0]
    union = known[0].copy()
    for row, bits in zip(value[1:], known[1:], strict=True):
        first |= row & bits & ~union
        union |= bits
    return first, union


def _vote(observed: _Observed, driven: int, digits: tuple[int, ...]) -> _Vote:
    value, known = observed.value, observed.known
    size = value.shape[1]
    if not len(value):
        none = np.zeros(0, np.int64)
        zero = np.zeros(size, np.uint8)
        return _Vote(zero, zero, np.zeros(size, np.int32), none, none, none, none.astype(np.bool_), none)
    settled, union = _first_known(value, known)
    disputed = np.zeros(size, np.uint8)
    count = np.zeros(size, np.int32)
    for row, bits in zip(value, known, strict=True):
        disputed |= (row ^ settled) & bits
        count += bits == driven
    at = np.flatnonzero(disputed)
    values, knowns = value[:, at], known[:, at]
    margin = np.full(len(at), len(value), np.int64)
    for mask in digits:
        digit = (values & np.uint8(mask)).astype(np.uint8)
        winner, lead = _winner(digit, (knowns & mask) == (driven & mask), driven & mask)
        settled[at] = (settled[at] & ~np.uint8(mask)) | winner
        margin = np.minimum(margin, lead)
    differing = (values ^ settled[at]) & knowns
    spread = np.bitwise_or.reduce(differing, axis=0) if len(differing) else np.zeros(len(at), np.uint8)
    return _Vote(
        settled,
        union,
        count,
        at,
        margin,
        np.count_nonzero(differing, axis=0),
        np.bitwise_count(spread) == 1,
        np.max([np.count_nonzero(differing == 1 << bit, axis=0) for bit in range(8)], axis=0),
    )


def _winner(digit: Bytes, known: Bools, mask: int) -> tuple[Bytes, Index]:
    """Return the commonest value of a digit in each column, uint8[d], and its lead over the next, int64[d]."""
    best = np.zeros(digit.shape[1], np.uint8)
    first = np.full(digit.shape[1], -1, np.int64)
    second = np.zeros(digit.shape[1], np.int64)
    for value in np.unique(digit[known]) if mask else ():
        count = np.count_nonzero(known & (digit == value), axis=0)
        wins = count > first
        second = np.where(wins, np.maximum(first, 0), np.maximum(second, count))
        best = np.where(wins, value, best).astype(np.uint8)
        first = np.where(wins, count, first)
    return best, np.maximum(first, 0) - second


def _error_rate(vote: _Vote, observed: _Observed, driven: int) -> float:
    """Return the measured chance that one observation of a byte differs from what was settled."""
    spare = int(np.maximum(vote.count - 1, 0).sum())
    if not spare:
        heard = int(np.count_nonzero(observed.known))
        half = int(np.count_nonzero((observed.known != driven) & (observed.known != 0)))
        return max(UNTRIED, half / max(1, heard))
    return float((vote.against.sum() + 0.5) / (spare + 1))


def _chance_wrong(vote: _Vote, error: float) -> npt.NDArray[np.float64]:
    """Return for each byte the chance that it is wrong, if errors are the line's and come at this rate."""
    again = min(1.0, error * SAME_ERROR)
    wrong = np.where(vote.count > 0, error * again ** np.maximum(vote.count - 1.0, 0.0), 1.0)
    lead = again ** vote.margin.astype(np.float64)
    wrong[vote.disputed] = np.where(vote.margin > 0, lead / (1.0 + lead), 0.5)
    return wrong


def _weak(vote: _Vote, observed: _Observed, line: _Line, certain: Bools) -> Index:
    """Return the offsets whose cell, not the line, made the difference.

    Where no line was damaged, or every record carried its sum, the line has no part in it. Else a cell is weak where
    the same bit differs more often than a line of that quality explains (binomial tail, over all bits tried), or where
    that is `certain` already; once one is, every offset that differs in a single bit is listed with it, for a cell that
    flipped once looks no different.
    """
    if not len(vote.disputed):
        return vote.disputed
    checked = all(r.unit == "record-checked" for r in observed.names)
    if checked or not line.damage:
        return vote.disputed
    tried = max(1, len(vote.count) * 8)
    others = max(0.5, float((vote.against - vote.often).sum() + np.count_nonzero(vote.often)))
    rate = min(0.5, others / max(1.0, float(vote.count.sum())) / 8)
    certain = certain.copy()
    for row in np.flatnonzero(vote.often >= 2):
        trials = int(vote.count[vote.disputed[row]])
        tail = 1.0 - binomial_cdf(int(vote.often[row]) - 1, trials, rate)
        certain[row] |= tail * tried < 1.0 - LEVEL
    if not certain.any() and not (vote.single.all() and _unlike_the_line(vote, line)):
        return vote.disputed[:0]
    return vote.disputed[vote.single | certain]


def _as_one(vote: _Vote, observed: _Observed, error: float) -> tuple[Bools, Bools]:
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


def _unlike_the_line(vote: _Vote, line: _Line) -> bool:
    """Tell whether bytes that all differ in a single bit are unlike what the line leaves behind.

    A line that spoils characters leaves wrong digits in proportion to its damage, and where no memory answers as often
    as in the ROM. Far more of them here are a cell's. So are a few, if with all that damage the line left none.
    """
    here, trials = int(vote.against.sum()), int(vote.count.sum())
    if here > MOST_LEFT * (line.damage + 1):
        return not line.trials or here * line.trials > MOST_LEFT * (line.against + 1) * trials
    return here + line.against < poisson_quantile(LEFT * line.damage, UNLIKELY)


def _readings_each(observed: _Observed, driven: int) -> npt.NDArray[np.int32]:
    """Return how many readings saw each byte in any copy, int32[size]."""
    total = np.zeros(observed.value.shape[1], np.int32)
    for row in np.unique(observed.reading):
        total += (observed.known[observed.reading == row] == driven).any(axis=0)
    return total


def _doubts(
    vote: _Vote,
    observed: _Observed,
    wrong: npt.NDArray[np.float64],
    open_ones: Index,
    error: float,
    driven: int,
) -> tuple[Doubt, ...]:
    unseen = np.flatnonzero(vote.count == 0)[:MOST_UNSEEN]
    close = vote.single & (vote.margin < SURE_MARGIN)
    disputed = vote.disputed[(wrong[vote.disputed] > DOUBT) | close]
    again = min(1.0, error * SAME_ERROR)
    offsets = np.union1d(np.union1d(disputed, open_ones), unseen)
    agreed, times = _agreed(observed, offsets, driven)
    result = []
    for offset, value, count in zip(offsets.tolist(), agreed.tolist(), times.tolist(), strict=True):
        if value >= 0 or not count:
            result.append(Doubt(offset, ((value, count, 1.0),) if count else ()))
            continue
        full = observed.known[:, offset] == driven
        counts = np.bincount(observed.value[full, offset], minlength=256)
        values = np.argsort(-counts, kind="stable")[: np.count_nonzero(counts)]
        weights = again ** (counts[values[0]] - counts[values]).astype(np.float64)
        shares = weights / weights.sum()
        result.append(
            Doubt(
                offset,
                tuple((int(v), int(counts[v]), round(float(p), 6)) for v, p in zip(values, shares, strict=True)),
            )
        )
    return tuple(result)


def _agreed(observed: _Observed, offsets: Index, driven: int) -> tuple[npt.NDArray[np.int16], Index]:
    """Return the one value seen at each offset, int16, below 0 where there were none or several, and how often it was.

    On a noisy line every byte of a single reading is in doubt, and there are many of them.
    """
    full = observed.known[:, offsets] == driven
    value = np.where(full, observed.value[:, offsets], np.int16(-1)).astype(np.int16)
    most = value.max(axis=0, initial=-1)
    agrees = ((value == most) | ~full).all(axis=0)
    return np.where(agrees, most, np.int16(-1)), full.sum(axis=0, dtype=np.int64)


def _confidence(
    vote: _Vote,
    observed: _Observed,
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


def _bound(vote: _Vote, against: int, spare: int, more: int) -> float:
    """Return the bound on the number of wrong bytes, if `more` observations of each byte agreed.

    Where fewer are expected than one in twenty images would have, that expectation; else the count that a Poisson
    variable of that mean exceeds once in twenty times.
    """
    expected = _expected_wrong(vote, upper_bound(against, spare, LEVEL), more)
    if expected <= 1 - LEVEL:
        return expected
    return float(min(len(vote.count), poisson_quantile(expected, LEVEL)))


def _expected_wrong(vote: _Vote, error: float, more: int) -> float:
    """Return the expected number of wrong bytes at an error rate, if `more` observations of each byte agreed."""
    again = min(1.0, error * SAME_ERROR)
    amounts, counts = np.unique(vote.count, return_counts=True)
    seen = amounts + more
    total = float(np.sum(counts * np.where(seen > 0, error * again ** np.maximum(seen - 1.0, 0.0), 1.0)))
    lead = again ** (vote.margin + more).astype(np.float64)
    agreed = error * again ** np.maximum(vote.count[vote.disputed] + more - 1.0, 0.0)
    return max(0.0, total + float(np.sum(lead / (1.0 + lead) - agreed)))


def _more(vote: _Vote, against: int, spare: int, copies: int, target: float, bound: float) -> int | None:
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
