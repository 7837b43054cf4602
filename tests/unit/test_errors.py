"""Errors in one line, and the word that was probably meant."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.errors import BadInput, did_you_mean, nearest

TYPES = ("2316", "2332", "6530", "6532", "6540", "6830", "82S123")


@pytest.mark.parametrize(
    ("word", "meant"),
    [
        ("6350", "6530"),  # two digits exchanged: 6830 differs in one place only, and is less likely meant
        ("6503", "6530"),
        ("6530A", "6530"),
        ("XY6532A", "6532"),
        ("82s123n", "82S123"),
        ("2333", "2332"),
        ("gibberish", None),
    ],
)
def test_the_word_that_was_probably_meant(word: str, meant: str | None) -> None:
    assert nearest(word, TYPES) == meant
    assert did_you_mean(word, TYPES) == (f"did you mean '{meant}'?" if meant else "")


@given(st.text(max_size=12), st.lists(st.text(min_size=1, max_size=6), max_size=6))
def test_it_is_one_of_the_known_words_or_none(word: str, known: list[str]) -> None:
    assert nearest(word, known) in (None, *known)


def test_an_error_is_one_line_with_place_and_advice() -> None:
    assert str(BadInput("is\nodd", place="a.log:3", advice="mend it")) == "a.log:3: is odd; mend it"
