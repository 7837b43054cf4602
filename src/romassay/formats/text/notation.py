"""Numbers as assemblers and compilers write them: their base before them, or a trailing h with or without a leading 0.

Where a number would else begin with a letter, a 0 stands before it. That 0 is no digit of the number: with it off, all
numbers of a column have the same width. Some hosts print it before every byte.
"""

from __future__ import annotations

import re
from collections import Counter

_NUMBER = re.compile(rb"(?<![0-9A-Za-z])([0-9][0-9A-Fa-f]*)[hH](?![0-9A-Za-z])")
_LED = re.compile(rb"0[A-Fa-f][0-9A-Fa-f]*[hH]")
_FILLED_BYTE = re.compile(rb"(?<![0-9A-Za-z])0([0-9A-Fa-f]{2}[hH])(?![0-9A-Za-z])")
_SAMPLE = 1 << 18
_PIECES = 16
_LEAST = 8
_NEARLY_ALL = 0.95
_SHARE = 0.005
_BYTE = 3


_BASED = re.compile(rb"(?<![0-9A-Za-z#])16#([0-9A-Fa-f]+)#")


def with_plain_prefixes(text: bytes) -> bytes:
    """Return a text whose hex numbers say so by `0x`, where they do by `16#` before and `#` behind them."""
    return _BASED.sub(rb"0x\1", text) if len(_BASED.findall(text[:_SAMPLE])) >= _LEAST else text


def without_leading_zeros(text: bytes) -> bytes:
    """Return a text whose numbers with a trailing h have no 0 before a letter, where that 0 is not a digit like others.

    It is one where other numbers of the same length begin otherwise: addresses of five digits, say. Bytes may all begin
    with a letter, as where nothing pulls the bus down; of longer numbers shorter ones must stand beside them.
    """
    pieces = _pieces(text)
    if sum(len(_LED.findall(piece)) for piece in pieces) < _LEAST:
        return text
    if text.count(b"h") + text.count(b"H") < _SHARE * len(text):
        return text
    lengths: Counter[int] = Counter()
    led: Counter[int] = Counter()
    filled = 0
    for piece in pieces:
        for digits in _NUMBER.findall(piece):
            lengths[len(digits)] += 1
            filled += len(digits) == _BYTE and digits[:1] == b"0"
            led[len(digits)] += len(digits) > 1 and digits[:1] == b"0" and digits[1:2].isalpha()
    mostly = [n for n, count in led.items() if count >= max(_LEAST, _NEARLY_ALL * lengths[n])]
    chosen = [n for n in mostly if n == _BYTE or lengths[n - 1]]
    if _BYTE not in chosen and filled >= max(_LEAST, _NEARLY_ALL * lengths[_BYTE]):
        text = _FILLED_BYTE.sub(rb"\1", text)
    for n in chosen:
        pattern = rb"(?<![0-9A-Za-z])0([A-Fa-f][0-9A-Fa-f]{%d}[hH])(?![0-9A-Za-z])" % (n - 2)
        text = re.sub(pattern, rb"\1", text)
    return text


def _pieces(text: bytes) -> list[bytes]:
    """Return the text, or stretches from all over a long one."""
    if len(text) <= _SAMPLE:
        return [text]
    span = _SAMPLE // _PIECES
    return [text[at : at + span] for at in range(0, len(text) - span, (len(text) - span) // _PIECES)]
