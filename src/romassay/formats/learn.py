"""The layout of a dump, learnt from some of its lines.

The strongest evidence is an address column: a number that grows from line to line by just as many bytes as the line
holds. Every reading of the first few numbers of a line as an address, in every base, is held against every reading of
what follows as bytes; the one that explains the most bytes wins. Dumps that print an address now and then only are
learnt from runs of equal columns, and the addresses from how many bytes lie between them.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

import numpy as np

from romassay.formats.layout import Base, Layout, Number, Sum, literal
from romassay.formats.sums import KINDS

_TOKEN = re.compile(rb"(?:0[xX](?=[0-9A-Fa-f]))?([0-9A-Fa-f]+)")
_DECIMAL = re.compile(rb"[0-9]+")
_OCTAL = re.compile(rb"[0-7]+")
_BINARY = re.compile(rb"[01]{8}")
_MAX_TOKENS = 160
_FIRST_TOKENS = 8
_MAX_STEP = 256
_LOOKAHEAD = 3
_MOST_LINES = 120
_MAX_SUM_DIGITS = 6
_ADDRESS_DIGITS = {16: 8, 10: 10, 8: 11}


@dataclass(frozen=True, slots=True)
class Line:
    """A sample line and its runs of digits, as (first, end)."""

    text: bytes
    tokens: tuple[tuple[int, int], ...]

    def token(self, i: int) -> bytes:
        """Return the digits of a run."""
        first, end = self.tokens[i]
        return self.text[first:end]

    def value(self, i: int, base: int) -> int | None:
        """Return a run as a number, or None where it is none in that base."""
        text = self.token(i)
        if len(text) > _ADDRESS_DIGITS[base] or not _fits(text, base):
            return None
        return int(text, base)


def _fits(text: bytes, base: int) -> bool:
    if base == 10:
        return _DECIMAL.fullmatch(text) is not None
    return base == 16 or _OCTAL.fullmatch(text) is not None


def line_of(text: bytes) -> Line:
    """Return a line with its runs of digits."""
    spans = []
    for match in _TOKEN.finditer(text):
        spans.append(match.span(1))
        if len(spans) == _MAX_TOKENS:
            break
    return Line(text, tuple(spans))


@dataclass(frozen=True, slots=True)
class Cells:
    """How the runs of digits after an address may be read as data.

    Attributes:
        base: of the numbers.
        size: bytes in each.
        count: of numbers.
        skip: runs between the address and the first of them.
        widths: digits of each run, where they are fixed; empty where numbers have as many digits as they need.
        words: True where the address counts numbers rather than bytes.
    """

    base: Base
    size: int
    count: int
    skip: int
    widths: tuple[int, ...] = ()
    words: bool = False

    @property
    def runs(self) -> int:
        """Runs of digits that hold the data."""
        return len(self.widths) or self.count


@dataclass(frozen=True, slots=True)
class Learnt:
    """A layout, and what it was assumed for want of evidence, in words.

    Attributes:
        layout: of the lines.
        score: bytes of the sample that it explains.
        notes: what was assumed.
    """

    layout: Layout
    score: float
    notes: tuple[str, ...] = ()


def learn(stretches: Sequence[Sequence[bytes]]) -> list[Learnt]:
    """Return the layouts that explain a sample, the best first.

    Args:
        stretches: consecutive lines from several places of a text.
    """
    sample = [[line_of(text) for text in stretch if text.strip()] for stretch in stretches]
    found = [*_with_addresses(sample)]
    return sorted(found, key=lambda item: -item.score)


# --- an address on each line --------------------------------------------------------------------------------------


def _with_addresses(sample: list[list[Line]]) -> Iterator[Learnt]:
    steps = _address_steps(sample)
    for (which, base, step), pairs in steps:
        lines = _spread([line for line, _ in pairs])
        for cells, number in _readings_after(lines, which, base, step)[:2]:
            fitting = [line for line in lines if _reads_as(line, which, cells)]
            learnt = _build(fitting, which, base, cells)
            if learnt:
                share = number / len(lines)
                yield replace(
                    learnt, score=len(pairs) * share * cells.count * cells.size * (1 - 0.02 * which - 0.05 * cells.skip)
                )


def _spread(lines: list[Line]) -> list[Line]:
    """Return at most so many lines, from all over the sample: where a bus floats, bytes may look decimal for pages."""
    return lines[:: -(-len(lines) // _MOST_LINES)] if lines else lines


def _address_steps(
    sample: list[list[Line]],
) -> list[tuple[tuple[int, Base, int], list[tuple[Line, Line]]]]:
    """Return (which run, base, step), with the pairs of lines that bear it out, the most frequent ones first."""
    votes: dict[tuple[int, Base, int], list[tuple[Line, Line]]] = {}
    bases: tuple[Base, ...] = (16, 10, 8)
    for stretch in sample:
        for which in range(_FIRST_TOKENS):
            for base in bases:
                for one, other, step in _steps(stretch, which, base):
                    votes.setdefault((which, base, step), []).append((one, other))
    most = max((len(pairs) for pairs in votes.values()), default=0)
    often = [(key, pairs) for key, pairs in votes.items() if len(pairs) >= max(1, 0.1 * most)]
    often.sort(key=lambda item: -len(item[1]) * item[0][2])
    return often[:40]


def _steps(stretch: list[Line], which: int, base: int) -> Iterator[tuple[Line, Line, int]]:
    """Yield neighbouring lines and by how much a number grows from one to the other."""
    valued = [
        (i, line, value)
        for i, line in enumerate(stretch)
        if len(line.tokens) > which and (value := line.value(which, base)) is not None
    ]
    for (i, one, a), (k, other, b) in zip(valued, valued[1:], strict=False):
        if k - i <= _LOOKAHEAD and 0 < b - a <= _MAX_STEP:
            yield one, other, b - a


def _readings_after(lines: list[Line], which: int, base: Base, step: int) -> list[tuple[Cells, int]]:
    """Return the ways to read what follows the address as `step` bytes or words, with how many lines agree."""
    votes: Counter[Cells] = Counter()
    for line in lines:
        votes.update(set(_cells_after(line, which, step)))
    if not votes:
        return []
    best = max(votes.values())

    def rank(item: tuple[Cells, int]) -> tuple[float, ...]:
        cells, number = item
        return (
            -number * cells.count * cells.size,
            cells.skip,
            cells.base != base,
            not cells.widths,
        )

    return sorted(((c, n) for c, n in votes.items() if n >= max(1, 0.5 * best)), key=rank)


def _cells_after(line: Line, which: int, step: int) -> Iterator[Cells]:
    """Yield every way to read the runs behind an address as a line of data."""
    for skip in range(3):
        first = which + 1 + skip
        texts = [line.token(i) for i in range(first, min(len(line.tokens), first + step))]
        if not texts:
            return
        yield from _hex_cells(texts, step, skip)
        yield from _number_cells(texts, step, skip)


def _hex_cells(texts: list[bytes], step: int, skip: int) -> Iterator[Cells]:
    widths = _widths_until(texts, 2 * step)
    if widths and all(w % 2 == 0 for w in widths):
        yield _hex_reading(widths, step, skip, words=False)
    if step > 1 or len(texts[0]) == 4:
        for size in (2, 4):
            wide = tuple(len(t) for t in texts[:step])
            if len(texts) >= step and set(wide) == {2 * size}:
                yield Cells(16, size, step, skip, wide, words=True)
    if len(texts) >= step and all(len(t) <= 2 for t in texts[:step]) and any(len(t) == 1 for t in texts[:step]):
        yield Cells(16, 1, step, skip)


def _hex_reading(widths: tuple[int, ...], step: int, skip: int, *, words: bool) -> Cells:
    """Read equal runs of 2, 4, 8 or 16 digits as cells, any others as bytes run together."""
    width = widths[0]
    if len(set(widths)) == 1 and width in (2, 4, 8, 16) and (len(widths) > 1 or width == 2):
        return Cells(16, width // 2, len(widths), skip, widths, words)
    return Cells(16, 1, step, skip, widths, words)


def _widths_until(texts: list[bytes], digits: int) -> tuple[int, ...]:
    """Return the widths of the first runs if they add up to just so many digits, else nothing."""
    widths = []
    for text in texts:
        widths.append(len(text))
        digits -= len(text)
        if digits <= 0:
            break
    return tuple(widths) if digits == 0 else ()


def _number_cells(texts: list[bytes], step: int, skip: int) -> Iterator[Cells]:
    """Read runs as decimal, octal or binary numbers."""
    forms: tuple[tuple[Base, int, int, bool], ...] = (
        (10, 1, step, False),
        (8, 1, step, False),
        (10, 2, step // 2, False),
        (8, 2, step // 2, False),
        (10, 2, step, True),
        (8, 2, step, True),
    )
    for base, size, count, words in forms:
        if not count or len(texts) < count or (not words and count * size != step):
            continue
        part = texts[:count]
        if all(_fits(t, base) and len(t) <= 6 and int(t, base) < 1 << 8 * size for t in part):
            if size == 2 and max(len(t) for t in part) <= 3:
                continue
            width = _full_width(base, size)
            widths = (width,) * count if all(len(t) == width for t in part) and count else ()
            yield Cells(base, size, count, skip, widths, words)
    if len(texts) >= step and all(_BINARY.fullmatch(t) for t in texts[:step]):
        yield Cells(2, 1, step, skip, (8,) * step)


def _full_width(base: int, size: int) -> int:
    return {(10, 1): 3, (10, 2): 5, (8, 1): 3, (8, 2): 6}[base, size]


def _reads_as(line: Line, which: int, cells: Cells) -> bool:
    first = which + 1 + cells.skip
    texts = [line.token(i) for i in range(first, min(len(line.tokens), first + cells.runs))]
    if len(texts) < cells.runs:
        return False
    if cells.widths and tuple(len(t) for t in texts) != cells.widths:
        return False
    limit = 1 << 8 * cells.size
    return cells.base == 16 or all(_fits(t, cells.base) and int(t, cells.base) < limit for t in texts)


# --- from lines that agree to a layout ----------------------------------------------------------------------------


def _text(data: bytes) -> str:
    return data.decode("latin-1")


def common_pattern(texts: Sequence[bytes]) -> str:
    """Return the pattern of texts that are nearly all alike: literal where they agree, `?` where they don't, or `*`."""
    usual, number = Counter(texts).most_common(1)[0]
    if number >= 0.75 * len(texts):
        return literal(_text(usual))
    length, number = Counter(len(t) for t in texts).most_common(1)[0]
    if number >= 0.75 * len(texts):
        return _column_pattern([t for t in texts if len(t) == length])
    end = _common_end(texts)
    return "*" + literal(_text(end))


def _column_pattern(texts: list[bytes]) -> str:
    pattern = ""
    for column in zip(*texts, strict=True):
        usual, number = Counter(column).most_common(1)[0]
        steady = (number >= 0.9 * len(texts) and not chr(usual).isalnum()) or number == len(texts)
        pattern += literal(chr(usual)) if steady else "?"
    return pattern


def _common_end(texts: Sequence[bytes]) -> bytes:
    """Return what nearly all texts end with."""
    end = b""
    longest = max(len(t) for t in texts)
    for length in range(1, longest + 1):
        usual, number = (
            Counter(t[-length:] for t in texts if len(t) >= length).most_common(1)[0]
            if any(len(t) >= length for t in texts)
            else (b"", 0)
        )
        if number < 0.75 * len(texts) or chr(usual[0]).isalnum():
            break
        end = usual
    return end


@dataclass(frozen=True, slots=True)
class _Column:
    """How the numbers of a column lie, from (first, end) relative to something fixed."""

    firsts: tuple[int, ...]
    ends: tuple[int, ...]

    @property
    def same_width(self) -> bool:
        widths = [e - f for f, e in zip(self.firsts, self.ends, strict=True)]
        return _nearly_all(widths)

    @property
    def same_end(self) -> bool:
        return _nearly_all(self.ends)

    @property
    def same_first(self) -> bool:
        return _nearly_all(self.firsts)

    @property
    def width(self) -> int:
        return max(e - f for f, e in zip(self.firsts, self.ends, strict=True))


def _nearly_all(values: Sequence[int]) -> bool:
    return Counter(values).most_common(1)[0][1] >= 0.9 * len(values)


def _address_number(lines: list[Line], which: int, base: Base) -> tuple[Number, int]:
    """Return how the address is printed, and by how many columns of padding it begins before its digits."""
    texts = [line.token(which) for line in lines]
    widths = Counter(len(t) for t in texts)
    width, number = widths.most_common(1)[0]
    padded = any(t.startswith(b"0") and len(t) > 1 for t in texts)
    if number >= 0.9 * len(texts) and (padded or (base != 10 and width >= 3)):
        return Number(base, width, "zeros"), 0
    if padded and min(widths) >= 3:
        return Number(base, min(w for w in widths if widths[w] >= 0.02 * len(texts)), "zeros"), 0
    column = _Column(tuple(line.tokens[which][0] for line in lines), tuple(line.tokens[which][1] for line in lines))
    if len(widths) > 1 and column.same_end and not column.same_first:
        blanks = [line.text[: line.tokens[which][0]] for line in lines]
        room = [len(b) - len(b.rstrip(b" ")) for b in blanks]
        width = max(len(t) for t in texts)
        if all(r >= width - len(t) for r, t in zip(room, texts, strict=True)):
            return Number(base, width, "right"), width
    return Number(base), 0


def _leads(lines: list[Line], which: int, padded: int) -> list[bytes]:
    out = []
    for line in lines:
        first, end = line.tokens[which]
        out.append(line.text[: end - padded] if padded else line.text[:first])
    return out


def _build(lines: list[Line], which: int, base: Base, cells: Cells) -> Learnt | None:
    """Make a layout from lines that read alike."""
    if not lines:
        return None
    address, padded = _address_number(lines, which, base)
    first = which + 1 + cells.skip
    grouped = bool(cells.widths) and cells.runs != cells.count
    number, gaps, shift = _cell_form(lines, which, first, cells)
    if grouped:
        gaps = _run_gaps(gaps, cells)
        number = Number(16, 2, "zeros")
    after = [_after(line, which, first, number, shift) for line in lines]
    layout = Layout(
        cells=cells.count,
        cell=number,
        size=cells.size,
        gaps=gaps,
        address=address,
        unit="words" if cells.words else "bytes",
        lead=common_pattern(_leads(lines, which, padded)),
        after=common_pattern(after),
    )
    return _with_tail(layout, lines, which, cells)


def _after(line: Line, which: int, first: int, number: Number, shift: int) -> bytes:
    """Return the text between the address and the first cell, padding left to the cell."""
    start, end = line.tokens[first]
    if number.pad == "right" and number.width:
        start = end - number.width
    return line.text[line.tokens[which][1] : max(start, line.tokens[which][1])]


def _cell_form(lines: list[Line], which: int, first: int, cells: Cells) -> tuple[Number, tuple[str, ...] | None, int]:
    """Return how the cells are printed and what stands between them."""
    runs = cells.runs
    origin = [line.tokens[which][1] for line in lines]
    columns = [
        _Column(
            tuple(line.tokens[first + j][0] - o for line, o in zip(lines, origin, strict=True)),
            tuple(line.tokens[first + j][1] - o for line, o in zip(lines, origin, strict=True)),
        )
        for j in range(runs)
    ]
    between = [[_between(line, first + j) for line in lines] for j in range(runs - 1)]
    usual = [Counter(texts).most_common(1)[0] for texts in between]
    if cells.widths and _is_padded(lines, first, cells):
        return Number(cells.base, cells.widths[0], "zeros"), tuple(_text(t) for t, _ in usual), 0
    width = max(c.width for c in columns)
    varying = [c for c in columns if not c.same_width]
    if varying and all(c.same_end for c in columns):
        number = Number(cells.base, width, "right")
        gaps = tuple(
            _right_gap(texts, columns[j + 1].ends[0] - columns[j].ends[0] - width) for j, texts in enumerate(between)
        )
        if all(gap is not None for gap in gaps):
            return number, tuple(gap for gap in gaps if gap is not None), 0
    if varying and all(c.same_first for c in columns):
        number = Number(cells.base, width, "left")
        gaps = tuple(
            _left_gap(texts, columns[j + 1].firsts[0] - columns[j].firsts[0] - width) for j, texts in enumerate(between)
        )
        if all(gap is not None for gap in gaps):
            return number, tuple(gap for gap in gaps if gap is not None), 0
    if all(n >= 0.9 * len(lines) for _, n in usual):
        return Number(cells.base), tuple(_text(t) for t, _ in usual), 0
    return Number(cells.base), None, 0


def _is_padded(lines: list[Line], first: int, cells: Cells) -> bool:
    """Tell whether cells of one width are so by zeros in front, not because the numbers are all large."""
    return cells.base in (2, 16) or any(
        line.token(first + j).startswith(b"0") for line in lines for j in range(cells.runs)
    )


def _between(line: Line, i: int) -> bytes:
    return line.text[line.tokens[i][1] : line.tokens[i + 1][0]]


def _right_gap(texts: list[bytes], length: int) -> str | None:
    """Return the gap in front of right-aligned numbers: the first characters of what stands between."""
    if length < 0:
        return None
    return _text(Counter(t[:length] for t in texts).most_common(1)[0][0])


def _left_gap(texts: list[bytes], length: int) -> str | None:
    if length < 0:
        return None
    return _text(Counter(t[len(t) - length :] for t in texts).most_common(1)[0][0])


def _run_gaps(gaps: tuple[str, ...] | None, cells: Cells) -> tuple[str, ...]:
    """Spread the gaps between runs of several bytes over all bytes."""
    spread: list[str] = []
    for j, width in enumerate(cells.widths):
        spread += [""] * (width // 2 - 1)
        if gaps is not None and j < len(gaps):
            spread.append(gaps[j])
    return tuple(spread)


# --- what follows the cells ---------------------------------------------------------------------------------------


def _with_tail(layout: Layout, lines: list[Line], which: int, cells: Cells) -> Learnt:
    """Add the sum, the gutter and the order of bytes, as far as the lines show them."""
    first = which + 1 + cells.skip
    last = first + cells.runs - 1
    data = _bytes_of(lines, first, cells)
    tails = [line.text[line.tokens[last][1] :] for line in lines]
    printed = np.array(
        [line.value(which, layout.address.base if layout.address else 16) or 0 for line in lines], np.int64
    )
    notes: list[str] = []
    layout, tails = _learn_sum(layout, lines, tails, data, printed, which, first)
    layout = _learn_gutter(layout, tails, data, notes)
    return Learnt(layout, 0.0, tuple(notes))


def _bytes_of(lines: list[Line], first: int, cells: Cells) -> np.ndarray:
    """Return the bytes of lines, uint8[lines, n], the first digits of a cell first."""
    rows = []
    for line in lines:
        texts = [line.token(first + j) for j in range(cells.runs)]
        if cells.widths and cells.base == 16:
            rows.append(bytes.fromhex(b"".join(texts).decode("ascii")))
        else:
            rows.append(b"".join(int(t, cells.base).to_bytes(cells.size, "big") for t in texts))
    return np.array([list(row) for row in rows], np.uint8)


_SUM_FIRST = re.compile(rb"([^0-9A-Za-z]*)([0-9A-Fa-f]+)(.*)", re.DOTALL)
_SUM_LAST = re.compile(rb"(.*?)([^0-9A-Za-z]*)([0-9A-Fa-f]+)([^0-9A-Za-z]*)", re.DOTALL)


@dataclass(frozen=True, slots=True)
class _SumPlace:
    place: str
    before: list[bytes]
    digits: list[bytes]
    rest: list[bytes]


def _sum_places(lines: list[Line], tails: list[bytes], which: int, first: int) -> Iterator[_SumPlace]:
    """Yield where a sum may stand: behind the cells, at the end of the line, between address and cells."""
    matches = [_SUM_FIRST.fullmatch(t) for t in tails]
    if sum(m is not None for m in matches) >= 0.7 * len(tails):
        yield _SumPlace(
            "cells",
            [m[1] if m else b"" for m in matches],
            [m[2] if m else b"" for m in matches],
            [m[3] if m else t for m, t in zip(matches, tails, strict=True)],
        )
    for width in (2, 4, 3, 5, 6):
        cut = [_last_digits(t, width) for t in tails]
        if sum(c is not None for c in cut) >= 0.7 * len(tails):
            yield _SumPlace(
                "end",
                [c[0] if c else b"" for c in cut],
                [c[1] if c else b"" for c in cut],
                tails,
            )
    if first > which + 1:
        yield _SumPlace(
            "front",
            [_between(line, which) for line in lines],
            [line.token(which + 1) for line in lines],
            tails,
        )


def _last_digits(text: bytes, width: int) -> tuple[bytes, bytes] | None:
    """Return the text before the last digits of a line, and them."""
    text = text.rstrip()
    digits = text[-width:]
    if len(digits) < width or not re.fullmatch(rb"[0-9A-Fa-f]+", digits):
        return None
    return text[:-width], digits


def _learn_sum(
    layout: Layout,
    lines: list[Line],
    tails: list[bytes],
    data: np.ndarray,
    printed: np.ndarray,
    which: int,
    first: int,
) -> tuple[Layout, list[bytes]]:
    """Find a sum that is right on many lines; return the layout with it, and what remains of the tails."""
    best: tuple[float, Layout, list[bytes]] = (0.0, layout, tails)
    orders = ("big", "little") if layout.size > 1 else ("big",)
    for place in _sum_places(lines, tails, which, first):
        width = Counter(len(d) for d in place.digits).most_common(1)[0][0]
        for base in dict.fromkeys((layout.cell.base, 16, 10, 8)):
            good = [0 < len(d) <= _MAX_SUM_DIGITS and _fits(d, base) for d in place.digits]
            if sum(good) < 0.5 * len(good):
                continue
            values = np.array([int(d, base) if g else -1 for d, g in zip(place.digits, good, strict=True)])
            for kind in KINDS.values():
                share = float((kind.of(printed, data) == values).mean())
                if share > best[0] + 0.02 and share >= _least_share(len(lines), len(np.unique(values))):
                    found = _sum_layout(layout, place, kind.name, base, width, lines, which, first)
                    best = (share, found, place.rest)
    return best[1], best[2]


def _least_share(lines: int, distinct: int) -> float:
    """Return the share of lines on which a sum must be right to be believed."""
    return 0.3 if lines >= 8 and distinct >= 3 else 0.6 if lines >= 3 else 1.0


def _sum_layout(
    layout: Layout,
    place: _SumPlace,
    kind: str,
    base: int,
    width: int,
    lines: list[Line],
    which: int,
    first: int,
) -> Layout:
    fixed = _nearly_all([len(d) for d in place.digits]) and (
        base == 16 or any(d.startswith(b"0") for d in place.digits)
    )
    number = Number(base, width, "zeros") if fixed else Number(base)  # type: ignore[arg-type]
    before = _text(Counter(place.before).most_common(1)[0][0])
    if place.place == "end":
        text = [b[-1:] for b in place.before]
        before = ""
        length = 0
        for length in range(1, 12):
            text = [b[-length:] for b in place.before]
            usual, n = Counter(text).most_common(1)[0]
            if n < 0.8 * len(text) or usual[:1].isalnum():
                break
            before = _text(usual)
    found = Sum(kind, number, before, place.place)  # type: ignore[arg-type]
    if place.place == "front":
        after = [line.text[line.tokens[which + 1][1] : line.tokens[first][0]] for line in lines]
        return replace(layout, sum=found, after=common_pattern(after))
    return replace(layout, sum=found)


def _learn_gutter(layout: Layout, tails: list[bytes], data: np.ndarray, notes: list[str]) -> Layout:
    """Find the bytes as text in what follows, and with them the order of bytes in a word."""
    count = data.shape[1]
    best: tuple[float, int, str] = (0.0, 0, layout.order)
    orders = ("big", "little") if layout.size > 1 else ("big",)
    for order in orders:
        ordered = data if order == "big" else data.reshape(len(data), -1, layout.size)[:, :, ::-1].reshape(data.shape)
        for place in range(13):
            share, compared = _agreement(tails, ordered, place)
            if compared >= 6 and share > best[0]:
                best = (share, place, order)
    share, place, order = best
    at_end = layout.sum is not None and layout.sum.place == "end"
    if share >= 0.7:
        usual = [t[:place] for t in tails]
        gutter = _text(Counter(usual).most_common(1)[0][0])
        end = "" if at_end else _gutter_end(tails, place + count)
        return replace(layout, gutter=gutter, end=end, order=order)  # type: ignore[arg-type]
    if layout.size > 1:
        notes.append(
            "nothing in the log shows the order of the bytes in a word: the first digits taken as the lower address"
        )
    if at_end and layout.sum is not None:
        return layout
    return _plain_end(layout, tails)


def _agreement(tails: list[bytes], data: np.ndarray, place: int) -> tuple[float, int]:
    """Return the share of printing bytes that stand as themselves from a place of the tail on, and how many there are."""
    same = total = 0
    for tail, row in zip(tails, data.tolist(), strict=True):
        shown = tail[place : place + len(row)]
        for character, value in zip(shown, row, strict=False):
            if 0x20 < value < 0x7F:
                total += 1
                same += character == value
    return (same / total if total else 0.0), total


def _gutter_end(tails: list[bytes], at: int) -> str:
    usual, number = Counter(t[at:] for t in tails).most_common(1)[0]
    return _text(usual) if number >= 0.5 * len(tails) else ""


def _plain_end(layout: Layout, tails: list[bytes]) -> Layout:
    usual, number = Counter(tails).most_common(1)[0]
    if number >= 0.4 * len(tails) or (len(usual) == 0 and number >= 0.25 * len(tails)):
        return replace(layout, end=_text(usual))
    return replace(layout, tail=True)
