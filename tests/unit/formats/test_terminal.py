"""What a terminal leaves in a log, and what is taken off again."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.errors import BadValue
from romassay.formats.text.terminal import clean, in_words

LINES = "D000: A9 41 8D 00\nD004: 20 3E F0 FF\n\nD008: 60\n"


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r", "\n\r", "\r\r\n"])
def test_every_line_end_makes_one_line(newline: str) -> None:
    assert clean(LINES.replace("\n", newline).encode()) == LINES.encode()


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "utf-32", "latin-1"])
def test_every_encoding_is_told_from_the_content(encoding: str) -> None:
    assert clean(LINES.encode(encoding)) == LINES.encode()


@pytest.mark.parametrize("parity", ["even", "odd", "mark"])
def test_a_parity_bit_is_taken_off(parity: str) -> None:
    def with_parity(c: int) -> int:
        ones = c.bit_count() + (parity == "odd")
        return c | 0x80 if parity == "mark" or ones % 2 else c

    assert clean(bytes(with_parity(c) for c in LINES.encode())) == LINES.encode()


def test_a_few_characters_with_bit_7_are_damage_not_parity() -> None:
    text = bytearray(LINES.encode() * 20)
    text[3] |= 0x80
    assert clean(bytes(text)) == bytes(text)


def test_control_sequences_leave_nothing() -> None:
    """ECMA-48 (5th edition), clause 5.4: colours, cursor keys, an erased line; a window title (clause 8.3.89)."""
    noisy = "\x1b]0;bench\x07\x1b[2J\x1b[1;32m*\x1b[0mD D000\x1b[K\r\n\x1b[?25hD000: A9\x1b(B\r\n"
    assert clean(noisy.encode()) == b"*D D000\nD000: A9\n"


def test_backspaces_overwrite() -> None:
    assert clean(b"D D00\x08\x08F00\nD000: A9\x08 \x08\x089\n") == b"D DF00\nD000: 9 \n"


def test_fill_characters_at_line_ends_go_and_those_inside_keep_their_column() -> None:
    assert clean(b"\x00\x00D000: A9\r\n\x00\x00\x7fD001: 4\x131\r\n" + b"D002: 00\r\n" * 200).startswith(
        b"D000: A9\nD001: 4\x131\nD002"
    )


def test_nuls_between_all_characters_go() -> None:
    assert clean(b"".join(bytes([c, 0, 0]) for c in LINES.encode())) == LINES.encode()


def test_characters_that_fit_no_byte_keep_their_column() -> None:
    assert len(clean("D000: A9 │é│\n".encode())) == len("D000: A9 │é│\n")


def test_an_encoding_that_does_not_exist() -> None:
    with pytest.raises(BadValue, match="there is no encoding 'klingon'"):
        clean(b"D000: A9\n", "klingon")


def test_a_named_encoding_is_taken() -> None:
    assert clean(LINES.encode("cp037"), "cp037") == LINES.encode()


@given(st.lists(st.text(st.characters(min_codepoint=32, max_codepoint=126)), max_size=20))
def test_plain_text_stays_as_it_is(lines: list[str]) -> None:
    text = "\n".join(lines).encode()
    assert clean(text) == text


@given(st.binary(max_size=300))
def test_any_bytes_are_borne(data: bytes) -> None:
    assert isinstance(clean(data), bytes)


def test_a_line_is_shown_cut_and_printable() -> None:
    assert in_words(b"D000:\x07\x1b A9", 8) == "D000:··…"
