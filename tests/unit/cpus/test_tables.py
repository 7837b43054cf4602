"""The instruction tables: their sizes as handbooks give them, and the rules that every row keeps."""

from __future__ import annotations

import pytest

from romassay.cpus.catalogue import NAMES, cpu_of
from romassay.cpus.decode import decode
from romassay.cpus.model import SIZES
from romassay.errors import BadValue

OPCODES = {
    "6502": 151,  # 6500-50A: 151 opcodes
    "65C02": 212,  # W65C02S data sheet: 212 opcodes
    "6800": 197,  # M6800 PRM: 197 valid machine codes
    "8080": 244,  # 8080 manual: 256 less 12
    "8085": 246,  # the same with RIM and SIM
    "8051": 255,  # MCS-51 guide: A5 alone is reserved
    "1802": 255,  # MPM-201: 68 alone is illegal
}


@pytest.mark.parametrize(("name", "count"), OPCODES.items())
def test_a_table_has_as_many_opcodes_as_its_handbook(name: str, count: int) -> None:
    assert len({form.code[0] for form in cpu_of(name).forms}) == count


def test_the_6809_has_268_opcodes_as_its_data_sheet_says() -> None:
    assert len(cpu_of("6809").forms) == 268


@pytest.mark.parametrize("name", NAMES)
def test_operands_fill_the_instruction_without_a_gap(name: str) -> None:
    for form in cpu_of(name).forms:
        covered = set(range(len(form.code)))
        for operand in form.operands:
            place = set(range(operand.at, operand.at + SIZES[operand.kind]))
            assert not covered & place, form
            covered |= place
        covered |= {form.size - 1} if form.tail is not None else set()
        assert covered == set(range(form.size)), form
        assert form.text.count("{}") == len(form.operands), form


@pytest.mark.parametrize("name", NAMES)
def test_no_two_rows_share_their_code_or_their_text(name: str) -> None:
    forms = cpu_of(name).forms
    assert len({(form.code, form.tail) for form in forms}) == len(forms)
    texts = [
        form.text for form in forms if not any(o.kind in ("block", "direct", "data", "code") for o in form.operands)
    ]
    assert len(set(texts)) == len(texts)


@pytest.mark.parametrize("name", [name for name in NAMES if cpu_of(name).base and name != "Z80"])
def test_a_wider_set_contains_the_plainer_one(name: str) -> None:
    wide = {(form.code, form.text) for form in cpu_of(name).forms}
    plain = {(form.code, form.text) for form in cpu_of(str(cpu_of(name).base)).forms}
    assert plain < wide


def test_the_z80_has_every_opcode_of_the_8080() -> None:
    assert {f.code[0] for f in cpu_of("8080").forms} < {f.code[0] for f in cpu_of("Z80").forms}


DECODED = [
    ("6502", "B1 20", 0, "lda ({}),y", [0x20]),
    ("6502", "D0 FE", 0x1000, "bne {}", [0x1000]),
    ("65C02", "0F 12 FD", 0x2000, "bbr 0,{},{}", [0x12, 0x2000]),
    ("6800", "CE 12 34", 0, "ldx #{}", [0x1234]),
    ("6801", "CC 12 34", 0, "ldd #{}", [0x1234]),
    ("6809", "17 FF FD", 0x8000, "lbsr {}", [0x8000]),
    ("8080", "C3 34 12", 0, "jmp {}", [0x1234]),
    ("Z80", "DD CB 05 4E", 0, "bit 1,(ix+{})", [5]),
    ("Z80", "ED B0", 0, "ldir", []),
    ("8048", "F4 12", 0x0123, "call {}", [0x712]),
    ("8051", "85 30 20", 0, "mov {},{}", [0x20, 0x30]),
    ("8051", "E1 34", 0x0FFE, "ajmp {}", [0x1734]),
    ("1802", "32 10", 0x1234, "bz {}", [0x1210]),
]


@pytest.mark.parametrize(("name", "code", "address", "text", "numbers"), DECODED)
def test_an_instruction_decodes(name: str, code: str, address: int, text: str, numbers: list[int]) -> None:
    found = decode(cpu_of(name), bytes.fromhex(code), 0, address)
    assert found is not None
    assert found.form.text == text
    assert [value.number for value in found.values] == numbers
    assert found.size == len(bytes.fromhex(code))


INDEXED = [  # MC6809 data sheet, table of indexed addressing modes
    ("A6 84", ",x"),
    ("A6 1F", "-1,x"),
    ("A6 88 80", "-128,x"),
    ("A6 89 12 34", "4660,x"),
    ("A6 A6", "a,y"),
    ("A6 CB", "d,u"),
    ("A6 E0", ",s+"),
    ("A6 91", "[,x++]"),
    ("A6 9F 12 34", "[4660]"),
    ("A6 8C FD", "4096,pcr"),
]


@pytest.mark.parametrize(("code", "text"), INDEXED)
def test_a_postbyte_decodes(code: str, text: str) -> None:
    found = decode(cpu_of("6809"), bytes.fromhex(code), 0, 0x1000)
    assert found is not None
    assert found.values[0].text.format(found.values[0].number) == text


@pytest.mark.parametrize("code", ["A6 87", "A6 90", "1F 8F", "1F 18", "11 12", "87"])
def test_what_the_6809_does_not_document_is_no_instruction(code: str) -> None:
    assert decode(cpu_of("6809"), bytes.fromhex(code)) is None


def test_an_instruction_that_breaks_off_is_none() -> None:
    assert decode(cpu_of("8080"), b"\xc3\x34") is None
    assert decode(cpu_of("Z80"), b"\xdd\xcb\x05") is None


def test_what_pulls_the_program_counter_ends_the_flow() -> None:
    for code in ("35 80", "1F 15", "39"):
        found = decode(cpu_of("6809"), bytes.fromhex(code))
        assert found is not None
        assert found.flow == "return"


def test_an_unknown_cpu_is_refused_with_those_that_are_known() -> None:
    with pytest.raises(BadValue, match="'6510' is no CPU that is known here; the CPUs are 6502"):
        cpu_of("6510")
    assert cpu_of("z80").name == "Z80"
