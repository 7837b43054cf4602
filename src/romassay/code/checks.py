"""Checks that the firmware may make of its own image: sums and CRCs at a constant, or equal to a stored value.

A check is tried where firmware usually makes one, the likeliest place first: over the whole image, up to the vectors
or to the padding, around a value that is stored near the beginning, and block by block, with the values in each block
or in a table; then of parts of the image, where the value has 32 bits, or 16 and its complement beside it. Each trial
comes out right by chance once in so many. The chances of all trials up to a hit that would have convinced as much are
added up, and a hit counts only where chance would hardly give one: a single 8-bit sum never does, and it is blind to
bytes in a wrong order besides. Blocks that are blank, equal to another or a regular table prove nothing. A single value
of 16 bits over a range that begins or ends anywhere cannot be told from chance: there are more ranges than values.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np

from romassay.code.check_blocks import by_blocks, by_table
from romassay.code.check_parts import anywhere, with_complement
from romassay.code.model import Check
from romassay.code.sums import CRC_BY_NAME, KNOWN_CRCS, USUAL_CRCS, USUAL_LONG, WIDE, WIDTHS, Bytes, Totals
from romassay.code.trials import HEADS, LEAST, Order, Trial, constant, stored_at
from romassay.cpus.likeness import padding

ENOUGH = 0.0075
"""Chance hits below which a hit counts."""

MOST = 1 << 16
"""Bytes of an image that is searched."""

HEADERS = (3, 8, 16)
"""Bytes of a first jump or a header that a check may leave out. Common practice, no source."""

Names = Sequence[str]

_FAR_LESS = 0.01
"""What a less usual place must have less chance hits by, to be told instead of a more usual one."""

_SMALL_STEP = 4
_SMOOTH = 0.6
"""Share of small steps from which on bytes are a curve or a count, and no program."""


def own_checks(data: Bytes, *, vectors: int = 0, order: Order | None = None) -> tuple[Check, ...]:
    """Return the checks that an image seems to make of itself, and that chance does not explain.

    Those of one place are told: the most usual one, unless another convinces far more.

    Args:
        data: the image.
        vectors: bytes of the vectors at its end, before which a value may be stored.
        order: that of the CPU's words, where it is known.
    """
    size = len(data)
    if not LEAST <= size <= MOST or _repeats(data):
        return ()
    totals = Totals(data)
    tried: list[float] = []
    best: list[Check] = []
    for stage in _stages(totals, vectors, order):
        trials = list(stage)
        tried += [trial.chance for trial in trials]
        found: list[Check] = []
        for trial in (trial for trial in trials if trial.hits):
            chance = sum(one for one in tried if one <= trial.chance)
            found += [_told(check, chance) for check in trial.hits if chance < ENOUGH]
        found = _plainly(found, best)
        if found and (not best or _chance(found) < _chance(best) * _FAR_LESS):
            best = found
    return tuple(best)


def _plainly(found: Sequence[Check], known: Sequence[Check]) -> list[Check]:
    """Return what was found without what says it again.

    Of several CRCs one for each stored value; of a CRC a stored value rather than a constant, of a sum the reverse.
    """
    first: dict[tuple[object, ...], Check] = {}
    for check in found:
        place = check.first, check.last, check.stored_at
        first.setdefault(place if check.kind in CRC_BY_NAME else (*place, check.kind), check)
    stored = {check.kind for check in (*found, *known) if check.stored_at is not None}
    constants = {check.kind for check in found if check.stored_at is None}
    again = {kind for kind in stored & constants if kind in CRC_BY_NAME}
    return [
        check for check in first.values() if check.kind not in (again if check.stored_at is None else constants - again)
    ]


def _stages(totals: Totals, vectors: int, order: Order | None) -> Iterator[Iterator[Trial]]:
    """Yield what is tried, the likeliest first: usual checks in usual places, then rarer ones, and rarer places."""
    usual = _usual(order)
    sums = tuple(name for name in WIDE if name not in usual and name not in CRC_BY_NAME)
    crcs = tuple(name for name in WIDE if name not in usual and name in CRC_BY_NAME)
    turned: tuple[Order, ...] = () if order is None else ("big" if order == "little" else "little",)
    places = (_at_an_end, _to_the_vectors, _to_the_padding)
    for place in places:
        yield place(totals, usual, vectors, order)
    yield _constants(totals, (*usual, *sums))
    yield by_blocks(totals)
    yield _at_an_end(totals, sums, vectors, order)
    yield _around_a_head(totals, usual, HEADS[:2], order)
    yield _halves(totals, usual, order)
    for place in places[1:]:
        yield place(totals, sums, vectors, order)
    yield from (place(totals, usual, vectors, other) for other in turned for place in places)
    yield _around_a_head(totals, usual, HEADS[2:], order)
    yield _around_a_head(totals, sums, HEADS[:2], order)
    yield _behind_a_header(totals, usual, order)
    yield from (_at_an_end(totals, sums, vectors, other) for other in turned)
    yield _around_a_head(totals, KNOWN_CRCS, HEADS, order)
    for place in places:
        yield place(totals, crcs, vectors, order)
    yield _halves(totals, (*sums, *crcs), order)
    yield by_table(totals)
    yield with_complement(totals, order)
    yield anywhere(totals, vectors)
    yield _constants(totals, crcs)
    yield from (place(totals, crcs, vectors, other) for other in turned for place in places)
    yield _around_a_head(totals, crcs, HEADS, None)


def _usual(order: Order | None) -> tuple[str, ...]:
    """Return the checks of 16 and 32 bits that are the commonest: words are added up as the CPU takes them."""
    words = [f"words-16-{one}" for one in (("little", "big") if order is None else (order,))]
    return ("sum-16", *words, *USUAL_CRCS, *USUAL_LONG)


def _chance(found: Sequence[Check]) -> float:
    return min(check.chance_hits for check in found)


def _told(check: Check, chance: float) -> Check:
    return Check(check.kind, check.first, check.last, check.stored_at, check.value, chance)


def _repeats(data: Bytes) -> bool:
    """Tell whether the image is a shorter one several times, counts on, is smooth or blank: sums then come out even."""
    half = len(data) // 2
    steps = np.diff(data)[~padding(data)[1:]]
    if len(steps) < LEAST:
        return True
    smooth = any(_share_of_small_steps(data, stride) > _SMOOTH for stride in (1, 2))
    counts_on = int(np.bincount(steps).max()) > 0.5 * len(steps)
    blank = int(np.bincount(data).max()) > 0.9 * len(data)
    return counts_on or smooth or blank or bool((data[:half] == data[half : 2 * half]).all())


def _share_of_small_steps(data: Bytes, stride: int) -> float:
    """Return the share of bytes a few above or below the one so far before, of those that are not blank."""
    steps = (data[stride:] - data[:-stride]).view(np.int8)
    written = ~padding(data)[stride:]
    return float((np.abs(steps[written].astype(np.int16)) <= _SMALL_STEP).mean()) if written.any() else 1.0


def _at_an_end(totals: Totals, names: Names, vectors: int, order: Order | None) -> Iterator[Trial]:
    del vectors
    size = len(totals.data)
    for name in names:
        stored = WIDTHS[name] // 8
        yield stored_at(totals, name, ((0, size - stored),), size - stored, order)
        yield stored_at(totals, name, ((stored, size),), 0, order)


def _constants(totals: Totals, names: Names) -> Iterator[Trial]:
    for name in names:
        yield constant(totals, name, 0, len(totals.data))


def _to_the_vectors(totals: Totals, names: Names, vectors: int, order: Order | None) -> Iterator[Trial]:
    size = len(totals.data)
    for name in names if vectors else ():
        at = size - vectors - WIDTHS[name] // 8
        yield stored_at(totals, name, ((0, at),), at, order)
        yield stored_at(totals, name, ((0, at), (size - vectors, size)), at, order)


def _to_the_padding(totals: Totals, names: Names, vectors: int, order: Order | None) -> Iterator[Trial]:
    """Yield checks of what stands before the padding at the end, whose value is the last of it."""
    size = len(totals.data) - vectors
    blank = totals.data[:size] == totals.data[size - 1]
    end = size if blank.all() else int(np.flatnonzero(~blank)[-1]) + 1
    for name in names if size - end >= LEAST // 4 else ():
        at = end - WIDTHS[name] // 8
        if at >= LEAST:
            yield stored_at(totals, name, ((0, at),), at, order)


def _halves(totals: Totals, names: Names, order: Order | None) -> Iterator[Trial]:
    """Yield checks of the first half alone, as of a program that is followed by tables."""
    half = len(totals.data) // 2
    for name in names if half >= LEAST and not _repeats(totals.data[:half]) else ():
        at = half - WIDTHS[name] // 8
        yield stored_at(totals, name, ((0, at),), at, order)


def _around_a_head(totals: Totals, names: Names, heads: Sequence[int], order: Order | None) -> Iterator[Trial]:
    size = len(totals.data)
    for at in heads:
        for name in names:
            behind = at + WIDTHS[name] // 8
            yield stored_at(totals, name, ((behind, size),), at, order)
            yield stored_at(totals, name, ((0, at), (behind, size)), at, order)


def _behind_a_header(totals: Totals, names: Names, order: Order | None) -> Iterator[Trial]:
    """Yield checks of what follows a first jump or a header, the value at the end."""
    size = len(totals.data)
    for first in HEADERS:
        for name in names:
            at = size - WIDTHS[name] // 8
            yield stored_at(totals, name, ((first, at),), at, order)
