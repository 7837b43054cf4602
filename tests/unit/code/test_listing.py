"""Listings: our own assembler makes the same bytes of them, and they name what they should."""

from __future__ import annotations

import random

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.code import entries_at
from romassay.code.flow import follow
from romassay.code.listing import Place, listing
from romassay.code.source import source
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


RETURNS = [
    " org $e000",
    "start: lda $d000",
    " asl a",
    " tax",
    " lda jumps+1,x",
    " pha",
    " lda jumps,x",
    " pha",
    " rts",
    "jumps: dw up-1,down-1,off-1",
    "up: inc $20",
    " jmp start",
    "down: dec $20",
    " jmp start",
    "off: lda #0",
    " sta $20",
    " jsr $ff00",
    " jmp start",
    'sign: db 13,10,"HIGH WATER",0,"LOW WATER",0',
]


def test_a_table_of_addresses_less_one_is_found_and_followed() -> None:
    made = assemble(cpu_of("6502"), RETURNS)
    text = source(listing(cpu_of("6502"), made.data, 0xE000, [("reset", 0xE000)]))
    assert "        .word LE014-1 " in text
    assert "        lda TE00E+1,x " in text
    assert "LE014:                                  ; from E00E\n" in text
    assert assemble(cpu_of("6502"), text).data == made.data


def test_a_text_stands_in_quotes_a_message_a_line() -> None:
    made = assemble(cpu_of("6502"), RETURNS)
    text = source(listing(cpu_of("6502"), made.data, 0xE000, [("reset", 0xE000)]))
    assert '        .text $0d,$0a,"HIGH WATER",$00 ' in text
    assert '        .text "LOW WATER",$00 ' in text


def test_a_text_that_may_not_be_mixed_stands_apart() -> None:
    text = source(listing(cpu_of("6800"), b"HIGH WATER\x04LOW WATER\x04", 0x100, []))
    assert '        asc "HIGH WATER" ' in text
    assert "        db $04 " in text


def test_padding_is_one_line() -> None:
    data = bytes.fromhex("4c00e0") + b"\xff" * 0x1FD
    text = source(listing(cpu_of("6502"), data, 0xE000, [("reset", 0xE000)]))
    assert "        .fill 509,$ff                                   ; E003-E1FF\n" in text
    assert assemble(cpu_of("6502"), text).data == data


def test_the_top_maps_the_image_and_what_is_outside_of_it() -> None:
    made = assemble(cpu_of("6502"), RETURNS)
    data = made.data + b"\xff" * 64
    top = source(listing(cpu_of("6502"), data, 0xE000, [("reset", 0xE000)])).partition(".cpu")[0]
    assert ";   E000-E00D     14  code\n" in top
    assert "  padding, FF\n" in top
    assert ";   goes to  FF00  from " in top
    assert ";   touches  D000  from E000\n" in top


def test_ports_are_told() -> None:
    made = assemble(cpu_of("8080"), [" in 0f0h", " out 0f1h", " out 0f1h", " jmp 0"])
    top = source(listing(cpu_of("8080"), made.data, 0, [("reset", 0)])).partition(".org")[0]
    assert ";   port     F0  from 0000\n;   port     F1  from 0002 0004\n" in top


LONELY = [
    "start: call once",
    " jmp start",
    "once: in 10h",
    " ani 1",
    " jz once",
    " ret",
    *(
        line
        for n in range(6)
        for line in (f"s{n}: push h", f" lxi h,{0x2000 + n}", " mov a,m", " inr m", " ora a", " pop h", " rz", " ret")
    ),
]


def test_code_to_which_nothing_leads_is_listed_with_a_word_on_it() -> None:
    cpu = cpu_of("8080")
    made = assemble(cpu, LONELY)
    shown = listing(cpu, made.data, 0, [("reset", 0)])
    assert set(made.instructions) == set(shown.followed.instructions)
    assert len(shown.followed.likely) == 6 * 8
    assert source(shown).count("; nothing is seen to lead here; it reads as code") == 1
    strict = listing(cpu, made.data, 0, [("reset", 0)], likely=False)
    assert set(strict.followed.instructions) == {0, 3, 6, 8, 10, 13}
    assert all(assemble(cpu, source(each)).data == made.data for each in (shown, strict))


def test_a_table_of_routines_needs_nothing_that_names_it() -> None:
    cpu = cpu_of("8080")
    made = assemble(cpu, [*LONELY, " dw s1,s2,s5,once"])
    shown = listing(cpu, made.data, 0, [("reset", 0)])
    assert [piece.kind for piece in shown.pieces] == ["pointers"]
    assert shown.pieces[0].targets[-1] == made.symbols["once"]


def test_the_flow_does_not_run_through_padding() -> None:
    cpu = cpu_of("8051")
    data = bytes.fromhex("7401") + b"\0" * 60 + bytes.fromhex("22")
    shown = listing(cpu, data, 0, [("reset", 0)], likely=False)
    assert set(shown.followed.instructions) == {0}
    assert shown.followed.broken == (2,)


def test_an_address_that_is_loaded_in_two_halves_is_told() -> None:
    made = assemble(cpu_of("6502"), [*RETURNS[:-1], " ldx #<sign", " ldy #>sign", " jmp start", RETURNS[-1]])
    data = made.data
    text = source(listing(cpu_of("6502"), data, 0xE000, [("reset", 0xE000), ("", made.symbols["sign"] - 7)]))
    name = f"T{made.symbols['sign']:04X}"
    assert f" -> {name}\n" in text
    assert f"{name}:" in text
    assert assemble(cpu_of("6502"), text).data == data


def test_a_program_that_begins_with_a_jump_is_followed_from_there() -> None:
    made = assemble(cpu_of("8051"), [" ljmp go", " nop", "go: mov a,#1", " inc a", " sjmp go"], origin=0x8000)
    raw = np.frombuffer(made.data, np.uint8)
    assert entries_at(cpu_of("8051"), raw, 0x8000) == (("start", 0x8000),)


WORDY = [
    "once{n}: lda $10",
    " sec",
    " sbc #$30",
    " bcc out{n}",
    " sta $11",
    " inc $10",
    "out{n}: rts",
]


def test_letters_that_are_legal_code_stay_with_their_text() -> None:
    """20 56 41 and 4C 56 45 in SYNTAX VALVE are a call and a jump of the 6502."""
    cpu = cpu_of("6502")
    routines = [line.format(n=n) for n in range(4) for line in WORDY]
    lines = ["begin: jsr next", " jmp begin", 'says: db "SYNTAX VALVE",0', *routines, "next: rts"]
    made = assemble(cpu, lines, origin=0x1000)
    shown = listing(cpu, made.data, 0x1000, [("reset", 0x1000)])
    says = made.symbols["says"] - 0x1000
    assert [(piece.kind, piece.first, piece.end) for piece in shown.pieces] == [("text", says, says + 13)]
    assert set(made.instructions) == {0x1000 + at for at in shown.followed.instructions}


def test_where_likely_code_branches_to_is_code_as_far_as_it_runs_into_some() -> None:
    cpu = cpu_of("6502")
    start = assemble(cpu, [line.format(n=0) for line in WORDY]).data
    led = follow(cpu, b"\xe6\x12" + start, 0, [], [2 + 9, 2 + 11, 2, 4, 5, 7])
    assert 0 not in led.instructions
    back = bytearray(b"\xe6\x12" + start)
    back[8] = 0x100 - 9  # the branch leads to the two bytes before the routine
    joined = follow(cpu, bytes(back), 0, [], [2, 4, 5, 7])
    assert 0 in joined.likely
    assert sorted(joined.instructions) == [0, 2, 4, 5, 7]


def test_a_call_with_its_address_behind_it_is_listed_as_one() -> None:
    # MPM-201 (1976), standard call and return technique: SEP R4, then the address of the routine; SEP R5 returns
    lines = ["go: sep r4", " dw one", " sep r4", " dw one", " sep r4", " dw one", " sep r4", " dw one", " br go"]
    made = assemble(cpu_of("1802"), [*lines, "one: inc r8", " sep r5", "two: dec r8", " br one"], origin=0x400)
    text = source(listing(cpu_of("1802"), made.data, 0x400, [("", 0x400), ("", made.symbols["two"])]))
    rows = [line.split(";")[0].strip() for line in text.splitlines() if not line.startswith(";")]
    assert rows[rows.index("sep r4") :][:4] == ["sep r4", "dw S040E", "sep r4", "dw S040E"]
    assert rows[rows.index("sep r5") + 1] == ""
    assert "from 0400 0403 0406 0409 0411\n" in text


def test_two_places_of_one_name_get_two_names() -> None:
    made = assemble(cpu_of("6502"), [" sta $1700", " sta $1740", " rts"], origin=0x400)
    places = {0x1700: Place("port_a"), 0x1740: Place("port_a")}
    text = source(listing(cpu_of("6502"), made.data, 0x400, [("", 0x400)], registers=places))
    assert "port_a = $1700" in text
    assert "port_a_1740 = $1740" in text
    assert "; entry at 0400" in text
    assert assemble(cpu_of("6502"), text).data == made.data


def test_what_is_to_be_said_of_a_byte_stands_before_its_line() -> None:
    made = assemble(cpu_of("6502"), [" lda #$12", " rts"], origin=0x400)
    remarks = {1: "is not beyond doubt: 12 (3) or 13 (1)", 2: "was never\nseen"}
    text = source(listing(cpu_of("6502"), made.data, 0x400, [("start", 0x400)]), remarks=remarks)
    assert "; 0401 is not beyond doubt: 12 (3) or 13 (1)\non_start:\n        lda #$12" in text
    assert "; 0402 was never seen\n        rts" in text
    assert assemble(cpu_of("6502"), text).data == made.data


def test_tables_may_point_at_texts() -> None:
    lines = ["start: rts", "table: dw one,two,three", 'one: db "HIGH WATER",13', 'two: db "LOW WATER",13']
    made = assemble(cpu_of("6502"), [*lines, 'three: db "FOG",13'], origin=0x400)
    shown = listing(cpu_of("6502"), made.data, 0x400, [("start", 0x400)])
    assert [piece.kind for piece in shown.pieces][:2] == ["pointers", "text"]
    assert "        .word T0407" in source(shown)
    assert assemble(cpu_of("6502"), source(shown)).data == made.data


def test_words_that_end_with_their_highest_bit_set_are_text() -> None:
    data = bytes.fromhex("0102") + b"PRIN\xd4GOT\xcfLIS\xd4" + bytes.fromhex("0102")
    shown = listing(cpu_of("6502"), data, 0x400, [])
    assert [(piece.first, piece.end, piece.kind) for piece in shown.pieces] == [
        (0, 2, "bytes"),
        *((first, end, "text") for first, end in ((2, 7), (7, 11), (11, 15))),
        (15, 17, "bytes"),
    ]
    assert '        .text "PRIN",$d4 ' in source(shown)
    assert assemble(cpu_of("6502"), source(shown)).data == data
