"""Published character sets: bytes to characters, for the texts in an image.

Sources: ASCII, ANSI X3.4-1986 (and ECMA-6), its highest bit clear, set, or as even or odd parity (ANSI X3.16); EBCDIC,
code page 037 as Python has it; six-bit code, the columns 2 to 5 of ASCII moved down (ECMA-1 follows the same order);
ITA2, CCITT recommendation S.1, letters case, from memory.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping

from romassay.errors import BadValue

_ITA2 = "\0E\nA SIU\rDRJNFCKTZLWHYPQOBG\0MXV\0"

_FIRST, _LAST = 0x20, 0x7E
_SIX_BITS = 0x3F


def _ascii(byte: int) -> str:
    return chr(byte) if _FIRST <= byte <= _LAST else ""


def _ascii_high(byte: int) -> str:
    return _ascii(byte & 0x7F) if byte & 0x80 else ""


def _ascii_even(byte: int) -> str:
    return "" if byte.bit_count() % 2 else _ascii(byte & 0x7F)


def _ascii_odd(byte: int) -> str:
    return _ascii(byte & 0x7F) if byte.bit_count() % 2 else ""


def _six_bit(byte: int) -> str:
    return chr(byte + _FIRST) if byte <= _SIX_BITS else ""


def _ebcdic(byte: int) -> str:
    return _ascii(ord(bytes([byte]).decode("cp037")) & 0xFF) if byte else ""


def _ita2(byte: int) -> str:
    return _ascii(ord(_ITA2[byte])) if byte < len(_ITA2) else ""


CHARSETS: Mapping[str, Callable[[int], str]] = {
    "ascii": _ascii,
    "ascii-high": _ascii_high,
    "ascii-even": _ascii_even,
    "ascii-odd": _ascii_odd,
    "six-bit": _six_bit,
    "ebcdic": _ebcdic,
    "ita2": _ita2,
}
"""By name: the character that a byte stands for, or nothing."""


def charset(name: str) -> Callable[[int], str]:
    """Return a character set by its name; BadValue where there is none."""
    if name not in CHARSETS:
        raise BadValue(f"'{name}' is no character set that is known here", advice=f"there are {', '.join(CHARSETS)}")
    return CHARSETS[name]
