"""The text of a dump to rows of data under a known layout: clean lines in bulk, all others one by one.

A line is taken in bulk only where every column of it is as the layout says. What does not fit goes to the strict
reader, and what that refuses is either aligned as a damaged line, with only its certain characters taken, or left.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import replace

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines import fixed_columns as fixed
from romassay.formats.lines.alignment import BAND
from romassay.formats.lines.chunk import LINE_END, Chunk, chunk_of, end_of_chunk
from romassay.formats.lines.damaged import best_of, certain_of
from romassay.formats.lines.fixed_columns import text_beside, text_in
from romassay.formats.lines.free_columns import RunLines, run_lines
from romassay.formats.lines.likeness import is_data_like, is_long
from romassay.formats.lines.rows import NO_ADDRESS, NO_TEXT, OVERLONG, Gatherer, Rows
from romassay.formats.lines.strict import LineReader
from romassay.formats.lines.text_beside import expected_text
from romassay.formats.lines.uniform import UniformLines, uniform_lines
from romassay.formats.model import ADDRESS_SPACE
from romassay.formats.sums import KINDS
from romassay.reading import Bytes, Index, Mask

MAX_LINE = 4096
_ENOUGH = 4
"""Lines that must be left over before another template is tried on them in bulk."""
_MANY_LINES = 1 << 11
"""Lines whose text column is not kept where it is just as it should be: fewer may be needed to learn what it should."""
_MERGED = 1.5
"""Length of a line, in full lines, from which it may be two."""
_LIKELY_DIGITS = {16: 4, 10: 5, 8: 6}
_ALIGNERS = 2
_TRIES = 24
_LOOKED_AT = 12
_MOST_SINGLE = 1 << 20
"""Lines that are read one by one before the rest of those that can't be taken in bulk are left."""
_MOST_DOUBTFUL = 1 << 17
"""Damaged lines before the rest of them are left."""
_Found = tuple[Bytes, Index | None, Index | None]
"""Bytes of some lines, printed addresses and printed sums."""


def read_rows(text: bytes, layout: Layout, *, align: bool = True) -> Rows:
    """Read all lines of a cleaned text.

    Args:
        text: from `terminal.clean`.
        layout: of the lines.
        align: take what is certain of damaged lines, too; else the rows don't say either which lines are none of them.
    """
    reader = _Reader(layout, align=align)
    at, line = 0, 1
    while at < len(text):
        end = end_of_chunk(text, at)
        line += reader.read(line, text, at, end)
        at = end
    ends = line - 1 if text.endswith(b"\n") else line - 2
    return reader.gathered.rows(ink=len(text) - max(0, ends))


def _room_behind(layout: Layout) -> int:
    """Return how many characters may follow a line's fixed columns: a text column has one for each byte."""
    at_end = layout.sum is not None and layout.sum.place == "end"
    open_end = layout.tail or at_end or layout.gutter is None
    return MAX_LINE if open_end else layout.line_bytes + len(layout.end) + OVERLONG - 1


class _Reader:
    """Reads chunks of one text."""

    def __init__(self, layout: Layout, *, align: bool) -> None:
        self._layout = layout
        self._alignable = align
        self._strict = LineReader(layout)
        self._room = _room_behind(layout)
        self.gathered = Gatherer()
        self._templates: dict[tuple[bool, int, int], fixed.Template] = {}
        self._order: list[fixed.Template] = []
        self._fits: Counter[int] = Counter()
        self._runs = run_lines(layout)
        self._uniform: dict[tuple[int, int], UniformLines | None] = {}
        self._single = self._doubtful = 0
        self._expected: bytes | None = None

    def read(self, first_line: int, text: bytes, at: int, end: int) -> int:
        """Take the lines of a chunk, from a place in a text to another; return how many lines it has."""
        lines = self._read_uniform(first_line, text, at, end)
        if not lines:
            chunk = chunk_of(first_line, text[at:end])
            self._read_uneven(chunk)
            lines = len(chunk.ends)
        self.gathered.end_chunk()
        return lines

    def _read_uneven(self, chunk: Chunk) -> None:
        """Take the lines of a chunk, whatever they are."""
        if chunk.left.sum() >= _ENOUGH:
            if self._layout.gaps is not None and self._layout.cell.width > 0:
                self._in_fixed_columns(chunk)
            if self._runs:
                self._in_free_columns(self._runs, chunk)
        self._one_by_one(chunk)

    def _read_uniform(self, first_line: int, text: bytes, at: int, end: int) -> int:
        """Take a chunk whose lines are all of one length and all clean; return how many lines it has, 0 if it is none.

        Where one of them can't be taken, none is.
        """
        if not self._order:
            return 0
        pitch = text.find(b"\n", at, end) + 1 - at
        template = self._order[0]
        over = pitch - 1 - template.width
        if not 0 <= over <= (0 if template.exact else self._room) or (end - at) % pitch:
            return 0
        table = np.frombuffer(text, np.uint8, end - at, at).reshape(-1, pitch)
        if (table[:, pitch - 1] != LINE_END).any():
            return 0
        key = id(template), pitch
        if key not in self._uniform:
            self._uniform[key] = uniform_lines(self._layout, template, pitch)
        reader = self._uniform[key]
        found = reader.read(table) if reader else self._read_classes(table, template)
        if found is None:
            return 0
        data, printed, total = found
        wrong = self._wrong(data, printed, total)
        if wrong.any():
            return 0
        self._fits[id(template)] += len(table)
        shown = self._odd_text(data, text_in(table[:, :-1], template, self._layout.line_bytes))
        self._gather(np.arange(first_line, first_line + len(table)), data, printed, pitch - 1, shown)
        return len(table)

    def _odd_text(self, data: Bytes, shown: Bytes | None) -> Bytes | None:
        """Return the text beside clean lines, or None where there is none, or it is just as their bytes have it."""
        if shown is None:
            return None
        if self._expected is None:
            told = expected_text(data.ravel(), shown.ravel())
            self._expected = None if told is None else np.where(told < 0, NO_TEXT, told).astype(np.uint8).tobytes()
        if self._expected is None:
            return shown
        expected = np.frombuffer(data.tobytes().translate(self._expected), np.uint8).reshape(data.shape)
        odd = expected != shown
        return shown if odd.any() and (expected[odd] != NO_TEXT).any() else None

    def _read_classes(self, table: Bytes, template: fixed.Template) -> _Found | None:
        """Read lines of one length with numbers of any form; None unless all fit the template."""
        if np.count_nonzero(table == LINE_END) != len(table):
            return None
        grid = np.frombuffer(table.tobytes().translate(fixed.CLASSES), np.uint8).reshape(table.shape)
        if fixed.misfits(grid[:, : template.width], template).any():
            return None
        data, large = fixed.data_of(grid, self._layout, template)
        return None if large.any() else (data, *_numbers_beside(grid, template))

    def _wrong(self, data: Bytes, printed: Index | None, total: Index | None) -> Mask:
        """Tell which lines have a wrong sum, or an address that no bus has."""
        wrong = np.zeros(len(data), np.bool_)
        if printed is not None:
            wrong |= printed >= ADDRESS_SPACE // self._layout.scale
        if total is not None and self._layout.sum is not None:
            at = np.zeros(len(data), np.int64) if printed is None else printed
            wrong |= KINDS[self._layout.sum.kind].of(at, data) != total
        return wrong

    def _gather(
        self,
        line: Index,
        data: Bytes,
        printed: Index | None,
        length: int | Index,
        shown: Bytes | None = None,
    ) -> None:
        """Keep lines that are clean."""
        address = np.full(len(line), NO_ADDRESS, np.int64) if printed is None else printed * self._layout.scale
        self.gathered.bulk(line, address, data, length, self._layout.sum is not None, shown)

    def _in_fixed_columns(self, chunk: Chunk) -> None:
        """Take the lines that fit a template, and strike them from those that are left."""
        for template in list(self._order):
            self._fitting(template, chunk)
        for _ in range(_TRIES):
            places = np.flatnonzero(chunk.left)[:_LOOKED_AT]
            if len(places) < _ENOUGH:
                return
            new = self._new_template(chunk.line(i) for i in places)
            if new is None or not self._fitting(new, chunk):
                return

    def _in_free_columns(self, runs: RunLines, chunk: Chunk) -> None:
        """Take the lines without fixed columns that are just as they should be, and strike them from those left."""
        candidates = np.flatnonzero(chunk.left)
        if len(candidates) < _ENOUGH:
            return
        raw = np.frombuffer(chunk.text, np.uint8)
        good, printed, data = runs.read(raw, chunk.classes, chunk.starts[candidates], chunk.ends[candidates])
        right = ~self._wrong(data, printed, None)
        taken = candidates[good][right]
        lengths = chunk.ends[taken] - chunk.starts[taken]
        self._gather(taken + chunk.first_line, data[right], None if printed is None else printed[right], lengths)
        chunk.left[taken] = False

    def _new_template(self, lines: Iterator[bytes]) -> fixed.Template | None:
        """Return a template of the first clean line for which there was none."""
        for text in lines:
            widths = self._strict.widths(text) if len(text) <= MAX_LINE else None
            if widths is not None and widths not in self._templates:
                has_address, number, address = widths
                template = fixed.template_of(self._layout, address, number_width=number, rest=not has_address)
                if template is not None:
                    self._templates[widths] = template
                    self._order.insert(0, template)
                    return template
        return None

    def _fitting(self, template: fixed.Template, chunk: Chunk) -> bool:
        """Take the lines that fit one template; tell whether there were any."""
        lengths = chunk.ends - chunk.starts
        over = lengths - template.width
        right_length = over == 0 if template.exact else (over >= 0) & (over <= self._room)
        candidates = np.flatnonzero(chunk.left & right_length)
        if not len(candidates) or len(chunk.text) < template.width:
            return False
        windows = np.lib.stride_tricks.sliding_window_view(chunk.classes, template.width)
        grid = windows[chunk.starts[candidates]]
        fit = ~fixed.misfits(grid, template)
        if not fit.any():
            return False
        if template is not self._order[0] and fit.sum() > len(candidates) // 2:
            self._order.remove(template)
            self._order.insert(0, template)
        candidates = candidates[fit]
        self._fits[id(template)] += len(candidates)
        grid = grid if fit.all() else grid[fit]
        data, large = fixed.data_of(grid, self._layout, template)
        printed, total = _numbers_beside(grid, template)
        right = ~(large | self._wrong(data, printed, total))
        taken = candidates[right]
        printed = None if printed is None else printed[right]
        starts, ends = chunk.starts[taken], chunk.ends[taken]
        shown = text_beside(chunk.text, starts, ends, template, self._layout.line_bytes)
        if len(taken) >= _MANY_LINES:
            shown = self._odd_text(data[right], shown)
        self._gather(taken + chunk.first_line, data[right], printed, lengths[taken], shown)
        chunk.left[taken] = False
        return bool(len(taken))

    def _one_by_one(self, chunk: Chunk) -> None:
        """Take the lines that are left, those that are not blank, by the strict reader, or what is certain of them."""
        left = chunk.left_with_ink()
        doubtful: list[tuple[int, bytes]] = []
        room = max(0, min(_MOST_SINGLE - self._single, _MOST_DOUBTFUL - self._doubtful))
        self._single += len(left)
        self.gathered.pass_over(left[room:] + chunk.first_line)
        for i in left[:room].tolist():
            text = chunk.line(i)
            line = chunk.first_line + i
            if len(text) > MAX_LINE:
                self.gathered.leave(line, text, f"a line of {len(text)} characters", damage=True)
                continue
            for part in self._parted(text):
                row = self._strict.read(line, part, last=chunk.ends[i] == len(chunk.text))
                if row:
                    self.gathered.one(row if part is text else replace(row, edits=row.edits + 1), len(part))
                else:
                    doubtful.append((line, part))
        self._doubtful += len(doubtful)
        if doubtful and self._alignable:
            self._align(doubtful)

    def _parted(self, text: bytes) -> list[bytes]:
        """Return two lines of data whose line end was lost, or is another character now, one by one; else the line."""
        for template in self._order:
            width = self._whole_width(template)
            if not width or len(text) < _MERGED * width:
                continue
            near = sorted(range(width - BAND, width + BAND + 1), key=lambda k: abs(k - width))
            at = next((k for k in near if self._strict.widths(text[k:]) is not None), None)
            if at is None and self._strict.widths(text[:width]) is not None:
                at = next((k for k in (width, width + 1) if self._strict.has_address(text[k:])), None)
            if at is not None:
                whole = self._strict.widths(text[:width]) is not None and at in (width, width + 1)
                return [text[: width if whole else at], text[at:]]
        return [text]

    def _whole_width(self, template: fixed.Template) -> int:
        """Return how many characters a full line has; 0 where that is not fixed."""
        layout = self._layout
        if template.exact:
            return template.width
        behind_gutter = layout.gutter is not None and not layout.tail
        return template.width + layout.line_bytes + len(layout.end) if behind_gutter else 0

    def _align(self, doubtful: list[tuple[int, bytes]]) -> None:
        """Take what is certain of damaged lines, and leave what does not look like data."""
        alike = [is_data_like(text, self._layout) for _, text in doubtful]
        chosen = [item for item, is_alike in zip(doubtful, alike, strict=True) if is_alike]
        aligners = self._aligners() if chosen else []
        taken: set[int] = set()
        for line, text in chosen if not aligners else ():
            row = self._strict.damaged(line, text)
            if row:
                taken.add(line)
                self.gathered.one(row, len(text))
        if aligners:
            block = best_of([certain_of(chosen, template, self._layout) for template in aligners])
            taken.update(block.line.tolist())
            self.gathered.take(block)
        for (line, text), damage in zip(doubtful, alike, strict=True):
            if line not in taken:
                reason = "too damaged to read" if damage else "no line of the dump"
                self.gathered.leave(
                    line, text, reason, damage=damage, suspect=not damage and is_long(text, self._layout)
                )

    def _aligners(self) -> list[fixed.Template]:
        """Return the templates to align damaged lines with: those that fitted most often, with and without address."""
        if not self._order and self._layout.address is not None:
            width = self._layout.address.width or _LIKELY_DIGITS[self._layout.address.base]
            template = fixed.template_of(self._layout, width, number_width=2)
            return [template] if template is not None else []
        often = sorted(self._order, key=lambda template: -self._fits[id(template)])
        with_address = [template for template in often if template.address is not None]
        without = [template for template in often if template.address is None]
        return [*with_address[:_ALIGNERS], *without[:1]]


def _numbers_beside(grid: Bytes, template: fixed.Template) -> tuple[Index | None, Index | None]:
    """Return the printed addresses and sums of lines that fit, int64[lines] each, None where they have none."""
    address, total = template.address, template.sum
    return (
        None if address is None else fixed.numbers(grid, (address,))[:, 0],
        None if total is None else fixed.numbers(grid, (total,))[:, 0],
    )
