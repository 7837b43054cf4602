"""How a line of a dump may end: with fewer cells than a full one, in the middle of one, with a text column or none."""

from __future__ import annotations

import re

from romassay.formats.layout import Layout
from romassay.formats.lines.expressions import common_start
from romassay.formats.lines.rows import Row

_TELLING = 3
_BLANK, _DELETE = 0x20, 0x7F


def shows(gutter: bytes | None, row: Row) -> bool:
    """Tell whether a gutter shows all bytes of a line, and a word of another kind follows behind a blank."""
    count = len(row.values)
    shown = (gutter or b"")[:count]
    if gutter is None or count < _TELLING or row.known is not None or gutter[count : count + 1] != b" ":
        return False
    return all(
        _BLANK <= c < _DELETE and (c == byte or not _BLANK <= byte < _DELETE)
        for c, byte in zip(shown, row.values, strict=True)
    )


def gutter_fits(gutter: bytes | None, count: int, layout: Layout) -> bool:
    """Tell whether a gutter has no more characters than the line has bytes."""
    if gutter is None or layout.tail:
        return True
    end = layout.end.encode("latin-1").strip()
    shown = gutter.rstrip()
    if end and shown.endswith(end):
        shown = shown[: -len(end)]
    return len(shown) <= count * layout.size


def has_suffix(layout: Layout) -> bool:
    """Tell whether a letter or a quote ends every number: one without it may lack digits as well."""
    texts = [*(layout.gaps or ()), *([layout.end] if layout.end else [])]
    return bool(texts) and re.match(r"[A-Za-z'\"]", common_start(texts)) is not None


def breaks_off(rest: bytes, cells: int, layout: Layout) -> bool:
    """Tell whether what follows the last whole cell is the beginning of a gap and perhaps of another cell."""
    if cells >= layout.cells:
        return False
    if layout.gaps is None:
        return re.fullmatch(rb"[ ,;\t]*[0-9A-Fa-f]?", rest) is not None
    gap = layout.gaps[cells - 1].encode("latin-1")
    digits = rest.removeprefix(gap).strip(b" ") if rest.startswith(gap) else None
    if digits is None:
        return gap.startswith(rest)
    return len(digits) < max(2, layout.cell.width) and re.fullmatch(rb"[0-9A-Fa-f]*", digits) is not None
