"""Text dumps: what a monitor, a debugger or a loop in an interpreter printed, as a terminal kept it.

There is no list of known programs: the layout is learnt from the log itself, or given by the person in the notation of
docs/reference-layout.md.
"""

from __future__ import annotations

from functools import lru_cache

from romassay.errors import BadInput
from romassay.formats.forms import borne_out, probe_of
from romassay.formats.layout import Layout, corrected, is_whole, parse_layout, parse_words
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.terminal import clean

_HEAD = 1 << 14
_BLOCK = 1 << 12
_BUSIEST = 6
_SPREAD = 3
_MOST_LINES = 250
_LOOKED_AT = 1 << 20
_SURE = 0.6
_DOUBTFUL = 0.05
_RIVALS = 5
_ADVICE = "give --layout if it is a dump all the same"


def sniff(data: bytes) -> float:
    """Tell whether a layout can be learnt from a sample of the content."""
    from romassay.formats.lines import read_rows
    from romassay.formats.plausible import is_dump

    pieces = _sample(data, None)
    learnt = _learn(pieces)
    if not learnt:
        return 0.0
    layout = borne_out(tuple(layout for layout, _ in learnt), b"\n".join(pieces))
    text = probe_of(clean(data))
    return _SURE if is_dump(read_rows(text, layout), layout, text) else _DOUBTFUL


def read(data: bytes, hints: Hints) -> Parsed:
    """Read the passes in a log.

    Raises:
        BadInput: no layout can be learnt, or no line of the log has the one that was given.
        BadValue: the layout given breaks its notation.
    """
    from romassay.formats.lines import read_rows
    from romassay.formats.passes import readings_of
    from romassay.formats.plausible import is_dump

    text = clean(data, hints.encoding)
    layout, notes = _layout_for(data, hints)
    rows = read_rows(text, layout)
    if not hints.layout and not is_dump(rows, layout, text):
        raise BadInput("this holds no dump: no run of lines goes on as one does", advice=_ADVICE)
    readings = readings_of(rows, layout, hints.base, hints.address_bits)
    if not readings:
        if hints.layout:
            raise BadInput(f"no line has the layout {layout}", advice="correct --layout, or leave it out")
        raise BadInput("this holds no dump: no address in it is certain", advice=_ADVICE)
    return Parsed(readings, rows.left, rows.left_total, str(layout), notes)


def _layout_for(data: bytes, hints: Hints) -> tuple[Layout, tuple[str, ...]]:
    """Return the layout that was given, or learnt and then corrected."""
    words = parse_words(hints.layout) if hints.layout else {}
    if words and is_whole(words):
        return parse_layout(hints.layout or ""), ()
    pieces = _sample(data, hints.encoding)
    learnt = _learn(pieces)
    if not learnt:
        raise BadInput("no layout of a dump can be made out", advice=_ADVICE)
    layout = borne_out(tuple(layout for layout, _ in learnt), b"\n".join(pieces))
    notes = dict(learnt).get(layout, learnt[0][1])
    return (corrected(layout, words) if words else layout), notes


def _sample(data: bytes, encoding: str | None) -> tuple[bytes, ...]:
    """Return cleaned stretches of a text: its head, some pieces from all over it, and those that say most.

    Most of a log may show a bus that nothing drives, and the same few digits all over; the few lines in which a chip
    answers tell how numbers are printed.
    """
    head = data[:_HEAD]
    if len(data) > _HEAD:
        head = head[: head.rfind(b"\n") + 1] or head
    pieces = [clean(head, encoding)]
    for block in _blocks(data) if b"\0" not in head else ():
        piece = clean(data[block * _BLOCK : (block + 1) * _BLOCK], encoding)
        pieces.append(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n") + 1])
    return tuple(pieces)


def _blocks(data: bytes) -> list[int]:
    """Return the numbers of blocks behind the head: those whose digits vary most, and some evenly spaced."""
    count = len(data) // _BLOCK
    first = _HEAD // _BLOCK
    if count <= first + _BUSIEST + _SPREAD:
        return list(range(first, -(-len(data) // _BLOCK)))
    entropy = _entropy(data, count)
    busiest = sorted(range(first, count), key=lambda i: -entropy[i])[:_BUSIEST]
    spread = [first + (count - 1 - first) * (i + 1) // _SPREAD for i in range(_SPREAD)]
    return sorted({*busiest, *spread})


def _entropy(data: bytes, count: int) -> list[float]:
    """Return how evenly the hex digits are spread in each block, in bits."""
    import numpy as np

    step = 1
    while count * _BLOCK // step > _LOOKED_AT and step < _BLOCK // 16:
        step *= 2
    seen = np.frombuffer(data, np.uint8, count * _BLOCK)[::step].reshape(count, -1)
    values = np.frombuffer(_DIGIT_VALUES, np.uint8)[seen].astype(np.int64) + np.arange(count)[:, None] * 17
    shares = np.bincount(values.ravel(), minlength=17 * count).reshape(count, 17)[:, :16] / seen.shape[1]
    bits = np.where(shares > 0, -shares * np.log2(np.maximum(shares, 1e-9)), 0.0).sum(axis=1)
    return [float(value) for value in bits]


_DIGIT_VALUES = bytes(int(chr(c), 16) if chr(c) in "0123456789abcdefABCDEF" else 16 for c in range(256))


@lru_cache(maxsize=4)
def _learn(pieces: tuple[bytes, ...]) -> tuple[tuple[Layout, tuple[str, ...]], ...]:
    """Return the layouts that explain a sample, the best first, each with what was assumed."""
    from romassay.formats.learn import learn

    learnt = learn([piece.split(b"\n")[:_MOST_LINES] for piece in pieces])
    return tuple((item.layout, item.notes) for item in learnt[:_RIVALS])


FORMAT = Format(
    name="text-dump",
    title="text dump of any layout",
    standard="none: the layout is learnt from the log itself",
    suffixes=(".log", ".txt"),
    sniff=sniff,
    read=read,
)
