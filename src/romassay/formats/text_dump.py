"""Text dumps: what a monitor, a debugger or a loop in an interpreter printed, as a terminal kept it.

There is no list of known programs: the layout is learnt from the log itself, or given by the person in the notation of
docs/reference-layout.md.
"""

from __future__ import annotations

from dataclasses import replace
from functools import cached_property, lru_cache

import numpy as np

from romassay.errors import BadInput
from romassay.formats.layout import Layout, Number, corrected, is_whole, parse_layout, parse_words
from romassay.formats.learning.whole_log import borne_out, probe_of
from romassay.formats.lines.rows import CLEAN, Rows
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.passes.falling import falls, turned_readings, turned_rows, turned_text
from romassay.formats.text.mended import with_digits_for_marks
from romassay.formats.text.respelt import respelt
from romassay.formats.text.terminal import clean
from romassay.reading import Reading

_HEAD = 1 << 14
_FIRST = 1 << 12
_LONG = 1 << 16
_NEARLY_ALL = 0.9
"""Share of the lines that must print back before the first few lines are believed to tell of all."""
_BLOCK = 1 << 12
_BUSIEST = 6
_SPREAD = 3
_MOST_LINES = 250
_LOOKED_AT = 512
_SURE = 0.6
_DOUBTFUL = 0.05
_RIVALS = 5
_ADVICE = "give --layout if it is a dump all the same"


def sniff(data: bytes) -> float:
    """Tell whether a layout can be learnt from a sample of the content."""
    from romassay.formats.lines.reader import read_rows
    from romassay.formats.passes.plausible import is_dump

    log = _prepared(data, None)
    if log.plain:
        return _SURE
    if not log.learnt:
        return 0.0
    layout, _ = log.learnt
    probe = probe_of(turned_text(log.text) if log.falls else log.text)
    return _SURE if is_dump(read_rows(probe, layout), layout) else _DOUBTFUL


def read(data: bytes, hints: Hints) -> Parsed:
    """Read the passes in a log.

    Raises:
        BadInput: no layout can be learnt, or no line of the log has the one that was given.
        BadValue: the layout given breaks its notation.
    """
    from romassay.formats.lines.reader import read_rows
    from romassay.formats.passes.chain import readings_of
    from romassay.formats.passes.plausible import is_dump

    log = _prepared(data, hints.encoding)
    _LATEST.clear()
    lent = None if hints.layout else log.lent(hints.likely) or log.plain
    layout, notes = (lent[0], ()) if lent else _layout_for(log, hints)
    rows = lent[1] if lent else read_rows(log.text, layout)
    if hints.layout and log.cleaned is not log.text:
        rows = _fuller(rows, read_rows(log.cleaned, layout))
    if log.falls:
        rows = turned_rows(rows, log.lines)
    if not hints.layout and not is_dump(rows, layout):
        raise BadInput("this holds no dump: no run of lines goes on as one does", advice=_ADVICE)
    readings = readings_of(rows, layout, hints.base, hints.address_bits)
    if layout.cell == _HALF:
        readings = tuple(_of_four_bits(reading) for reading in readings)
    if log.falls:
        readings = turned_readings(readings, log.lines)
    if not readings:
        if hints.layout:
            raise BadInput(f"no line has the layout {layout}", advice="correct --layout, or leave it out")
        raise BadInput("this holds no dump: no address in it is certain", advice=_ADVICE)
    if rows.passed_over:
        notes = (*notes, f"{rows.passed_over} lines were not looked at: there are too many damaged ones before them")
    return Parsed(readings, rows.left, rows.left_total, str(layout), notes)


def _fuller(rows: Rows, printed: Rows) -> Rows:
    """Return those of two readings of a log with more bytes in clean lines, the first if both have as many.

    A person gives a layout either as it was shown, or as the lines stand in the log, with all that is before them.
    """
    clean_bytes, also = (int(some.count[some.state == CLEAN].sum()) for some in (rows, printed))
    return printed if also > clean_bytes else rows


_HALF = Number(16, 1, "zeros")
_LOW_HALF = np.uint8(0x0F)


def _of_four_bits(reading: Reading) -> Reading:
    """Return a reading of a memory four bits wide: nothing is known of the upper half of its bytes."""
    return replace(reading, known=reading.known_bits() & _LOW_HALF)


def likely_layout(data: bytes, hints: Hints) -> Layout | None:
    """Return the first of the likely layouts that a log surely has; None where there is none."""
    lent = _prepared(data, hints.encoding).lent(hints.likely)
    return None if lent is None else lent[0]


def _layout_for(log: _Prepared, hints: Hints) -> tuple[Layout, tuple[str, ...]]:
    """Return the layout that was given, or learnt and then corrected."""
    words = parse_words(hints.layout) if hints.layout else {}
    if words and is_whole(words):
        return parse_layout(hints.layout or ""), ()
    if not log.learnt:
        raise BadInput("no layout of a dump can be made out", advice=_ADVICE)
    layout, notes = log.learnt
    return (corrected(layout, words) if words else layout), notes


class _Prepared:
    """A log's cleaned text, and the sample of it, made when it is first asked for.

    Attributes:
        data: the file's content.
        encoding: that was given, or None.
        cleaned: its text.
        text: the same with its numbers written plainly, and nothing foreign before its lines.
    """

    def __init__(self, data: bytes, encoding: str | None) -> None:
        self.data, self.encoding = data, encoding
        self.cleaned = clean(data, encoding)
        self.text = respelt(self.cleaned)
        self._lent: dict[tuple[str, ...], tuple[Layout, Rows] | None] = {}

    def lent(self, likely: tuple[str, ...]) -> tuple[Layout, Rows] | None:
        """Return the first of some layouts that the text surely has, with its rows; None where there is none."""
        from romassay.formats.learning.lending import lendable, rows_if_sure

        if likely not in self._lent:
            layouts = [layout for each in likely if lendable(layout := parse_layout(each))]
            found = ((layout, rows_if_sure(self.text, layout)) for layout in layouts)
            self._lent[likely] = next(((layout, rows) for layout, rows in found if rows is not None), None)
        return self._lent[likely]

    @cached_property
    def plain(self) -> tuple[Layout, Rows] | None:
        """The layout that the first lines teach, and the rows; None unless hardly a line of a long log differs."""
        from romassay.formats.learning.lending import is_plain, rows_if_sure

        if len(self.text) < _LONG:
            return None
        learnt = _learn((self.text[: self.text.rfind(b"\n", 0, _FIRST) + 1],))
        layout, notes = learnt[0] if learnt else (None, ())
        if layout is None or notes or not is_plain(layout) or not all(layout.gaps or ("",)):
            return None
        rows = rows_if_sure(self.text, layout, _NEARLY_ALL)
        return None if rows is None else (layout, rows)

    @cached_property
    def pieces(self) -> tuple[bytes, ...]:
        """Stretches to learn the layout from."""
        pieces = _sample(self.text)
        return tuple(map(turned_text, pieces)) if self.falls else pieces

    @cached_property
    def learnt(self) -> tuple[Layout, tuple[str, ...]] | None:
        """The layout that explains its sample best, and what was assumed; None where none can be made out.

        Marks that stand for cells, such as `??`, count as digits where nothing can be learnt without.
        """
        for pieces in (self.pieces, tuple(map(with_digits_for_marks, self.pieces))):
            found = _learn(pieces)
            if found:
                layout = borne_out(tuple(layout for layout, _ in found), b"\n".join(pieces))
                return layout, dict(found).get(layout, found[0][1])
        return None

    @cached_property
    def falls(self) -> bool:
        """Whether its addresses fall from line to line."""
        return falls(self.text)

    @cached_property
    def lines(self) -> int:
        """How many lines it has."""
        return self.text.count(b"\n") + (not self.text.endswith(b"\n"))


_LATEST: list[_Prepared] = []
"""The log that `sniff` has cleaned, for `read`, which is called with the same content right after it."""


def _prepared(data: bytes, encoding: str | None) -> _Prepared:
    if not _LATEST or _LATEST[0].data is not data or _LATEST[0].encoding != encoding:
        _LATEST[:] = [_Prepared(data, encoding)]
    return _LATEST[0]


def _sample(text: bytes) -> tuple[bytes, ...]:
    """Return stretches of a cleaned text: its head, some pieces from all over it, and those that say most.

    Most of a log may show a bus that nothing drives, and the same few digits all over; the few lines in which a chip
    answers tell how numbers are printed.
    """
    head = text[:_HEAD]
    if len(text) > _HEAD:
        head = head[: head.rfind(b"\n") + 1] or head
    pieces = [head]
    for block in _blocks(text):
        piece = text[block * _BLOCK : (block + 1) * _BLOCK]
        pieces.append(piece[piece.find(b"\n") + 1 : piece.rfind(b"\n") + 1])
    return tuple(pieces)


def _blocks(text: bytes) -> list[int]:
    """Return the numbers of blocks behind the head: those whose lines differ most, and some evenly spaced."""
    count = len(text) // _BLOCK
    first = _HEAD // _BLOCK
    if count <= first + _BUSIEST + _SPREAD:
        return list(range(first, -(-len(text) // _BLOCK)))
    looked_at = range(first, count, -(-(count - first) // _LOOKED_AT))
    busiest = sorted(looked_at, key=lambda i: -_variety(text[i * _BLOCK : (i + 1) * _BLOCK]))[:_BUSIEST]
    spread = [first + (count - 1 - first) * (i + 1) // _SPREAD for i in range(_SPREAD)]
    return sorted({*busiest, *spread})


def _variety(block: bytes) -> float:
    """Return the share of different ends among the lines of a block: addresses differ in any case, bytes stand last."""
    lines = block.split(b"\n")
    return len({line[-(len(line) // 3 + 1) :] for line in lines}) / len(lines)


@lru_cache(maxsize=4)
def _learn(pieces: tuple[bytes, ...]) -> tuple[tuple[Layout, tuple[str, ...]], ...]:
    """Return the layouts that explain a sample, the best first, each with what was assumed."""
    from romassay.formats.learning.learn import learn

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
