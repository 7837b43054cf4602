"""The bytes of a line as text behind its cells, and with them the order of the bytes in a word."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np

from romassay.formats.layout import Layout, Order
from romassay.formats.learning.patterns import AGREE, STEADY, as_text
from romassay.formats.learning.sample import usual
from romassay.reading import Bytes, Mask

_MAX_BEFORE_GUTTER = 12
_BLANK, _DELETE = 0x20, 0x7F
TELLING = 3
"""Lines on which a sum must be right by more than chance."""


def first_seen(data: Bytes) -> Mask:
    """Tell which lines are unlike all before them: a bus that repeats itself bears out a sum but once."""
    first: dict[bytes, int] = {}
    for number, row in enumerate(data):
        first.setdefault(row.tobytes(), number)
    unlike = np.zeros(len(data), np.bool_)
    unlike[list(first.values())] = True
    return unlike if unlike.sum() >= TELLING else np.ones(len(data), np.bool_)


def with_gutter(layout: Layout, tails: list[bytes], data: Bytes) -> Layout | None:
    """Find the bytes as text in what follows, and with them the order of bytes in a word; None where they are not."""
    found = gutter_place(tails, data, layout.size)
    if found is None:
        return None
    place, order = found
    at_end = layout.sum is not None and layout.sum.place == "end"
    gutter = as_text(usual([t[:place] for t in tails])[0])
    end, often = usual([t[place + data.shape[1] :] for t in tails])
    return replace(layout, gutter=gutter, end=as_text(end) if often >= 0.5 and not at_end else "", order=order)


def gutter_place(tails: list[bytes], data: Bytes, size: int) -> tuple[int, Order] | None:
    """Return where in what follows the cells the bytes stand as text, and in which order, or None."""
    best: tuple[float, int, Order] = (0.0, 0, "big")
    unlike = first_seen(data)
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
    if len(set(data[unprinting].tolist())) < 2:
        return None
    places = []
    for place in range(1, _MAX_BEFORE_GUTTER + 1):
        whole = [t for t in tails if len(t) >= place + count]
        before, share = usual([t[:place] for t in tails])
        if len(whole) < lines or share < STEADY:
            continue
        shown = np.frombuffer(b"".join(t[place : place + count] for t in tails), np.uint8).reshape(lines, count)
        dot, number = Counter(shown[unprinting].tolist()).most_common(1)[0] if unprinting.any() else (0, 0)
        alike = number >= STEADY * unprinting.sum() and number >= 2 * count
        if not alike or chr(dot).isalnum() or (shown[prints] != data[prints]).sum() > (1 - STEADY) * prints.sum():
            continue
        closed = sum(t[place + count : place + count + 1] == before[-1:] for t in tails) >= STEADY * lines
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
        if share * total > best[0] * best[1] and (share >= best[0] - 0.05 or best[0] < AGREE):
            best = (share, total)
    return best
