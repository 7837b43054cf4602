"""From readings to pieces: overlaps, contradictions, half-known bytes, gaps."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range, merge_ranges
from romassay.formats.model import Piece
from romassay.formats.pieces import gaps, joined, lay_out, within
from romassay.reading import Reading, reading_of
from strategies_records import content_of, images

ROWS = st.lists(st.tuples(st.integers(0, 40), st.binary(min_size=1, max_size=6)), min_size=1, max_size=12)


@given(images())
def test_pieces_survive(pieces: list[Piece]) -> None:
    rows = [(p.first, p.data) for p in pieces]
    assert lay_out([reading_of(rows)]).pieces == tuple(pieces)
    assert lay_out([reading_of(rows[::-1])]).pieces == tuple(pieces)
    assert lay_out([reading_of(rows[::2]), reading_of(rows[1::2])] if rows[1:] else [reading_of(rows)]).pieces == tuple(
        pieces
    )


@given(ROWS)
def test_against_a_dictionary(rows: list[tuple[int, bytes]]) -> None:
    first: dict[int, int] = {}
    contradicted = set()
    for start, data in rows:
        for address, byte in enumerate(data, start):
            if first.setdefault(address, byte) != byte:
                contradicted.add(address)
    laid = lay_out([reading_of(rows)])
    assert content_of(laid.pieces) == first
    assert laid.contradicted == merge_ranges(Range(a, a) for a in contradicted)
    assert all(b.first > a.first + len(a.data) for a, b in zip(laid.pieces, laid.pieces[1:], strict=False))


def with_known(reading: Reading, known: list[int]) -> Reading:
    return replace(reading, known=np.array(known, np.uint8))


def test_half_known_bytes_are_left_out_and_told() -> None:
    laid = lay_out([with_known(reading_of([(0x10, b"abcdef")]), [255, 0x0F, 255, 0, 255, 255])])
    assert laid.pieces == (Piece(0x10, b"a"), Piece(0x12, b"c"), Piece(0x14, b"ef"))
    assert laid.half_known == (Range(0x11, 0x11),)
    assert laid.mask == 0xFF


def test_a_narrow_part_has_one_mask() -> None:
    laid = lay_out([with_known(reading_of([(0x10, b"\1\2\3\4")]), [15, 15, 0, 15])])
    assert (laid.mask, laid.half_known) == (15, ())
    assert laid.pieces == (Piece(0x10, b"\1\2"), Piece(0x13, b"\4"))


def test_resent_rows_are_left_out() -> None:
    reading = replace(reading_of([(0, b"ab"), (0, b"ab"), (2, b"c")]), resent=np.array([1], np.int64))
    assert lay_out([reading]) == lay_out([reading_of([(0, b"ab"), (2, b"c")])])


@given(images(16), st.lists(st.tuples(st.integers(0, 0x10000), st.integers(1, 0x3000)), max_size=4))
def test_within_and_gaps_make_up_the_ranges(pieces: list[Piece], drawn: list[tuple[int, int]]) -> None:
    ranges = merge_ranges(Range(a, a + n) for a, n in drawn)
    inside, outside = within(pieces, ranges), gaps(pieces, ranges)
    wanted = {a for r in ranges for a in range(r.first, r.last + 1)}
    assert content_of(inside) == {a: b for a, b in content_of(pieces).items() if a in wanted}
    assert {a for r in outside for a in range(r.first, r.last + 1)} == wanted - content_of(pieces).keys()


@given(images(16))
def test_joined(pieces: list[Piece]) -> None:
    halves = [Piece(p.first + at, p.data[at : at + 7]) for p in pieces for at in range(0, len(p.data), 7)]
    assert joined(halves[::-1]) == tuple(pieces)
