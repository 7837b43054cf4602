"""What is said of the code: no more than is known of it."""

from __future__ import annotations

import dataclasses

import pytest

import examples
from romassay.code.model import Code
from romassay.report.code import code_sentences

SURE = (("Z80", 0.999), ("8080", 0.001))


def said(code: Code) -> str:
    return " ".join(code_sentences(dataclasses.replace(examples.confirmed(), codes=(code,)), 0))


def test_what_is_sure_is_said_without_a_number_for_the_address() -> None:
    code = Code("Z80", SURE, 0, ((0, 0.98), (0x8000, 0.01)), (("reset", 0), ("rst7", 0x38)), references=41)
    assert said(code) == (
        "Z80 code (over 99%). It belongs at 0000: 41 absolute references were weighed. "
        "It begins with reset at 0000 and rst7 at 0038."
    )


def test_an_address_that_others_could_take_is_said_with_its_probability() -> None:
    code = Code("8048", (("8048", 0.97), (None, 0.02)), 0x100, ((0x100, 0.82), (0x900, 0.18)), references=20)
    assert said(code) == (
        "8048 code (97%). It belongs at 0100 (82%), or at 0900 (18%): 20 absolute references were weighed."
    )


def test_one_that_is_less_likely_than_not_is_said_alone_with_its_probability() -> None:
    code = Code("6502", (("6502", 1.0),), 0xE000, ((0xE000, 0.45), (0xF000, 0.02)), references=3)
    assert "It belongs at E000 (45%): 3 absolute references" in said(code)


@pytest.mark.parametrize(
    ("origins", "sentence"),
    [
        (((0x1000, 0.36), (0, 0.2), (0xE000, 0.01)), "Where it belongs is open: perhaps at 1000 (36%) or 0000 (20%)."),
        (((0x1000, 0.03), (0, 0.02)), "Nothing in it tells at which address it belongs."),
        ((), "Nothing in it tells at which address it belongs."),
    ],
)
def test_where_no_address_is_given_what_may_be_is_said(origins: tuple[tuple[int, float], ...], sentence: str) -> None:
    assert said(Code("Z80", SURE, None, origins, references=2)) == f"Z80 code (over 99%). {sentence}"


def test_a_library_without_vectors_is_not_said_to_begin_anywhere() -> None:
    code = Code("6502", (("6502", 0.999),), 0xE000, ((0xE000, 0.99),), (("start", 0xE000),), references=16)
    assert said(code).endswith("Nothing in it tells where the CPU enters; its first instruction is at E000.")


def test_no_code() -> None:
    assert said(Code(None, ((None, 0.97), ("8051", 0.03)))) == "Like no code of a CPU that is known here (97%)."
