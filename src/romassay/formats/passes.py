"""Rows of a dump to readings: which addresses are certain, where a pass ends and another begins, what is missing.

An address counts only where something else bears it out: the line before or after it goes on from it, or a sum over the
line covers it. A line whose address is out of step with its neighbours is a hole, whatever its bytes say.
"""

from __future__ import annotations

from bisect import bisect_left, bisect_right
from dataclasses import dataclass, field, replace
from itertools import pairwise

import numpy as np
import numpy.typing as npt

from romassay.formats.beside import held_against_text
from romassay.formats.columns import bytes_of_numbers
from romassay.formats.layout import Layout
from romassay.formats.rows import CLEAN, CUT, DAMAGED, MARK, OVERLONG, REASONS, SHORT, STAR, Rows, subset
from romassay.formats.sums import KINDS
from romassay.reading import Hole, Reading, Source, Unit

Index = npt.NDArray[np.int64]
Bool = npt.NDArray[np.bool_]

OUT_OF_STEP = "the address is out of step"
UNREADABLE = "the address can't be read"
TOO_SHORT = "the line is too short"
MISSING = "a line is missing"
TOO_DAMAGED = "the line is too damaged to read"
NO_PLACE = "nothing says where these bytes belong"

_HEX = 16
_BUS = 16
"""Address lines of most hosts."""
_NEAR = 4
"""Lines that a host may send again in one go."""
_MISSING = 32
"""Lines that may be missing in one place before it is taken for a jump."""
_FEW_PIECES = 1 << 16
_MOST_SQUEEZED = 1 << 26
_FEW_ADDRESSES = 2
"""So many of them can't tell whether text among the lines stands in the place of one."""
_ALIKE = 0.75
"""Share of its bytes in which a line sent again must be the same."""
_TELLING = 3
"""Numbers that count up before they may be a heading."""
_FAR_DIGITS = 2
"""Digits in which an address must differ from the expected one before it can't be that with errors."""


@dataclass(slots=True)
class Units:
    """What an address is printed for: a line, or an address with the lines after it that have none.

    Attributes:
        first: index of its first row.
        rows: how many rows.
        address: byte address, below 0 where there is none that can be read.
        total: bytes.
        full: bytes if its lines were all full ones; differs from `total` where the last line is short.
        sound: False where a row of it is damaged or short in the middle.
    """

    first: Index
    rows: Index
    address: Index
    total: Index
    full: Index
    sound: Bool


@dataclass(slots=True)
class Verdicts:
    """What was decided about units.

    Attributes:
        taken: bool[n].
        address: int64[n], where its bytes belong; for units not taken where they would, or below 0.
        proven: those not taken whose place both neighbours bear out.
        reason: for those not taken.
    """

    taken: Bool
    address: Index
    proven: set[int] = field(default_factory=set)
    reason: dict[int, str] = field(default_factory=dict)


def readings_of(rows: Rows, layout: Layout, base: int | None, address_bits: int | None) -> tuple[Reading, ...]:
    """Return a reading for each pass.

    Args:
        rows: in the order of lines.
        layout: that they were read with.
        base: address of the first byte, for dumps without addresses.
        address_bits: lines of the bus, or None to tell from the addresses.
    """
    rows = held_against_text(rows)
    lines = _without_end(rows, layout)
    if _is_one_run(lines, layout):
        placed = Placed(np.arange(len(lines)), lines.address, np.zeros(len(lines), np.bool_), [])
        whole = Part(0, len(lines), set())
        return (_reading(whole, placed, lines, layout, address_bits or _address_bits(placed, layout), 1),)
    rows = _without_headings(_without_commands(rows, layout), layout)
    rows = _without_fill(_unsqueezed(rows, layout), layout)
    units = _units(rows, layout, base)
    verdicts = _judge(units, rows, layout)
    placed = _place(units, verdicts, rows, layout)
    parts = _split(placed, rows, layout)
    bits = address_bits or _address_bits(placed, layout)
    return tuple(_reading(part, placed, rows, layout, bits, number) for number, part in enumerate(parts, 1))


def _without_end(rows: Rows, layout: Layout) -> Rows:
    """Return rows without the address behind the last byte that some printers end with, where it is just that."""
    if len(rows) < 2 or layout.size > 1 or rows.state[-1] != MARK:
        return rows
    if rows.address[-1] != rows.address[-2] + rows.count[-2]:
        return rows
    keep = np.ones(len(rows), np.bool_)
    keep[-1] = False
    return subset(rows, keep)


def _is_one_run(rows: Rows, layout: Layout) -> bool:
    """Tell whether all lines are clean and each goes on from the one before: then there is nothing to judge."""
    if layout.where != "line" or len(rows) < 2 or rows.address[0] < 0:
        return False
    if rows.state.any() or not rows.count.all():
        return False
    return bool((rows.address[1:] == rows.address[:-1] + rows.count[:-1]).all())


# --- rows ---------------------------------------------------------------------------------------------------------


def _without_commands(rows: Rows, layout: Layout) -> Rows:
    """Drop echoed commands that read like the beginning of a line: a few cells, and the next line has the address."""
    if len(rows) < 2 or layout.line_bytes < 2:
        return rows
    few = (rows.state == SHORT) & (rows.count <= 2 * layout.size) & (rows.count < layout.line_bytes)
    few &= rows.address >= 0
    again = np.append(rows.address[1:] == rows.address[:-1], False) & np.append(rows.count[1:] > rows.count[:-1], False)
    keep = ~(few & again)
    return rows if keep.all() else subset(rows, keep)


def _without_headings(rows: Rows, layout: Layout) -> Rows:
    """Drop lines without an address that number the columns, or hold next to nothing, where text stands before them.

    Those that number the columns go in any place, if in one of them the addresses say that the line is too many.
    """
    if layout.where == "line" or layout.line_bytes < 4:
        return rows
    if layout.gutter is not None and layout.gutter.strip():
        return rows
    after_text = _row_breaks(rows)
    next_to_nothing = (rows.address == -1) & (rows.state == SHORT) & (rows.count <= layout.size)
    keep = ~(after_text & next_to_nothing & ~_rounding(rows, layout))
    alike = _counting(rows, layout)
    surplus = _surplus(alike, rows)
    drop = surplus != 0 if (surplus == rows.count[alike]).any() else (surplus != 0) & after_text[alike]
    keep[alike[drop]] = False
    return rows if keep.all() else subset(rows, keep)


def _counting(rows: Rows, layout: Layout) -> Index:
    """Return the rows without an address whose bytes or words count up as a heading of columns does."""
    found: list[int] = []
    whole = (rows.address == -1) & (rows.count == layout.line_bytes) & ~rows.checked
    for step in {1, layout.size} if layout.cells >= _TELLING else ():
        heading = bytes_of_numbers((np.arange(layout.cells) * step)[None], layout.size, layout.order).ravel()
        like = np.flatnonzero(whole)
        for i in range(2 * layout.size):
            like = like[rows.value[rows.start[like] + i] == heading[i]]
        found += [i for i in like.tolist() if np.array_equal(rows.value[rows.start[i] :][: len(heading)], heading)]
    return np.unique(np.array(found, np.int64))


def _surplus(which: Index, rows: Rows) -> Index:
    """Return how many bytes more than the addresses around say there are around some rows; -1 where none tell."""
    printed = np.flatnonzero(rows.address >= 0)
    before = np.concatenate([[0], np.cumsum(rows.count)])
    at = np.searchsorted(printed, which)
    told = (at > 0) & (at < len(printed))
    surplus = np.full(len(which), -1, np.int64)
    a, b = printed[at[told] - 1], printed[at[told]]
    surplus[told] = before[b] - before[a] - (rows.address[b] - rows.address[a])
    return surplus


def _unsqueezed(rows: Rows, layout: Layout) -> Rows:
    """Give each asterisk the bytes of the lines that it stands for, where both ends are certain; drop the others."""
    stars = np.flatnonzero(rows.state == STAR)
    if not len(stars):
        return rows
    count, address = rows.count.copy(), rows.address.copy()
    start = rows.start.copy()
    pieces = [rows.value]
    size = len(rows.value)
    budget = _MOST_SQUEEZED
    for i in stars:
        length = _squeezed_length(rows, int(i), layout)
        if length is None or length > budget:
            continue
        budget -= length
        before = rows.value[rows.start[i - 1] : rows.start[i - 1] + rows.count[i - 1]]
        pieces.append(np.tile(before, length // len(before)))
        start[i], count[i], address[i] = size, length, rows.address[i - 1] + rows.count[i - 1]
        size += length
    known = (
        None if rows.known is None else np.concatenate([rows.known, np.full(size - len(rows.value), 0xFF, np.uint8)])
    )
    state = np.where((rows.state == STAR) & (count > 0), CLEAN, rows.state).astype(np.uint8)
    widened = replace(
        rows,
        address=address,
        start=start,
        count=count,
        state=state,
        value=np.concatenate(pieces),
        known=known,
        shown=None,
    )
    return subset(widened, state != STAR)


def _squeezed_length(rows: Rows, i: int, layout: Layout) -> int | None:
    """Return how many bytes an asterisk stands for, or None."""
    if not 0 < i < len(rows) - 1 or layout.where != "line":
        return None
    if rows.state[i - 1] != CLEAN or rows.count[i - 1] != layout.line_bytes or rows.address[i - 1] < 0:
        return None
    length = int(rows.address[i + 1] - rows.address[i - 1] - rows.count[i - 1])
    if rows.address[i + 1] < 0 or length <= 0 or length % layout.line_bytes:
        return None
    is_last = i + 2 >= len(rows)
    goes_on = is_last or rows.address[i + 2] == rows.address[i + 1] + rows.count[i + 1] or rows.state[i + 2] == STAR
    return length if goes_on else None


def _without_fill(rows: Rows, layout: Layout) -> Rows:
    """Cut the fill off a last word that holds fewer bytes than the others: the address behind the dump tells."""
    if layout.size == 1 or len(rows) < 2:
        return rows
    room = rows.address[1:] - rows.address[:-1]
    over = rows.count[:-1] - room
    cut = (rows.state[1:] == MARK) & (rows.address[:-1] >= 0) & (room > 0) & (over > 0) & (over < layout.size)
    count = rows.count.copy()
    count[:-1][cut] = room[cut]
    return replace(rows, count=count)


# --- units --------------------------------------------------------------------------------------------------------


def _units(rows: Rows, layout: Layout, base: int | None) -> Units:
    if layout.where == "line":
        n = len(rows)
        full = np.where(rows.state == MARK, 0, np.maximum(rows.count, layout.line_bytes))
        sound = (rows.state == CLEAN) | (rows.state == SHORT) | (rows.state == MARK)
        return Units(np.arange(n), np.ones(n, np.int64), rows.address, rows.count, full, sound)
    return _grouped(rows, layout, base)


def _grouped(rows: Rows, layout: Layout, base: int | None) -> Units:
    """Put lines without an address to the address before them."""
    starts = rows.address != -1
    starts[:1] = True
    first = np.flatnonzero(starts)
    count = np.diff(np.append(first, len(rows)))
    total = np.add.reduceat(rows.count, first) if len(first) else np.zeros(0, np.int64)
    address = rows.address[first].copy()
    unsound = (rows.state == DAMAGED) | (rows.state == CUT)
    inner_short = (rows.state == SHORT) & ~np.append(starts[1:], True) & ~_rounding(rows, layout)
    after = np.searchsorted(_suspects(rows), rows.line)
    inner_lost = ~starts & (np.diff(after, prepend=after[:1]) > 0)
    sound = ~np.logical_or.reduceat(unsound | inner_short | inner_lost, first) if len(first) else np.zeros(0, np.bool_)
    if len(first) and address[0] == -1:
        if layout.where == "none":
            address[0] = base or 0
        elif len(first) > 1 and address[1] >= total[0] and sound[0]:
            address[0] = address[1] - total[0]
        else:
            address[0] = -2
    last = first + count - 1
    lacking = np.where(rows.state[last] == SHORT, layout.line_bytes - rows.count[last], 0)
    return Units(first, count, address, total, total + lacking, sound)


def _rounding(rows: Rows, layout: Layout) -> Bool:
    """Tell which rows are short only to end where a full line would: the first behind an uneven address. bool[n]."""
    before = np.concatenate([[-1], rows.address[:-1]])
    marked = np.concatenate([[False], rows.state[:-1] == MARK])
    address = np.where(marked, before, rows.address)
    end = address + rows.count
    rounds: Bool = (address >= 0) & (end % layout.line_bytes == 0) & (rows.count < layout.line_bytes)
    return rounds


def _suspects(rows: Rows) -> Index:
    """Return the lines that may have been data: the damaged ones, and other text as long where addresses tell."""
    few = np.count_nonzero(rows.address != -1) <= _FEW_ADDRESSES
    return rows.damaged if few else np.union1d(rows.damaged, rows.suspect)


# --- addresses ----------------------------------------------------------------------------------------------------


def _judge(units: Units, rows: Rows, layout: Layout) -> Verdicts:
    """Decide which units' addresses are certain."""
    n = len(units.address)
    linked = links_between(units.address, units.total, units.full, _space(rows, layout) or 1 << _BUS)
    for i in np.flatnonzero(linked & (units.address[1:] == units.address[:-1])).tolist():
        linked[i] = units.rows[i] > 1 or _alike(int(units.first[i]), int(units.first[i + 1]), rows)
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


def links_between(address: Index, total: Index, full: Index, space: int) -> Bool:
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
    linked: Bool = (here >= 0) & (there >= 0) & (goes_on | again)
    return linked


def _space(rows: Rows, layout: Layout) -> int | None:
    """Return behind which address the bus begins at 0 again; None where printed addresses may be longer than its own.

    Four hex digits or fewer say so themselves. Where others stay within 16 lines, the bus has so many.
    """
    number = layout.address
    if number is None:
        return None
    fixed = number.base == _HEX and number.pad == "zeros"
    if fixed and number.width > _BUS // 4:
        return None
    space = layout.scale << (4 * number.width if fixed else _BUS)
    return space if (rows.address < space).all() else None


def _breaks(rows: Rows, units: Units) -> Bool:
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
    breaks: Bool,
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

    The first line of a file may be what a cut has left of one; a short one behind other text may show registers.
    """
    if units.rows[i] > 1 or len(units.address) == 1:
        return True
    row = int(units.first[i])
    behind_text = rows.state[row] == SHORT and rows.edits[row] > 0
    return bool(rows.line[row] > 1 and not behind_text)


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
    for earlier in range(row - 1, max(-1, row - 2 * _NEAR), -1):
        if rows.address[earlier] == rows.address[row] and rows.count[earlier] == rows.count[row]:
            return _alike(row, earlier, rows)
    return False


def _alike(one: int, other: int, rows: Rows) -> bool:
    """Tell whether two rows hold the same bytes but for a few."""
    count = int(rows.count[one])
    same = rows.value[rows.start[one] :][:count] == rows.value[rows.start[other] :][:count]
    return bool(same.mean() >= _ALIKE) if count else True


# --- places -------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Placed:
    """Rows whose bytes have a certain address.

    Attributes:
        row: int64[n], indices of rows, in the order of lines.
        address: int64[n].
        breaks: bool[n], other text stands before it.
        holes: what should have been there and was not, each with the line at or after which that is.
    """

    row: Index
    address: Index
    breaks: Bool
    holes: list[tuple[int, Hole]]


def _place(units: Units, verdicts: Verdicts, rows: Rows, layout: Layout) -> Placed:
    holes: list[tuple[int, Hole]] = []
    for i, reason in verdicts.reason.items():
        first = int(verdicts.address[i])
        line = int(rows.line[units.first[i]])
        if reason:
            length = int(rows.count[units.first[i]]) if i in verdicts.proven else int(units.full[i])
            last = first + max(length, 1) - 1
            holes.append((line, Hole(first, last, line, reason) if first >= 0 else Hole(None, None, line, reason)))
    address = np.full(len(rows), -1, np.int64)
    proven = np.zeros(len(rows), np.bool_)
    if layout.where == "line":
        address[verdicts.taken] = units.address[verdicts.taken]
    else:
        _place_groups(units, verdicts, rows, layout, address, proven, holes)
    breaks = _row_breaks(rows)
    _drop_short(rows, layout, address, breaks, proven, holes)
    row = np.flatnonzero((address >= 0) & (rows.count > 0))
    since = np.logical_or.reduceat(breaks, np.concatenate([[0], row[:-1] + 1])) if len(row) else np.zeros(0, np.bool_)
    placed = Placed(row, address[row], since, holes)
    _note_missing(placed, rows, layout)
    return placed


def _row_breaks(rows: Rows) -> Bool:
    before = np.searchsorted(rows.foreign, rows.line)
    return np.concatenate([[True], np.diff(before) > 0]) if len(before) else np.zeros(0, np.bool_)


def _place_groups(
    units: Units,
    verdicts: Verdicts,
    rows: Rows,
    layout: Layout,
    address: Index,
    proven: Bool,
    holes: list[tuple[int, Hole]],
) -> None:
    """Count the addresses of lines without one: all of a unit where the next bears the count out, else while sound."""
    n = len(units.address)
    space = _space(rows, layout)
    suspects, rounding = _suspects(rows), _rounding(rows, layout)
    for i in verdicts.proven:
        span = slice(int(units.first[i]) + 1, int(units.first[i] + units.rows[i]))
        before = np.cumsum(rows.count[span]) - rows.count[span] + rows.count[span.start - 1]
        address[span] = verdicts.address[i] + before
    for i in np.flatnonzero(verdicts.taken).tolist():
        lead, count = int(units.first[i]), int(units.rows[i])
        span = slice(lead, lead + count)
        at = units.address[i] + np.cumsum(rows.count[span]) - rows.count[span]
        end = int(units.address[i] + units.total[i])
        beyond = end - (space or 1 << _BUS)
        goes_on = i + 1 < n and units.address[i + 1] in (end, beyond if beyond >= 0 else end)
        at = at if space is None else at % space
        contradicted = not goes_on and _jumps(i, units, rows, layout.line_bytes)
        if goes_on or (units.sound[i] and not contradicted):
            address[span] = at
            proven[span] = rounding[span] | goes_on
            continue
        certain = 1 if contradicted else _sound_rows(rows, span, suspects, rounding)
        address[lead : lead + certain] = at[:certain]
        lines = [int(rows.line[k]) for k in range(lead + certain, lead + count)]
        holes += [(line, Hole(None, None, line, NO_PLACE)) for line in lines]


def _jumps(i: int, units: Units, rows: Rows, line_bytes: int) -> bool:
    """Tell whether the next address contradicts the count of bytes since this one: a line was lost, or is too many."""
    if i + 1 >= len(units.address) or units.address[i + 1] < 0 or units.rows[i] == 1:
        return False
    before, own = int(rows.line[units.first[i + 1] - 1]), int(rows.line[units.first[i + 1]])
    if ((rows.foreign > before) & (rows.foreign < own)).any():
        return False
    step, total = int(units.address[i + 1] - units.address[i]), int(units.total[i])
    return 0 < step < total or 0 < step - total <= _NEAR * line_bytes


def _sound_rows(rows: Rows, span: slice, suspects: Index, rounding: Bool) -> int:
    """Return how many rows there are up to and with the first that may hide a lost line end."""
    unsound = np.isin(rows.state[span], (SHORT, CUT)) | (rows.edits[span] >= OVERLONG)
    unsound &= ~rounding[span]
    line = rows.line[span]
    unsound[:-1] |= np.searchsorted(suspects, line[1:]) > np.searchsorted(suspects, line[:-1])
    first = np.flatnonzero(unsound)
    return int(first[0]) + 1 if len(first) else len(line)


def _drop_short(
    rows: Rows, layout: Layout, address: Index, breaks: Bool, proven: Bool, holes: list[tuple[int, Hole]]
) -> None:
    """Turn lines that are too short into holes, unless the next line goes on from them or they end a stretch."""
    for i in np.flatnonzero(((rows.state == SHORT) | (rows.state == CUT)) & (address >= 0) & ~proven).tolist():
        last = i + 1 >= len(rows)
        if rows.count[i] and (last or (rows.state[i] == SHORT and not _is_cut(i, rows, layout, address, breaks))):
            continue
        first = int(address[i])
        line = int(rows.line[i])
        holes.append((line, Hole(first, first + layout.line_bytes - 1, line, TOO_SHORT)))
        address[i] = -1


def _is_cut(i: int, rows: Rows, layout: Layout, address: Index, breaks: Bool) -> bool:
    """Tell whether a line with few cells should have had more: what follows goes on as if it were a full one."""
    if breaks[i + 1] or rows.checked[i]:
        return False
    following = next((k for k in range(i + 1, min(i + 1 + _NEAR, len(rows))) if rows.address[k] >= 0), None)
    if following is None:
        return True
    between = (following - i - 1) * layout.line_bytes
    step = int(rows.address[following] - address[i]) - between
    return step != rows.count[i] and 0 < step <= _NEAR * layout.line_bytes


def _note_missing(placed: Placed, rows: Rows, layout: Layout) -> None:
    """Note small steps forward inside a block as missing lines."""
    end = placed.address + rows.count[placed.row]
    gap = placed.address[1:] - end[:-1]
    inside = (gap > 0) & (gap <= _MISSING * layout.line_bytes) & ~placed.breaks[1:]
    covered = {(hole.line, hole.first) for _, hole in placed.holes}
    damaged = rows.damaged.tolist()
    for i in np.flatnonzero(inside).tolist():
        first, last = int(end[i]), int(placed.address[i + 1]) - 1
        before, after = int(rows.line[placed.row[i]]), int(rows.line[placed.row[i + 1]])
        if any((k, first) in covered for k in range(before + 1, after)):
            continue
        lines = damaged[bisect_right(damaged, before) : bisect_left(damaged, after)]
        line = lines[0] if len(lines) == 1 else 0
        placed.holes.append((line or before, Hole(first, last, line, TOO_DAMAGED if line else MISSING)))


# --- passes -------------------------------------------------------------------------------------------------------


@dataclass(slots=True)
class Part:
    """The rows of one pass, as indices into `Placed`, and those among them that were sent again."""

    first: int
    last: int
    resent: set[int]


class _Seen:
    """Addresses that a pass has shown, as few stretches; small gaps are closed."""

    def __init__(self, slack: int) -> None:
        self._first: list[int] = []
        self._end: list[int] = []
        self._slack = slack

    def overlap(self, first: int, end: int) -> int:
        """Return how many addresses of a stretch were seen before."""
        a, b = bisect_right(self._end, first), bisect_left(self._first, end)
        return sum(min(end, self._end[i]) - max(first, self._first[i]) for i in range(a, b))

    def add(self, first: int, end: int) -> None:
        """Note a stretch."""
        a, b = bisect_left(self._end, first - self._slack), bisect_right(self._first, end + self._slack)
        self._first[a:b] = [min([first, *self._first[a : a + 1]]) if a < b else first]
        self._end[a:b] = [max([end, *self._end[b - 1 : b]]) if a < b else end]


def _split(placed: Placed, rows: Rows, layout: Layout) -> list[Part]:
    """Split the rows into passes at repeated runs, and find lines that were sent again."""
    if not len(placed.row):
        return []
    end = placed.address + rows.count[placed.row]
    gap = placed.address[1:] - end[:-1]
    forward = (gap >= 0) & (gap <= _MISSING * layout.line_bytes)
    edges = [0, *(np.flatnonzero(~forward) + 1).tolist(), len(placed.row)]
    slack = _NEAR * layout.line_bytes
    parts = [Part(0, 0, set())]
    seen = _Seen(slack)
    reached = pass_first = int(placed.address[0])
    for k, (a, b) in enumerate(pairwise(edges)):
        first, last = int(placed.address[a]), int(end[b - 1])
        if seen.overlap(first, last):
            goes_on = k + 2 < len(edges) and 0 <= int(placed.address[edges[k + 1]]) - reached <= slack
            if _is_again(first, last, reached, pass_first, bool(placed.breaks[a]), b - a, slack, goes_on):
                parts[-1].resent |= {i for i in range(a, b) if placed.address[i] < reached}
                reached = max(reached, last)
                seen.add(first, last)
                continue
            parts[-1].last = a
            parts.append(Part(a, a, set()))
            seen = _Seen(slack)
            pass_first = first
        seen.add(first, last)
        reached = last
    parts[-1].last = len(placed.row)
    return parts


def _is_again(
    first: int, last: int, reached: int, pass_first: int, after_text: bool, lines: int, slack: int, goes_on: bool
) -> bool:
    """Tell whether a stretch that overlaps the pass so far was sent again, rather than read again."""
    if after_text or (first == pass_first and last == reached and lines > 1):
        return False
    near = 0 < reached - first <= slack and (last >= reached or goes_on or lines == 1)
    return near or (goes_on and lines <= _NEAR)


# --- readings -----------------------------------------------------------------------------------------------------


def _address_bits(placed: Placed, layout: Layout) -> int:
    highest = int(placed.address.max()) if len(placed.address) else 0
    number = layout.address
    if number is not None and number.base == 16 and number.pad == "zeros":
        extra = layout.scale.bit_length() - 1
        printed = 4 * number.width if number.width <= 6 else 16
        return min(32, max(printed + extra, highest.bit_length()))
    return max(16, highest.bit_length())


def _unit_name(layout: Layout) -> Unit:
    if layout.sum is not None:
        return "record-checked"
    return "hex-digit" if layout.cell.base == 16 else "octal" if layout.cell.base == 8 else "decimal"


def _reading(part: Part, placed: Placed, rows: Rows, layout: Layout, bits: int, number: int) -> Reading:
    chosen = slice(part.first, part.last)
    row = placed.row[chosen]
    value, known = _gather(rows, row)
    columns = _as_slice(row)
    count = rows.count[columns]
    runs = np.empty((len(row), 4), np.int64)
    runs[:, 0], runs[:, 1], runs[:, 2] = placed.address[chosen], np.cumsum(count), count
    runs[:, 1] -= count
    runs[:, 3] = rows.line[columns]
    resent = np.array(sorted(i - part.first for i in part.resent), np.int64)
    holes = _holes_of(part, placed, rows)
    if known is not None and (known == 0).any():
        runs, value, known, resent, lost = _without_unknown(runs, value, known, resent, rows, row)
        holes += lost
    if known is not None and (known == 0xFF).all():
        known = None
    runs, resent = _wrapped(runs, resent, _space(rows, layout))
    holes.sort(key=lambda hole: (hole.line, hole.first or 0))
    lines = (int(rows.line[row[0]]), int(rows.line[row[-1]]))
    bad = len({hole.line for hole in holes if hole.line})
    return Reading(
        runs=runs,
        value=value,
        known=known,
        address_bits=bits,
        unit=_unit_name(layout),
        holes=tuple(holes),
        resent=resent,
        source=Source(layout=str(layout), pass_number=number, lines=lines, bad_lines=bad),
    )


def _wrapped(runs: Index, resent: Index, space: int | None) -> tuple[Index, Index]:
    """Cut runs in two where they go beyond the last address of a bus: what is there stands at its first ones."""
    beyond = runs[:, 0] + runs[:, 2] - space if space is not None else np.zeros(0, np.int64)
    over = np.flatnonzero(beyond > 0)
    if not len(over) or space is None:
        return runs, resent
    kept = runs[over, 2] - beyond[over]
    tails = np.stack([np.zeros_like(kept), runs[over, 1] + kept, beyond[over], runs[over, 3]], axis=1)
    runs = runs.copy()
    runs[over, 2] = kept
    again = np.zeros(len(runs), np.bool_)
    again[resent] = True
    again = np.insert(again, over + 1, again[over])
    return np.insert(runs, over + 1, tails, axis=0), np.flatnonzero(again)


def _as_slice(row: Index) -> Index | slice:
    """Return rising indices as a slice, if none is left out: that saves copies."""
    first, last = int(row[0]), int(row[-1])
    return slice(first, last + 1) if last - first + 1 == len(row) else row


def _gather(rows: Rows, row: Index) -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8] | None]:
    """Return the bytes of rows one after the other, in as few copies as may be."""
    columns = _as_slice(row)
    start, count = rows.start[columns], rows.count[columns]
    new = np.flatnonzero(np.concatenate([[True], start[1:] != start[:-1] + count[:-1]]))
    if len(new) > _FEW_PIECES:
        index = np.arange(int(count.sum())) + np.repeat(start - (np.cumsum(count) - count), count)
        return rows.value[index], None if rows.known is None else rows.known[index]
    last = np.append(new[1:], len(row)) - 1
    pieces = [slice(int(a), int(b)) for a, b in zip(start[new], (start + count)[last], strict=True)]
    return _joined(rows.value, pieces), None if rows.known is None else _joined(rows.known, pieces)


def _joined(values: npt.NDArray[np.uint8], pieces: list[slice]) -> npt.NDArray[np.uint8]:
    return values[pieces[0]].copy() if len(pieces) == 1 else np.concatenate([values[piece] for piece in pieces])


def _without_unknown(
    runs: Index,
    value: npt.NDArray[np.uint8],
    known: npt.NDArray[np.uint8],
    resent: Index,
    rows: Rows,
    row: Index,
) -> tuple[Index, npt.NDArray[np.uint8], npt.NDArray[np.uint8], Index, list[Hole]]:
    """Cut bytes of which nothing is known out of the runs, and return them as holes."""
    seen = known != 0
    at = np.union1d(runs[:, 1], np.flatnonzero(seen[1:] != seen[:-1]) + 1)
    owner = np.searchsorted(runs[:, 1], at, "right") - 1
    address = at + runs[owner, 0] - runs[owner, 1]
    length = np.diff(np.append(at, len(value)))
    good = seen[at]
    holes = []
    for i in np.flatnonzero(~good).tolist():
        line_row = int(owner[i])
        first = int(address[i])
        reason = REASONS[int(rows.reason[row[line_row]])] or "unreadable"
        holes.append(Hole(first, first + int(length[i]) - 1, int(runs[line_row, 3]), reason))
    kept, count = owner[good], length[good]
    new = np.stack([address[good], np.cumsum(count) - count, count, runs[kept, 3]], axis=1)
    again = np.flatnonzero(np.isin(kept, resent))
    return new, value[seen], known[seen], again, holes


def _holes_of(part: Part, placed: Placed, rows: Rows) -> list[Hole]:
    """Return the holes between the lines of a pass."""
    first = 0 if part.first == 0 else _first_line(part.first, placed, rows)
    last = _first_line(part.last, placed, rows) if part.last < len(placed.row) else 1 << 62
    return [hole for line, hole in placed.holes if first <= line < last]


def _first_line(i: int, placed: Placed, rows: Rows) -> int:
    """Return the line from which on everything belongs to a row's pass: that of the text before it, or its own."""
    before, own = int(rows.line[placed.row[i - 1]]), int(rows.line[placed.row[i]])
    text = rows.foreign[(rows.foreign > before) & (rows.foreign < own)]
    return int(text[-1]) if len(text) else own
