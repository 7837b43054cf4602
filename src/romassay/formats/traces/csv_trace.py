"""Bus traces as comma-separated values: one row a sample or a change, one column a signal, the time first.

The form is that of RFC 4180 without quoted line ends; a comma, a semicolon or a tabulator parts the columns. A cell is
0 or 1, a hex number for a column of several bits, and anything else is a level that is not known.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import BinaryIO

import numpy as np

from romassay.errors import BadInput
from romassay.formats.model import Format, Hints, Parsed
from romassay.formats.traces.signals import UNITS, Changes, Sampler, missing, parse_map, without_a_map

_HEAD = 1 << 16
_BLOCK = 1 << 21
_MOST_LEVELS = 1 << 17
_LEAST_ROWS = 4
_TIME = re.compile(r"(?:time|t)\b.*?(?:[\[(](?P<unit>s|ms|us|ns|ps|fs)[\])])?", re.IGNORECASE)
_NUMBER = re.compile(r"[+-]?\d+(?:\.\d*)?(?:[eE][+-]?\d+)?")
_CELL = re.compile(r"(?:0[xX]|\$)?([0-9A-Fa-f]+)[hH]?")
_WIDEST = 32


@dataclass(frozen=True, slots=True)
class Table:
    """The heading of a trace: its names, what parts the columns, the column of the time or -1, and seconds a unit."""

    names: tuple[str, ...]
    separator: bytes
    time: int
    tick: float


def table_of(data: bytes) -> Table | None:
    """Return the heading, or None where the content is no such table."""
    lines = [line.rstrip(b"\r") for line in data[:_HEAD].split(b"\n")[: _LEAST_ROWS + 2]]
    if len(lines) < _LEAST_ROWS:
        return None
    for separator in (b",", b";", b"\t"):
        width = lines[0].count(separator)
        rows = lines[1:_LEAST_ROWS]
        if not width or any(row.count(separator) != width for row in rows):
            continue
        names = tuple(_name(cell) for cell in lines[0].split(separator))
        if not all(names) or len(set(names)) != len(names) or all(map(_NUMBER.fullmatch, names)):
            continue
        if not all(_is_level(cell) or _NUMBER.fullmatch(_name(cell)) for row in rows for cell in row.split(separator)):
            continue
        first = _TIME.fullmatch(names[0])
        return Table(names, separator, 0 if first else -1, UNITS[first["unit"] or "s"] if first else 1.0)
    return None


def _name(cell: bytes) -> str:
    return cell.decode("utf-8", "replace").lstrip("\ufeff").strip().strip('"').strip()


def _is_level(cell: bytes) -> bool:
    text = _name(cell)
    return not text or bool(_CELL.fullmatch(text)) or text.lower() in ("x", "z", "-", "?", "u")


def sniff(data: bytes) -> float:
    """Tell a table of levels by its heading and first rows; one with a time is surer."""
    table = table_of(data)
    return 0.0 if table is None else 0.9 if table.time == 0 else 0.3


def read(data: bytes, hints: Hints) -> Parsed:
    """Read the cycles of a bus in a trace that is in memory; as `stream`."""
    return stream(io.BytesIO(data), hints)


def stream(file: BinaryIO, hints: Hints) -> Parsed:
    """Read the cycles of a bus, piece by piece; the file can be read from its start again.

    Raises:
        BadInput: this is no table, no map of signals is given, a signal is not there, or no read is in it.
    """
    table = table_of(file.read(_HEAD))
    if table is None:
        raise BadInput("this is no table of signals", advice="give a heading of names, and a row a sample")
    signals = [name for number, name in enumerate(table.names) if number != table.time]
    if hints.layout is None:
        raise without_a_map(signals)
    signal_map = parse_map(hints.layout)
    if error := missing(signal_map.names, signals):
        raise error
    if signal_map.setup and table.time < 0:
        raise BadInput("a set-up time needs a column of times", place="--layout", advice="leave setup out")
    columns = {name: table.names.index(name) for name in signal_map.names}
    file.seek(0)
    rows = next((rows for _, rows in _blocks(file, table)), [])
    sampler = Sampler(signal_map, _widths(rows, columns), table.tick)
    levels: dict[bytes, tuple[int, int]] = {}
    file.seek(0)
    for start, rows in _blocks(file, table):
        time = _times(rows, table, start)
        if len(levels) > _MOST_LEVELS:
            levels.clear()
        sampler.feed({name: _column(rows, column, time, levels) for name, column in columns.items()})
    notes = () if not sampler.late else (f"{sampler.late} of {sampler.cycles} reads had data that came too late",)
    return Parsed((sampler.reading(hints.address_bits),), layout=hints.layout, notes=notes)


def _blocks(file: BinaryIO, table: Table) -> Iterator[tuple[int, list[list[bytes]]]]:
    """Yield rows of as many cells as the heading has, block by block, with the number of the first; others are left."""
    wide = len(table.names)
    file.readline()
    start = 0
    while block := file.readlines(_BLOCK):
        rows = [cells for line in block if len(cells := line.rstrip(b"\r\n").split(table.separator)) == wide]
        if rows:
            yield start, rows
        start += len(block)


def _times(rows: Sequence[Sequence[bytes]], table: Table, start: int) -> np.ndarray:
    if table.time < 0:
        return np.arange(start, start + len(rows), dtype=np.float64)
    try:
        times = np.array([float(row[table.time]) for row in rows])
    except ValueError as e:
        raise BadInput(f"a time is no number ({e})", advice="correct the first column") from e
    if (np.diff(times) < 0).any():
        raise BadInput("the times go back", advice="give the rows in the order of time")
    return times


def _widths(rows: Sequence[Sequence[bytes]], columns: Mapping[str, int]) -> dict[str, int]:
    """Return the bits of each signal: those of its widest cell in the first rows."""
    widest = {}
    for name, column in columns.items():
        digits = {_name(cell) for cell in {row[column] for row in rows}}
        found = [match for text in digits if (match := _CELL.fullmatch(text))]
        several = any(len(match[0]) > 1 for match in found)
        widest[name] = min(_WIDEST, max((4 * len(match[1]) for match in found), default=1)) if several else 1
    return widest


def _column(
    rows: Sequence[Sequence[bytes]], column: int, time: np.ndarray, levels: dict[bytes, tuple[int, int]]
) -> Changes:
    """Return the changes of a column: rows in which it says the same as before are left out."""
    pairs = []
    for row in rows:
        cell = row[column]
        if cell not in levels:
            found = _CELL.fullmatch(_name(cell))
            levels[cell] = (int(found[1], 16), 0) if found else (0, (1 << _WIDEST) - 1)
        pairs.append(levels[cell])
    both = np.array(pairs, np.uint64).reshape(-1, 2)
    moved = np.flatnonzero(np.r_[True, (np.diff(both[:, 0]) != 0) | (np.diff(both[:, 1]) != 0)])
    return Changes(time[moved], both[moved, 0], both[moved, 1])


FORMAT = Format(
    name="csv-trace",
    title="trace of a bus as comma-separated values",
    standard="RFC 4180 for the form; the columns are named by --layout",
    suffixes=(".csv",),
    sniff=sniff,
    read=read,
    stream=stream,
)
