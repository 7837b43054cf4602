"""Ways in which assemblers and interpreters write numbers: a trailing h wants a leading 0 before a letter."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from romassay.formats import read

DATA = bytes(np.random.default_rng(8).integers(0, 256, 2048, dtype=np.uint8))


def number(value: int, digits: int = 2) -> str:
    text = f"{value:0{digits}X}"
    return ("0" if text[0] in "ABCDEF" else "") + text + "h"


FORMS: dict[str, Callable[[int, bytes], str]] = {
    "data bytes, commas": lambda at, row: f"{at:04X}: DB " + ",".join(number(b) for b in row),
    "data bytes, no address sign": lambda at, row: f"${at:04X}  DB " + ",".join(number(b) for b in row),
    "address and bytes alike": lambda at, row: f"{number(at, 4)}  " + " ".join(number(b) for b in row),
    "0x everywhere": lambda at, row: f"0x{at:04x}: " + ", ".join(f"0x{b:02x}" for b in row),
    "dollar everywhere": lambda at, row: f"${at:04X}: " + " ".join(f"${b:02X}" for b in row),
    "trailing h, always two digits": lambda at, row: f"{at:04X}h  " + " ".join(f"{b:02X}h" for b in row),
}


@pytest.mark.parametrize("form", FORMS)
@pytest.mark.parametrize("wide", [4, 8, 12, 16])
@pytest.mark.parametrize("first", [0x4000, 0xA000])
def test_numbers_as_assemblers_write_them(form: str, wide: int, first: int) -> None:
    lines = [FORMS[form](first + at, DATA[at : at + wide]) for at in range(0, len(DATA), wide)]
    loaded = read(("\r\n".join(lines) + "\r\n").encode(), "listing.txt")
    reading = loaded.readings[0]
    assert len(loaded.readings) == 1
    assert reading.holes == ()
    assert reading.addresses().tolist() == list(range(first, first + len(DATA)))
    assert bytes(reading.value) == DATA


def test_bytes_that_all_begin_with_a_letter_have_a_0_before_them() -> None:
    lines = [f"${at:05X}: DB {','.join(['0FFh'] * 16)}" for at in range(0xA8000, 0xA8400, 16)]
    (reading,) = read("\r\n".join(lines).encode(), "pulled-up.log").readings
    assert reading.addresses().tolist() == list(range(0xA8000, 0xA8400))
    assert bytes(reading.value) == b"\xff" * 0x400
