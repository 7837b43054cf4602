"""The records that published specifications and public pages print, good ones and bad ones.

The values were looked up in November 2026; each test names its source. 'Memory' marks those that were not seen there.
"""

from __future__ import annotations

import pytest

from romassay.errors import BadInput
from romassay.formats import FORMATS
from romassay.formats.model import Hints, Parsed, Piece, WriteOptions
from romassay.reading import Reading


def parsed(name: str, text: str) -> Parsed:
    return FORMATS[name].read(text.encode("ascii"), Hints())


def only(name: str, text: str) -> Reading:
    found = parsed(name, text)
    assert len(found.readings) == 1
    return found.readings[0]


def said(reading: Reading) -> list[tuple[int, bytes]]:
    return [(first, reading.value[at : at + n].tobytes()) for first, at, n, _ in reading.runs.tolist()]


@pytest.mark.parametrize(
    ("record", "first", "data"),
    [
        # Microchip, online documentation, page on Intel HEX
        (":0300300002337A1E", 0x30, "02337A"),
        # README of a public 8051 repository that cites ARM KA003292
        (":0A000F00C2A0C2A2C2A4C2A680FED5", 0x0F, "C2A0C2A2C2A4C2A680FE"),
        (":03000000020003F8", 0, "020003"),
        (":0C000300787FE4F6D8FD75810702000F3D", 3, "787FE4F6D8FD75810702000F"),
        # a web tutorial
        (":1000000018F09FE518F09FE518F09FE518F09FE5C0", 0, "18F09FE5" * 4),
        (":1030300000000140000000004830000000000000D7", 0x3030, "00000140000000004830000000000000"),
        # memory: examples of a tool maker's knowledge base and an encyclopedia; their sums were recomputed
        (":10246200464C5549442050524F46494C4500464C33", 0x2462, "464C5549442050524F46494C4500464C"),
        (":0B0010006164647265737320676170A7", 0x10, "6164647265737320676170"),
    ],
)
def test_intel_hex_data_records(record: str, first: int, data: str) -> None:
    reading = only("intel-hex", record)
    assert said(reading) == [(first, bytes.fromhex(data))]
    assert (reading.unit, reading.address_bits, reading.holes) == ("record-checked", 16, ())


def test_intel_hex_specification_1988_base_records() -> None:
    """Type 02 times 16: a web note, 'Hex formats'; type 04 times 65536: a web tutorial; both sums recomputed."""
    segment = only("intel-hex", ":02010002E0001B\n:0300300002337A1E\n")
    assert said(segment) == [(0xE0030, bytes.fromhex("02337A"))]
    linear = only("intel-hex", ":020000040000FA\n:0300300002337A1E\n:02000004FFFFFC\n:0300300002337A1E\n")
    assert said(linear) == [(0x30, bytes.fromhex("02337A")), (0xFFFF0030, bytes.fromhex("02337A"))]
    assert linear.address_bits == 32


def test_intel_hex_specification_1988_wrap() -> None:
    """Memory: the offset wraps at 64 KiB within a segment, the address at 4 GiB with a linear base."""
    segment = only("intel-hex", ":020000021200EA\n:04FFFE0001020304F5\n")
    assert said(segment) == [(0x12000 + 0xFFFE, b"\x01\x02"), (0x12000, b"\x03\x04")]
    assert segment.runs[:, 3].tolist() == [2, 2]
    linear = only("intel-hex", ":02000004FFFFFC\n:04FFFE0001020304F5\n")
    assert said(linear) == [(0xFFFFFFFE, b"\x01\x02"), (0, b"\x03\x04")]


def test_intel_hex_specification_1988_start_and_end_records() -> None:
    """Types 03 and 05 (memory, sums recomputed) are no part of the bytes, and are told; type 01 ends."""
    found = parsed("intel-hex", ":0300300002337A1E\n:0400000300003800C1\n:04000005000000CD2A\n:00000001FF\n")
    assert said(found.readings[0]) == [(0x30, bytes.fromhex("02337A"))]
    assert [(left.line, left.reason, left.damage) for left in found.left] == [
        (2, "a start address, 00003800: no part of the bytes", False),
        (3, "a start address, 000000CD: no part of the bytes", False),
    ]


@pytest.mark.parametrize("record", [":00000001FE", ":0D011C0000000000C3E0FF0000000000C30F"])
def test_intel_hex_records_printed_with_wrong_sums(record: str) -> None:
    """A web note, 'Hex formats', prints these as valid; both fail."""
    with pytest.raises(BadInput, match=r"^1: no record is whole: wrong checksum; read the chip again$"):
        parsed("intel-hex", record)
    found = only("intel-hex", f":0300300002337A1E\n{record}\n")
    assert [(h.first, h.last, h.line, h.reason) for h in found.holes] == [(None, None, 2, "wrong checksum")]


WORKED_BLOCK = """\
S00600004844521B
S1130000285F245F2212226A000424290008237C2A
S11300100002000800082629001853812341001813
S113002041E900084E42234300182342000824A952
S107003000144ED492
S9030000FC
"""
WORKED_BYTES = bytes.fromhex(
    "285F245F2212226A000424290008237C0002000800082629001853812341001841E900084E42234300182342000824A900144ED4"
)


def test_s_record_worked_block_of_68evb912b32um_a3() -> None:
    reading = only("s-record", WORKED_BLOCK)
    assert reading.value.tobytes() == WORKED_BYTES
    assert reading.runs[:, [0, 2, 3]].tolist() == [[0, 16, 2], [16, 16, 3], [32, 16, 4], [48, 4, 5]]
    assert reading.holes == ()
    assert reading.unit == "record-checked"


def test_s_record_written_as_the_worked_block() -> None:
    """The block has no S5 record; ours tells the number of data records as well."""
    written = FORMATS["s-record"].write
    assert written is not None
    text = written([Piece(0, WORKED_BYTES)], WriteOptions(header="HDR")).decode()
    assert text.replace("S5030004F8\n", "") == WORKED_BLOCK


def test_s_record_with_two_and_three_byte_addresses() -> None:
    """A web page, 'Motorola S records'; sums recomputed. The printed addresses are 1000 and 010000."""
    text = "S10D1000736F6D6520646174610074\nS21D0100006461746120617420612068696768657220616464726573730034\n"
    assert said(only("s-record", text)) == [(0x1000, b"some data\0"), (0x10000, b"data at a higher address\0")]


PAPER_TAPE = ";180000FFEEDDCCBBAA0099887766554433221122334455667788990AFC"
PAPER_BYTES = bytes.fromhex("FFEEDDCCBBAA009988776655443322112233445566778899")


def test_paper_tape_of_6500_15b_appendix_f() -> None:
    tape = f"{PAPER_TAPE}\r\n\0\0\0\0\0\0;0000010001\r\n\0\0\0\0\0\0\x13"
    reading = only("paper-tape", tape)
    assert said(reading) == [(0, PAPER_BYTES)]
    assert reading.holes == ()
    written = FORMATS["paper-tape"].write
    assert written is not None
    assert written([Piece(0, PAPER_BYTES)], WriteOptions()).decode() == tape


def test_paper_tape_same_data_at_0100() -> None:
    """From a web log: the sum is then 0AFD."""
    assert said(only("paper-tape", ";180100" + PAPER_TAPE[7:-4] + "0AFD")) == [(0x100, PAPER_BYTES)]


def test_paper_tape_of_a_manual_page() -> None:
    assert said(only("paper-tape", ";0C000048656C6C6F2C20576F726C640454")) == [(0, b"Hello, World")]


@pytest.mark.parametrize("end", [";0002000002", ";0001000100"])
def test_paper_tape_last_record_by_both_descriptions(end: str) -> None:
    """The usual sum of its bytes (the manual), or the number again (a manual page): here 0200h and 0100h records."""
    count = int(end[3:7], 16)
    lines = [f";01{i:04X}00{1 + (i >> 8) + (i & 255):04X}" for i in range(count)]
    reading = only("paper-tape", "\n".join((*lines, end)))
    assert (len(reading), reading.holes) == (count, ())


def test_tektronix_hex() -> None:
    """Layout by a public manual page; this block's sums were computed by a second program."""
    assert said(only("tektronix-hex", "/00000D0D48656C6C6F2C20576F726C640AB0\n/00000000\n")) == [(0, b"Hello, World\n")]


def test_tektronix_hex_printed_with_a_wrong_sum() -> None:
    """The manual page's own example ends in 0A52; the digits add up to B0."""
    with pytest.raises(BadInput, match=r"^1: no record is whole: wrong checksum"):
        parsed("tektronix-hex", "/00000D0D48656C6C6F2C20576F726C640A52\n/00000000\n")


def test_tektronix_extended() -> None:
    """Layout by a public manual page, character values from memory; the block was computed by a second program."""
    text = "%2A6DE80000006B48656C6C6F2C20576F726C64210A\n"
    assert said(only("tektronix-extended", text)) == [(0x6B, b"Hello, World!\n")]


def test_tektronix_extended_printed_with_a_wrong_length() -> None:
    """The manual page's example has the length 25 and the sum D9 where 2A and DE are right."""
    with pytest.raises(BadInput, match=r"^1: no record is whole"):
        parsed("tektronix-extended", "%256D980000006B48656C6C6F2C20576F726C64210A\n")


TI_TXT = """\
@F000
31 40 00 03 B2 40 80 5A 20 01 D2 D3 22 00 D2 E3
21 00 3F 40 E8 FD 1F 83 FE 23 F9 3F
@FFFE
00 F0
q
"""


def test_ti_txt_of_slau101_a_2() -> None:
    first = bytes.fromhex("31400003B240805A2001D2D32200D2E321003F40E8FD1F83FE23F93F")
    reading = only("ti-txt", TI_TXT)
    assert said(reading) == [(0xF000, first[:16]), (0xF010, first[16:]), (0xFFFE, b"\x00\xf0")]
    assert reading.unit == "record"
    written = FORMATS["ti-txt"].write
    assert written is not None
    assert written([Piece(0xF000, first), Piece(0xFFFE, b"\x00\xf0")], WriteOptions()).decode() == TI_TXT


def test_verilog_memory_file_of_a_manual_page() -> None:
    """An '@' counts words, not bytes: 400 is byte address 1000 with words of 32 bits."""
    reading = only("verilog-memory", "@00000400 48656C6C 6F2C2057 6F726C64 0AFFFFFF\n")
    assert said(reading) == [(0x1000, b"Hello, World\n\xff\xff\xff")]


def test_verilog_ieee_1364_2005_17_2_8() -> None:
    """Comments of both kinds, form feeds and both cases; x, z and _ from memory."""
    text = "// a memory\n@4 aB\f/* two\nlines */ C_D\n@8 x1 1z zz\n"
    reading = only("verilog-memory", text)
    assert said(reading) == [(4, b"\xab"), (5, b"\xcd"), (8, b"\x01\x10\x00")]
    assert reading.known_bits().tolist() == [0xFF, 0xFF, 0x0F, 0xF0, 0x00]


def test_bnpf_from_memory() -> None:
    """Highest bit first, P for 1; 'B' to 'F', comments between them."""
    text = "LISTING OF A RAM TEST\nBNNNNNNNPF BPPPPPPPPF BPNPNNPNPF\n"
    reading = only("bnpf", text.replace("TEST", "TEST:"))
    assert said(reading) == [(0, b"\x01\xff\xa5")]
    narrow = only("bnpf", "BNNNPF BPNPNF\n")
    assert (narrow.value.tolist(), narrow.known_bits().tolist()) == ([1, 10], [15, 15])
