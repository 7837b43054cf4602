"""What is a picture is not searched for an order of lines; a program is, whatever lies at equal distances in it."""

from __future__ import annotations

import numpy as np

from romassay.diagnose.order import Order, put_right
from romassay.diagnose.pictures import is_picture
from romassay.reading import Bytes

OPCODES = np.frombuffer(b"\xcd\x21\x3a\xc9\x32\x7e\x23\xfe\xc2\xca\x11\x06\x10\xe6\x0f\xd3\xdb\x18\x28\xaf", np.uint8)


def program(size: int) -> Bytes:
    """Instructions of an invented program, an eighth of the ROM left blank behind them."""
    rng = np.random.default_rng(7)
    code = np.where(rng.random(size) < 0.6, rng.choice(OPCODES, size), rng.integers(0, 256, size)).astype(np.uint8)
    code[-size // 8 :] = 0
    return code


def characters(count: int) -> Bytes:
    """Invented characters of eight rows: two strokes that lean from row to row, and a blank row below."""
    rng = np.random.default_rng(8)
    rows = []
    for _ in range(count):
        at, lean = rng.integers(1, 6), rng.integers(-1, 2)
        rows += [(0x80 >> int(np.clip(at + lean * row // 3, 0, 7))) | 0x18 for row in range(7)] + [0]
    return np.array(rows, np.uint8)


def test_characters_are_a_picture() -> None:
    assert is_picture(characters(64))


def test_a_program_whose_blank_end_lies_between_its_bytes_is_no_picture() -> None:
    lines = tuple(range(12))
    turned = put_right(program(4096), Order(tuple(range(8)), inverted=False, address=lines[::-1]))
    assert (turned[7::8] == 0).all()
    assert not is_picture(turned)
    assert not is_picture(program(4096))


def test_bytes_of_one_value_are_no_picture() -> None:
    assert not is_picture(np.full(256, 0x55, np.uint8))
