"""One line of a dump at a time, by regular expressions made from the layout: the slow path, which trusts nothing."""

from __future__ import annotations

import re
from dataclasses import replace

import numpy as np

from romassay.formats.layout import ANY, Layout, pattern_parts
from romassay.formats.lines.expressions import MOST_ADDRESS_DIGITS, cell_prefix, cells_in_a_row, forms_of
from romassay.formats.lines.line_ends import breaks_off, gutter_fits, has_suffix, shows
from romassay.formats.lines.rows import (
    CLEAN,
    CUT,
    DAMAGED,
    LOST_COLUMNS,
    MARK,
    NO_SUM,
    OVERLONG,
    SHORT,
    STAR,
    TOO_LARGE,
    WRONG_SUM,
    Row,
)
from romassay.formats.model import ADDRESS_SPACE
from romassay.formats.sums import KINDS

_TELLING = 3
_BLANK, _DELETE = 0x20, 0x7F
_HEAD_EDITS = 2
_OFTEN = 200
"""Lines whose cells are matched one by one: an expression for all of them takes its time to be made."""
_MOST_AT_ONCE = 64
_ALNUM = re.compile(rb"[^0-9A-Za-z]{0,2}[0-9A-Za-z]")
_FEW_DIGITS = re.compile(rb" *([0-9A-Fa-f]+)")
_PROMPT = re.compile(rb"[^\s0-9A-Za-z]{1,2}|[A-Z]{2,8}[>*#:] ?")
_LAST_DIGITS = re.compile(rb"[0-9A-Fa-f]+$")
_STAR = re.compile(rb"\s*\*\s*")


class LineReader:
    """Reads single lines of one layout."""

    def __init__(self, layout: Layout) -> None:
        self._layout = layout
        self._forms = forms_of(layout)
        self._prefix = cell_prefix(layout)
        self._asked = 0
        self._ends: dict[int, re.Pattern[bytes]] = {}

    def read(self, line: int, text: bytes, *, last: bool = False, after_prompt: bool = False) -> Row | None:
        """Return what a line says, or None where it is not a line of the dump just as it should be.

        Args:
            line: its number.
            text: without the line end.
            last: True for the last line of a file that does not end it.
            after_prompt: True where something that may be a prompt was cut off in front.
        """
        for form, has_address in self._forms.full:
            match = form.match(text)
            if match:
                full = self._full(line, match, has_address)
                return self._without_last(full) if last and self._may_go_on(text) else full
        if _STAR.fullmatch(text):
            return Row(line, None, b"", state=STAR)
        alone = self._forms.alone
        match = alone.fullmatch(text) if alone else None
        if match:
            address = self._address(match[1])
            return None if address is None else Row(line, address, b"", state=MARK)
        short = self._short(line, text, last)
        if short:
            unfinished = last and short.state == SHORT and self._may_go_on(text, at_cells=True)
            return self._without_last(short) if unfinished else short
        if after_prompt:
            return None
        match = self._forms.anywhere.match(text) if self._forms.anywhere else _PROMPT.match(text)
        row = self.read(line, text[match.end() :], last=last, after_prompt=True) if match else None
        if not row or not row.values:
            return None
        if row.state != SHORT:
            return row
        few = 2 * len(row.values) < self._layout.line_bytes and b"    " not in text
        return None if few else replace(row, edits=1)

    def _may_go_on(self, text: bytes, *, at_cells: bool = False) -> bool:
        """Tell whether another digit might have followed a line that ends without a line end: the log may be cut.

        Args:
            text: the line.
            at_cells: it may end in its cells, though full lines have more behind them.
        """
        layout = self._layout
        more = layout.sum is not None or (layout.gutter is not None and not at_cells)
        if layout.cell.pad not in ("none", "left") or more:
            return False
        match = _LAST_DIGITS.search(text)
        if match is None or layout.end.strip() or len(match[0]) > MOST_ADDRESS_DIGITS:
            return False
        try:
            return int(match[0], layout.cell.base) * layout.cell.base < 1 << 8 * layout.size
        except ValueError:
            return False

    def _without_last(self, row: Row) -> Row:
        """Return a row without its last cell, which may be unfinished."""
        keep = len(row.values) - self._layout.size
        known = None if row.known is None else row.known[:keep]
        return replace(row, values=row.values[:keep], known=known, state=CUT)

    def widths(self, text: bytes) -> tuple[bool, int, int] | None:
        """Return whether a full line has an address, the digits of a number before it, and those of the address.

        None where it is no full line.
        """
        for form, has_address in self._forms.full:
            match = form.match(text)
            if match:
                pattern = self._layout.lead if has_address else self._layout.rest
                fixed = sum(kind in ("", ANY) for kind, _ in pattern_parts(pattern))
                start = match.start("address") if has_address else match.start(1)
                return has_address, start - fixed, len(match["address"]) if has_address else 0
        return None

    def has_address(self, text: bytes) -> bool:
        """Tell whether a text begins as a line with an address does."""
        return any(has and head.match(text) for head, has in self._forms.heads)

    def _address(self, text: bytes) -> int | None:
        layout = self._layout
        assert layout.address is not None  # noqa: S101 - a form with an address has matched
        address = int(text, layout.address.base) * layout.scale
        return address if address < ADDRESS_SPACE else None

    def _full(self, line: int, match: re.Match[bytes], has_address: bool) -> Row:
        groups = match.groupdict()
        cells = [g for g in match.groups() if g is not None]
        first = (1 if has_address else 0) + (1 if groups.get("front") is not None else 0)
        cells = cells[first : first + self._layout.cells]
        address = self._address(groups["address"]) if has_address else None
        row = self._row(line, address, cells, groups, sure=not has_address or address is not None)
        row = replace(row, shown=self._shown(match, first + self._layout.cells))
        over = self._over(groups.get("gutter"))
        return replace(row, state=DAMAGED, edits=row.edits + OVERLONG) if over >= OVERLONG else row

    def _over(self, gutter: bytes | None) -> int:
        """Return how many characters a gutter has beyond the bytes of a full line."""
        if gutter is None or self._layout.tail:
            return 0
        return len(gutter.rstrip()) - len(self._layout.end.rstrip()) - self._layout.line_bytes

    def _row(
        self,
        line: int,
        address: int | None,
        cells: list[bytes],
        groups: dict[str, bytes | None],
        *,
        sure: bool = True,
        state: int = CLEAN,
    ) -> Row:
        values, known = self.data(cells)
        reason = TOO_LARGE if known is not None else ""
        checked = False
        if self._layout.sum is not None:
            printed = groups.get("sum") or groups.get("front")
            problem = self.sum_problem(address, values, printed) if known is None else NO_SUM
            checked = not problem
            if problem:
                known, reason = bytes(len(values)), problem
        edits = known.count(0) // self._layout.size if reason == TOO_LARGE and known else 0
        return Row(line, address, values, known, sure, state if known is None else DAMAGED, checked, reason, edits)

    def _shown(self, match: re.Match[bytes], last_cell: int) -> bytes | None:
        """Return the text column of a full line, one character for each byte; None where there is none."""
        layout = self._layout
        if layout.gutter is None or layout.tail:
            return None
        behind_sum = layout.sum is not None and layout.sum.place == "cells"
        first = (match.end("sum") if behind_sum else match.end(last_cell)) + len(layout.gutter)
        return match.string[first : first + layout.line_bytes].ljust(layout.line_bytes)

    def damaged(self, line: int, text: bytes) -> Row | None:
        """Return what is certain of a damaged line whose columns are not fixed, or None where it is no such line.

        Cells count from the left up to the damage, and from the right up to it; one that touches it is not certain.
        """
        layout = self._layout
        for head, has_address in self._forms.heads:
            match = head.match(text)
            address = self._address(match["address"]) if match and has_address else None
            if match is None or (has_address and address is None):
                continue
            left, _ = self._cells_from(text, match.end(), 0)
            left = left[:-1]
            right = self._cells_to_end(text, match.end(), layout.cells - len(left) - 1)
            edits = layout.cells - len(left) - len(right)
            if edits > layout.cells / 2:
                left, right = [], []
            missing = layout.cells - len(left) - len(right)
            parts = [self.data(left), (bytes(missing * layout.size), bytes(missing * layout.size)), self.data(right)]
            values = b"".join(part for part, _ in parts)
            known = b"".join(b"\xff" * len(part) if bits is None else bits for part, bits in parts)
            if layout.sum is not None:
                return Row(line, address, values, bytes(len(values)), state=DAMAGED, reason=NO_SUM, edits=edits)
            return Row(line, address, values, known, state=DAMAGED, reason=LOST_COLUMNS, edits=edits)
        whole = layout.cells - 1
        if has_address and whole >= _TELLING and len(self._cells_to_end(text, 0, whole)) > 0.6 * whole:
            blank = bytes(layout.line_bytes)
            return Row(line, None, blank, blank, sure=False, state=DAMAGED, reason=LOST_COLUMNS, edits=_HEAD_EDITS)
        return None

    def _cells_to_end(self, text: bytes, at: int, most: int) -> list[bytes]:
        """Return the cells at the end of a line that stand there undamaged behind a gap, but not more than `most`."""
        for count in range(most, 0, -1):
            if count not in self._ends:
                gaps = [gap.pattern for gap in self._forms.gaps[-count:]]
                self._ends[count] = re.compile(
                    b"".join(gap + self._forms.cell.pattern for gap in gaps) + self._forms.tail.pattern, re.DOTALL
                )
            match = self._ends[count].search(text, at)
            if match:
                return list(match.groups()[:count])
        return []

    def data(self, cells: list[bytes]) -> tuple[bytes, bytes | None]:
        """Return the bytes of printed cells, and the bits known of each; None for all."""
        layout = self._layout
        number, size = layout.cell, layout.size
        if number.base == 16 and number.pad == "zeros" and number.width == 2 * size:
            whole = bytes.fromhex(b"".join(cells).decode("ascii"))
            if layout.order == "big" or size == 1:
                return whole, None
            return b"".join(whole[i : i + size][::-1] for i in range(0, len(whole), size)), None
        values = [int(cell, number.base) for cell in cells]
        limit = 1 << 8 * size
        data = b"".join((value % limit).to_bytes(size, layout.order) for value in values)
        if max(values, default=0) < limit:
            return data, None
        return data, b"".join(bytes([0xFF if value < limit else 0]) * size for value in values)

    def sum_problem(self, address: int | None, values: bytes, printed: bytes | None) -> str:
        """Return what is wrong with a line's sum, or nothing."""
        total = self._layout.sum
        assert total is not None  # noqa: S101 - asked for only where there is one
        if printed is None:
            return NO_SUM
        data = np.frombuffer(values, np.uint8)[None]
        kind = KINDS[total.kind]
        at = np.array([(address or 0) // self._layout.scale], np.int64)
        return "" if int(kind.of(at, data)[0]) == int(printed, total.number.base) else WRONG_SUM

    def _short(self, line: int, text: bytes, last: bool) -> Row | None:
        """Read a line with fewer cells than a full one: all that is there must be as it should be."""
        for head, has_address in self._forms.short_heads:
            match = head.match(text)
            if match:
                row = self._short_after(line, text, match, has_address, last)
                if row:
                    return row
        return None

    def _short_after(self, line: int, text: bytes, head: re.Match[bytes], has_address: bool, last: bool) -> Row | None:
        address = self._address(head["address"]) if has_address else None
        if has_address and address is None:
            return None
        skipped, at = self._blank_cells(text, head.end())
        if not skipped and self._prefix and not text.startswith(self._prefix, head.end()):
            return None
        cells, ends = self._cells_from(text, at, skipped)
        if not cells:
            return None
        if has_address and address is not None and address % self._layout.line_bytes == 0:
            address += skipped * self._layout.size
        partial = None if last else self._partial(line, text, address, cells, ends)
        if partial:
            return partial
        for count in range(len(cells), 0, -1):
            tail = self._forms.tail.match(text, ends[count - 1])
            if not tail or (count + skipped == self._layout.cells and not skipped):
                continue
            if self._layout.tail and _ALNUM.match(text, ends[count - 1]):
                continue
            groups = {**head.groupdict(), **tail.groupdict()}
            row = self._row(line, address, cells[:count], groups, state=SHORT)
            if self._layout.sum is None or row.checked:
                gutter = groups.get("gutter")
                fits = gutter_fits(gutter, count + skipped, self._layout) or shows(gutter, row)
                return row if fits else None
        if last or (has_address and self._layout.sum is None):
            return self._cut(line, address, text, cells, ends)
        return None

    def _partial(self, line: int, text: bytes, address: int | None, cells: list[bytes], ends: list[int]) -> Row | None:
        """Read a line whose last cell has fewer bytes than the others, as an odd number of bytes in words leaves it."""
        layout = self._layout
        number, place = layout.cell, len(cells)
        if layout.size == 1 or number.base != 16 or number.pad != "zeros":
            return None
        if place >= layout.cells:
            return None
        gap = self._forms.gaps[place - 1].match(text, ends[-1])
        match = _FEW_DIGITS.match(text, gap.end()) if gap else None
        if not match or len(match[1]) % 2 or len(match[1]) >= number.width:
            return None
        tail = self._forms.tail.match(text, match.end())
        if not tail:
            return None
        last = bytes.fromhex(match[1].decode("ascii"))
        values = self.data(cells)[0] + (last if layout.order == "big" else last[::-1])
        if layout.sum is None:
            return Row(line, address, values, state=SHORT)
        right = not self.sum_problem(address, values, tail.groupdict().get("sum"))
        return Row(line, address, values, state=SHORT, checked=True) if right else None

    def _blank_cells(self, text: bytes, at: int) -> tuple[int, int]:
        """Return how many cells at the front of a line are blank, and where the digits of the first that is not stand.

        Between blank cells stands what stands between others, or blanks.
        """
        layout, prefix = self._layout, self._prefix
        skipped, place = 0, at
        if layout.gaps is not None and layout.cell.width:
            width = len(prefix) + layout.cell.width
            for gap in (gap.encode("latin-1").removesuffix(prefix) for gap in layout.gaps):
                end = place + width + len(gap)
                if text[place : place + width].strip(b" ") or text[place + width : end] not in (gap, b" " * len(gap)):
                    break
                skipped, place = skipped + 1, end
        if skipped and text.startswith(prefix, place):
            return skipped, place + len(prefix)
        return 0, at + len(prefix) if text.startswith(prefix, at) else at

    def _cells_from(self, text: bytes, at: int, skipped: int) -> tuple[list[bytes], list[int]]:
        """Return the cells that stand one after the other from a place on, and where each ends."""
        self._asked += 1
        if self._asked > _OFTEN and not skipped and self._layout.cells <= _MOST_AT_ONCE:
            match = cells_in_a_row(self._forms).match(text, at)
            number = match.lastindex or 0 if match else 0
            return (list(match.groups()[:number]), [match.end(i) for i in range(1, number + 1)]) if match else ([], [])
        cells: list[bytes] = []
        ends: list[int] = []
        for i in range(skipped, self._layout.cells):
            if i > skipped:
                gap = self._forms.gaps[i - 1].match(text, at)
                if not gap:
                    break
                at = gap.end()
            cell = self._forms.cell.match(text, at)
            if not cell:
                break
            at = cell.end()
            cells.append(cell[1])
            ends.append(at)
        return cells, ends

    def _cut(self, line: int, address: int | None, text: bytes, cells: list[bytes], ends: list[int]) -> Row | None:
        """Return a line that breaks off inside a cell or a gap, without the cell that may be unfinished."""
        rest = text[ends[-1] :]
        gutter = (self._layout.gutter or "").encode("latin-1")
        if not breaks_off(rest, len(cells), self._layout) and not (gutter and gutter.startswith(rest)):
            return None
        if not rest and (not self._layout.cell.width or has_suffix(self._layout)):
            cells = cells[:-1]
        if not cells or self._layout.sum is not None:
            return Row(line, address, b"", state=CUT)
        values, known = self.data(cells)
        return Row(line, address, values, known, state=CUT)
