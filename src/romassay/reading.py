"""Readings: what one pass over the bus said, byte by byte, with where it came from. Never changed once made.

A `Reading` holds columns, not objects: the observed bytes in the order of time, and a table of runs that says at which
address each stretch of them starts. Addresses may repeat (a line sent again; a trace that sees one address a thousand
times), and may lie anywhere in 32 bits without memory being spent on the space between.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
import numpy.typing as npt

from romassay.address import Range

Bytes = npt.NDArray[np.uint8]
Index = npt.NDArray[np.int64]
Mask = npt.NDArray[np.bool_]

Unit = Literal["hex-digit", "octal", "decimal", "record-checked", "record", "raw", "trace"]
"""What an error on the way hits: one printed digit, a whole number, a record under a checksum, a byte, a bus cycle."""

LEAST_WOUNDS = 3
"""Half-read bytes in common from which two readings are one. Common practice, no source."""

Role = Literal["specimen", "empty-socket", "pulled-up", "pulled-down"]


@dataclass(frozen=True, slots=True)
class Hole:
    """Addresses that the log should have shown and did not.

    Attributes:
        first: first address, or None where even the address is not certain.
        last: last address, included.
        line: line or record number in the source, from 1; 0 where the hole is a missing line.
        reason: in words, without the address and the line.
    """

    first: int | None
    last: int | None
    line: int
    reason: str


@dataclass(frozen=True, slots=True)
class Conditions:
    """What was set when the reading was taken, as far as it was noted."""

    session: str | None = None
    supply: float | None = None
    clock: float | None = None
    temperature: float | None = None
    operator: str | None = None
    note: str | None = None


@dataclass(frozen=True, slots=True)
class Source:
    """Where a reading came from.

    Attributes:
        name: the file's name as the person knows it.
        sha256: digest of the whole file, lower-case hex.
        format: the format's registered name, e.g. 'text-dump' or 'intel-hex'.
        layout: the layout that was learnt or given, in its own notation; empty where the format has none.
        hints: what the person said about the file, as (name, value) pairs.
        pass_number: which pass of the file this is, from 1.
        lines: the first and last line of the pass in the file, from 1.
        bad_lines: lines of the pass that broke the pattern.
        unordered: bytes in a word, where nothing in the log shows in which order a word has them; 1 where it is known.
        wording: digest of a text whose blanks, line ends, capitals and encoding are left out of account; empty where
            the file is no text.
    """

    name: str = ""
    sha256: str = ""
    format: str = ""
    layout: str = ""
    hints: tuple[tuple[str, str], ...] = ()
    pass_number: int = 1
    lines: tuple[int, int] = (0, 0)
    bad_lines: int = 0
    unordered: int = 1
    wording: str = ""


def _frozen(array: npt.NDArray[np.generic]) -> None:
    array.setflags(write=False)


@dataclass(frozen=True, slots=True, eq=False)
class Reading:
    """One pass over a range of addresses.

    Attributes:
        runs: int64[n, 4], in the order of time: first address, start in `value`, count, line in the source. Each run
            starts in `value` where the one before it ends.
        value: uint8[m], the observed bytes in the order of time.
        known: uint8[m], a 1 for each bit that was seen (half-read digits, x in a trace, parts 4 bits wide);
            None where every bit was.
        address_bits: lines of the bus that the log's addresses can tell apart.
        unit: what an error on the way hits.
        holes: what should have been there and was not.
        resent: indices into `runs` of lines that the host sent again: they confirm nothing.
        role: what was in the socket and how the bus was biased.
    """

    runs: Index
    value: Bytes
    known: Bytes | None
    address_bits: int
    unit: Unit
    holes: tuple[Hole, ...] = ()
    resent: Index = field(default_factory=lambda: np.zeros(0, np.int64))
    role: Role = "specimen"
    conditions: Conditions = Conditions()
    source: Source = Source()

    def __post_init__(self) -> None:
        if self.runs.ndim != 2 or self.runs.shape[1] != 4:
            raise ValueError(f"runs must be (n, 4), not {self.runs.shape}")
        if self.known is not None and self.known.shape != self.value.shape:
            raise ValueError("known and value differ in length")
        for array in (self.runs, self.value, self.known, self.resent):
            if array is not None:
                _frozen(array)

    def __len__(self) -> int:
        return len(self.value)

    def __repr__(self) -> str:
        """One line for a notebook: which pass of what, where, and how much of it."""
        spans = self.spans()
        where = f" at {spans[0].first:04X}-{spans[-1].last:04X}" if spans else ""
        return (
            f"<Reading {self.source.name or 'without a name'}, pass {self.source.pass_number} ({self.role}): "
            f"{len(self)} bytes{where}, {len(self.holes)} hole(s)>"
        )

    def __eq__(self, other: object) -> bool:
        if not isinstance(other, Reading):
            return NotImplemented
        return (
            (self.address_bits, self.unit, self.holes, self.role, self.conditions, self.source)
            == (other.address_bits, other.unit, other.holes, other.role, other.conditions, other.source)
            and np.array_equal(self.runs, other.runs)
            and np.array_equal(self.value, other.value)
            and np.array_equal(self.known_bits(), other.known_bits())
            and np.array_equal(self.resent, other.resent)
        )

    __hash__ = None  # type: ignore[assignment]

    def known_bits(self) -> Bytes:
        """Return the mask of known bits, uint8[m], also where `known` is None."""
        return np.full(len(self.value), 0xFF, np.uint8) if self.known is None else self.known

    def addresses(self) -> Index:
        """Return the address of each observed byte, int64[m], in the order of time."""
        count = self.runs[:, 2]
        return np.arange(len(self.value)) + np.repeat(self.runs[:, 0] - self.runs[:, 1], count)

    def spans(self) -> tuple[Range, ...]:
        """Return the addresses that were seen, as the fewest ranges, sorted."""
        return spans_of(self.runs)


def spans_of(runs: Index) -> tuple[Range, ...]:
    """Return the addresses of a table of runs as the fewest ranges, sorted."""
    return tuple(Range(first, last) for first, last in edges_of(runs).tolist())


def edges_of(runs: Index) -> Index:
    """Return the addresses of a table of runs as the fewest stretches, sorted: int64[n, 2], first and last address."""
    if not len(runs):
        return np.zeros((0, 2), np.int64)
    order = np.argsort(runs[:, 0], kind="stable")
    first = runs[order, 0]
    end = np.maximum.accumulate(first + runs[order, 2])
    new = np.flatnonzero(np.r_[True, first[1:] > end[:-1]])
    return np.stack([first[new], np.r_[end[new[1:] - 1], end[-1]] - 1], axis=1)


def reading_of(
    pieces: Iterable[tuple[int, bytes | Sequence[int]]], *, address_bits: int = 16, unit: Unit = "raw"
) -> Reading:
    """Make a reading from (first address, bytes) pieces: for tests, notebooks and formats without oddities."""
    rows = [(first, bytes(data)) for first, data in pieces]
    counts = [len(data) for _, data in rows]
    starts = np.cumsum([0, *counts])[:-1] if rows else np.zeros(0, np.int64)
    runs = np.array(
        [
            (first, start, count, line)
            for line, ((first, _), start, count) in enumerate(zip(rows, starts, counts, strict=True), 1)
        ],
        np.int64,
    ).reshape(-1, 4)
    value = np.frombuffer(b"".join(data for _, data in rows), np.uint8).copy()
    return Reading(runs=runs, value=value, known=None, address_bits=address_bits, unit=unit)


def is_copy(one: Reading, other: Reading) -> bool:
    """Tell whether a reading is another, or a part of it, saved or shown again: just the same digits are spoilt.

    Two passes over a line that spoils characters are never spoilt alike in several places; a clean reading says
    nothing. A host that prints no number for what it can't read loses both digits. How the lines are laid out does not
    matter.
    """
    if one.unit != "hex-digit" or other.unit != "hex-digit" or min(_half_read(one), _half_read(other)) < LEAST_WOUNDS:
        return False
    few, many = (_half_read_at(each) for each in sorted((one, other), key=len))
    if not np.isin(few, many).all():
        return False
    (short, told, bits), (long, theirs, their_bits) = sorted(
        map(_by_address, (one, other)), key=lambda each: len(each[0])
    )
    if len(short) == len(long):
        at = np.arange(len(short))
    elif len(np.unique(long)) < len(long):
        return False
    else:
        at = np.minimum(np.searchsorted(long, short), len(long) - 1)
    alike = (long[at] == short) & (their_bits[at] == bits) & (theirs[at] == told)
    return bool(alike.all())


def _by_address(reading: Reading) -> tuple[Index, Bytes, Bytes]:
    """Return addresses, known bits and what they said, in the order of the addresses."""
    address = reading.addresses()
    order = np.argsort(address, kind="stable")
    bits = reading.known_bits()[order]
    return address[order], reading.value[order] & bits, bits


def _half_read_at(reading: Reading) -> Index:
    """Return the addresses of the bytes with one digit that was read and one that was not, int64[n]."""
    halves: Index = reading.addresses()[np.isin(reading.known_bits(), (0x0F, 0xF0))]
    return halves


def _half_read(reading: Reading) -> int:
    """Return how many bytes have one digit that was read and one that was not; none where those are the rule."""
    if reading.known is None:
        return 0
    count = int(np.isin(reading.known, (0x0F, 0xF0)).sum())
    return count if 4 * count < len(reading) else 0


def exchanged(reading: Reading) -> Reading:
    """Return a reading of words of unknown order with the bytes of each word in the other order."""
    count = reading.runs[:, 2]
    start = np.repeat(reading.runs[:, 1], count)
    inside = np.arange(len(reading.value)) - start
    other = inside ^ (reading.source.unordered - 1)
    chosen = start + np.where(other < np.repeat(count, count), other, inside)
    return replace(
        reading,
        value=reading.value[chosen],
        known=None if reading.known is None else reading.known[chosen],
    )


def within(reading: Reading, bits: int) -> Reading:
    """Return a reading without the runs that lie beyond a bus of so many lines: each becomes a hole."""
    far = reading.runs[:, 0] + reading.runs[:, 2] > 1 << bits
    if not far.any():
        return reading
    lost = tuple(
        Hole(None, None, int(line), f"address {int(first):X} lies beyond {bits} address lines")
        for first, line in reading.runs[far][:, [0, 3]]
    )
    number = np.where(far, -1, np.cumsum(~far) - 1)
    resent = number[reading.resent]
    stays = np.repeat(~far, reading.runs[:, 2])
    runs = reading.runs[~far].copy()
    runs[:, 1] = np.cumsum(runs[:, 2]) - runs[:, 2]
    return replace(
        reading,
        runs=runs,
        value=reading.value[stays],
        known=None if reading.known is None else reading.known[stays],
        holes=reading.holes + lost,
        resent=resent[resent >= 0],
        address_bits=bits,
    )


@dataclass(frozen=True, slots=True)
class ReadingSet:
    """All readings of one assay: one bus, one specimen, and the addresses to leave out.

    Attributes:
        readings: in the order in which they were given.
        address_bits: lines of the bus.
        excluded: ranges that belong to the host or are not to be looked at.
        duplicates: names of files left out because an earlier one is equal to them byte for byte.
        copied: names of readings left out because the same digits are spoilt in them as in an earlier one, and
            all else is the same.
    """

    readings: tuple[Reading, ...]
    address_bits: int
    excluded: tuple[Range, ...] = ()
    duplicates: tuple[str, ...] = ()
    copied: tuple[str, ...] = ()

    def __repr__(self) -> str:
        """One line for a notebook: how many readings, of what, on how wide a bus."""
        roles = [reading.role for reading in self.readings]
        counts = ", ".join(f"{roles.count(role)} of {role}" for role in dict.fromkeys(roles))
        return f"<ReadingSet on {self.address_bits} lines: {counts or 'no reading'}>"

    def with_role(self, role: Role) -> tuple[Reading, ...]:
        """Return the readings of one role."""
        return tuple(r for r in self.readings if r.role == role)
