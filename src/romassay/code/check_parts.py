"""Checks over parts of an image: CRCs of 32 bits, and values of 16 bits that stand anywhere beside their complement.

A single value of 16 bits over a range that begins or ends anywhere cannot be told from chance: there are more ranges
than values.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from romassay.code.model import Check
from romassay.code.sums import CRC_BY_NAME, USUAL_LONG, WIDE, WIDTHS, Bytes, Parts, Totals
from romassay.code.trials import HEADS, LEAST, Order, Trial

Ints = npt.NDArray[np.int64]

_PAGE = 256
_BEGINS = 64
"""Places, at equal distances, at which a range is tried to begin that may end anywhere."""

_ONES = 0xFFFFFFFF
_ORDERS: tuple[Order, ...] = ("big", "little")


def _words(data: Bytes, width: int, order: Order) -> Ints:
    """Return the word of so many bytes that stands at each offset."""
    count = len(data) - width + 1
    places = range(width - 1, -1, -1) if order == "big" else range(width)
    words = np.zeros(count, np.int64)
    for i, place in enumerate(places):
        words |= data[i : i + count].astype(np.int64) << 8 * place
    return words


def with_complement(totals: Totals, order: Order | None) -> Iterator[Trial]:
    """Yield checks of 16 bits whose value is stored anywhere, its complement beside it.

    Of the whole image without the two, of what stands before or behind them, and the sum of all the bytes.
    """
    data, size = totals.data, len(totals.data)
    for one in ("big", "little") if order is None else (order,):
        words = _words(data, 2, one)
        pairs = np.flatnonzero((words[:-2] ^ words[2:] == 0xFFFF) & (words[:-2] != 0) & (words[2:] != 0))
        for name in (name for name in WIDE if WIDTHS[name] == 16):
            chance = 4 * 2 * (size - 3) / 2.0**32
            hits = []
            for at in pairs.tolist():
                stored = {int(words[at]), int(words[at + 2])}
                ranges: list[Parts] = [((0, at), (at + 4, size)), ((0, at),), ((at + 4, size),)]
                ranges += [((0, size),)] if name == "sum-16" else []
                hits += [
                    Check(name, parts[0][0], parts[-1][1] - 1, at, value, chance)
                    for parts in ranges
                    if parts[-1][1] - parts[0][0] >= LEAST and (value := totals.value(name, parts)) in stored
                ]
            yield Trial(chance, tuple(hits[:1]))


def anywhere(totals: Totals, vectors: int) -> Iterator[Trial]:
    """Yield CRCs of 32 bits over part of the image: those whose value follows anywhere, and those of whole pieces.

    A range begins at one of `_BEGINS` places or behind a header, and ends where its value stands, anywhere; or it
    begins and ends at an eighth of the image, the vectors or the padding, and the value stands anywhere outside.
    """
    data, size = totals.data, len(totals.data)
    if size < 2 * LEAST:
        return
    words = [_words(data, 4, one) for one in _ORDERS]
    begins = range(0, size, max(2, size // _BEGINS))
    blank = np.flatnonzero(data != data[-1])
    written = int(blank[-1]) + 1 if len(blank) else size
    pieces = set(range(0, size + 1, max(_PAGE, size // 8))) | {size, size - vectors, written}
    for name in USUAL_LONG:
        for first in sorted({*begins, *HEADS, *pieces - {size}}):
            values = totals.crc_to_each(CRC_BY_NAME[name], first).astype(np.int64)
            ends = np.arange(first + LEAST, size - 3)
            wanted = values[ends - first]
            found = [ends[(wanted == word[ends]) & (wanted != 0) & (wanted != _ONES)] for word in words]
            chance = len(words) * (size - first) / 2.0**32
            places = np.concatenate(found).tolist()
            hits = [Check(name, first, end - 1, end, int(values[end - first]), chance) for end in places]
            yield Trial(chance, tuple(hits))
            if first in pieces:
                yield from (
                    _elsewhere(name, first, end, int(values[end - first]), words)
                    for end in sorted(pieces)
                    if end - first >= LEAST
                )
        yield from (_around(totals, name, held, words) for held in (None, 0x00, 0xFF))


def _around(totals: Totals, name: str, held: int | None, words: Sequence[Ints]) -> Trial:
    """Try a check of the whole image whose value stands anywhere, left out or counted as blank."""
    values = totals.crc_around(CRC_BY_NAME[name], 4, held).astype(np.int64)
    chance = len(words) * len(values) / 2.0**32
    places = np.concatenate([np.flatnonzero((word == values) & (word != 0) & (word != _ONES)) for word in words])
    last = len(totals.data) - 1
    return Trial(chance, tuple(Check(name, 0, last, at, int(values[at]), chance) for at in places[:1].tolist()))


def _elsewhere(name: str, first: int, end: int, value: int, words: Sequence[Ints]) -> Trial:
    """Try a check whose value stands anywhere outside of what it covers."""
    chance = len(words) * len(words[0]) / 2.0**32
    at = np.concatenate([np.flatnonzero(word == value) for word in words]).tolist()
    outside = [place for place in at if place >= end or place + 4 <= first] if value not in (0, _ONES) else []
    return Trial(chance, tuple(Check(name, first, end - 1, place, value, chance) for place in outside[:1]))
