"""The text of a dump to rows of data under a known layout: clean lines in bulk, all others one by one.

A line is taken in bulk only where every column of it is as the layout says. What does not fit goes to the strict
reader, and what that refuses is either aligned as a damaged line, with only its certain characters taken, or left.
"""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, replace

import numpy as np
import numpy.typing as npt

from romassay.formats import columns as fixed
from romassay.formats import damaged
from romassay.formats.beside import expected_text
from romassay.formats.layout import Layout
from romassay.formats.rows import (
    CODES,
    DAMAGED,
    LOST_COLUMNS,
    NO_ADDRESS,
    NO_SUM,
    NO_TEXT,
    NOT_A_DIGIT,
    OVERLONG,
    UNSURE_ADDRESS,
    WRONG_SUM,
    Block,
    Gatherer,
    Rows,
    joined,
)
from romassay.formats.runs import RunLines, run_lines
from romassay.formats.sample import numbers_columns
from romassay.formats.strict import LineReader
from romassay.formats.sums import KINDS
from romassay.formats.uniform import UniformLines, uniform_lines

_CHUNK = 1 << 18
MAX_LINE = 4096
_ENOUGH = 4
"""Lines that must be left over before another template is tried on them in bulk."""
_FEW_CELLS = 4
_MANY_LINES = 1 << 11
"""Lines whose text column is not kept where it is just as it should be: fewer may be needed to learn what it should."""
_MERGED = 1.5
"""Length of a line, in full lines, from which it may be two."""
_FEWEST_DIGITS = 0.4
"""Share of a line's digits that damage leaves at the least."""
_DIGITS = re.compile(rb"(?<![0-9A-Za-z])(?:0[xX])?([0-9A-Fa-f]+)(?=[hH]?(?![0-9A-Za-z]))")
_COMMAND = re.compile(rb"\W{0,8}[A-Za-z]{1,8}\s(?!\s\s)")
_LIKELY_DIGITS = {16: 4, 10: 5, 8: 6}
_ALIGNERS = 2
_TRIES = 24
_LOOKED_AT = 12
_MAX_ADDRESS = 1 << 32
_LINE_END = ord("\n")
_MOST_SINGLE = 1 << 20
"""Lines that are read one by one before the rest of those that can't be taken in bulk are left."""
_MOST_DOUBTFUL = 1 << 17
"""Damaged lines before the rest of them are left."""
_IS_INK = np.array([not bytes([c]).isspace() for c in range(256)])
Index = npt.NDArray[np.int64]
_Found = tuple[fixed.Grid, Index | None, Index | None]
"""Bytes of some lines, printed addresses and printed sums."""
_DATA_LIKE = bytes(c for c in range(256) if chr(c) not in "0123456789abcdefABCDEF")


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
        end = _end_of_chunk(text, at)
        line += reader.read(line, text, at, end)
        at = end
    ends = line - 1 if text.endswith(b"\n") else line - 2
    return reader.gathered.rows(ink=len(text) - max(0, ends))


def _end_of_chunk(text: bytes, at: int) -> int:
    """Return where a chunk of whole lines ends that starts at a place; a file's last line may lack its end."""
    return text.rfind(b"\n", at, at + _CHUNK) + 1 or text.find(b"\n", at + _CHUNK) + 1 or len(text)


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
        between = sum(len(gap.replace(" ", "")) for gap in layout.gaps or ())
        self._literal = between + len(layout.lead + layout.after)
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
        lines = self._read_uniform(first_line, text, at, end) or self._read_uneven(first_line, text, at, end)
        self.gathered.end_chunk()
        return lines

    def _read_uneven(self, first_line: int, text: bytes, at: int, end: int) -> int:
        """Take the lines of a chunk, whatever they are; return how many lines it has."""
        chunk = text[at:end]
        ends = np.flatnonzero(np.frombuffer(chunk, np.uint8) == _LINE_END)
        if not chunk.endswith(b"\n"):
            ends = np.append(ends, len(chunk))
        starts = np.concatenate([[0], ends[:-1] + 1])
        left = ends > starts
        unfinished = not chunk.endswith(b"\n") and bool(left[-1])
        left[-1:] &= not unfinished
        fixed_columns = self._layout.gaps is not None and self._layout.cell.width > 0
        if left.sum() >= _ENOUGH and (fixed_columns or self._runs):
            classes = np.frombuffer(chunk.translate(fixed.CLASSES), np.uint8)
            if fixed_columns:
                self._bulk(first_line, chunk, classes, starts, ends, left)
            if self._runs:
                self._by_runs(self._runs, first_line, chunk, classes, starts, ends, left)
        left[-1:] |= unfinished
        self._one_by_one(first_line, chunk, starts, ends, _with_ink(chunk, starts, ends, np.flatnonzero(left)))
        return len(ends)

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
        if (table[:, pitch - 1] != _LINE_END).any():
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
        shown = self._odd_text(data, _text_in(table[:, :-1], template, self._layout.line_bytes))
        self._gather(np.arange(first_line, first_line + len(table)), data, printed, pitch - 1, shown)
        return len(table)

    def _odd_text(self, data: fixed.Grid, shown: fixed.Grid | None) -> fixed.Grid | None:
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

    def _read_classes(self, table: fixed.Grid, template: fixed.Template) -> _Found | None:
        """Read lines of one length with numbers of any form; None unless all fit the template."""
        if np.count_nonzero(table == _LINE_END) != len(table):
            return None
        grid = np.frombuffer(table.tobytes().translate(fixed.CLASSES), np.uint8).reshape(table.shape)
        if fixed.misfits(grid[:, : template.width], template).any():
            return None
        data, large = fixed.data_of(grid, self._layout, template)
        return None if large.any() else (data, *_numbers_beside(grid, template))

    def _wrong(self, data: fixed.Grid, printed: Index | None, total: Index | None) -> npt.NDArray[np.bool_]:
        """Tell which lines have a wrong sum, or an address that no bus has."""
        wrong = np.zeros(len(data), np.bool_)
        if printed is not None:
            wrong |= printed >= _MAX_ADDRESS // self._layout.scale
        if total is not None and self._layout.sum is not None:
            at = np.zeros(len(data), np.int64) if printed is None else printed
            wrong |= KINDS[self._layout.sum.kind].of(at, data) != total
        return wrong

    def _gather(
        self,
        line: Index,
        data: fixed.Grid,
        printed: Index | None,
        length: int | Index,
        shown: fixed.Grid | None = None,
    ) -> None:
        """Keep lines that are clean."""
        address = np.full(len(line), NO_ADDRESS, np.int64) if printed is None else printed * self._layout.scale
        self.gathered.bulk(line, address, data, length, self._layout.sum is not None, shown)

    def _bulk(
        self,
        first_line: int,
        chunk: bytes,
        classes: fixed.Grid,
        starts: Index,
        ends: Index,
        left: npt.NDArray[np.bool_],
    ) -> None:
        """Take the lines that fit a template, and strike them from those that are left."""
        for template in list(self._order):
            self._bulk_fit(first_line, chunk, classes, starts, ends, left, template)
        for _ in range(_TRIES):
            places = np.flatnonzero(left)[:_LOOKED_AT]
            if len(places) < _ENOUGH:
                return
            new = self._new_template(chunk[starts[i] : ends[i]] for i in places)
            if new is None or not self._bulk_fit(first_line, chunk, classes, starts, ends, left, new):
                return

    def _by_runs(
        self,
        runs: RunLines,
        first_line: int,
        chunk: bytes,
        classes: fixed.Grid,
        starts: Index,
        ends: Index,
        left: npt.NDArray[np.bool_],
    ) -> None:
        """Take the lines without fixed columns that are just as they should be, and strike them from those left."""
        candidates = np.flatnonzero(left)
        if len(candidates) < _ENOUGH:
            return
        raw = np.frombuffer(chunk, np.uint8)
        good, printed, data = runs.read(raw, classes, starts[candidates], ends[candidates])
        taken = candidates[good]
        right = ~self._wrong(data, printed, None)
        taken = taken[right]
        self._gather(
            taken + first_line,
            data[right],
            None if printed is None else printed[right],
            ends[taken] - starts[taken],
        )
        left[taken] = False

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

    def _bulk_fit(
        self,
        first_line: int,
        chunk: bytes,
        classes: fixed.Grid,
        starts: Index,
        ends: Index,
        left: npt.NDArray[np.bool_],
        template: fixed.Template,
    ) -> bool:
        """Take the lines that fit one template; tell whether there were any."""
        lengths = ends - starts
        over = lengths - template.width
        right_length = over == 0 if template.exact else (over >= 0) & (over <= self._room)
        candidates = np.flatnonzero(left & right_length)
        if not len(candidates) or len(classes) < template.width:
            return False
        windows = np.lib.stride_tricks.sliding_window_view(classes, template.width)
        grid = windows[starts[candidates]]
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
        shown = _text_beside(chunk, starts[taken], ends[taken], template, self._layout.line_bytes)
        if len(taken) >= _MANY_LINES:
            shown = self._odd_text(data[right], shown)
        self._gather(taken + first_line, data[right], printed, lengths[taken], shown)
        left[taken] = False
        return bool(len(taken))

    def _one_by_one(
        self,
        first_line: int,
        chunk: bytes,
        starts: npt.NDArray[np.int64],
        ends: npt.NDArray[np.int64],
        left: npt.NDArray[np.int64],
    ) -> None:
        doubtful: list[tuple[int, bytes]] = []
        room = max(0, min(_MOST_SINGLE - self._single, _MOST_DOUBTFUL - self._doubtful))
        self._single += len(left)
        self.gathered.pass_over(left[room:] + first_line)
        for i in left[:room].tolist():
            text = chunk[starts[i] : ends[i]]
            line = first_line + i
            if len(text) > MAX_LINE:
                self.gathered.leave(line, text, f"a line of {len(text)} characters", damage=True)
                continue
            for part in self._parted(text):
                row = self._strict.read(line, part, last=ends[i] == len(chunk))
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
            near = sorted(range(width - damaged.BAND, width + damaged.BAND + 1), key=lambda k: abs(k - width))
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
        alike = [self._is_data_like(text) for _, text in doubtful]
        chosen = [item for item, is_alike in zip(doubtful, alike, strict=True) if is_alike]
        aligners = self._aligners() if chosen else []
        taken: set[int] = set()
        for line, text in chosen if not aligners else ():
            row = self._strict.damaged(line, text)
            if row:
                taken.add(line)
                self.gathered.one(row, len(text))
        if aligners:
            block = _best([_certain(chosen, template, self._layout) for template in aligners])
            taken.update(block.line.tolist())
            self.gathered.take(block)
        for (line, text), damage in zip(doubtful, alike, strict=True):
            if line not in taken:
                reason = "too damaged to read" if damage else "no line of the dump"
                self.gathered.leave(line, text, reason, damage=damage, suspect=not damage and self._is_long(text))

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

    def _is_long(self, text: bytes) -> bool:
        """Tell whether a line is long enough, and has digits enough, to have been one of data."""
        expected = self._layout.cells * (self._layout.cell.width or 1)
        digits = len(text.translate(None, _DATA_LIKE))
        return 2 * len(text) >= expected and digits >= _FEWEST_DIGITS * expected and not numbers_columns(text)

    def _is_data_like(self, text: bytes) -> bool:
        """Tell whether a line has about as many digits and other characters as a line of data, however damaged."""
        layout = self._layout
        if numbers_columns(text) or (
            layout.cells <= _FEW_CELLS and _COMMAND.match(text) and not layout.lead[:1].isalpha()
        ):
            return False
        expected = layout.cells * (layout.cell.width or 2)
        digits = len(text.translate(None, _DATA_LIKE))
        width = layout.cell.width
        runs = [len(run) for run in _DIGITS.findall(text)]
        dense = layout.gaps is not None and "" in layout.gaps
        cells = sum(runs) / max(1, width) if dense else sum(n == width or not width for n in runs)
        if digits < _FEWEST_DIGITS * expected or cells < 0.4 * layout.cells:
            return False
        others = len(text) - digits - text.count(b" ")
        return layout.gutter is not None or layout.tail or others <= digits + self._literal


def _numbers_beside(grid: fixed.Grid, template: fixed.Template) -> tuple[Index | None, Index | None]:
    """Return the printed addresses and sums of lines that fit, int64[lines] each, None where they have none."""
    address, total = template.address, template.sum
    return (
        None if address is None else fixed.numbers(grid, (address,))[:, 0],
        None if total is None else fixed.numbers(grid, (total,))[:, 0],
    )


def _text_in(table: fixed.Grid, template: fixed.Template, count: int) -> fixed.Grid | None:
    """Return the text column of lines of one length, uint8[lines, count], blanks where they end before it does."""
    if template.text is None:
        return None
    shown = table[:, template.text : template.text + count]
    return (
        shown if shown.shape[1] == count else np.pad(shown, ((0, 0), (0, count - shown.shape[1])), constant_values=32)
    )


def _text_beside(
    chunk: bytes, starts: Index, ends: Index, template: fixed.Template, count: int, shift: Index | None = None
) -> fixed.Grid | None:
    """Return the text column of lines, uint8[lines, count], blanks where they end before it does; None without one.

    Args:
        chunk: text.
        starts: of the lines.
        ends: theirs.
        template: theirs.
        count: bytes of a line.
        shift: characters by which the text stands further right.
    """
    if template.text is None:
        return None
    first = starts + template.text + (0 if shift is None else shift)
    at = first[:, None] + np.arange(count)
    raw = np.frombuffer(chunk, np.uint8)
    return np.where(at < ends[:, None], raw[np.minimum(at, len(raw) - 1)], np.uint8(32))


def _with_ink(chunk: bytes, starts: Index, ends: Index, which: Index) -> Index:
    """Return those of some lines that are not blank."""
    if not len(which):
        return which
    before = np.concatenate([[0], np.cumsum(_IS_INK[np.frombuffer(chunk, np.uint8)])])
    return which[before[ends[which]] > before[starts[which]]]


@dataclass(frozen=True, slots=True, eq=False)
class _Certain:
    """What is certain of some lines by one template, and what their alignment costs; too much where it is beyond hope.

    Attributes:
        lines: all of them.
        cost: int64[lines].
        values, known: uint8[lines, n].
    """

    lines: Block
    cost: Index
    values: fixed.Grid
    known: fixed.Grid


_BEYOND_HOPE = 1 << 30
_FEW_LOST = 3
"""Characters that may be lost or too many in a line without an address: more are an address, or another line's."""


def _best(found: list[_Certain]) -> Block:
    """Return of each line what the template says that costs least, the earlier one on a tie."""
    costs = np.stack([one.cost for one in found])
    which = costs.argmin(axis=0)
    good = costs.min(axis=0) < _BEYOND_HOPE
    blocks = [_chosen(one, np.flatnonzero(good & (which == i))) for i, one in enumerate(found)]
    return joined([block for block in blocks if len(block)] or blocks[:1])


def _chosen(found: _Certain, rows: Index) -> Block:
    """Return some of the lines."""
    known = found.known[rows].ravel()
    lines = found.lines
    shown = None if lines.shown is None else lines.shown.reshape(found.values.shape)[rows].ravel()
    return replace(
        lines,
        shown=shown,
        value=found.values[rows].ravel(),
        known=None if (known == 0xFF).all() else known,
        **{name: getattr(lines, name)[rows] for name in ("line", "address", "length", "checked", "edits", "reason")},
    )


def _certain(lines: list[tuple[int, bytes]], template: fixed.Template, layout: Layout) -> _Certain:
    """Return what is certain of damaged lines."""
    alignment = damaged.align([text for _, text in lines], template)
    offset = 1 if template.address else 0
    count = len(lines)
    sure, printed = _number(alignment, 0, template.address) if template.address else (np.ones(count, np.bool_), None)
    values, known, bad_digit, large = _cells(alignment, offset, template, layout)
    lost = (alignment.shift[:, offset : offset + len(template.cells)] == damaged.LOST).any(axis=1)
    reason = np.where(lost, CODES[LOST_COLUMNS], np.where(bad_digit, CODES[NOT_A_DIGIT], 0))
    most = np.where(sure, damaged.MAX_COST_SHARE, damaged.MAX_UNSURE_SHARE) * template.width
    hopeless = (alignment.cost > most) | ~known.any(axis=1)
    if template.address is None and template.exact:
        length = np.array([len(text) for _, text in lines], np.int64)
        hopeless |= np.abs(length - template.width) > _FEW_LOST
    checked = np.zeros(count, np.bool_)
    if layout.sum is not None:
        total = _number(alignment, offset + len(template.cells), template.sum) if template.sum else None
        problem = _sum_problems(layout, printed, values, known, total)
        problem[~sure] = CODES[NO_SUM]
        checked = problem == 0
        known[~checked] = 0
        reason = np.where(reason == 0, problem, reason)
    address = np.full(count, NO_ADDRESS, np.int64) if printed is None else printed * layout.scale
    address[~sure | (address >= _MAX_ADDRESS)] = UNSURE_ADDRESS
    shown = _text_of_damaged(lines, template, alignment, values.shape[1])
    block = Block(
        line=np.array([line for line, _ in lines], np.int64),
        address=address,
        count=values.shape[1],
        value=values.ravel(),
        known=known.ravel(),
        length=np.array([len(text) for _, text in lines], np.int32),
        state=DAMAGED,
        checked=checked,
        edits=alignment.cost + large,
        reason=reason.astype(np.uint8),
        shown=None if shown is None else shown.ravel(),
    )
    return _Certain(block, np.where(hopeless, _BEYOND_HOPE, alignment.cost), values, known)


def _text_of_damaged(
    lines: list[tuple[int, bytes]], template: fixed.Template, alignment: damaged.Alignment, count: int
) -> fixed.Grid | None:
    """Return the text beside damaged lines, uint8[lines, count], where their last cell tells where it stands."""
    if template.text is None:
        return None
    last = alignment.shift[:, (1 if template.address else 0) + len(template.cells) - 1]
    length = np.array([len(text) for _, text in lines], np.int64)
    ends = np.cumsum(length)
    shift = np.where(last == damaged.LOST, 0, last)
    shown = _text_beside(b"".join(text for _, text in lines), ends - length, ends, template, count, shift)
    return None if shown is None else np.where((last == damaged.LOST)[:, None], np.uint8(NO_TEXT), shown)


def _number(
    alignment: damaged.Alignment, which: int, field: fixed.Field
) -> tuple[npt.NDArray[np.bool_], npt.NDArray[np.int64]]:
    """Return which lines have a number for certain, and it."""
    digits, certain = damaged.digits_of(alignment, which, field)
    blank = (digits == fixed.BLANK) & (field.number.pad not in ("zeros", "none"))
    certain &= ((digits < field.number.base) | blank).all(axis=1)
    values = np.zeros(len(digits), np.int64)
    for column, is_blank in zip(digits.T, blank.T, strict=True):
        values = np.where(is_blank | ~certain, values, values * field.number.base + column)
    return certain, values


def _cells(
    alignment: damaged.Alignment, offset: int, template: fixed.Template, layout: Layout
) -> tuple[fixed.Grid, fixed.Grid, npt.NDArray[np.bool_], Index]:
    """Return bytes, the bits known of them, which lines have a bad digit in a certain cell, and numbers too large."""
    lines = len(alignment.cost)
    values = np.zeros((lines, len(template.cells), layout.size), np.uint8)
    known = np.zeros_like(values)
    bad_digit = np.zeros(lines, np.bool_)
    large = np.zeros(lines, np.int64)
    nibbles = fixed.byte_columns(layout, template) is not None
    for i, field in enumerate(template.cells):
        digits, certain = damaged.digits_of(alignment, offset + i, field)
        if nibbles:
            good = (digits < 16) & certain[:, None]
            bad_digit |= certain & ~good.all(axis=1)
            part = np.where(good, digits, 0)
            bits = np.where(good, 0xF, 0).astype(np.uint8)
            values[:, i] = part[:, 0::2] << 4 | part[:, 1::2]
            known[:, i] = bits[:, 0::2] << 4 | bits[:, 1::2]
        else:
            sure, numbers = _number(alignment, offset + i, field)
            large += sure & (numbers >= 1 << 8 * layout.size)
            sure &= numbers < 1 << 8 * layout.size
            bad_digit |= certain & ~sure
            values[:, i] = fixed.bytes_of_numbers(np.where(sure, numbers, 0)[:, None], layout.size, "big")
            known[:, i] = np.where(sure, 0xFF, 0)[:, None]
    if layout.order == "little":
        values, known = values[:, :, ::-1], known[:, :, ::-1]
    return (
        np.ascontiguousarray(values).reshape(lines, -1),
        np.ascontiguousarray(known).reshape(lines, -1),
        bad_digit,
        large,
    )


def _sum_problems(
    layout: Layout,
    printed: Index | None,
    values: fixed.Grid,
    known: fixed.Grid,
    total: tuple[npt.NDArray[np.bool_], Index] | None,
) -> Index:
    """Return what is wrong with the sums of damaged lines, as codes; 0 where nothing is."""
    problem = np.full(len(values), CODES[NO_SUM], np.int64)
    if total is None or layout.sum is None:
        return problem
    whole = np.flatnonzero(total[0] & (known == 0xFF).all(axis=1))
    at = np.zeros(len(whole), np.int64) if printed is None else printed[whole]
    right = KINDS[layout.sum.kind].of(at, values[whole]) == total[1][whole]
    problem[whole] = np.where(right, 0, CODES[WRONG_SUM])
    return problem
