"""Listings: our own assembler makes the same bytes of them, and they name what they should."""

from __future__ import annotations

import random

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.code.listing import Place, listing, source
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.model import Name


def entries_of(rng: random.Random, origin: int, size: int) -> list[tuple[str, int]]:
    return [("", origin + rng.randrange(size)) for _ in range(size // 4 + 1)]


@pytest.mark.parametrize("name", NAMES)
@settings(max_examples=25, deadline=None)
@given(seed=st.integers(0, 1 << 30), size=st.integers(1, 300), page=st.integers(0, 255))
def test_any_bytes_come_back_from_their_listing(name: Name, seed: int, size: int, page: int) -> None:
    rng = random.Random(seed)
    data = rng.randbytes(size)
    origin = min(page << 8, 0x10000 - size)
    shown = listing(cpu_of(name), data, origin, entries_of(rng, origin, size))
    made = assemble(cpu_of(name), source(shown))
    assert (made.first, made.data) == (origin, data)


@pytest.mark.parametrize("name", NAMES)
def test_what_is_no_code_comes_back_too(name: Name) -> None:
    data = b"hello, world" + b"\xff" * 100 + bytes(range(256)) + b"\0" * 40
    shown = listing(cpu_of(name), data, 0x400, [])
    assert {piece.kind for piece in shown.pieces} == {"text", "padding", "bytes"}
    assert assemble(cpu_of(name), source(shown)).data == data


PROGRAM = [
    " org $f000",
    "reset: ldx #$ff",
    " txs",
    " lda $1702",
    " asl a",
    " tax",
    " lda table,x",
    " sta $20",
    " lda table+1,x",
    " sta $21",
    " jmp ($20)",
    "one: lda #'A'",
    " jsr print",
    " rts",
    "two: ldy message",
    " jmp one",
    "three: rti",
    "print: sta $1700",
    " rts",
    "table: dw one,two,three",
    'message: db "MOLE LAMP",0',
]


def program() -> tuple[bytes, str]:
    made = assemble(cpu_of("6502"), PROGRAM)
    places = {0x1700: Place("port_a", "port A"), 0x1702: Place("port_b"), 0x1704: Place("never")}
    shown = listing(cpu_of("6502"), made.data, 0xF000, [("reset", 0xF000)], registers=places)
    return made.data, source(shown, title="an example")


def test_a_table_of_pointers_is_found_and_followed() -> None:
    data, text = program()
    assert "        .word LF015" in text
    assert "SF022:" in text
    assert text.count(".word") == 3
    assert assemble(cpu_of("6502"), text).data == data


def test_registers_are_named_where_they_are_touched() -> None:
    _, text = program()
    assert "port_a = $1700                          ; port A" in text
    assert "sta port_a" in text
    assert "never" not in text


def test_entries_texts_and_characters_are_shown() -> None:
    _, text = program()
    assert text.startswith("; an example\n; 54 bytes at F000-F035, 6502\n; reset at F000\n; assemble with: 64tass")
    assert "on_reset:\n" in text
    assert "MOLE LAMP" in text
    assert "; F015 A9 41          'A'" in text


def test_another_character_set_shows_its_text() -> None:
    data = "PUMP READY".encode("cp037")
    text = source(listing(cpu_of("6800"), data, 0, [], characters="ebcdic"), characters="ebcdic")
    assert "PUMP READY" in text


def test_vectors_are_words() -> None:
    data = bytes.fromhex("4c00f0") + b"\xff" * 4087 + bytes.fromhex("00f000f000f0")
    text = source(listing(cpu_of("6502"), data, 0xF000, [("reset", 0xF000)]))
    assert text.count("        .word on_reset") == 3
