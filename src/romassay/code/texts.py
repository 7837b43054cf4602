"""What looks like text: words in a run of signs, where they begin, and what may stand before and behind them."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Iterator

LEADING = frozenset(b"\x07\x08\x0a\x0c\x0d")
"""Controls that may stand before a text."""

TRAILING = frozenset(b"\x00\x03\x04\x07\x0a\x0d\xff")
"""Bytes that may end one."""

WORDLIKE = 0.75
"""Share of a text's signs that are letters, digits and blanks."""

_LEAST_CLEAR, _LEAST_WORD = 5, 4
_VOWELS = frozenset("AEIOUYaeiouy")
_VOWELS_OF_WORDS = (0.15, 0.7)
_WORD = re.compile(r"[A-Za-z]+")
_ONE_CASE = re.compile(r"[A-Z]+|[A-Z]?[a-z]+")


def clear_texts(data: bytes, character: Callable[[int], str]) -> Iterator[tuple[int, int]]:
    """Yield the (first, end) of texts that are beyond doubt: words with vowels, each in one case."""
    table = [character(byte) or "\0" for byte in range(0x100)]
    shown = data.decode("latin-1").translate(dict(enumerate(table)))
    for run in re.finditer(r"[^\0]+", shown):
        if is_clear(run[0]):
            yield run.span()


def is_clear(text: str) -> bool:
    """Tell whether signs are words beyond doubt: with vowels, each in one case."""
    words = _WORD.findall(text)
    letters = "".join(words)
    if len(text) < _LEAST_CLEAR or not any(len(word) >= _LEAST_WORD for word in words):
        return False
    vowels = sum(map(_VOWELS.__contains__, letters)) / len(letters)
    return (
        all(map(_ONE_CASE.fullmatch, words))
        and len(letters) + text.count(" ") >= WORDLIKE * len(text)
        and _VOWELS_OF_WORDS[0] <= vowels <= _VOWELS_OF_WORDS[1]
    )


def texts_begin(data: bytes, others: Iterable[int]) -> Iterator[int]:
    """Yield the offsets at which words begin, or controls before them, and the others at which words stand."""
    for run in _WORDS.finditer(data):
        yield run.start()
        yield run.start(1)
    yield from (at for at in others if _WORDS.match(data, at))


_WORDS = re.compile(rb"[\x07\x08\x0a\x0c\x0d]*([A-Za-z0-9*?][A-Za-z0-9 .,:?!/*-]{2,})")
"""What a table of pointers may point at besides code."""


def is_wordlike(text: bytes, character: Callable[[int], str]) -> bool:
    """Tell whether most signs are letters, digits or blanks."""
    if not text:
        return False
    signs = [character(byte) for byte in text]
    return sum(sign.isalnum() or sign == " " for sign in signs) >= WORDLIKE * len(signs)
