"""Text dumps in company: files of one evening were mostly printed by one program, so one file's layout may fit another.

Where a noisy line has spoilt a file so much that its layout was learnt wrongly, the layout of another file of the same
assay explains it better than its own.
"""

from __future__ import annotations

from collections.abc import Sequence

_PROBED = 1 << 18
_PROBES = 16
_CLEARLY = 0.98
"""Share of its own description at most that another's layout must bring."""

_UNEXPLAINED = 20.0
"""Bits that a character in an unexplained line costs beyond its own."""


def better_layouts(files: Sequence[tuple[str, bytes]]) -> list[str | None]:
    """Return for each file the layout of another that explains it clearly better than its own, or None.

    Args:
        files: the layout that was learnt from each file, and the file's content.
    """
    from romassay.formats.terminal import clean

    layouts = list(dict.fromkeys(layout for layout, _ in files))
    if len(layouts) < 2:
        return [None] * len(files)
    result: list[str | None] = []
    for own, data in files:
        text = _probe(clean(data))
        costs = {layout: _cost(layout, text) for layout in layouts}
        best = min(layouts, key=costs.__getitem__)
        result.append(best if costs[best] < _CLEARLY * costs[own] else None)
    return result


def _cost(layout: str, text: bytes) -> float:
    from romassay.formats.layout import parse_layout
    from romassay.formats.weigh import bits_of, unexplained

    parsed = parse_layout(layout)
    return bits_of(parsed, text) + _UNEXPLAINED * unexplained(parsed, text)


def _probe(text: bytes) -> bytes:
    """Return a text, or of a long one whole lines from all over it."""
    if len(text) <= _PROBED:
        return text
    span = _PROBED // _PROBES
    starts = (i * (len(text) - span) // (_PROBES - 1) for i in range(_PROBES))
    pieces = (text[at : at + span] for at in starts)
    return b"\n".join(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n")] for piece in pieces)
