"""From sample lines that read alike to the layout they were printed with: literal text, columns, sum, gutter, order."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import pairwise
from typing import Literal

import numpy as np
import numpy.typing as npt

from romassay.formats.layout import Base, Layout, Number, Order, Sum, SumPlace, Where, literal
from romassay.formats.sample import Cells, Found, fits, nearly_all, numbers_of, usual
from romassay.formats.sums import KINDS

Bytes = npt.NDArray[np.uint8]
Index = npt.NDArray[np.int64]

_MAX_SUM_DIGITS = 6
_LEAST_ADDRESS_DIGITS, _MOST_ADDRESS_DIGITS = 3, 6
"""Columns from which and up to which right-aligned addresses of a sample may still grow: line numbers have fewer."""
_MAX_BEFORE_SUM = 10
_MAX_BEFORE_GUTTER = 12
_AGREE = 0.75
_FEW_ODD = 0.15
_FEW_OPEN = 2
"""Open columns of a clock or a counter; where there are more, any text may stand."""
_MOST_RUNS = 3
"""Runs of digits in literal text at the end of a line: more are data that happen to be the same."""
_BLANK, _DELETE = 0x20, 0x7F
_HEX = 16
"""Sums of eight bits that are all smaller have one digit: those are no sums."""
_FEWEST = 2
"""Unlike lines that bear out a sum."""
_TELLING = 3
"""Lines on which a sum must be right by more than chance."""
ORDER_UNKNOWN = (
    "nothing in the log shows the order of the bytes in a word: taken as printed, first digits at the lower address"
)
ORDER_OF_OCTAL = (
    "nothing in the log shows the order of the bytes in a word: octal words are taken low byte first, as 16-bit hosts "
    "print them (common practice, no source)"
)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A layout made from lines, and what was assumed for want of evidence, in words."""

    layout: Layout
    notes: tuple[str, ...] = ()


def fit(found: Sequence[Found], base: Base | None, cells: Cells, where: Where) -> Fitted:
    """Return the layout of lines that read alike.

    Args:
        found: the lines; those without an address tell what stands before their cells.
        base: of the addresses; None where there are none.
        cells: how the data is read.
        where: which lines have an address.
    """
    with_address = [f for f in found if f.address is not None]
    without = [f for f in found if f.address is None]
    number, gaps = _cell_form(found, cells)
    layout = Layout(
        cells=cells.count,
        cell=number,
        size=cells.size,
        gaps=gaps,
        address=None,
        unit="words" if cells.words else "bytes",
        where=where,
        after="",
        rest=common_pattern([_before_cells(f, number) for f in without]) if without else "",
    )
    if base is not None and with_address:
        layout = _with_address(layout, with_address, base, number)
    return _with_tail(layout, found, cells)


# --- address ------------------------------------------------------------------------------------------------------


def address_form(
    texts: Sequence[bytes], before: Sequence[bytes], base: Base, after: Sequence[bytes] = ()
) -> tuple[Number, str]:
    """Return how addresses are printed, and the pattern of what stands before them.

    Args:
        texts: their digits.
        before: the lines up to them.
        base: of the digits.
        after: what stands between them and the first cell, where that may be blanks that fill a column.
    """
    widths = Counter(len(t) for t in texts)
    width, number = widths.most_common(1)[0]
    leading = sum(t.startswith(b"0") and len(t) == width for t in texts) if width > 1 else 0
    damaged = _only_damaged([len(t) for t in texts], width) and not _has_grown(texts, width, base)
    padded = damaged or leading > sum(n for w, n in widths.items() if w < width)
    if padded or (min(widths) == width and number >= 0.9 * len(texts) and base != 10 and width >= 3):
        return Number(base, width, "zeros"), common_pattern(before)
    if len(widths) > 1:
        width = max(len(t) for t in texts)
        ends = [len(b) + len(t) for b, t in zip(before, texts, strict=True)]
        room = [b.endswith(b" " * (width - len(t))) for b, t in zip(before, texts, strict=True)]
        if nearly_all(ends) and nearly_all(room) and room[0]:
            leads = [b[: end - width] for b, end in zip(before, ends, strict=True)]
            lead = common_pattern(leads)
            room_left = max(0, _MOST_ADDRESS_DIGITS - width) if width >= _LEAST_ADDRESS_DIGITS else 0
            more = min(len(lead) - len(lead.rstrip(" ")), room_left)
            return Number(base, width + more, "right"), lead[: len(lead) - more]
        if nearly_all([len(b) for b in before]) and _fills_column(texts, after):
            column = Counter(len(a) + len(t) for a, t in zip(after, texts, strict=True)).most_common(1)[0][0]
            room_left = column - width - 1
            more = min(room_left, max(0, _MOST_ADDRESS_DIGITS - width))
            return Number(base, width + more, "left"), common_pattern(before)
    return Number(base), common_pattern(before)


def _only_damaged(widths: Sequence[int], usual_width: int) -> bool:
    """Tell whether numbers of another width stand singly among others, as lost characters leave them.

    Those that have grown a digit stand together.
    """
    odd = [w != usual_width for w in widths]
    changes = sum(a != b for a, b in pairwise(odd))
    return 0 < sum(odd) <= _FEW_ODD * len(widths) and changes > 1.5 * sum(odd)


def _fills_column(texts: Sequence[bytes], after: Sequence[bytes]) -> bool:
    """Tell whether blanks fill a column behind numbers of any width: all of them and some more."""
    columns = [len(t) + len(a) for t, a in zip(texts, after, strict=False)]
    if not columns or not nearly_all(columns) or not nearly_all([len(a.strip()) for a in after]):
        return False
    return not usual([a.strip() for a in after])[0] and Counter(columns).most_common(1)[0][0] > max(map(len, texts))


def _has_grown(texts: Sequence[bytes], width: int, base: Base) -> bool:
    """Tell whether numbers of fewer digits go on, in about a step, into those of so many, as addresses do from 0."""
    texts = [text for text in texts if fits(text, base)]
    values = [int(text, base) for text in texts]
    short = [value for text, value in zip(texts, values, strict=True) if len(text) < width]
    steps = Counter(b - a for a, b in pairwise(values) if b > a)
    if not short or not steps:
        return False
    step = steps.most_common(1)[0][0]
    least: int = base ** (width - 1)
    return 0 <= least - max(short) <= 2 * step


def _with_address(layout: Layout, found: list[Found], base: Base, number: Number) -> Layout:
    which = [f.address or 0 for f in found]
    texts = [f.line.token(i) for f, i in zip(found, which, strict=True)]
    before = [f.line.text[: f.line.tokens[i][0]] for f, i in zip(found, which, strict=True)]
    after = [_before_cells(f, number)[f.line.tokens[i][1] :] for f, i in zip(found, which, strict=True)]
    address, lead = address_form(texts, before, base, after)
    if address.pad == "left":
        after = [text[address.width - len(digits) :] for text, digits in zip(after, texts, strict=True)]
    return replace(layout, address=address, lead=lead, after=common_pattern(after))


def _before_cells(found: Found, number: Number) -> bytes:
    """Return the line up to its first cell, padding left to the cell."""
    start, end = found.line.tokens[found.first]
    if number.pad == "right":
        start = end - number.width
    return found.line.text[: max(start, 0)]


# --- literal text -------------------------------------------------------------------------------------------------


def common_pattern(texts: Sequence[bytes]) -> str:
    """Return the pattern of texts that are nearly all alike: literal where they agree, and open where they do not."""
    text, share = usual(texts)
    if share >= _AGREE:
        return literal(_text(text))
    length, number = Counter(len(t) for t in texts).most_common(1)[0]
    shape, alike = usual([_NUMBER.sub(b"0", t) for t in texts])
    if alike >= _AGREE and alike * len(texts) > 1.03 * number:
        return _number_pattern([t for t in texts if _NUMBER.sub(b"0", t) == shape])
    if number >= _AGREE * len(texts):
        return _column_pattern([t for t in texts if len(t) == length])
    return "*" + literal(_text(_common_end(texts)))


_NUMBER = re.compile(rb"\d+")
_STEADY = 0.94


def _number_pattern(texts: list[bytes]) -> str:
    """Return the pattern of texts that differ in their numbers only: `#` for one that gets longer, else `?` a digit."""
    around = _NUMBER.split(texts[0])
    pattern = literal(_text(around[0]))
    for i, after in enumerate(around[1:]):
        same, share = usual([_NUMBER.findall(t)[i] for t in texts])
        if share >= _STEADY:
            pattern += literal(_text(same + after))
            continue
        width, number = Counter(len(_NUMBER.findall(t)[i]) for t in texts).most_common(1)[0]
        pattern += ("?" * width if number >= _STEADY * len(texts) else "#") + literal(_text(after))
    return pattern


def _column_pattern(texts: list[bytes]) -> str:
    usual_characters = [Counter(column).most_common(1)[0] for column in zip(*texts, strict=True)]
    open_columns = sum(number < 0.85 * len(texts) for _, number in usual_characters)
    least = 0.85 if open_columns <= _FEW_OPEN else 0.97
    pattern = ""
    for character, number in usual_characters:
        steady = number >= least * len(texts) and not chr(character).isdecimal()
        pattern += literal(chr(character)) if steady else "?"
    return _GROWING.sub(lambda match: "?" * len(match[0]), pattern)


_GROWING = re.compile(r" {1,6}(?=\?)")
"""Blanks before a number that may grow into them."""


def _common_end(texts: Sequence[bytes]) -> bytes:
    """Return the text, not of digits, that nearly all texts end with."""
    end = b""
    for length in range(1, max(len(t) for t in texts) + 1):
        tails = [t[-length:] for t in texts if len(t) >= length]
        tail, share = usual(tails)
        if share * len(tails) < _AGREE * len(texts) or chr(tail[0]).isalnum():
            break
        end = tail
    return end


def _text(data: bytes) -> str:
    return data.decode("latin-1")


# --- cells --------------------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class _Column:
    """Where the digits of one cell begin and end in each line."""

    firsts: tuple[int, ...]
    ends: tuple[int, ...]

    @property
    def widths(self) -> list[int]:
        return [e - f for f, e in zip(self.firsts, self.ends, strict=True)]


def _columns(found: Sequence[Found], cells: Cells) -> list[_Column]:
    spans = [[f.line.tokens[f.first + j] for j in range(cells.runs)] for f in found]
    return [_Column(tuple(s[j][0] for s in spans), tuple(s[j][1] for s in spans)) for j in range(cells.runs)]


def _cell_form(found: Sequence[Found], cells: Cells) -> tuple[Number, tuple[str, ...] | None]:
    """Return how the cells are printed and what stands between them."""
    between = [[f.line.between(f.first + j) for f in found] for j in range(cells.runs - 1)]
    usually = [usual(texts) for texts in between]
    if cells.widths:
        gaps = tuple(_text(text) for text, _ in usually)
        if cells.runs != cells.count:
            return Number(cells.base, cells.digits, "zeros"), _spread(gaps, cells)
        return Number(cells.base, cells.widths[0], "zeros" if _may_be_padded(found, cells) else "right"), gaps
    columns = _columns(found, cells)
    width = max(max(c.widths) for c in columns)
    if any(not nearly_all(c.widths) for c in columns) or len({max(c.widths) for c in columns}) > 1:
        sides: tuple[Literal["right", "left"], ...] = ("right", "left")
        for pad in sides:
            aligned = _aligned_gaps(columns, between, width, pad, found)
            if aligned is not None:
                return Number(cells.base, width, pad), aligned
    if all(share >= _AGREE for _, share in usually):
        return Number(cells.base), tuple(_text(text) for text, _ in usually)
    return Number(cells.base), None


def _may_be_padded(found: Sequence[Found], cells: Cells) -> bool:
    """Tell whether bytes of two hex digits are so by zeros in front, not because all of them are large."""
    if cells.base != 16 or set(cells.widths) != {2}:
        return True
    return any(f.line.token(f.first + j).startswith(b"0") for f in found for j in range(cells.runs))


def _aligned_gaps(
    columns: list[_Column],
    between: list[list[bytes]],
    width: int,
    pad: Literal["right", "left"],
    found: Sequence[Found],
) -> tuple[str, ...] | None:
    """Return the gaps between numbers that are aligned to one side in fields of a width, or None if they are not."""
    places = [c.ends if pad == "right" else c.firsts for c in columns]
    if len(columns) == 1:
        starts = [0 if f.address is None else f.line.tokens[f.address][1] for f in found]
        return () if nearly_all([p - s for p, s in zip(places[0], starts, strict=True)]) else None
    gaps = []
    for (one, other), texts in zip(pairwise(places), between, strict=True):
        steps = [b - a for a, b in zip(one, other, strict=True)]
        length = Counter(steps).most_common(1)[0][0] - width
        if not nearly_all(steps) or length < 0:
            return None
        gaps.append(_text(usual([t[:length] if pad == "right" else t[len(t) - length :] for t in texts])[0]))
    return tuple(gaps)


def _spread(gaps: tuple[str, ...], cells: Cells) -> tuple[str, ...]:
    """Spread the gaps between runs of several cells over all cells."""
    spread: list[str] = []
    for width, gap in zip(cells.widths, (*gaps, None), strict=True):
        spread += [""] * (width // cells.digits - 1)
        if gap is not None:
            spread.append(gap)
    return tuple(spread)


# --- what follows the cells ---------------------------------------------------------------------------------------


def _with_tail(layout: Layout, found: Sequence[Found], cells: Cells) -> Fitted:
    """Add the sum, the gutter and the order of bytes, as far as the lines show them."""
    data = _bytes_of(found, cells)
    tails = [_after_cells(f, cells, layout.cell) for f in found]
    layout, tails = _with_sum(layout, found, tails, data, cells)
    at_end = layout.sum is not None and layout.sum.place == "end"
    shown = _with_gutter(layout, tails, data)
    notes: tuple[str, ...] = ()
    if layout.size > 1 and shown is None:
        octal = cells.base == 8
        notes = (ORDER_OF_OCTAL if octal else ORDER_UNKNOWN,)
        layout = replace(layout, order="little" if octal else "big")
    layout = shown or layout
    if layout.sum is not None and at_end:
        return Fitted(replace(layout, end=_end_after_sum(tails)), notes)
    return Fitted(layout if shown else _with_end(layout, tails), notes)


def _end_after_sum(tails: list[bytes]) -> str:
    """Return the literal text behind a sum at the end of the line."""
    ends = [re.split(rb"[0-9A-Fa-f]", t)[-1] for t in tails]
    return _text(usual(ends)[0])


def _after_cells(found: Found, cells: Cells, number: Number) -> bytes:
    """Return the line behind its last cell, padding right of the cell left out."""
    start, end = found.line.tokens[found.first + cells.runs - 1]
    return found.line.text[start + number.width if number.pad == "left" else end :]


def _bytes_of(found: Sequence[Found], cells: Cells) -> Bytes:
    """Return the bytes of lines, uint8[lines, n], those of the first digits of a cell first."""
    rows = []
    for f in found:
        texts = numbers_of(cells, f.line, f.first)
        if cells.widths and cells.base == 16:
            rows.append(bytes.fromhex(b"".join(texts).decode("ascii")))
        else:
            rows.append(b"".join(int(t, cells.base).to_bytes(cells.size, "big") for t in texts))
    return np.frombuffer(b"".join(rows), np.uint8).reshape(len(rows), -1)


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


_RUN = re.compile(rb"[0-9A-Fa-f]+")


def _sum_places(found: Sequence[Found], tails: list[bytes], data: Bytes, cells: Cells) -> Iterator[_Place]:
    """Yield where a sum may stand: behind the cells, at the end of the line, between address and cells."""
    for length in range(_MAX_BEFORE_SUM + 1):
        before, share = usual([t[:length] for t in tails])
        if share < 0.7 or len(before) < length:
            break
        if before[-1:].isdigit():
            continue
        runs = [_RUN.match(t, length) if t.startswith(before) else None for t in tails]
        digits = [r[0] if r else b"" for r in runs]
        if sum(map(bool, digits)) >= 0.7 * len(tails) and length > 0:
            rest = [t[r.end() :] if r else t for t, r in zip(tails, runs, strict=True)]
            yield _Place("cells", _text(before), digits, rest)
    aligned = _aligned_sums(tails)
    if aligned:
        yield aligned
    behind = _gutter_place(tails, data, cells.size)
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
        yield _Place("front", _text(between), [f.line.token(f.first - 1) for f in found], tails)


def ends_as_it_goes_on(found: Sequence[Found], cells: Cells) -> bool:
    """Tell whether the last cell stands as the others do: one set apart is a sum, and the first then is none."""
    if cells.runs < _TELLING:
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
    return _Place("cells", _text(before), digits, rest, end - len(before))


def _sums_at_end(tails: list[bytes], width: int, gutter_end: int | None) -> Iterator[_Place]:
    """Yield the last digits of lines behind text that they share, also where a bracket closes after them."""
    stripped = [t.rstrip(b" )]}>|*\t") for t in tails]
    digits = [t[-width:] if _RUN.fullmatch(t[-width:]) and len(t) >= width else b"" for t in stripped]
    if sum(map(bool, digits)) < 0.7 * len(tails):
        return
    before = b""
    if gutter_end is not None:
        before, share = usual([t[gutter_end:-width] for t in stripped])
        before = before if share >= 0.7 and not _RUN.fullmatch(before[-1:]) else b""
    for length in range(1, _MAX_BEFORE_SUM + 1 if gutter_end is None else 0):
        text, share = usual([t[-width - length : -width] for t in stripped])
        if share < 0.95 or len(text) < length or (chr(text[0]).isalnum() and length == 1):
            break
        before = text
    if before:
        yield _Place("end", _text(before), digits, tails)


def _with_sum(
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
    return same >= _AGREE * len(found)


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
    telling = _first_seen(data) & (np.ones(len(data), np.bool_) if length_known else _telling(data))
    if not length_known and telling.sum() < _TELLING and data.shape[1] > 1:
        return "", 0.0
    printed, data, values = printed[telling], data[telling], values[telling]
    if len(np.unique(np.column_stack([printed, data]), axis=0)) < _FEWEST or (values < _HEX).all():
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


def _is_believable(right: npt.NDArray[np.bool_], values: Index, *, length_known: bool) -> bool:
    """Tell whether a sum is right on more lines than chance would have it: one in 256 for each kind and place."""
    count, lines = int(right.sum()), len(right)
    if lines < 8:
        return count >= (0.6 * lines if lines >= 3 else lines)
    several = len(np.unique(values[right])) >= 2
    least = 0.1 if length_known else 0.3
    return count >= _TELLING and count >= least * lines and (several or count >= 0.6 * lines)


def _first_seen(data: Bytes) -> npt.NDArray[np.bool_]:
    """Tell which lines are unlike all before them: a bus that repeats itself bears out a sum but once."""
    unlike = np.zeros(len(data), np.bool_)
    unlike[np.unique(data, axis=0, return_index=True)[1]] = True
    return unlike if unlike.sum() >= _TELLING else np.ones(len(data), np.bool_)


def _telling(data: Bytes) -> npt.NDArray[np.bool_]:
    """Tell on which lines a sum can be told from data: bytes that grow evenly or stay the same sum up to themselves."""
    if data.shape[1] < 3:
        return np.ones(len(data), np.bool_)
    steps = np.diff(data, axis=1)
    odd = (steps != np.median(steps, axis=1, keepdims=True)).sum(axis=1)
    telling: npt.NDArray[np.bool_] = odd >= max(1, min(3, steps.shape[1] // 2))
    return telling


_FULL_SUM: dict[int, tuple[int, ...]] = {10: (5,), 8: (6,), 2: (8, 16)}
"""Digits of sums that are so long only by zeros in front, or by chance."""


def _sum_number(digits: list[bytes], base: Base) -> Number:
    widths = [len(d) for d in digits]
    width, number = Counter(widths).most_common(1)[0]
    fixed = base == 16 or width in _FULL_SUM[base] or any(len(d) > 1 and d.startswith(b"0") for d in digits)
    fixed = fixed and number >= _AGREE * len(widths)
    return Number(base, width, "zeros") if fixed else Number(base)


def _with_gutter(layout: Layout, tails: list[bytes], data: Bytes) -> Layout | None:
    """Find the bytes as text in what follows, and with them the order of bytes in a word; None where they are not."""
    found = _gutter_place(tails, data, layout.size)
    if found is None:
        return None
    place, order = found
    at_end = layout.sum is not None and layout.sum.place == "end"
    gutter = _text(usual([t[:place] for t in tails])[0])
    end, often = usual([t[place + data.shape[1] :] for t in tails])
    return replace(layout, gutter=gutter, end=_text(end) if often >= 0.5 and not at_end else "", order=order)


def _gutter_place(tails: list[bytes], data: Bytes, size: int) -> tuple[int, Order] | None:
    """Return where in what follows the cells the bytes stand as text, and in which order, or None."""
    best: tuple[float, int, Order] = (0.0, 0, "big")
    unlike = _first_seen(data)
    tails, data = [t for t, first in zip(tails, unlike, strict=True) if first], data[unlike]
    width = _MAX_BEFORE_GUTTER + data.shape[1]
    shown = np.frombuffer(b"".join(t[:width].ljust(width, b"\0") for t in tails), np.uint8).reshape(-1, width)
    orders: tuple[Order, ...] = ("big", "little") if size > 1 else ("big",)
    for order in orders:
        ordered = data
        if order == "little":
            ordered = data.reshape(len(data), -1, size)[:, :, ::-1].reshape(data.shape)
        for place in range(_MAX_BEFORE_GUTTER + 1):
            share, compared = _agreement(shown[:, place : place + data.shape[1]].ravel(), ordered)
            if compared * share >= 3 and share > best[0]:
                best = (share, place, order)
    share, place, order = best
    if share >= 0.7:
        return place, order
    dotted = _dotted_place(tails, data) if size == 1 else None
    return None if dotted is None else (dotted, "big")


def _dotted_place(tails: list[bytes], data: Bytes) -> int | None:
    """Return where a text column stands although hardly any byte prints: all others show as one and the same character.

    Of several such places that counts which has the same character on both sides, as quotes and bars are.
    """
    lines, count = data.shape
    prints = (data > _BLANK) & (data < _DELETE)
    unprinting = (data < _BLANK) | (data >= _DELETE)
    if len(np.unique(data[unprinting])) < 2:
        return None
    places = []
    for place in range(1, _MAX_BEFORE_GUTTER + 1):
        whole = [t for t in tails if len(t) >= place + count]
        before, share = usual([t[:place] for t in tails])
        if len(whole) < lines or share < _STEADY:
            continue
        shown = np.frombuffer(b"".join(t[place : place + count] for t in tails), np.uint8).reshape(lines, count)
        dot, number = Counter(shown[unprinting].tolist()).most_common(1)[0] if unprinting.any() else (0, 0)
        alike = number >= _STEADY * unprinting.sum() and number >= 2 * count
        if not alike or chr(dot).isalnum() or (shown[prints] != data[prints]).sum() > (1 - _STEADY) * prints.sum():
            continue
        closed = sum(t[place + count : place + count + 1] == before[-1:] for t in tails) >= _STEADY * lines
        if (closed and before[-1:].strip()) or dot != _BLANK:
            places.append((not closed, place))
    return min(places)[1] if places else None


def _agreement(shown: Bytes, data: Bytes) -> tuple[float, int]:
    """Return the share of printing bytes that stand as themselves in what is shown, and how many bytes print.

    Some hosts print a byte without its bit 7.
    """
    best = (0.0, 0)
    for mask in (0xFF, 0x7F):
        values = (data & mask).ravel()
        prints = (values > 0x20) & (values < 0x7F)
        total = int(prints.sum())
        share = float((shown[prints] == values[prints]).mean()) if total else 0.0
        if share * total > best[0] * best[1] and (share >= best[0] - 0.05 or best[0] < _AGREE):
            best = (share, total)
    return best


def _with_end(layout: Layout, tails: list[bytes]) -> Layout:
    text, share = usual(tails)
    if share >= 0.4 and len(_RUN.findall(text)) < _MOST_RUNS:
        return replace(layout, end=_text(text))
    return replace(layout, tail=True)
