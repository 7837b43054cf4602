"""Text dumps: what a monitor, a debugger or a loop in an interpreter printed, as a terminal kept it.

There is no list of known programs: the layout is learnt from the log itself, or given by the person in the notation of
docs/reference-layout.md.
"""

from __future__ import annotations

from functools import lru_cache
from typing import TypeAlias

from romassay.errors import BadInput
from romassay.formats.layout import Layout, corrected, is_whole, parse_layout, parse_words
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.terminal import clean

_HEAD = 1 << 15
_PIECE = 1 << 12
_PIECES = 6
_MOST_LINES = 400
_SURE = 0.6
_RIVALS = 6
_UNEXPLAINED = 20.0
"""Bits that a character in an unexplained line costs beyond its own."""
_PROBED = 1 << 19
_PROBES = 64
Learned: TypeAlias = tuple[Layout, tuple[str, ...]]

_ADVICE = "give --layout if it is a dump all the same"


def sniff(data: bytes) -> float:
    """Tell whether a layout can be learnt from a sample of the content."""
    return _SURE if _learn(_sample(data, None)) else 0.0


def read(data: bytes, hints: Hints) -> Parsed:
    """Read the passes in a log.

    Raises:
        BadInput: no layout can be learnt, or no line of the log has the one that was given.
        BadValue: the layout given breaks its notation.
    """
    from romassay.formats.lines import read_rows
    from romassay.formats.passes import readings_of

    text = clean(data, hints.encoding)
    layout, notes = _layout_for(data, text, hints)
    rows = read_rows(text, layout)
    readings = readings_of(rows, layout, hints.base, hints.address_bits)
    if not readings:
        raise BadInput(f"no line has the layout {layout}", advice="correct it with --layout")
    return Parsed(readings, rows.left, rows.left_total, str(layout), notes)


def _layout_for(data: bytes, text: bytes, hints: Hints) -> tuple[Layout, tuple[str, ...]]:
    """Return the layout that was given, or learnt and then corrected."""
    words = parse_words(hints.layout) if hints.layout else {}
    if words and is_whole(words):
        return parse_layout(hints.layout or ""), ()
    learnt = _learn(_sample(data, hints.encoding))
    if not learnt:
        raise BadInput("no layout of a dump can be made out", advice=_ADVICE)
    layout, notes = _borne_out(learnt, text)
    return (corrected(layout, words) if words else layout), notes


def _sample(data: bytes, encoding: str | None) -> tuple[bytes, ...]:
    """Return cleaned stretches of a text: its head, and pieces from all over it."""
    head = data[:_HEAD]
    if len(data) > _HEAD:
        head = head[: head.rfind(b"\n") + 1] or head
    pieces = [clean(head, encoding)]
    if b"\0" not in head:
        for i in range(1, _PIECES + 1):
            at = _HEAD + (len(data) - _HEAD - _PIECE) * i // _PIECES
            if at > _HEAD:
                piece = clean(data[at : at + _PIECE], encoding)
                pieces.append(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n") + 1])
    return tuple(pieces)


@lru_cache(maxsize=4)
def _learn(pieces: tuple[bytes, ...]) -> tuple[Learned, ...]:
    """Return the layouts that explain a sample, the best first, each with what was assumed."""
    from romassay.formats.learn import learn

    learnt = learn([piece.split(b"\n")[:_MOST_LINES] for piece in pieces])
    return tuple((item.layout, item.notes) for item in learnt[:_RIVALS])


def _borne_out(learnt: tuple[Learned, ...], text: bytes) -> Learned:
    """Return the layout that explains the whole text best.

    A sample of a floating bus may look octal or decimal; the few lines that a chip answers in tell, so what a layout
    leaves unexplained counts dearly.
    """
    from romassay.formats.weigh import bits_of, unexplained

    if len(learnt) == 1:
        return learnt[0]
    probe = _probe(text)
    return min(learnt, key=lambda item: bits_of(item[0], probe) + _UNEXPLAINED * unexplained(item[0], probe))


def _probe(text: bytes) -> bytes:
    """Return a text, or of a long one whole lines from all over it."""
    if len(text) <= _PROBED:
        return text
    span = _PROBED // _PROBES
    starts = (i * (len(text) - span) // (_PROBES - 1) for i in range(_PROBES))
    pieces = (text[at : at + span] for at in starts)
    return b"\n".join(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n")] for piece in pieces)


FORMAT = Format(
    name="text-dump",
    title="text dump of any layout",
    standard="none: the layout is learnt from the log itself",
    suffixes=(".log", ".txt"),
    sniff=sniff,
    read=read,
)
