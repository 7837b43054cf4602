"""What a record is, and what a scan over a text of them finds. Values only."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from romassay.formats.model import Left
from romassay.reading import Bytes, Index

GOOD, WRONG_SUM, WRONG_FORM, SHORT, LONG, NO_MARK = range(6)
"""What a record is found to be."""


REASONS = {
    WRONG_SUM: "wrong checksum",
    WRONG_FORM: "a record that the format does not know",
    SHORT: "record ends before its time",
    LONG: "record is longer than it says",
    NO_MARK: "record without its mark",
}


MAX_DAMAGED = 300_000
"""Damaged records that are told one by one; more of them are only counted."""


@dataclass(frozen=True, slots=True)
class Decoded:
    """Records of one length, decoded: n rows.

    Attributes:
        kind: uint8[n], the record type.
        address: int64[n], the address field as it stands; or the number that a record without addresses carries.
        count: int64[n], data bytes; 0 for records that carry none.
        at: column of the first data byte.
        verdict: uint8[n], GOOD, WRONG_SUM or WRONG_FORM.
    """

    kind: Bytes
    address: Index
    count: Index
    at: int
    verdict: Bytes


@dataclass(frozen=True, slots=True)
class Grammar:
    """How a format's records are built.

    Attributes:
        mark: the character that starts a record; no hex digit.
        lead: digits between the mark and the first pair of digits, 0 or 1.
        head: pairs that are the same in every record: length, address, type.
        length_at: which pair, from 0, holds the length.
        pairs: length fields, int64[n], to the number of pairs in the whole record.
        decode: the lead digit and the pairs as bytes, uint8[n, pairs], to columns.
    """

    mark: str
    lead: int
    head: int
    length_at: int
    pairs: Callable[[Index], Index]
    decode: Callable[[int, Bytes], Decoded]


@dataclass(frozen=True, slots=True)
class Damaged:
    """A record that was not taken.

    Attributes:
        after: how many good records stand before it.
        line: in the source, from 1.
        digits: its digits, the first 600 of them.
        verdict: one of the codes above.
        span: characters from its mark to the next one, or to the end of the line.
    """

    after: int
    line: int
    digits: str
    verdict: int
    span: int


@dataclass(frozen=True, slots=True)
class Scan:
    """All good records of a text as columns, in the order of the text; and what else stood there.

    Attributes:
        line: int64[n], in the source, from 1.
        kind, address, count: as in `Decoded`.
        value: uint8, the data bytes of all records in a row.
        damaged: at most MAX_DAMAGED; `damaged_total` counts all.
        left: lines with other text, at most MAX_LEFT; `left_total` counts all.
        lines: lines of the whole text.
        ink: characters of the text that print.
        taken: those of them that stand in good records.
        torn: those that stand in records of the right length with a wrong checksum.
    """

    line: Index
    kind: Bytes
    address: Index
    count: Index
    value: Bytes
    damaged: tuple[Damaged, ...]
    damaged_total: int
    left: tuple[Left, ...]
    left_total: int
    lines: int
    ink: int
    taken: int
    torn: int
