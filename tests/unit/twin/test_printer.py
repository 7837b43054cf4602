from __future__ import annotations

import pytest
from hypothesis import given

from romassay.errors import BadValue
from romassay.twin import LAYOUTS, Layout, Terminal, layout_named, print_log
from romassay.twin.printer import line_sum, with_parity
from strategies import layouts, named_layouts, terminals

DATA = bytes([0xA9, 0x00, 0x8D, 0x03, 0xC0, 0x4C, 0x20, 0x41, 0x42, 0x7F])
SHOWN = {
    "plain": "FF00 A9 00 8D 03 C0 4C 20 41 42 7F\r\n",
    "colon-gutter": "FF00: A9 00 8D 03 C0 4C 20 41  42 7F                    .....L AB.\r\n",
    "bar-gutter": "0000ff00  a9 00 8d 03 c0 4c 20 41  42 7f                    |.....L AB.|\r\n",
    "dollar": "$FF00  $A9 $00 $8D $03 $C0 $4C $20 $41\r\n$FF08  $42 $7F\r\n",
    "summed": "FF00 A9 00 8D 03 C0 4C 20 41 42 7F =67\r\n",
    "negative-sum": "FF00-A9 00 8D 03 C0 4C 20 41 *5B\r\nFF08-42 7F *38\r\n",
    "octal": "177400 251 000 215 003 300 114 040 101\r\n177410 102 177\r\n",
    "octal-words": "177400/ 000251 001615 046300 040440 077502\r\n",
    "decimal": " 65280 169  0  141  3  192  76  32  65\r\n 65288 66  127\r\n",
    "words": "FF00  A900 8D03 C04C 2041 427F\r\n",
    "words-low-first": "0xff00: 00a9 038d 4cc0 4120 7f42\r\n",
    "trailing-h": "FF00H  A9,00,8D,03,C0,4C,20,41,42,7F\r\n",
    "dense": "FF00 A9008D03C04C2041427F\r\n",
    "seldom": "FF00: A9 00 8D 03 C0 4C 20 41 42 7F\r\n",
    "monitor": "MONITOR 2.3\r\nREADY\r\n*D FF00,FF09\r\nFF00 A9 00 8D 03 C0 4C 20 41\r\nFF08 42 7F\r\n*\r\n",
    "paged": "MEMORY LISTING            PAGE 1\r\n"
    "FF00  A9 00 8D 03 C0 4C 20 41 42 7F                    .....L AB.\r\n",
    "intel-hex": ":0AFF0000A9008D03C04C2041427F90\r\n:00000001FF\r\n",
    "paper-tape": ";0AFF00A9008D03C04C2041427F0470\r\n;0000010001\r\n",
}


@pytest.mark.parametrize("name", sorted(LAYOUTS))
def test_each_layout_by_hand(name: str) -> None:
    assert print_log([[(0xFF00, DATA)]], layout_named(name)).decode() == SHOWN[name]


def test_an_unknown_layout_names_them_all() -> None:
    with pytest.raises(BadValue, match="'plane' is no layout of the twin; choose from plain, colon-gutter,"):
        layout_named("plane")


@given(named_layouts | layouts(), terminals())
def test_whatever_the_layout_every_pass_and_piece_is_printed(layout: Layout, terminal: Terminal) -> None:
    log = print_log([[(0x1000, DATA), (0x2000, DATA)], [(0x1000, DATA)]], layout, terminal=terminal)
    lines = bytes(c & 0x7F for c in log).replace(b"\0", b"").split(terminal.newline.encode())
    shown = [line for line in lines if line.strip()]
    of_one = -(-len(DATA) // layout.per_line)
    assert len(shown) >= 3 * of_one
    assert log.count(b"\0") == (len(lines) - 1) * terminal.nuls or terminal.parity == "mark"


def test_passes_aligned_lines_and_addresses_now_and_then() -> None:
    layout = Layout("mine", per_line=4, aligned=True, every=2)
    log = print_log([[(0x1002, DATA)]] * 2, layout, terminal=Terminal(newline="\n")).decode()
    one = "1002 A9 00\n     8D 03 C0 4C\n1008 20 41 42 7F\n"
    assert log == one * 2


def test_pages_and_blank_lines() -> None:
    layout = Layout("mine", per_line=1, page=4, heading="PAGE {page}", blank=3, trailing=" ;")
    log = print_log([[(0, DATA[:5])]], layout, terminal=Terminal(newline="\n")).decode()
    assert log == "PAGE 1\n0000 A9 ;\n0001 00 ;\n0002 8D ;\n\n0003 03 ;\nPAGE 2\n0004 C0 ;\n"


def test_words_at_an_odd_end_and_a_gap() -> None:
    layout = Layout("mine", word=2, low_first=False, per_line=8, gap=" - ")
    assert print_log([[(0, DATA[:7])]], layout).decode() == "0000 A900 8D03 - C04C 20\r\n"


def test_addresses_of_a_wide_bus() -> None:
    assert print_log([[(0x1234, DATA[:1])]], LAYOUTS["plain"], address_bits=24).decode() == "001234 A9\r\n"
    wide = print_log([[(0x12FFFF, DATA[:2])]], LAYOUTS["intel-hex"], address_bits=24).decode().split()
    assert wide == [":020000040012E8", ":02FFFF00A90057", ":00000001FF"]
    with pytest.raises(BadValue, match="paper-tape records cannot show 17 address bits"):
        print_log([], LAYOUTS["paper-tape"], address_bits=17)


def test_the_terminal_in_between() -> None:
    layout = Layout("mine", prompt=">", command="D{first}")
    dressed = Terminal(newline="\r", nuls=2, colour=True, typos=True, cut_head=4, cut_tail=1)
    log = print_log([[(0x10, b"\x41")]], layout, terminal=dressed)
    assert log == b"\x1b[H\x1b[1;32m>\x1b[0mD001?\x08 \x080\r\0\x000010 41\r\0"
    assert print_log([[(0, b"A")]], LAYOUTS["plain"], terminal=Terminal(encoding="utf-16-le"))[:4] == b"0\x000\0"


@pytest.mark.parametrize(("parity", "expected"), [("even", b"\x41\xc3"), ("odd", b"\xc1\x43"), ("mark", b"\xc1\xc3")])
def test_parity(parity: str, expected: bytes) -> None:
    assert with_parity(b"AC", parity) == expected
    assert with_parity(b"AC", "none") == b"AC"


def test_sums() -> None:
    """Of 31 32 … 39: sum DD, 16 bits 01DD, XOR 31, two's complement 23, one's complement 22 (by arithmetic)."""
    digits = b"123456789"
    kinds = ("sum-8", "sum-16", "xor", "twos-complement", "ones-complement")
    assert [line_sum(kind, digits) for kind in kinds] == [(0xDD, 1), (0x1DD, 2), (0x31, 1), (0x23, 1), (0x22, 1)]
