"""The layout's own notation: there and back, corrections, and what it refuses."""

from __future__ import annotations

import random

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.errors import BadValue
from romassay.formats import read
from romassay.formats.layout import (
    Layout,
    Number,
    Sum,
    corrected,
    literal,
    parse_layout,
    parse_words,
    pattern_regex,
)
from romassay.formats.model import Hints
from romassay.formats.sums import KINDS

TEXT = st.text(
    st.characters(min_codepoint=32, max_codepoint=255, exclude_categories=["Cc"]) | st.just("\t"), max_size=6
)
FIXED = st.builds(
    Number, st.sampled_from([2, 8, 10, 16]), st.integers(1, 16), st.sampled_from(["zeros", "left", "right"])
)
NUMBERS = FIXED | st.builds(Number, st.sampled_from([8, 10, 16]))


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    cells = draw(st.integers(1, 64))
    usual = draw(TEXT.filter(bool))
    gaps = [usual] * (cells - 1)
    if gaps and draw(st.booleans()):
        every = draw(st.integers(1, len(gaps)))
        gaps[every - 1 :: every] = [draw(TEXT.filter(bool))] * len(gaps[every - 1 :: every])
    for _ in range(draw(st.integers(0, 2))):
        if gaps:
            gaps[draw(st.integers(0, len(gaps) - 1))] = draw(TEXT.filter(bool))
    total = st.builds(Sum, st.sampled_from(sorted(KINDS)), NUMBERS, TEXT, st.sampled_from(["cells", "end", "front"]))
    return Layout(
        cells=cells,
        cell=draw(NUMBERS),
        size=draw(st.sampled_from([1, 2, 4, 8])),
        order=draw(st.sampled_from(["big", "little"])),
        gaps=draw(st.none() | st.just(tuple(gaps))),
        address=draw(st.none() | NUMBERS),
        unit=draw(st.sampled_from(["bytes", "words"])),
        where=draw(st.sampled_from(["line", "some", "alone", "none"])),
        lead=draw(TEXT),
        after=draw(TEXT),
        rest=draw(TEXT),
        sum=draw(st.none() | total),
        gutter=draw(st.none() | TEXT),
        end=draw(TEXT),
        tail=draw(st.booleans()),
    )


@given(layouts())
def test_the_notation_gives_the_layout_back(layout: Layout) -> None:
    again = parse_layout(str(layout))
    if layout.size == 1:
        assert again.order == "big"
        again = corrected(again, {"order": layout.order})
    if layout.gutter == "none":
        return
    if layout.cells == 1:
        assert again.gaps in ((), None)
        return
    assert again == layout


@given(TEXT, TEXT)
def test_a_literal_pattern_matches_its_text_and_no_other(text: str, other: str) -> None:
    import re

    regex = re.compile(pattern_regex(literal(text)), re.DOTALL)
    assert (regex.fullmatch(other.encode("latin-1")) is not None) == (text == other)


def test_patterns() -> None:
    import re

    regex = re.compile(pattern_regex(r"# ?\?*:"), re.DOTALL)
    assert regex.fullmatch(b"120 x?:")
    assert regex.fullmatch(b"1 x? and more:")
    assert not regex.fullmatch(b"x x?:")
    assert not regex.fullmatch(b"1 xx:")


def test_a_correction_changes_only_what_it_names() -> None:
    layout = parse_layout('address=hex4 after=": " cells=4 cell=hex4 size=2 gap=" " gutter="  "')
    changed = corrected(layout, parse_words("order=little gutter=none"))
    assert (changed.order, changed.gutter) == ("little", None)
    assert (changed.cells, changed.gaps, changed.after) == (4, (" ",) * 3, ": ")


def test_another_number_of_cells_keeps_the_usual_gap() -> None:
    layout = parse_layout('address=hex4 after=" " cells=4 cell=hex2 gap="-"')
    assert corrected(layout, parse_words("cells=6")).gaps == ("-",) * 5


@pytest.mark.parametrize(
    ("text", "problem"),
    [
        ("cells", "'cells' is no key=value"),
        ("cells=4 cells=5", "'cells' stands there twice"),
        ("colour=red", "there is no 'colour'"),
        ("cells=0 cell=hex2 address=hex4", "cells is a number from 1 to 256, not '0'"),
        ("cells=9999 cell=hex2 address=hex4", "cells is a number from 1 to 256, not '9999'"),
        ("cells=4 cell=hex2 address=hex4 order=middle", "order is one of big, little, not 'middle'"),
        ("cells=4 cell=roman2 address=hex4", "'roman2' is no number's form"),
        ("cells=4 cell=hex99 address=hex4", "'hex99' is no number's form"),
        ("cells=4 cell=hex2 address=hex4 size=3", "size is 1, 2, 4 or 8, not '3'"),
        ("cells=4 cell=hex2 address=hex4 sum=magic:hex2", "'magic:hex2' is no sum"),
        ("cells=4 cell=hex2 address=hex4 sum=add8:hex2 sum-place=side", "sum-place is cells, end or front"),
        ("cells=4 cell=hex2 address=hex4 gap@9=x", "'gap@9' lies outside the 3 gaps"),
        ('cells=4 cell=dec address=hex4 gap=""', "numbers of any width can't stand together without a gap"),
        ("order=little", "a layout needs at least address, cells and cell"),
    ],
)
def test_what_the_notation_refuses(text: str, problem: str) -> None:
    with pytest.raises(BadValue) as caught:
        parse_layout(text)
    assert problem in caught.value.problem
    assert "--layout" in str(caught.value)
    assert "\n" not in str(caught.value)


@pytest.mark.parametrize(
    ("before", "lead"),
    [
        ("COM3> ", "COM3> "),
        ("{n:5d}  ", r"\\#  "),
        ("{n:04d}: ", "????: "),
        ("[12:00:{n:02d}] ", "[??:??:??] "),
        ("", ""),
    ],
)
def test_a_layout_is_taken_as_the_lines_stand_and_as_it_is_shown(before: str, lead: str) -> None:
    data = random.Random(3).randbytes(256)
    rows = [data[at : at + 16].hex(" ").upper() for at in range(0, 256, 16)]
    log = "".join(f"{before.format(n=n)}{0xC000 + 16 * n:04X}: {row}\n" for n, row in enumerate(rows)).encode()
    shown = read(log, "x.log").layout
    for layout in (shown, f'lead="{lead}" address=hex4 after=": " cells=16 cell=hex2 gap=" "'):
        (reading,) = read(log, "x.log", Hints(layout=layout)).readings
        assert bytes(reading.value) == data
        assert reading.addresses().tolist() == list(range(0xC000, 0xC100))
