"""The sum on each line of a dump: where it stands, how it is printed, and that it is right too often for chance."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from romassay.formats.layout import Base, Layout, Number, Sum, SumPlace
from romassay.formats.learning.patterns import AGREE, as_text, common_pattern
from romassay.formats.learning.sample import Cells, Found, fits, usual
from romassay.formats.learning.text_column import TELLING, first_seen, gutter_place
from romassay.formats.sums import KINDS
from romassay.reading import Bytes, Index, Mask

_MAX_SUM_DIGITS = 6
_MAX_BEFORE_SUM = 10
_ONE_DIGIT = 16
"""Sums of eight bits that are all smaller have one digit: those are no sums."""
_FEWEST = 2
"""Unlike lines that bear out a sum."""


@dataclass(frozen=True, slots=True)
class _Place:
    """A place where sums may stand.

    Attributes:
        place: in the layout's words.
        before: the literal text before them.
        digits: of each line; empty where it has none there.
        rest: of each line's tail behind them.
        width: columns of sums that end in the same column, blanks in front; 0 where they do not.
    """

    place: SumPlace
    before: str
    digits: list[bytes]
    rest: list[bytes]
    width: int = 0


HEX_RUN = re.compile(rb"[0-9A-Fa-f]+")


def _sum_places(found: Sequence[Found], tails: list[bytes], data: Bytes, cells: Cells) -> Iterator[_Place]:
    """Yield where a sum may stand: behind the cells, at the end of the line, between address and cells."""
    for length in range(_MAX_BEFORE_SUM + 1):
        before, share = usual([t[:length] for t in tails])
        if share < 0.7 or len(before) < length:
            break
        if before[-1:].isdigit():
            continue
        runs = [HEX_RUN.match(t, length) if t.startswith(before) else None for t in tails]
        digits = [r[0] if r else b"" for r in runs]
        if sum(map(bool, digits)) >= 0.7 * len(tails) and length > 0:
            rest = [t[r.end() :] if r else t for t, r in zip(tails, runs, strict=True)]
            yield _Place("cells", as_text(before), digits, rest)
    aligned = _aligned_sums(tails)
    if aligned:
        yield aligned
    behind = gutter_place(tails, data, cells.size)
    for width in (2, 4, 3, 5, 6):
        yield from _sums_at_end(tails, width, None if behind is None else behind[0] + data.shape[1])
    if (
        cells.skip == 1
        and all(f.address is not None for f in found)
        and cells.runs > 1
        and ends_as_it_goes_on(found, cells)
        and _in_even_groups(found, cells)
    ):
        between = usual([f.line.between(f.first - 2) for f in found])[0]
        yield _Place("front", as_text(between), [f.line.token(f.first - 1) for f in found], tails)


def ends_as_it_goes_on(found: Sequence[Found], cells: Cells) -> bool:
    """Tell whether the last cell stands as the others do: one set apart is a sum, and the first then is none."""
    if cells.runs < TELLING:
        return cells.runs == 1
    last = [f.line.between(f.first + cells.runs - 2) for f in found]
    return usual(last)[0] == usual([f.line.between(f.first) for f in found])[0]


def _in_even_groups(found: Sequence[Found], cells: Cells) -> bool:
    """Tell whether the cells stand in groups of one size: a sum taken for a cell makes the last group one too long."""
    gaps = [usual([f.line.between(f.first + i) for f in found])[0] for i in range(cells.runs - 1)]
    inside = Counter(gaps).most_common(1)[0][0]
    ends = [i for i, gap in enumerate(gaps, 1) if gap != inside]
    sizes = {end - start for start, end in zip([0, *ends], [*ends, cells.runs], strict=True)}
    return len(sizes) == 1


_ALIGNED = re.compile(rb"( ?[^0-9A-Za-z ]?)( *)([0-9A-Fa-f]+)(.*)", re.DOTALL)


def _aligned_sums(tails: list[bytes]) -> _Place | None:
    """Return numbers of different widths that end in the same column behind the cells, if nearly all tails have one."""
    found = [_ALIGNED.fullmatch(t) for t in tails]
    good = [m for m in found if m]
    if len(good) < 0.9 * len(tails) or len({len(m[3]) for m in good}) < 2:
        return None
    before, share = usual([m[1] for m in good])
    end, _ = Counter(m.end(3) for m in good).most_common(1)[0]
    if share < 0.9 or sum(m.end(3) == end for m in good) < 0.9 * len(good):
        return None
    digits = [m[3] if m else b"" for m in found]
    rest = [m[4] if m else t for m, t in zip(found, tails, strict=True)]
    return _Place("cells", as_text(before), digits, rest, end - len(before))


def _sums_at_end(tails: list[bytes], width: int, gutter_end: int | None) -> Iterator[_Place]:
    """Yield the last digits of lines behind text that they share, also where a bracket closes after them."""
    stripped = [t.rstrip(b" )]}>|*\t") for t in tails]
    digits = [t[-width:] if HEX_RUN.fullmatch(t[-width:]) and len(t) >= width else b"" for t in stripped]
    if sum(map(bool, digits)) < 0.7 * len(tails):
        return
    before = b""
    if gutter_end is not None:
        before, share = usual([t[gutter_end:-width] for t in stripped])
        before = before if share >= 0.7 and not HEX_RUN.fullmatch(before[-1:]) else b""
    for length in range(1, _MAX_BEFORE_SUM + 1 if gutter_end is None else 0):
        text, share = usual([t[-width - length : -width] for t in stripped])
        if share < 0.95 or len(text) < length or (chr(text[0]).isalnum() and length == 1):
            break
        before = text
    if before:
        yield _Place("end", as_text(before), digits, tails)


def with_sum(
    layout: Layout, found: Sequence[Found], tails: list[bytes], data: Bytes, cells: Cells
) -> tuple[Layout, list[bytes]]:
    """Find a sum that is right on many lines; return the layout with it, and what remains of the tails."""
    base = layout.address.base if layout.address else 16
    printed = np.array([0 if f.address is None else f.line.value(f.address, base) or 0 for f in found], np.int64)
    best: tuple[float, Layout, list[bytes]] = (0.0, layout, tails)
    for place in _sum_places(found, tails, data, cells):
        for sum_base in dict.fromkeys((layout.cell.base, 16, 10, 8)):
            good = [0 < len(d) <= _MAX_SUM_DIGITS and fits(d, sum_base) for d in place.digits]
            if sum(good) < 0.5 * len(good):
                continue
            values = np.array([int(d, sum_base) if g else -1 for d, g in zip(place.digits, good, strict=True)])
            if cells.count == 1 and cells.size > 1 and _only_repeats(found, place):
                continue
            known = layout.where == "line"
            kind, share = _best_kind(printed, data, values, length_known=known, addressed=known)
            front = place.place == "front" and not _is_set_apart(found)
            if front and _right_behind(printed, data, values, length_known=known) >= share - 0.02:
                continue
            if share > best[0] + 0.02:
                number = _sum_number(place.digits, sum_base)
                if place.width:
                    number = Number(sum_base, place.width, "right")
                after = layout.after
                if place.place == "front":
                    after = common_pattern([f.line.between(f.first - 1) for f in found])
                total = Sum(kind, number, place.before, place.place)
                best = (share, replace(layout, sum=total, after=after), place.rest)
    return best[1], best[2]


def _only_repeats(found: Sequence[Found], place: _Place) -> bool:
    """Tell whether what may be a sum is on nearly every line the only cell once more: then it is another cell."""
    same = sum(
        f.line.token(f.first).lstrip(b"0") == digits.lstrip(b"0") for f, digits in zip(found, place.digits, strict=True)
    )
    return same >= AGREE * len(found)


def _is_set_apart(found: Sequence[Found]) -> bool:
    """Tell whether what stands before the cells is set apart from them, unlike they are from one another."""
    after = usual([f.line.between(f.first - 1) for f in found])[0]
    return after != usual([f.line.between(f.first) for f in found])[0]


def _right_behind(printed: Index, data: Bytes, values: Index, *, length_known: bool) -> float:
    """Return on what share of the lines the last byte is a sum of the others, with the number in front as a byte.

    Sums that bring a line to one value are right in either place; they seldom stand in front.
    """
    whole = np.column_stack([np.clip(values, 0, 0xFF), data]).astype(np.uint8)
    return _best_kind(printed, whole[:, :-1], whole[:, -1].astype(np.int64), length_known=length_known)[1]


def _best_kind(
    printed: Index, data: Bytes, values: Index, *, length_known: bool, addressed: bool = True
) -> tuple[str, float]:
    """Return the kind of sum that is right most often and on how many lines; '' where none is to be believed.

    Where not every line has an address, sums over the address can't be checked line by line, and are none.
    """
    telling = first_seen(data) & (np.ones(len(data), np.bool_) if length_known else telling_lines(data))
    if not length_known and telling.sum() < TELLING and data.shape[1] > 1:
        return "", 0.0
    printed, data, values = printed[telling], data[telling], values[telling]
    different = {row.tobytes() for row in np.column_stack([printed, data])}
    if len(different) < _FEWEST or (values < _ONE_DIGIT).all():
        return "", 0.0
    best = ("", 0.0)
    for kind in KINDS.values():
        if kind.address_bytes and not addressed:
            continue
        right = kind.of(printed, data) == values
        share = float(right.mean())
        if share > best[1] + 0.02 and _is_believable(right, values, length_known=length_known):
            best = (kind.name, share)
    return best


def _is_believable(right: Mask, values: Index, *, length_known: bool) -> bool:
    """Tell whether a sum is right on more lines than chance would have it: one in 256 for each kind and place."""
    count, lines = int(right.sum()), len(right)
    if lines < 8:
        return count >= (0.6 * lines if lines >= 3 else lines)
    several = len(set(values[right].tolist())) >= 2
    least = 0.1 if length_known else 0.3
    return count >= TELLING and count >= least * lines and (several or count >= 0.6 * lines)


def telling_lines(data: Bytes) -> Mask:
    """Tell on which lines a sum can be told from data: bytes that grow evenly or stay the same sum up to themselves."""
    if data.shape[1] < 3:
        return np.ones(len(data), np.bool_)
    steps = np.diff(data, axis=1)
    odd = (steps != np.median(steps, axis=1, keepdims=True)).sum(axis=1)
    telling: Mask = odd >= max(1, min(3, steps.shape[1] // 2))
    return telling


_FULL_SUM: dict[int, tuple[int, ...]] = {10: (5,), 8: (6,), 2: (8, 16)}
"""Digits of sums that are so long only by zeros in front, or by chance."""


def _sum_number(digits: list[bytes], base: Base) -> Number:
    widths = [len(d) for d in digits]
    width, number = Counter(widths).most_common(1)[0]
    fixed = base == 16 or width in _FULL_SUM[base] or any(len(d) > 1 and d.startswith(b"0") for d in digits)
    fixed = fixed and number >= AGREE * len(widths)
    return Number(base, width, "zeros") if fixed else Number(base)
