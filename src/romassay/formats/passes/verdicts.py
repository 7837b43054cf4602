"""Which addresses are certain: those that a neighbour bears out, or a sum does, or that stand alone."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.rows import SHORT, Rows
from romassay.formats.passes.units import BUS, NEAR, Units, space_of
from romassay.formats.sums import KINDS
from romassay.reading import Index, Mask

OUT_OF_STEP = "the address is out of step"
UNREADABLE = "the address can't be read"
_ALIKE = 0.75
"""Share of its bytes in which a line sent again must be the same."""
_BYTES = 256
_FAR_DIGITS = 2
"""Digits in which an address must differ from the expected one before it can't be that with errors."""


@dataclass(slots=True)
class Verdicts:
    """What was decided about units.

    Attributes:
        taken: bool[n].
        address: int64[n], where its bytes belong; for units not taken where they would, or below 0.
        proven: those not taken whose place both neighbours bear out.
        reason: for those not taken.
    """

    taken: Mask
    address: Index
    proven: set[int] = field(default_factory=set)
    reason: dict[int, str] = field(default_factory=dict)


def judged(units: Units, rows: Rows, layout: Layout) -> Verdicts:
    """Decide which units' addresses are certain."""
    n = len(units.address)
    linked = links_between(units.address, units.total, units.full, space_of(rows, layout) or 1 << BUS)
    for i in np.flatnonzero(linked & (units.address[1:] == units.address[:-1])).tolist():
        linked[i] = units.rows[i] > 1 or hold_alike(int(units.first[i]), int(units.first[i + 1]), rows)
    taken = np.zeros(n, np.bool_)
    taken[:-1] |= linked
    taken[1:] |= linked
    total = KINDS[layout.sum.kind] if layout.sum else None
    if total is not None and total.address_bytes:
        upper = (units.address // layout.scale) >> 8 * total.address_bytes
        alike = upper[1:] == upper[:-1]
        taken |= rows.checked[units.first] & (np.append(alike, n == 1) | np.append(n == 1, alike))
    verdicts = Verdicts(taken, units.address.copy())
    if taken.all():
        return verdicts
    breaks = _breaks(rows, units)
    all_sound = bool((units.sound & (units.address >= 0)).all()) and not len(rows.damaged)
    loose = np.flatnonzero(~taken)
    groups = np.split(loose, np.flatnonzero(np.diff(loose) > 1) + 1)
    for group in groups:
        _judge_group(group, units, rows, breaks, all_sound, verdicts)
    return verdicts


def links_between(address: Index, total: Index, full: Index, space: int) -> Mask:
    """Tell which of some lines the next one goes on from, or is the same as: bool[n - 1].

    Args:
        address: int64[n], below 0 where it can't be read.
        total: int64[n], bytes that the line has.
        full: int64[n], bytes that it would have if it were full.
        space: behind which addresses begin at 0 again.
    """
    here, there = address[:-1], address[1:]
    end = here + total[:-1]
    wraps = (here < space) & (end >= space) & (there == end - space)
    goes_on = (there == end) | (there == here + full[:-1]) | wraps
    again = (there == here) & (total[:-1] == total[1:]) & (total[:-1] > 0)
    linked: Mask = (here >= 0) & (there >= 0) & (goes_on | again)
    return linked


def _breaks(rows: Rows, units: Units) -> Mask:
    """Tell before which units a line of other text stands: bool[n + 1], the ends of the file count as text."""
    before = np.searchsorted(rows.foreign, rows.line[units.first])
    last = rows.line[units.first + units.rows - 1]
    after = np.searchsorted(rows.foreign, last)
    inner = before[1:] != after[:-1]
    return np.concatenate([[True], inner, [True]])


def _judge_group(
    group: Index,
    units: Units,
    rows: Rows,
    breaks: Mask,
    all_sound: bool,
    verdicts: Verdicts,
) -> None:
    """Decide about units in a row that nothing bears out."""
    lead, tail = int(group[0]), int(group[-1])
    end = int(units.address[lead - 1] + units.total[lead - 1]) if lead else None
    follow = int(units.address[tail + 1]) if tail + 1 < len(units.address) else None
    lengths = units.full[group]
    offsets = np.cumsum(lengths) - lengths
    proven = end is not None and follow is not None and follow - end == lengths.sum()
    for i, offset, length in zip(group.tolist(), offsets.tolist(), lengths.tolist(), strict=True):
        after_break, before_break = bool(breaks[i]), bool(breaks[i + 1])
        forward = None if end is None else end + offset
        backward = None if follow is None else follow - (int(lengths.sum()) - offset)
        if units.total[i] == 0 and units.rows[i] == 1:
            verdicts.reason[i] = ""
        elif not proven and (
            (
                _has_own_place(i, units, rows)
                and _stands_alone(i, units, forward, backward, after_break and before_break, all_sound)
            )
            or (end == follow and _is_resent(i, units, rows))
        ):
            verdicts.taken[i] = True
        else:
            expected = forward if proven or not breaks[lead : i + 1].any() else None
            if expected is None and not breaks[i + 1 : tail + 2].any():
                expected = backward
            in_order = proven or follow is None or end is None or follow > end
            known = expected is not None and expected >= 0 and length > 0 and in_order
            verdicts.address[i] = expected if known and expected is not None else -1
            if proven and known:
                verdicts.proven.add(i)
            verdicts.reason[i] = UNREADABLE if units.address[i] < 0 else OUT_OF_STEP


def _has_own_place(i: int, units: Units, rows: Rows) -> bool:
    """Tell whether a unit that nothing bears out is a line of the dump at all, and a whole one.

    The first line of a file may be what a cut has left of one; a short one behind other text may show registers, or be
    the rest of a broken line.
    """
    if units.rows[i] > 1 or len(units.address) == 1:
        return True
    row = int(units.first[i])
    short = rows.state[row] == SHORT
    like_a_byte = short and units.address[i] < _BYTES and bool((units.address >= _BYTES).any())
    return bool(rows.line[row] > 1 and not (short and rows.edits[row] > 0) and not like_a_byte)


def _stands_alone(
    i: int, units: Units, forward: int | None, backward: int | None, isolated: bool, all_sound: bool
) -> bool:
    """Tell whether a single unit may be taken at its word: nothing near it could be it with an error in the address."""
    address = int(units.address[i])
    if address < 0:
        return False
    if len(units.address) == 1:
        return True
    if not units.sound[i] and units.rows[i] == 1:
        return False
    near = [e for e in (forward, backward) if e is not None and e >= 0]
    if not isolated and not all_sound:
        return False
    return all(_differing_digits(address, e) >= _FAR_DIGITS for e in near)


def _differing_digits(one: int, other: int) -> int:
    """Return in how many hex digits two addresses differ."""
    differing = one ^ other
    return sum(1 for shift in range(0, 64, 4) if differing >> shift & 0xF)


def _is_resent(i: int, units: Units, rows: Rows) -> bool:
    """Tell whether a unit repeats one shortly before it, byte for byte but for a few."""
    if units.rows[i] != 1 or not units.sound[i]:
        return False
    row = int(units.first[i])
    for earlier in range(row - 1, max(-1, row - 2 * NEAR), -1):
        if rows.address[earlier] == rows.address[row] and rows.count[earlier] == rows.count[row]:
            return hold_alike(row, earlier, rows)
    return False


def hold_alike(one: int, other: int, rows: Rows) -> bool:
    """Tell whether two rows hold the same bytes but for a few."""
    count = int(rows.count[one])
    same = rows.value[rows.start[one] :][:count] == rows.value[rows.start[other] :][:count]
    return bool(same.mean() >= _ALIKE) if count else True
