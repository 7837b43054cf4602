"""The rows of a pass as a reading: columns gathered, unknown bytes made holes, runs cut at the end of the bus."""

from __future__ import annotations

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.rows import REASONS, Rows
from romassay.formats.passes.places import Placed
from romassay.formats.passes.splitting import Part
from romassay.formats.passes.units import space_of
from romassay.reading import Bytes, Hole, Index, Reading, Source, Unit

_FEW_PIECES = 1 << 16


def bits_of_addresses(placed: Placed, layout: Layout) -> int:
    """Return the lines of the bus that the addresses can tell apart, by their digits or by the highest."""
    highest = int(placed.address.max()) if len(placed.address) else 0
    number = layout.address
    if number is not None and number.base == 16 and number.pad == "zeros":
        extra = layout.scale.bit_length() - 1
        printed = 4 * number.width if number.width <= 6 else 16
        return min(32, max(printed + extra, highest.bit_length()))
    return max(16, highest.bit_length())


def _unit_name(layout: Layout) -> Unit:
    if layout.sum is not None:
        return "record-checked"
    return "hex-digit" if layout.cell.base == 16 else "octal" if layout.cell.base == 8 else "decimal"


def reading_of_part(part: Part, placed: Placed, rows: Rows, layout: Layout, bits: int, number: int) -> Reading:
    """Return the reading of a pass: its rows as columns, and its holes; `number` counts the passes of the log."""
    chosen = slice(part.first, part.last)
    row = placed.row[chosen]
    value, known = _gather(rows, row)
    columns = _as_slice(row)
    count = rows.count[columns]
    runs = np.empty((len(row), 4), np.int64)
    runs[:, 0], runs[:, 1], runs[:, 2] = placed.address[chosen], np.cumsum(count), count
    runs[:, 1] -= count
    runs[:, 3] = rows.line[columns]
    resent = np.array(sorted(i - part.first for i in part.resent), np.int64)
    holes = _holes_of(part, placed, rows)
    if known is not None and (known == 0).any():
        runs, value, known, resent, lost = _without_unknown(runs, value, known, resent, rows, row)
        holes += lost
    if known is not None and (known == 0xFF).all():
        known = None
    runs, resent = _wrapped(runs, resent, space_of(rows, layout))
    holes.sort(key=lambda hole: (hole.line, hole.first or 0))
    lines = (int(rows.line[row[0]]), int(rows.line[row[-1]]))
    bad = len({hole.line for hole in holes if hole.line})
    return Reading(
        runs=runs,
        value=value,
        known=known,
        address_bits=bits,
        unit=_unit_name(layout),
        holes=tuple(holes),
        resent=resent,
        source=Source(layout=str(layout), pass_number=number, lines=lines, bad_lines=bad),
    )


def _wrapped(runs: Index, resent: Index, space: int | None) -> tuple[Index, Index]:
    """Cut runs in two where they go beyond the last address of a bus: what is there stands at its first ones."""
    beyond = runs[:, 0] + runs[:, 2] - space if space is not None else np.zeros(0, np.int64)
    over = np.flatnonzero(beyond > 0)
    if not len(over) or space is None:
        return runs, resent
    kept = runs[over, 2] - beyond[over]
    tails = np.stack([np.zeros_like(kept), runs[over, 1] + kept, beyond[over], runs[over, 3]], axis=1)
    runs = runs.copy()
    runs[over, 2] = kept
    again = np.zeros(len(runs), np.bool_)
    again[resent] = True
    again = np.insert(again, over + 1, again[over])
    return np.insert(runs, over + 1, tails, axis=0), np.flatnonzero(again)


def _as_slice(row: Index) -> Index | slice:
    """Return rising indices as a slice, if none is left out: that saves copies."""
    first, last = int(row[0]), int(row[-1])
    return slice(first, last + 1) if last - first + 1 == len(row) else row


def _gather(rows: Rows, row: Index) -> tuple[Bytes, Bytes | None]:
    """Return the bytes of rows one after the other, in as few copies as may be."""
    columns = _as_slice(row)
    start, count = rows.start[columns], rows.count[columns]
    new = np.flatnonzero(np.concatenate([[True], start[1:] != start[:-1] + count[:-1]]))
    if len(new) > _FEW_PIECES:
        index = np.arange(int(count.sum())) + np.repeat(start - (np.cumsum(count) - count), count)
        return rows.value[index], None if rows.known is None else rows.known[index]
    last = np.append(new[1:], len(row)) - 1
    pieces = [slice(int(a), int(b)) for a, b in zip(start[new], (start + count)[last], strict=True)]
    return _joined(rows.value, pieces), None if rows.known is None else _joined(rows.known, pieces)


def _joined(values: Bytes, pieces: list[slice]) -> Bytes:
    if len(pieces) > 1:
        return np.concatenate([values[piece] for piece in pieces])
    only = values[pieces[0]]
    return only if len(only) == len(values) else only.copy()


def _without_unknown(
    runs: Index,
    value: Bytes,
    known: Bytes,
    resent: Index,
    rows: Rows,
    row: Index,
) -> tuple[Index, Bytes, Bytes, Index, list[Hole]]:
    """Cut bytes of which nothing is known out of the runs, and return them as holes."""
    seen = known != 0
    at = np.union1d(runs[:, 1], np.flatnonzero(seen[1:] != seen[:-1]) + 1)
    owner = np.searchsorted(runs[:, 1], at, "right") - 1
    address = at + runs[owner, 0] - runs[owner, 1]
    length = np.diff(np.append(at, len(value)))
    good = seen[at]
    holes = []
    for i in np.flatnonzero(~good).tolist():
        line_row = int(owner[i])
        first = int(address[i])
        reason = REASONS[int(rows.reason[row[line_row]])] or "unreadable"
        holes.append(Hole(first, first + int(length[i]) - 1, int(runs[line_row, 3]), reason))
    kept, count = owner[good], length[good]
    new = np.stack([address[good], np.cumsum(count) - count, count, runs[kept, 3]], axis=1)
    again = np.flatnonzero(np.isin(kept, resent))
    return new, value[seen], known[seen], again, holes


def _holes_of(part: Part, placed: Placed, rows: Rows) -> list[Hole]:
    """Return the holes between the lines of a pass."""
    first = 0 if part.first == 0 else _first_line(part.first, placed, rows)
    last = _first_line(part.last, placed, rows) if part.last < len(placed.row) else 1 << 62
    return [hole for line, hole in placed.holes if first <= line < last]


def _first_line(i: int, placed: Placed, rows: Rows) -> int:
    """Return the line from which on everything belongs to a row's pass: that of the text before it, or its own."""
    before, own = int(rows.line[placed.row[i - 1]]), int(rows.line[placed.row[i]])
    text = rows.foreign[(rows.foreign > before) & (rows.foreign < own)]
    return int(text[-1]) if len(text) else own
