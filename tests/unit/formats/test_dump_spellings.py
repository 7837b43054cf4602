"""Logs whose numbers are spelt or broken in ways of their own: cut at an edge, as bits, before instructions."""

from __future__ import annotations

import random

import pytest

from romassay.errors import BadInput
from romassay.formats import read
from romassay.reading import Reading

FIRST = 0x9C00
DATA = random.Random(11).randbytes(512)
WORDS = "LDA STA JMP JSR BNE BEQ CMP ADC AND DEC INX RTS".split()


def readings(lines: list[str]) -> tuple[Reading, ...]:
    return read("\n".join([*lines, ""]).encode("latin-1"), "x.log").readings


def seen(lines: list[str]) -> dict[int, int]:
    (reading,) = readings(lines)
    return dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


def truth(data: bytes) -> dict[int, int]:
    return dict(enumerate(data, FIRST))


def broken(data: bytes, between: str, width: int) -> list[str]:
    """Print free decimal numbers and break the lines at the edge of a screen."""
    starts = range(0, len(data), 16)
    whole = [f" {FIRST + at} " + "".join(f"{byte}{between}" for byte in data[at : at + 16]) for at in starts]
    return [line[i : i + width] for line in whole for i in range(0, len(line), width)]


@pytest.mark.parametrize(("between", "width"), [("  ", 80), (",", 64)])
def test_a_number_cut_at_the_edge_that_few_lines_reach_is_put_together(between: str, width: int) -> None:
    lines = broken(DATA, between, width)
    assert 4 <= sum(len(line) < 8 for line in lines) < len(lines) / 3
    assert seen(lines) == truth(DATA)


def test_one_banner_may_be_longer_than_the_screen_is_wide() -> None:
    data = DATA[:80] + bytes([255]) * 176
    banner = "=~=~=~=~= log 2026.11.20 21:14:07 =~=~=~=~="
    assert seen([banner, ".RUN", *broken(data, "  ", 40), "Done."]) == truth(data)


@pytest.mark.parametrize("between", ["", " ", "_"])
@pytest.mark.parametrize("before", ["#", "0x", ""])
def test_bits_in_two_groups_are_one_byte(before: str, between: str) -> None:
    lines = ["READY", ".M 9C00-9DFF"]
    for at, byte in enumerate(DATA, FIRST):
        bits = f"{byte:08b}"
        picture = bits.replace("1", "*").replace("0", ".")
        lines.append(f"{before}{at:04X}: {bits[:4]}{between}{bits[4:]}  {picture}")
    assert seen(lines) == truth(DATA)


@pytest.mark.parametrize("behind", [b"", DATA])
def test_bits_may_be_all_alike_for_long(behind: bytes) -> None:
    data = bytes([255]) * 1500 + behind
    lines = [f"{at:04X}  {byte >> 4:04b}_{byte & 15:04b}" for at, byte in enumerate(data, FIRST)]
    assert seen(lines) == truth(data)


def test_bits_behind_an_address_with_a_sign_are_no_words_of_a_memory_file() -> None:
    assert seen([f"@{at:04X} {byte:08b}" for at, byte in enumerate(DATA, FIRST)]) == truth(DATA)


def test_words_of_zeros_and_ones_are_no_bits() -> None:
    words = [bytes([0x01 * (i & 1), 0x10 * (i >> 1 & 1), 0x11 * (i >> 2 & 1), 0x01 * (i >> 3 & 1)]) for i in range(64)]
    lines = [f"{FIRST + 4 * i:04X}: {word[:2].hex()} {word[2:].hex()}" for i, word in enumerate(words)]
    assert set(seen(lines)) == set(range(FIRST, FIRST + 256))


@pytest.mark.parametrize("between", ["", " "])
@pytest.mark.parametrize("after", [": ", "H: "])
def test_a_listing_gives_the_bytes_of_its_instructions(between: str, after: str) -> None:
    lines, at = ["x/512xb"], 0
    while at < len(DATA):
        code = DATA[at : at + 1 + max(0, DATA[at] % 16 - 13)]
        word = WORDS[DATA[at] % len(WORDS)]
        lines.append(f"{FIRST + at:04X}{after}{code.hex(between) if between else code.hex()}".upper().ljust(18) + word)
        at += len(code)
    assert seen(lines) == truth(DATA)


def test_what_a_text_column_shows_is_no_instruction() -> None:
    text = b"FOGSTANDBYLAMPSIGNALHORNBELLBUOY" * 8
    lines = [f"{FIRST + at:04X}: {text[at : at + 4].hex(' ')}  {text[at : at + 4].decode()}" for at in range(0, 256, 4)]
    lines[7] = lines[7].replace(lines[7][6:8], f"{text[28] ^ 0x02:02x}", 1)
    (reading,) = readings(lines)
    assert reading.known is not None
    assert seen(lines).keys() == truth(text).keys()


def test_the_end_of_a_word_is_no_byte() -> None:
    with pytest.raises(BadInput):
        readings([f"@{at:04X} FF          LDA" for at in range(FIRST, FIRST + 256)])


def test_addresses_on_a_noisy_line_are_no_words() -> None:
    noise = random.Random(5)
    lines = []
    for at in range(0, len(DATA), 5):
        line = "   ".join(f"{FIRST + at + i}={byte:3d}" for i, byte in enumerate(DATA[at : at + 5]))
        lines.append("".join(chr(ord(c) ^ 1 << noise.randrange(5)) if noise.random() < 0.015 else c for c in line))
    found = {at for reading in readings(lines) for at in reading.addresses().tolist()}
    assert found <= set(truth(DATA))
