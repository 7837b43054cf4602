from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from romassay.report.text import Segment, clean, paragraph, render, width_of
from romassay.report.words import digits, listed, plural, size, some


@given(st.text(st.characters(codec=None)))
def test_clean_text_steers_nothing(text: str) -> None:
    shown = clean(text)
    assert shown.isprintable() or all(c.isprintable() or c.isspace() for c in shown)
    assert not set(shown) & set("\x1b\x07\n\r\t\u202e\u2066\x9b\x00")
    assert clean(shown) == shown


def test_clean_keeps_what_people_write() -> None:
    assert clean("größe 日本 é.log") == "größe 日本 é.log"
    assert clean("a\tb\x9b\ud800\U000e0001") == "a\\x09b\\x9b\\ud800\\U000e0001"


@given(st.text(max_size=300), st.integers(30, 100))
def test_a_paragraph_keeps_its_words_and_its_width(text: str, width: int) -> None:
    lines = paragraph(text, width=width, first="1. ")
    words = " ".join("".join(s.text for s in line)[3:] for line in lines).split()
    assert words == clean(text).split()
    longest = max((len(word) for word in words), default=0)
    assert all(width_of(line) <= max(width, longest + 3) for line in lines)


def test_rendering_with_and_without_colour() -> None:
    lines = [(Segment("a ", "good"), Segment("b", "plain")), (), (Segment("", "bad"),)]
    assert render(lines, colour=False) == "a b\n\n\n"
    assert render(lines, colour=True) == "\x1b[1;32ma \x1b[0mb\n\n\n"


def test_words_for_numbers() -> None:
    assert [size(n) for n in (0, 1, 64, 1024, 3 * 1024, 1 << 20, 1025)] == [
        "0 bytes",
        "1 byte",
        "64 bytes",
        "1 KiB",
        "3 KiB",
        "1 MiB",
        "1025 bytes",
    ]
    assert [listed(list(letters)) for letters in ("", "A", "AB", "ABC")] == ["", "A", "A and B", "A, B and C"]
    assert some("ABCD", 2) == "A, B and 2 more"
    assert some("AB", 2) == "A, B"
    assert plural(2, "reading") == "2 readings"
    assert [digits(bits) for bits in (8, 16, 17, 24, 32)] == [4, 4, 5, 6, 8]
