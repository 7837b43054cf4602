"""Hex digits to numbers, many at once."""

from __future__ import annotations

import numpy as np

from romassay.reading import Bytes, Index, Mask


def hex_digits(digits: Bytes) -> Bytes:
    """Return the values of hex digits, given as ASCII codes."""
    return (digits & np.uint8(15)) + np.uint8(9) * (digits >> np.uint8(6))


def hex_values(digits: Bytes) -> Bytes:
    """Return the bytes that pairs of hex digits stand for: uint8[n, 2k] of ASCII codes to uint8[n, k]."""
    pairs = np.ascontiguousarray(hex_digits(digits)).view("<u2")
    return ((pairs << np.uint16(4)) | (pairs >> np.uint16(8))).astype(np.uint8)


def row_sums(rows: Bytes) -> Bytes:
    """Return the sum of each row modulo 256: uint8[n, k] to uint8[n]."""
    total: Bytes = np.einsum("ij->i", rows)
    return total


def big_endian(columns: Bytes) -> Index:
    """Return the number that each row spells, high byte first: uint8[n, k] to int64[n]."""
    total = np.zeros(len(columns), np.int64)
    for i in range(columns.shape[1]):
        total = total << 8 | columns[:, i]
    return total


def is_no_digit(block: Bytes) -> Mask:
    """Tell which characters are no hex digits."""
    decimal = block - np.uint8(48)
    letter = (block | np.uint8(32)) - np.uint8(97)
    no_digit: Mask = (decimal > 9) & (letter > 5)
    return no_digit
