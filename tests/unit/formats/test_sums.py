"""Sums of lines against their definitions in plain words, and CRCs against published check values."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from romassay.formats.sums import KINDS


def sum_of(kind: str, address: int, data: bytes) -> int:
    values = np.frombuffer(data, np.uint8)[None] if data else np.zeros((1, 0), np.uint8)
    return int(KINDS[kind].of(np.array([address], np.int64), values)[0])


@pytest.mark.parametrize(("kind", "check"), [("crc16-v41", 0x31C3), ("crc16-v41-ffff", 0x29B1), ("crc16-arc", 0xBB3D)])
def test_crc_check_values(kind: str, check: int) -> None:
    """Check values of '123456789' in the catalogue of parametrised CRC algorithms (XMODEM, IBM-3740, ARC)."""
    assert sum_of(kind, 0, b"123456789") == check


@given(st.integers(0, (1 << 32) - 1), st.binary(min_size=1, max_size=64))
def test_plain_sums(address: int, data: bytes) -> None:
    low = [address >> 8 & 0xFF, address & 0xFF]
    total = sum(data)
    assert sum_of("add8", address, data) == total % 256
    assert sum_of("add16", address, data) == total % 65536
    assert (sum_of("neg8", address, data) + total) % 256 == 0
    assert sum_of("inv8", address, data) == 255 - total % 256
    assert (sum_of("neg8-address", address, data) + total + sum(low)) % 256 == 0
    assert sum_of("add16-count", address, data) == (total + sum(low) + len(data)) % 65536
    assert sum_of("add8-address32", address, data) == (total + sum(address.to_bytes(4, "big"))) % 256


@given(st.binary(min_size=1, max_size=64))
def test_exclusive_or(data: bytes) -> None:
    result = 0
    for value in data:
        result ^= value
    assert sum_of("xor8", 0, data) == result
    assert sum_of("xinv8", 0, data) == result ^ 0xFF


def test_carry_brought_round() -> None:
    assert sum_of("fold8", 0, bytes([0xFF, 0x02])) == 0x02
    assert sum_of("fold8", 0, bytes([0xFF, 0xFF, 0x01])) == 0x01


@given(st.binary(min_size=2, max_size=64).filter(lambda data: len(data) % 2 == 0))
def test_sums_of_words(data: bytes) -> None:
    pairs = [data[i : i + 2] for i in range(0, len(data), 2)]
    assert sum_of("words-big16", 0, data) == sum(int.from_bytes(p, "big") for p in pairs) % 65536
    assert sum_of("words-little16", 0, data) == sum(int.from_bytes(p, "little") for p in pairs) % 65536


def test_lines_are_summed_each_for_itself() -> None:
    data = np.array([[1, 2, 3], [4, 5, 6]], np.uint8)
    assert KINDS["add8-address"].of(np.array([0x100, 0x103]), data).tolist() == [7, 19]
