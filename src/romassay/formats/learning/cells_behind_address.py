"""Every way to read the numbers behind an address as so many bytes or words."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator

from romassay.formats.layout import HEX, Base
from romassay.formats.learning.sample import FULL_WIDTH, Cells, Line, fits

_BINARY = re.compile(rb"[01]{8}")
_BINARY_BASE = 2
_NEARLY_ALL = 0.9
"""Share of the lines that hold nothing but binary numbers: they are no words of hex digits."""
_MANY_NUMBERS = 8
_MOST_READINGS = 4


def readings_after(lines: list[Line], which: int, base: Base, step: int) -> list[tuple[Cells, int]]:
    """Return the ways to read what follows the address as `step` bytes or words, with how many lines agree."""
    votes: Counter[Cells] = Counter()
    for line in lines:
        votes.update(dict.fromkeys(_cells_after(line, which, step), 1))
    if any(cells.base == _BINARY_BASE and number >= _NEARLY_ALL * len(lines) for cells, number in votes.items()):
        votes = Counter({cells: number for cells, number in votes.items() if cells.base == _BINARY_BASE})
    best = max(votes.values(), default=0)
    octal = _looks_octal(lines, which + 1)

    def rank(item: tuple[Cells, int]) -> tuple[float, ...]:
        cells, number = item
        binary = cells.base == 2
        padded_hex = bool(cells.widths) and cells.base == 16
        likelier = cells.base == (8 if octal else base)
        return (not binary, -number * cells.bytes, cells.skip, not padded_hex, not likelier, not cells.widths)

    return sorted(((c, n) for c, n in votes.items() if n >= max(1, 0.5 * best)), key=rank)


def likeliest(ranked: list[tuple[Cells, int]]) -> list[tuple[Cells, int]]:
    """Return the first few of some ways to read a line, and the first that is hex and leaves out nothing."""
    others = ranked[_MOST_READINGS:]
    hex_bytes = [(c, n) for c, n in others if c.base == HEX and not c.words and not c.skip]
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
        yield hex_reading(widths, skip)
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
    yield from _half_cells(texts, step, skip)
    wide = tuple(len(t) for t in texts[:step])
    if len(wide) == step and max(wide) <= 2 and min(wide) == 1:
        yield Cells(16, 1, step, skip)


def _half_cells(texts: list[bytes], step: int, skip: int) -> Iterator[Cells]:
    """Read as many hex digits as there are addresses, in equal runs behind which no other follows."""
    widths = _widths_until(texts, step)
    more = texts[len(widths) : len(widths) + 1]
    if (
        step >= _LEAST_HALVES
        and len(set(widths)) == 1
        and widths[0] != _BYTE_DIGITS
        and [len(t) for t in more] != [widths[0]]
    ):
        yield Cells(16, 1, step, skip, widths, half=True)


_LEAST_HALVES = 4
_BYTE_DIGITS = 2


def hex_reading(widths: tuple[int, ...], skip: int = 0) -> Cells:
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
