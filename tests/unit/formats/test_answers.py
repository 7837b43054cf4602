"""Answers without addresses: a line counts only where its place is sure."""

from __future__ import annotations

import random
from collections.abc import Callable

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.address import Range
from romassay.formats.answers import heard
from romassay.formats.layout import parse_layout

ASKED = Range(0x4000, 0x40FF)
DATA = random.Random(23).randbytes(256)
Lines = list[str]

LAYOUTS: dict[str, tuple[int, Callable[[bytes], str]]] = {
    'where=none cells=8 cell=hex2 gap=" "': (8, lambda cells: cells.hex(" ").upper()),
    'where=none cells=16 cell=hex2 gap=""': (16, lambda cells: cells.hex().upper()),
    'where=none cells=8 cell=dec3 gap=" "': (8, lambda cells: " ".join(f"{cell:03d}" for cell in cells)),
    'where=none cells=8 cell=dec gap=" "': (8, lambda cells: " ".join(map(str, cells))),
}


def merged(lines: Lines, at: int, chance: random.Random) -> Lines:
    return [*lines[:at], lines[at] + chance.choice(["", " "]) + lines[at + 1], *lines[at + 2 :]]


def split(lines: Lines, at: int, chance: random.Random) -> Lines:
    place = chance.randrange(1, len(lines[at]) - 1)
    return [*lines[:at], lines[at][:place], lines[at][place:], *lines[at + 1 :]]


def lost(lines: Lines, at: int, chance: random.Random) -> Lines:
    place = chance.randrange(len(lines[at]))
    return [*lines[:at], lines[at][:place] + lines[at][place + 1 :], *lines[at + 1 :]]


def doubled(lines: Lines, at: int, _: random.Random) -> Lines:
    return [*lines[:at], lines[at], *lines[at:]]


def garbled(lines: Lines, at: int, chance: random.Random) -> Lines:
    text = list(lines[at])
    for place in chance.sample(range(len(text)), 4):
        text[place] = chance.choice("xyz{")
    return [*lines[:at], "".join(text), *lines[at + 1 :]]


def gone(lines: Lines, at: int, _: random.Random) -> Lines:
    return [*lines[:at], "~" * len(lines[at]), *lines[at + 1 :]]


@given(st.integers(0, 1 << 30))
@pytest.mark.parametrize("harm", [merged, split, lost, doubled, garbled, gone])
@pytest.mark.parametrize("layout", LAYOUTS)
def test_no_line_is_put_at_a_wrong_place(
    layout: str, harm: Callable[[Lines, int, random.Random], Lines], seed: int
) -> None:
    chance = random.Random(seed)
    width, printed = LAYOUTS[layout]
    lines = [printed(DATA[i : i + width]) for i in range(0, 256, width)]
    lines = harm(lines, chance.randrange(len(lines) - 1), chance)
    text = ("\r\n" + "\r\n".join(lines) + "\r\n*").encode()
    found = heard(text, ASKED, layout=parse_layout(layout), format_name="")
    wrong = sum(value != DATA[piece.first - ASKED.first + i] for piece in found for i, value in enumerate(piece.values))
    # a decimal number without its columns may lose a digit, or fall into two, and nobody sees it
    assert wrong <= (2 if "cell=dec " in layout else 0)


@pytest.mark.parametrize("layout", LAYOUTS)
@pytest.mark.parametrize("head", ["", "F\r\n", "   a heading of the host\r\n"])
def test_all_that_was_asked_for_is_heard_where_nothing_is_wrong(layout: str, head: str) -> None:
    width, printed = LAYOUTS[layout]
    lines = [printed(DATA[i : i + width]) for i in range(0, 256, width)]
    text = (head + "\r\n" + "\r\n".join(lines) + "\r\n*").encode()
    found = heard(text, ASKED, layout=parse_layout(layout), format_name="")
    assert b"".join(piece.values for piece in found) == DATA
    assert found[0].first == ASKED.first


@pytest.mark.parametrize("layout", LAYOUTS)
def test_an_answer_of_one_line_is_heard(layout: str) -> None:
    width, printed = LAYOUTS[layout]
    for start in range(0, 256, width):
        asked = Range(0x4000 + start, 0x4000 + start + width - 1)
        text = f"\r\n{printed(DATA[start : start + width])}\r\n*".encode()
        (piece,) = heard(text, asked, layout=parse_layout(layout), format_name="")
        assert (piece.first, piece.values) == (asked.first, DATA[start : start + width])
