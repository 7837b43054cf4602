"""The layout of a dump, learnt from some of its lines.

The strongest evidence is an address column: a number that grows from line to line by just as many bytes as the line
holds. Every reading of the first few numbers of a line as an address, in every base, is held against every reading of
what follows as bytes; the one that explains the most bytes wins. Dumps that print an address now and then only are
learnt from runs of equal columns, and their addresses from how many bytes lie between them.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, field, replace
from functools import lru_cache
from itertools import accumulate, pairwise

from romassay.formats.fit import Fitted, address_form, common_pattern, ends_as_it_goes_on, fit
from romassay.formats.layout import ANY, RUN, Base, Layout, Number, pattern_parts
from romassay.formats.sample import FULL_WIDTH, Cells, Found, Line, fits, line_of, number_of, numbers_columns, usual
from romassay.formats.weigh import bits_of, unexplained

_BINARY = re.compile(rb"[01]{8}")
_FIRST_TOKENS = 8
_PLACES = 5
"""Numbers at which the cells of a line without an address may begin."""
_MAX_STEP = 256
_SPACE = 1 << 16
"""Addresses of most hosts: 0 comes behind the last."""
_LOOKAHEAD = 3
_MANY_NUMBERS = 8
_NEARLY = 2
"""Characters by which a damaged line of data may be longer or shorter than the others."""
_MOST_LINES = 120
_MOST_FITS = 24
_MOST_READINGS = 4
_HEX: Base = 16
_MOST_CANDIDATES = 14
_WEIGHED_HEAD = 100
_WEIGHED_PIECE = 16
_RAW_BITS = 6.6
_FEW_UNEXPLAINED = 0.04
"""Share of the characters that prompts and headings may take up in a sample that counts as clean."""
_BLANK = ord(" ")
_LEAST_ALIKE = 5
_FEW_LINES = 40
"""Lines of a sample in which columns may agree by chance, those of a text column, say: looked at unmended as well."""
_LONGEST = 400
_MOSTLY = 0.8
_SHORTEST = 3
_WIDE = 4
"""Bytes of a line that tell of a dump by themselves; shorter ones need addresses that count them."""
_MOST_NARROW = 3
_BORNE_OUT = 3
"""Addresses that must do so."""
_TELLING = 3
"""Lines that tell how a dump without addresses is printed."""
_MORE_CELLS = 3
_WIDEST = 3
_FEW_LOST = 8
"""Lines by which an address may be ahead before it is no contradiction but another window."""
_CHARACTERS_PER_ERROR = 40
_DIGITS_ALIKE = bytes(ord("0") if chr(c) in "0123456789abcdefABCDEF" else c for c in range(256))
_BASES: tuple[Base, ...] = (16, 10, 8)
_CLEAN_CHARACTER = 0.985
"""Share of characters that must have come through for a layout to be believed: noisier logs hold no certain line."""


@dataclass(frozen=True, slots=True)
class Learnt:
    """A layout, and how much speaks for it.

    Attributes:
        layout: of the lines.
        score: at first the bytes of the sample that it explains; then the bits that it saves.
        notes: what was assumed for want of evidence, in words.
    """

    layout: Layout
    score: float
    notes: tuple[str, ...] = ()


def learn(stretches: Sequence[Sequence[bytes]]) -> list[Learnt]:
    """Return the layouts that explain a sample, the best first.

    Args:
        stretches: consecutive lines from several places of a text.
    """
    ways = [_mended(stretches)]
    if sum(map(len, stretches)) <= _FEW_LINES:
        ways.append([list(stretch) for stretch in stretches])
    found = sorted((item for way in ways for item in _explanations(way)), key=lambda item: -item.score)
    text = b"\n".join(line for stretch in _shortened(stretches) for line in (*stretch, b""))
    likely: dict[Layout, Learnt] = {}
    for item in found:
        if not _holds_data(item.layout):
            likely.setdefault(item.layout, item)
    candidates: dict[Layout, Learnt] = {}
    for item in list(likely.values())[:_MOST_CANDIDATES]:
        for layout in _variants(item.layout):
            candidates.setdefault(layout, replace(item, layout=layout))
    variants = list(candidates.values())
    weighed = _weighed(variants, text, damaged=False)
    if weighed and unexplained(weighed[0].layout, text, inside=True) <= _FEW_UNEXPLAINED * len(text):
        return weighed
    return _weighed(variants, text, damaged=True)


def _explanations(stretches: Sequence[Sequence[bytes]]) -> Iterator[Learnt]:
    """Yield every layout that some lines may have."""
    sample = [[line_of(text, i) for i, text in enumerate(stretch) if text.strip()] for stretch in stretches]
    yield from _with_addresses(sample)
    yield from _with_few_addresses(sample)


_NUMBERS = re.compile(r"(?<![0-9A-Za-z])[0-9A-Fa-f]{2,}(?![0-9A-Zi-z])")
_MOST_NUMBERS = 2
_MOST_DIGITS = 12


def _holds_data(layout: Layout) -> bool:
    """Tell whether the literal text of a layout looks like one line's data."""
    numbers = [_NUMBERS.findall(text) for text in (layout.lead, layout.after, layout.rest, layout.end)]
    return any(len(some) > _MOST_NUMBERS or len("".join(some)) > _MOST_DIGITS for some in numbers)


def _mended(stretches: Sequence[Sequence[bytes]]) -> list[list[bytes]]:
    """Put right, for learning only, the odd character in a column where nearly all lines of a length agree.

    Digits count as one character. What the columns are is easier to see so; no byte is read from these lines.
    """
    by_length: dict[int, list[bytes]] = {}
    for stretch in stretches:
        for text in stretch:
            by_length.setdefault(len(text), []).append(text)
    usual = {
        length: _usual_columns(texts)
        for length, texts in by_length.items()
        if len(texts) >= _LEAST_ALIKE and 0 < length <= _LONGEST
    }
    return [
        [_mend(text, usual[len(text)]) if len(text) in usual else text for text in stretch] for stretch in stretches
    ]


def _usual_columns(texts: list[bytes]) -> bytes:
    """Return what nearly all texts have in each column: a character, `0` for any digit; NUL where they differ."""
    needed = max(0.8, 0.97 - 1 / len(texts)) * len(texts)
    columns = bytearray()
    for column in zip(*(text.translate(_DIGITS_ALIKE) for text in texts), strict=True):
        character, number = Counter(column).most_common(1)[0]
        columns.append(character if number >= needed else 0)
    return bytes(columns)


def _mend(text: bytes, columns: bytes) -> bytes:
    alike = text.translate(_DIGITS_ALIKE)
    if alike == columns:
        return text
    odd = [i for i, (a, b) in enumerate(zip(alike, columns, strict=True)) if b and a not in (b, _BLANK)]
    together = any(c - a == 2 for a, c in zip(odd, odd[2:], strict=False))
    if together or not 0 < len(odd) <= 1 + len(text) // _CHARACTERS_PER_ERROR:
        return text
    mended = bytearray(text)
    for i in odd:
        mended[i] = columns[i]
    return bytes(mended)


def _weighed(items: list[Learnt], text: bytes, *, damaged: bool) -> list[Learnt]:
    """Return the layouts that make a text shorter to describe, those that make it shortest first."""
    raw = _RAW_BITS * len(text)
    scored = [replace(item, score=raw - bits_of(item.layout, text, damaged=damaged)) for item in items]
    return sorted((item for item in scored if item.score > 0), key=lambda item: -item.score)


_ALIKE = re.compile(r"([^0-9A-Za-z])\1{3,}")
"""What a gutter shows of bytes that do not print."""


_SUM = re.compile(r"[0-9A-Fa-f]{2}")
"""Digits before a gutter: one line's sum, of a kind that is not known."""


def _variants(layout: Layout) -> Iterator[Layout]:
    """Yield a layout, and the same with a gutter or with anything in place of the text at the end of its lines."""
    yield layout
    if layout.cell == Number(16, 2, "right"):
        yield replace(layout, cell=Number(16, 2, "zeros"))
    blank = _ALIKE.search(layout.end)
    if blank and layout.gutter is None and len(blank[0]) >= layout.line_bytes:
        first = blank.start() + (len(blank[0]) - layout.line_bytes if blank[1] == " " else 0)
        gutter, end = layout.end[:first], layout.end[first + layout.line_bytes :]
        yield replace(layout, gutter=gutter, end=end)
    counted = layout.gutter is not None and _SUM.search(layout.gutter)
    if (layout.end.strip() or counted) and (layout.sum is None or layout.sum.place != "end"):
        yield replace(layout, gutter=None, end="", tail=True)


def _shortened(stretches: Sequence[Sequence[bytes]]) -> list[Sequence[bytes]]:
    """Return as many lines as are needed to weigh layouts against each other: the first, and those that vary most."""
    head = [stretches[0][:_WEIGHED_HEAD], _busiest(stretches[0][_WEIGHED_HEAD:])] if stretches else []
    return [*head, *(_busiest(stretch) for stretch in stretches[1:])]


def _busiest(lines: Sequence[bytes]) -> Sequence[bytes]:
    """Return the few consecutive lines with the most different characters."""
    if len(lines) <= _WEIGHED_PIECE:
        return lines
    different = [0, *accumulate(len(set(line)) for line in lines)]
    best = max(range(len(lines) - _WEIGHED_PIECE), key=lambda i: different[i + _WEIGHED_PIECE] - different[i])
    return lines[best : best + _WEIGHED_PIECE]


def _spread(found: list[Found]) -> list[Found]:
    """Return at most so many lines, from all over the sample: where a bus floats, bytes may look decimal for pages."""
    return found[:: -(-len(found) // _MOST_LINES)] if found else found


def _clean_share(lines: Sequence[Line]) -> float:
    """Return the share of lines that must read alike, given how long they are."""
    length = sum(len(line.text) for line in lines) / max(1, len(lines))
    return float(0.5 * _CLEAN_CHARACTER ** min(length, 300))


# --- an address on each line --------------------------------------------------------------------------------------


def _with_addresses(sample: list[list[Line]]) -> Iterator[Learnt]:
    fits_left = _MOST_FITS
    for (which, base, step), lines in _address_steps(sample):
        if fits_left <= 0:
            return
        chosen = lines[:: -(-len(lines) // _MOST_LINES)]
        for cells, number in _likeliest(_readings_after(chosen, which, base, step)):
            first = which + 1 + cells.skip
            found = [Found(line, which, first) for line in chosen if cells.read(line, first)]
            if cells.skip and found and not ends_as_it_goes_on(found, cells):
                continue
            if not found or not _often_enough(len(lines) * number / len(chosen), which, cells, sample):
                continue
            if _goes_on_alike(found, cells) or _is_counted_data(found, cells):
                continue
            fits_left -= 1
            fitted = fit(found, base, cells, "line")
            if fitted.layout.tail and _says_nothing(found, cells):
                continue
            share = number / len(chosen)
            score = len(lines) * share * cells.bytes * (1 - 0.02 * which - 0.05 * cells.skip)
            yield Learnt(fitted.layout, score * _tidiness(fitted), fitted.notes)


def _says_nothing(found: list[Found], cells: Cells) -> bool:
    """Tell whether the cells are the same on all of several lines, as letters of a word are."""
    texts = {tuple(f.line.token(f.first + j) for j in range(cells.runs)) for f in found}
    return len(texts) == 1 and len(found) > _LEAST_ALIKE


def _goes_on_alike(found: list[Found], cells: Cells) -> bool:
    """Tell whether in most lines several more numbers follow as the cells do: the address counts otherwise."""
    last = cells.runs - 1
    if not last or cells.widths:
        return False
    more = 0
    for f in found:
        end = f.first + last
        gap, spans = f.line.between(end - 1), f.line.tokens[end : end + _MORE_CELLS + 1]
        widths = [b - a for a, b in spans]
        gaps = [f.line.text[a[1] : b[0]] for a, b in pairwise(spans)]
        more += len(gaps) == _MORE_CELLS and all(g.strip() == gap.strip() for g in gaps) and max(widths) <= _WIDEST
    return more > _MOSTLY * len(found)


def _is_counted_data(found: list[Found], cells: Cells) -> bool:
    """Tell whether the address looks just like a cell of two digits: a bus may show the low byte of the address.

    One that has grown a digit is none, as all cells have two.
    """
    if cells.base != _HEX or set(cells.widths) != {2} or cells.runs < _TELLING:
        return False
    places = [(f.line, f.address) for f in found if f.address is not None]
    if sum(line.widths[i] != 2 for line, i in places) > 1:
        return False
    alike = sum(
        line.widths[i] == line.widths[i + 1] == 2 and line.between(i) == line.between(i + 1) for line, i in places
    )
    return alike > _MOSTLY * len(found)


def _tidiness(fitted: Fitted) -> float:
    """Return how well a layout accounts for all of a line: unexplained tails and leads speak against it."""
    layout = fitted.layout
    return (0.8 if layout.tail else 1.0) * (0.9 if "*" in layout.lead else 1.0) * (0.9 if "?" in layout.after else 1.0)


def _often_enough(number: float, which: int, cells: Cells, sample: list[list[Line]]) -> bool:
    """Tell whether enough of the lines that are long enough read so."""
    wide = [line for stretch in sample for line in stretch if len(line.tokens) > which + cells.skip + cells.runs]
    return number >= _clean_share(wide) * len(wide) * 0.5


def _address_steps(sample: list[list[Line]]) -> list[tuple[tuple[int, Base, int], list[Line]]]:
    """Return (which run, base, step), with the lines that bear it out, those that explain most first."""
    votes: dict[tuple[int, Base, int], list[Line]] = {}
    for stretch in sample:
        for which in range(_FIRST_TOKENS):
            for base in _BASES:
                for line, step in _steps(stretch, which, base):
                    votes.setdefault((which, base, step), []).append(line)
    most = max((len(lines) for lines in votes.values()), default=0)
    often = [(key, lines) for key, lines in votes.items() if len(lines) >= max(1, 0.1 * most)]
    often = [(key, lines) for key, lines in often if not _ends_range(lines, *key)]
    often.sort(key=lambda item: (-len(item[1]), -item[0][2]))
    return often[:40]


def _ends_range(lines: list[Line], which: int, base: Base, step: int) -> bool:
    """Tell whether a number is the last address of each line, of which the first stands before it."""
    values = [(line.value(which, base) or 0, line.value(which - 1, base)) for line in lines] if which else []
    return sum(last - step + 1 == first for last, first in values) > _MOSTLY * len(lines)


def _steps(stretch: list[Line], which: int, base: Base) -> Iterator[tuple[Line, int]]:
    """Yield lines and by how much a number grows from each to the next that has one; an echo may stand between them."""
    valued = [
        (line, value) for line in stretch if len(line.tokens) > which and (value := line.value(which, base)) is not None
    ]
    for i, (one, a) in enumerate(valued):
        near = ((b, other.number) for other, b in valued[i + 1 : i + 1 + _LOOKAHEAD])
        steps = (b - a + _SPACE if b < a else b - a for b, number in near if number - one.number <= _LOOKAHEAD)
        step = next((step for step in steps if 0 < step <= _MAX_STEP), 0)
        if step:
            yield one, step


def _readings_after(lines: list[Line], which: int, base: Base, step: int) -> list[tuple[Cells, int]]:
    """Return the ways to read what follows the address as `step` bytes or words, with how many lines agree."""
    votes: Counter[Cells] = Counter()
    for line in lines:
        votes.update(dict.fromkeys(_cells_after(line, which, step), 1))
    best = max(votes.values(), default=0)
    octal = _looks_octal(lines, which + 1)

    def rank(item: tuple[Cells, int]) -> tuple[float, ...]:
        cells, number = item
        binary = cells.base == 2
        padded_hex = bool(cells.widths) and cells.base == 16
        likelier = cells.base == (8 if octal else base)
        return (not binary, -number * cells.bytes, cells.skip, not padded_hex, not likelier, not cells.widths)

    return sorted(((c, n) for c, n in votes.items() if n >= max(1, 0.5 * best)), key=rank)


def _likeliest(ranked: list[tuple[Cells, int]]) -> list[tuple[Cells, int]]:
    """Return the first few of some ways to read a line, and the first that is hex and leaves out nothing."""
    others = ranked[_MOST_READINGS:]
    hex_bytes = [(c, n) for c, n in others if c.base == _HEX and not c.words and not c.skip]
    return [*ranked[:_MOST_READINGS], *hex_bytes[:1]]


def _looks_octal(lines: list[Line], first: int) -> bool:
    """Tell whether there are many different numbers, none with an 8 or 9."""
    texts = {line.token(i) for line in lines for i in range(first, len(line.tokens))}
    octal = {text for text in texts if fits(text, 8)}
    return len(octal) >= _MANY_NUMBERS and len(octal) > 0.9 * len(texts)


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
    if widths and widths[0] % 2 == 0 and len(set(widths[:-1])) <= 1 and widths[-1] <= widths[0]:
        yield _hex_reading(widths, skip)
        if len(widths) == 1 and step > 1:
            yield Cells(16, 1, step, skip, widths)
        if len(widths) == 1 and step > 2 and step % 2 == 0:
            yield Cells(16, 2, step // 2, skip, widths)
        if len(widths) > 1 and widths[0] in (8, 16) and widths[-1] % 4 == 0:
            yield Cells(16, 2, step // 2, skip, widths)
    for size in (2, 4):
        widths = _widths_until(texts, 2 * size * step)
        if widths and all(w % (2 * size) == 0 for w in widths) and len(set(widths[:-1])) <= 1:
            yield Cells(16, size, step, skip, widths, words=True)
    wide = tuple(len(t) for t in texts[:step])
    if len(wide) == step and max(wide) <= 2 and min(wide) == 1:
        yield Cells(16, 1, step, skip)


def _hex_reading(widths: tuple[int, ...], skip: int = 0) -> Cells:
    """Read equal runs of 2, 4, 8 or 16 digits as cells, any others as bytes run together."""
    if len(set(widths)) == 1 and widths[0] in (2, 4, 8, 16):
        return Cells(16, widths[0] // 2, len(widths), skip, widths)
    return Cells(16, 1, sum(widths) // 2, skip, widths)


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
        part = texts[:count]
        if not count or len(part) < count or (not words and count * size != step):
            continue
        if size == 2 and max(len(t) for t in part) <= 3:
            continue
        if all(len(t) <= FULL_WIDTH[base, size] and fits(t, base) and int(t, base) < 1 << 8 * size for t in part):
            width = FULL_WIDTH[base, size]
            yield Cells(base, size, count, skip, (), words)
            if all(len(t) == width for t in part):
                yield Cells(base, size, count, skip, (width,) * count, words)
    yield from _dense_cells(texts, step, skip)
    if len(texts) >= step and all(_BINARY.fullmatch(t) for t in texts[:step]):
        yield Cells(2, 1, step, skip, (8,) * step)


def _dense_cells(texts: list[bytes], step: int, skip: int) -> Iterator[Cells]:
    """Read runs as octal or decimal numbers that run together, each with all its digits."""
    for base, size in ((8, 1), (10, 1), (8, 2), (10, 2)):
        width = FULL_WIDTH[base, size]
        counts = ((step // size, False), (step, True)) if size > 1 else ((step, False),)
        for count, words in counts:
            widths = _widths_until(texts, width * count)
            if len(widths) == count or not widths or any(w % width for w in widths):
                continue
            digits = b"".join(texts[: len(widths)])
            numbers = [digits[i : i + width] for i in range(0, len(digits), width)]
            if all(fits(n, base) and int(n, base) < 1 << 8 * size for n in numbers):
                yield Cells(base, size, count, skip, widths, words)  # type: ignore[arg-type]


# --- an address now and then --------------------------------------------------------------------------------------


def _with_few_addresses(sample: list[list[Line]]) -> Iterator[Learnt]:
    """Yield layouts whose lines do not all have an address."""
    lines = [line for stretch in sample for line in stretch]
    for cells in _run_forms(lines):
        for lead in _leads(lines, cells):
            learnt = _few_addresses(sample, cells, lead)
            if learnt:
                yield learnt


def _run_forms(lines: list[Line]) -> list[Cells]:
    """Return the runs of equal numbers that lines hold, those that explain most first; also without a sum behind."""
    votes: Counter[Cells] = Counter()
    for line in lines:
        votes.update(dict.fromkeys(_equal_runs(line), 1))
    ranked = sorted(votes.items(), key=lambda item: -item[1] * item[0].bytes)
    often = [cells for cells, number in ranked if number >= 2]
    wide = [c for c in often if c.bytes >= _WIDE][:6]
    forms = [*wide, *[c for c in often if c.bytes < _WIDE and c.count > 1][: _MOST_NARROW - len(wide) // 2]]
    shorter = [
        replace(c, count=c.count - 1, widths=c.widths[:-1], gaps=c.gaps and c.gaps[:-1])
        for c in forms
        if c.count > 2 and c.runs == c.count
    ]
    return list(dict.fromkeys([*forms, *shorter]))


def _equal_runs(line: Line) -> Iterator[Cells]:
    """Yield the longest runs of numbers of one form from each of the first few numbers of a line on."""
    widths = line.widths
    for first in range(min(_FIRST_TOKENS, len(widths))):
        if first and widths[first - 1] == widths[first]:
            continue
        width = widths[first]
        count = next((i for i in range(first, len(widths)) if widths[i] != width), len(widths)) - first
        if width % 2 == 0:
            last = widths[first + count] if first + count < len(widths) else 0
            if width > last > 2 and last % 2 == 0:
                yield _hex_reading((*(width,) * count, last))
            yield _hex_reading((width,) * count)
            if count == 1 and width > 2:
                yield Cells(16, 1, width // 2, 0, (width,))
        yield from _octal_run(line, first, count, width)
        if width % 2 == 0:
            yield from _evenly_spaced(line, first, count)
        texts = [line.token(i) for i in range(first, first + count)]
        for base, size in ((8, 1), (10, 1), (8, 2), (10, 2)):
            form = Cells(base, size, count, 0, (FULL_WIDTH[base, size],) * count)  # type: ignore[arg-type]
            if width == FULL_WIDTH[base, size] and all(fits(t, base) and int(t, base) < 1 << 8 * size for t in texts):
                yield form
    small = [(number := number_of(line.token(i), 10)) is not None and number < 256 for i in range(len(widths))]
    for first in range(min(_FIRST_TOKENS, len(widths))):
        count = next((i for i in range(first, len(small)) if not small[i]), len(small)) - first
        if count >= 4 and any(w == 3 for w in widths[first : first + count]):
            yield Cells(10, 1, count)


def _octal_run(line: Line, first: int, count: int, width: int) -> Iterator[Cells]:
    """Read runs as octal bytes that run together, each with its three digits."""
    if width % _OCTAL_DIGITS == 0 and width > _OCTAL_DIGITS:
        cells = Cells(8, 1, count * width // _OCTAL_DIGITS, 0, (width,) * count)
        if cells.read(line, first):
            yield cells


_OCTAL_DIGITS = 3


def _evenly_spaced(line: Line, first: int, count: int) -> Iterator[Cells]:
    """Yield the longest parts of a run of numbers in which what stands between them repeats, as it does in groups."""
    gaps = line.gaps[first : first + count - 1]
    width = len(line.token(first))
    for period in (1, 2, 4):
        best = _longest_repeating(gaps, period)
        if 3 < best.stop - best.start + 1 < count:
            part = gaps[best]
            yield replace(_hex_reading((width,) * (len(part) + 1)), gaps=part)


@lru_cache(maxsize=1 << 10)
def _longest_repeating(gaps: tuple[bytes, ...], period: int) -> slice:
    """Return the longest part of a list in which each item is the same as that one period before."""
    best = slice(0, 0)
    start = 0
    for i in range(len(gaps)):
        if i - start >= period and gaps[i] != gaps[i - period]:
            start = next((k for k in range(i - period + 1, i + 1) if _repeats(gaps[k : i + 1], period)), i)
        if i + 1 - start > best.stop - best.start:
            best = slice(start, i + 1)
    return best


def _repeats(gaps: tuple[bytes, ...], period: int) -> bool:
    return all(a == b for a, b in zip(gaps, gaps[period:], strict=False))


def _leads(lines: list[Line], cells: Cells) -> list[int]:
    """Return how many numbers may stand before the cells of a line without an address."""
    votes: Counter[int] = Counter()
    for line in lines:
        first = next((i for i in range(_FIRST_TOKENS) if cells.read(line, i)), None)
        if first is not None:
            votes[first] += 1
    total = sum(votes.values())
    return [first for first, number in sorted(votes.items()) if number >= 0.15 * total][:2]


def _few_addresses(sample: list[list[Line]], cells: Cells, lead: int) -> Learnt | None:
    """Return the layout of data lines with `lead` numbers before their cells, one more where there is an address."""
    steps = range(max(2, cells.bytes // 2), _MAX_STEP + 1)
    if lead and _grows(sample, cells, lead, -1, steps):
        return None
    if cells.bytes > 2 and _grows(sample, cells, lead, 0, range(cells.bytes - 1, cells.bytes)):
        return None
    best: Learnt | None = None
    lines = [line for stretch in sample for line in stretch]
    data = sum(any(cells.read(line, i) for i in range(lead, lead + 5)) for line in lines)
    wide = [line for stretch in sample for line in stretch if len(line.tokens) >= cells.runs]
    if data < 2 or data < 2 * _clean_share(wide) * len(wide) * 0.5:
        return None
    tokens = Counter(len(line.tokens) for line in lines if cells.read(line, lead)).most_common(1)[0][0]
    if _reads_on(lines, cells, lead):
        return None
    ways = [(base, cells) for base in _BASES]
    if cells.size > 1:
        ways += [(base, replace(cells, words=True)) for base in _BASES]
    counted = [(base, way, _count_between(sample, way, lead, base, tokens)) for base, way in ways]
    plain = counted[0][2]
    contradicted = plain.bad > 1 and not plain.good
    miscounted = any(count.bad > 1 and not count.good for _, way, count in counted if not way.words)
    likely = _likely_base([(f.line, f.address) for f in plain.found if f.address is not None], cells, lines)
    for base, way, count in counted:
        if (way.words or cells.bytes < _WIDE) and (count.bad or count.good < _BORNE_OUT):
            continue
        printed = any(f.address is not None for f in count.found)
        anchored = printed and not miscounted and not count.bad and base == likely
        if (count.good and count.good >= count.bad // 2) or anchored:
            learnt = _made(count.found, count.alone, base, way)
            share = count.good / (count.good + count.bad) if count.good else 0.5
            score = learnt.score * share * (0.9 if base != 16 else 1.0)
            if best is None or score > best.score:
                best = replace(learnt, score=score)
    refused = contradicted or cells.bytes < _WIDE
    return best or (None if refused else _without_addresses(sample, cells, lead, tokens))


def _reads_on(lines: list[Line], cells: Cells, lead: int) -> bool:
    """Tell whether on most lines several more numbers follow as the cells do: they hold only part of the data."""
    last = lead + cells.runs - 1
    if not cells.runs > 1 or not cells.widths:
        return False
    read = [line for line in lines if cells.read(line, lead)]
    more = 0
    for line in read:
        if len(line.tokens) > last + _MORE_CELLS - 1:
            gaps = {line.between(last + i) for i in range(_MORE_CELLS - 1)} | {line.between(last - 1)}
            widths = {len(line.token(last + i)) for i in range(_MORE_CELLS)}
            more += len(gaps) == 1 and len(widths) == 1
    return more > _MOSTLY * len(read)


def _grows(sample: list[list[Line]], cells: Cells, lead: int, place: int, wanted: range) -> bool:
    """Tell whether a number grows from line to line by about the bytes of a line, as an address does.

    One that is not hex must do so by just these, or by a cell or two fewer, which are sums: clocks grow as well.

    Args:
        sample: the lines.
        cells: of them.
        lead: which number is their first.
        place: of the number, counted from there; of three digits or more if it is before the cells.
        wanted: bytes by which it may grow.
    """
    digits = _SHORTEST if place < 0 else 1
    read = [
        [line for line in stretch if cells.read(line, lead) and len(line.token(lead + place)) >= digits]
        for stretch in sample
    ]
    full = {cells.bytes - i * cells.size for i in range(_TELLING)}
    for base in _BASES if place < 0 else (_HEX,):
        steps: Counter[float] = Counter()
        for lines in read:
            numbers = [(line.number, value) for line in lines if (value := line.value(lead + place, base)) is not None]
            steps.update((b - a) / (n - m) for (m, a), (n, b) in pairwise(numbers))
        total = sum(steps.values())
        if total >= _LEAST_ALIKE and any(
            step in wanted and (base == _HEX or step in full) and n > 0.5 * total for step, n in steps.items()
        ):
            return True
    return False


def _cells_at(line: Line, cells: Cells, lead: int, usual_tokens: int) -> int | None:
    """Return where the cells of a line begin: after the lead, or after an address that stands there as well."""
    first = next((i for i in range(lead, lead + _PLACES) if cells.read(line, i)), None)
    if first is None or first > lead or len(line.token(first)) < _SHORTEST:
        return first
    one_more = len(line.tokens) == usual_tokens + 1 and (cells.base == _HEX or cells.size > 1)
    return first + 1 if (one_more or _looks_apart(line, first)) and cells.read(line, first + 1) else first


def _looks_apart(line: Line, i: int) -> bool:
    """Tell whether a number is set off from the next one, as an address is from data of as many digits."""
    return i + 3 < len(line.tokens) and line.between(i) != line.between(i + 1) == line.between(i + 2)


@dataclass(slots=True)
class _Count:
    """How often there are as many bytes between two addresses as these say; a heading of columns may be data.

    Attributes:
        step: by which addresses grow from line to line.
        good, bad: how often so, and how often not.
        found: the lines of data.
        alone: addresses on lines of their own right before data that have none: the line, and which number of it.
        expected: address of the next line, if the last one printed and all since is right.
        before: the last address.
        since: lines of data since then.
        headings: lines since then that may be data or number the columns.
    """

    step: int
    good: int = 0
    bad: int = 0
    found: list[Found] = field(default_factory=list)
    alone: list[tuple[Line, int]] = field(default_factory=list)
    expected: int | None = None
    before: int = 0
    since: int = 0
    headings: int = 0

    def begin(self) -> None:
        """Begin another stretch of lines."""
        self.expected, self.before, self.since, self.headings = None, 0, 0, 0

    def address(self, address: int) -> None:
        """Hold an address against the lines since the last one."""
        if self.expected is not None and self.since and address > self.before:
            is_so = address in (self.expected, self.expected + self.headings * self.step)
            self.good += is_so
            self.bad += not is_so and address - self.expected <= _FEW_LOST * self.step
        self.expected, self.before, self.since, self.headings = address, address, 0, 0

    def line(self) -> None:
        """Count a line of data."""
        self.since += 1
        self.expected = None if self.expected is None else self.expected + self.step


def _count_between(sample: list[list[Line]], cells: Cells, lead: int, base: Base, usual_tokens: int) -> _Count:
    """Count the bytes between addresses. One on a line of its own counts only before data that have none."""
    count = _Count(cells.count if cells.words else cells.bytes)
    length = _usual_length([line for stretch in sample for line in stretch if cells.read(line, lead)])
    for stretch in sample:
        count.begin()
        lone: tuple[Line, int] | None = None
        for line in stretch:
            if numbers_columns(line.text):
                count.headings += cells.read(line, lead)
                continue
            first = _cells_at(line, cells, lead, usual_tokens)
            if first is None:
                which = _address_alone(line, lead)
                if which is not None and line.value(which, base) is not None:
                    lone = line, which
                elif abs(len(line.text) - length) <= _NEARLY:
                    count.line()
                continue
            addressed = first > lead and not _in_word(line, first - 1)
            address = line.value(first - 1, base) if addressed else lone[0].value(lone[1], base) if lone else None
            if address is not None:
                count.address(address)
            if lone is not None and not addressed:
                count.alone.append(lone)
            lone = None
            count.found.append(Found(line, first - 1 if addressed else None, first))
            count.line()
    return count


def _address_alone(line: Line, lead: int) -> int | None:
    """Return which number of a line that holds no data may be an address, or None."""
    if not 0 < len(line.tokens) <= _FIRST_TOKENS:
        return None
    numbers = [i for i in range(len(line.tokens)) if not _in_word(line, i)]
    is_one = 0 < len(numbers) <= lead + 2 and len(line.token(numbers[-1])) >= _SHORTEST
    return numbers[-1] if is_one else None


def _usual_length(lines: list[Line]) -> int:
    return Counter(len(line.text) for line in lines).most_common(1)[0][0] if lines else -_NEARLY - 1


def _made(found: list[Found], alone: list[tuple[Line, int]], base: Base, cells: Cells) -> Learnt:
    with_address = [f for f in found if f.address is not None]
    plain = [f for f in found if f.address is None]
    if len(with_address) >= len(alone) or not plain:
        some = _spread(plain) + _spread(with_address)
        fitted = fit(some, base, cells, "some")
        return Learnt(fitted.layout, len(found) * cells.bytes * _tidiness(fitted) * 0.95, fitted.notes)
    fitted = fit(_spread(plain), None, cells, "alone")
    layout = _with_lone_address(fitted.layout, alone, base)
    return Learnt(layout, len(found) * cells.bytes * _tidiness(fitted) * 0.9, fitted.notes)


def _with_lone_address(layout: Layout, alone: list[tuple[Line, int]], base: Base) -> Layout:
    before = [line.text[: line.tokens[i][0]] for line, i in alone]
    after = [line.text[line.tokens[i][1] :].rstrip() for line, i in alone]
    number, lead = address_form([line.token(i) for line, i in alone], before, base)
    return replace(layout, where="alone", address=number, lead=lead, after=common_pattern(after))


_SHORT_LINE = 40
_MOST_BESIDES = 3
"""Numbers on a line with the only address: the first and the last, and how many."""
_LONGEST_ADDRESS = 8
TOP_ONLY = "only one address stands in the log, before the data: all bytes are counted from it"
NO_ADDRESS = "the log has no addresses: the first byte is taken as address 0 unless a base is given"


def _lone(line: Line) -> int | None:
    """Return which number of a short line before the data may be the address, or None."""
    if len(line.text) > _SHORT_LINE or len(line.tokens) > _FIRST_TOKENS:
        return None
    numbers = [i for i in range(len(line.tokens)) if not (_in_word(line, i) or _is_letter(line.token(i)))]
    if not 0 < len(numbers) <= _MOST_BESIDES:
        return None
    first = numbers[0]
    alone = len(line.tokens) == 1 and not any(chr(c).isalpha() for c in line.text.replace(line.token(first), b"", 1))
    if alone or len(line.token(first)) < _SHORTEST:
        return first if alone and len(line.token(first)) <= _LONGEST_ADDRESS else None
    return next((i for i in numbers if len(line.token(i)) <= _LONGEST_ADDRESS), None)


def _is_letter(digits: bytes) -> bool:
    """Tell whether a hex digit is the letter of a command."""
    return len(digits) == 1 and digits.isalpha()


def _is_remnant(line: Line, cells: Cells, gap: bytes | None) -> bool:
    """Tell whether the first line of a log is what a cut left of a line of data: a gap and a cell stand in it."""
    width = cells.widths[0] if cells.widths else 0
    return line.number == 0 and any(
        line.between(i) == gap and (not width or len(line.token(i + 1)) == width) for i in range(len(line.tokens) - 1)
    )


def _likely_base(printed: list[tuple[Line, int]], cells: Cells, lines: list[Line]) -> Base:
    """Return the likeliest base of addresses that no other bears out: that of the cells, or what they look like."""
    digits = {line.token(i) for line, i in printed}
    if cells.base == _HEX:
        return 10 if digits and all(map(_is_decimal, digits)) else 16
    if cells.base == 10 and any(_is_hex_beside_decimals(line, i, lines) for line, i in printed[:_FIRST_TOKENS]):
        return 16
    return cells.base if all(fits(text, cells.base) for text in digits) else 16


def _is_marked(line: Line, which: int) -> bool:
    """Tell whether a number is marked as a hex one."""
    first, end = line.tokens[which]
    return line.text[:first].endswith(_HEX_MARKS) or line.text[end : end + 1] in (b"h", b"H")


def _is_hex_beside_decimals(line: Line, which: int, lines: list[Line]) -> bool:
    """Tell whether the address of decimal cells is hex: marked so, filled up to a word, by an echoed range or rounder.

    Args:
        line: that it stands on.
        which: number of that line it is.
        lines: all, with the command that asked for the dump perhaps.
    """
    digits = line.token(which)
    if _is_marked(line, which) or not fits(digits, 10) or (digits.startswith(b"0") and len(digits) in (4, 8)):
        return True
    asked = (other for other in lines if len(other.tokens) <= _FIRST_TOKENS)
    for other in asked:
        numbers = [other.token(i) for i in range(len(other.tokens)) if not _in_word(other, i)]
        if digits in numbers and any(len(n) >= _SHORTEST and not fits(n, 10) for n in numbers):
            return True
    value, as_hex = int(digits), int(digits, 16)
    return as_hex & -as_hex >= _MUCH_ROUNDER * (value & -value)


_MUCH_ROUNDER = 64


def _base_of(line: Line, which: int, cells: Cells, lines: list[Line]) -> Base:
    """Return the base of the only address of a log: that of its cells, unless it is marked or looks like a hex one."""
    digits = line.token(which)
    marked = _is_marked(line, which) or (cells.base == 10 and _is_hex_beside_decimals(line, which, lines))
    short = cells.base == 8 and len(digits) < _OCTAL_ADDRESS
    if not marked and cells.base == _HEX and _is_decimal(digits):
        return 10
    return 16 if marked or short or not fits(digits, cells.base) else cells.base


def _is_decimal(digits: bytes) -> bool:
    """Tell whether the address above hex bytes is decimal: only so within 64 KiB and rounder, or much rounder."""
    if not fits(digits, 10) or not int(digits) or int(digits) > _HIGHEST:
        return False
    value, other = int(digits), int(digits, 16)
    rounder = (value & -value) / (other & -other)
    plain = len(digits) == _DECIMAL_DIGITS and not digits.startswith(b"0") and other > _HIGHEST
    return rounder > 1 if plain else rounder >= _MUCH_ROUNDER


_DECIMAL_DIGITS = 5
_HIGHEST = 0xFFFF


_OCTAL_ADDRESS = 5
"""Digits that an octal address has at least; hosts that print octal print 16 bits with six (common practice)."""
_HEX_MARKS = (b"$", b"0x", b"0X", b"&", b"&h", b"&H", b"H'", b"X'")


_NAMED = re.compile(rb"[A-Za-z_]\[$")


def _in_word(line: Line, i: int) -> bool:
    """Tell whether a run of digits is part of a word, such as the first letters of `ADDRESS`, or an array's size."""
    first, end = line.tokens[i]
    if _NAMED.search(line.text[:first]):
        return True
    before, after = line.text[max(0, first - 1) : first], line.text[end : end + 2]
    marked = after[:1] in (b"h", b"H") and not after[1:].isalnum()
    return (before.isalpha() and before not in b"xXhH") or (after[:1].isalpha() and not marked)


def _without_addresses(sample: list[list[Line]], cells: Cells, lead: int, usual_tokens: int) -> Learnt | None:
    """Return the layout of a dump with one address before it, or none at all."""
    lines = [line for stretch in sample for line in stretch if not numbers_columns(line.text)]
    places = [(line, _cells_at(line, cells, lead, usual_tokens)) for line in lines]
    found = [Found(line, None, lead) for line, first in places if first == lead]
    others = [line for line, first in places if first is None]
    if len(found) < _TELLING:
        return None
    fitted = fit(_spread(found), None, cells, "none")
    is_hex = cells.base == 16 and bool(cells.widths)
    kinds = [kind for kind, _ in pattern_parts(fitted.layout.rest)]
    if not is_hex and (fitted.layout.tail or RUN in kinds or kinds.count(ANY) >= _SHORTEST):
        return None
    score = len(found) * cells.bytes * _tidiness(fitted) * 0.5
    gap = usual([f.line.between(lead) for f in found])[0] if cells.runs > 1 else None
    top = [
        (line, which)
        for line in others
        if line.number < found[0].line.number and (which := _lone(line)) is not None
        if not _is_remnant(line, cells, gap)
    ]
    if top:
        line, which = top[-1]
        layout = _with_lone_address(fitted.layout, [(line, which)], _base_of(line, which, cells, lines))
        rest = line.text[line.tokens[which][1] :].rstrip()
        layout = replace(layout, after=layout.after if not any(chr(c).isalnum() for c in rest) else "*")
        return Learnt(layout, score, (*fitted.notes, TOP_ONLY))
    if "?" * _SHORTEST in fitted.layout.rest:
        return None
    if not is_hex or cells.bytes < 8 or len(found) < 0.7 * sum(len(stretch) for stretch in sample):
        return None
    return Learnt(fitted.layout, score, (*fitted.notes, NO_ADDRESS))
