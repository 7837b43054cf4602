"""The map of a capture as it grows: which addresses were heard how often, and where readings disagree. Pure."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import numpy.typing as npt

from romassay.report.text import Line, Segment, Style
from romassay.report.words import digits

_WIDEST = 64
_MOST_ROWS = 16
NOT_YET, ONCE, ALL, DIFFER = " ", "-", "=", "!"
LEGEND = f"'{ONCE}' heard, '{ALL}' heard in every pass, '{DIFFER}' passes differ, blank: not yet"
_STYLES: dict[str, Style] = {ONCE: "faint", ALL: "good", DIFFER: "bad", NOT_YET: "plain"}


def growing_map(
    address: npt.NDArray[np.int64],
    heard: npt.NDArray[np.uint8],
    differ: npt.NDArray[np.bool_],
    passes: int,
    *,
    room: int = 80,
    address_bits: int = 16,
) -> list[Line]:
    """Return the window as rows of signs, each sign for an equal stretch of addresses.

    Args:
        address: int64[n], the window's addresses, rising.
        heard: uint8[n], passes that heard each.
        differ: bool[n], where passes disagree.
        passes: how many passes are asked for.
        room: columns.
        address_bits: lines of the bus.
    """
    wide = digits(address_bits)
    columns = max(8, min(_WIDEST, room - wide - 4))
    stretch = 1
    while -(-len(address) // (stretch * columns)) > _MOST_ROWS:
        stretch *= 2
    rows: list[Line] = []
    for start in range(0, len(address), stretch * columns):
        stop = min(len(address), start + stretch * columns)
        signs = [
            _sign(heard[at : at + stretch], differ[at : at + stretch], passes) for at in range(start, stop, stretch)
        ]
        rows.append((Segment(f"{int(address[start]):0{wide}X}  "), *_segments(signs)))
    return rows


def _sign(heard: npt.NDArray[np.uint8], differ: npt.NDArray[np.bool_], passes: int) -> str:
    """Return the sign of a stretch: the worst that is in it."""
    if differ.any():
        return DIFFER
    least = int(heard.min())
    return ALL if least >= passes else ONCE if least else NOT_YET


def _segments(signs: Sequence[str]) -> list[Segment]:
    """Return signs as segments, equal neighbours together."""
    result: list[Segment] = []
    for sign in signs:
        if result and result[-1].text[0] == sign:
            result[-1] = Segment(result[-1].text + sign, result[-1].style)
        else:
            result.append(Segment(sign, _STYLES[sign]))
    return result


def duration(seconds: float) -> str:
    """Return a time as people say it: '45 s', '3 min 20 s', '2 h 5 min'."""
    whole = round(seconds)
    if whole < 60:
        return f"{whole} s"
    if whole < 3600:
        return f"{whole // 60} min {whole % 60} s"
    return f"{whole // 3600} h {whole % 3600 // 60} min"


def progress_line(got: int, needed: int, number: int, seconds: float, got_before: int) -> str:
    """Return one line: how much, how fast, how long still.

    Args:
        got: bytes heard, over all passes.
        needed: bytes wanted, over all passes.
        number: the pass under way.
        seconds: since the start.
        got_before: bytes that an earlier run had heard.
    """
    share = got / needed if needed else 1.0
    rate = (got - got_before) / seconds if seconds > 0 else 0.0
    left = f", about {duration((needed - got) / rate)} left" if rate > 0 and got < needed else ""
    return f"pass {number}: {got} of {needed} bytes ({share:.0%}), {rate:.0f} bytes/s{left}"
