"""The stride of a character generator is read from its bits, and other bytes have none."""

from __future__ import annotations

import random

import numpy as np
import pytest

from romassay.code.stride import stride_of

LETTERS = {  # our own drawings, 5 dots wide and 7 high
    "A": (".###.", "#...#", "#...#", "#####", "#...#", "#...#", "#...#"),
    "C": (".###.", "#...#", "#....", "#....", "#....", "#...#", ".###."),
    "E": ("#####", "#....", "#....", "####.", "#....", "#....", "#####"),
    "H": ("#...#", "#...#", "#...#", "#####", "#...#", "#...#", "#...#"),
    "L": ("#....", "#....", "#....", "#....", "#....", "#....", "#####"),
    "O": (".###.", "#...#", "#...#", "#...#", "#...#", "#...#", ".###."),
    "P": ("####.", "#...#", "#...#", "####.", "#....", "#....", "#...."),
    "T": ("#####", "..#..", "..#..", "..#..", "..#..", "..#..", "..#.."),
    "U": ("#...#", "#...#", "#...#", "#...#", "#...#", "#...#", ".###."),
    "Z": ("#####", "....#", "...#.", "..#..", ".#...", "#....", "#####"),
}


def drawn(high: int, wide: int, *, columns: bool = False) -> np.ndarray:
    """Return 60 letters: each a byte a line, `high` lines, or a byte a column, `wide` columns."""
    rng = random.Random(high)
    cells = []
    for _ in range(60):
        cell = np.zeros((max(high, 7), max(wide, 5)), np.uint8)
        cell[:7, :5] = [[dot == "#" for dot in line] for line in LETTERS[rng.choice(list(LETTERS))]]
        cell = cell[:high, :wide]
        cells.append(cell.T if columns else cell)
    return np.packbits(np.array(cells), axis=2).ravel()


@pytest.mark.parametrize("high", [7, 8, 9, 10, 12, 16])
@pytest.mark.parametrize("inverted", [False, True])
def test_the_lines_of_a_character(high: int, inverted: bool) -> None:
    assert stride_of(drawn(high, 8) ^ (0xFF if inverted else 0)) == high


@pytest.mark.parametrize("wide", [5, 6, 8])
def test_the_columns_of_a_character(wide: int) -> None:
    assert stride_of(drawn(7, wide, columns=True)) == wide


def test_padding_behind_the_characters_does_not_matter() -> None:
    assert stride_of(np.concatenate([drawn(9, 8), np.full(484, 0xFF, np.uint8)])) == 9


def test_two_planes_in_turn_are_one_cell_or_two() -> None:
    one = drawn(8, 8).reshape(-1, 8)
    assert stride_of(np.concatenate([one, one >> 1 | one], axis=1).ravel()) in (8, 16)


@pytest.mark.parametrize(
    "data",
    [
        random.Random(1).randbytes(2048),
        b"the tide is in and the lamp is lit, please wait for the pilot at the gate " * 9,
        b"\xff" * 1024,
        b"",
    ],
    ids=["noise", "text", "blank", "nothing"],
)
def test_other_bytes_have_no_stride(data: bytes) -> None:
    assert stride_of(np.frombuffer(data, np.uint8)) is None
