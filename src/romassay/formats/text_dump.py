"""Text dumps: what a monitor, a debugger or a loop in an interpreter printed, as a terminal kept it.

There is no list of known programs: the layout is learnt from the log itself, or given by the person in the notation of
docs/reference-layout.md.
"""

from __future__ import annotations

from functools import lru_cache

from romassay.errors import BadInput
from romassay.formats.layout import Layout, corrected, is_whole, parse_layout, parse_words
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.terminal import clean

_HEAD = 1 << 15
_PIECE = 1 << 12
_PIECES = 6
_MOST_LINES = 400
_SURE = 0.6
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

    layout, notes = _layout_for(data, hints)
    text = clean(data, hints.encoding)
    rows = read_rows(text, layout)
    readings = readings_of(rows, layout, hints.base, hints.address_bits)
    if not readings:
        raise BadInput(f"no line has the layout {layout}", advice="correct it with --layout")
    return Parsed(readings, rows.left, rows.left_total, str(layout), notes)


def _layout_for(data: bytes, hints: Hints) -> tuple[Layout, tuple[str, ...]]:
    """Return the layout that was given, or learnt and then corrected."""
    words = parse_words(hints.layout) if hints.layout else {}
    if words and is_whole(words):
        return parse_layout(hints.layout or ""), ()
    learnt = _learn(_sample(data, hints.encoding))
    if learnt is None:
        raise BadInput("no layout of a dump can be made out", advice=_ADVICE)
    layout, notes = learnt
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
def _learn(pieces: tuple[bytes, ...]) -> tuple[Layout, tuple[str, ...]] | None:
    """Return the layout that explains a sample best, and what was assumed; None where none does."""
    from romassay.formats.learn import learn

    learnt = learn([piece.split(b"\n")[:_MOST_LINES] for piece in pieces])
    return (learnt[0].layout, learnt[0].notes) if learnt else None


FORMAT = Format(
    name="text-dump",
    title="text dump of any layout",
    standard="none: the layout is learnt from the log itself",
    suffixes=(".log", ".txt"),
    sniff=sniff,
    read=read,
)
