"""Sample lines with their odd characters put right: the columns of a noisy log are easier to see so."""

from __future__ import annotations

import re
import string
from collections import Counter
from collections.abc import Sequence

_BLANK = ord(" ")
LEAST_ALIKE = 5
_LONGEST = 400
_CHARACTERS_PER_ERROR = 40
DIGITS_ALIKE = bytes(ord("0") if chr(c) in string.hexdigits else c for c in range(256))


_MARKED = re.compile(rb"(?<![^\s,;|])([?.*xX-])\1(?![^\s,;|])")


def with_digits_for_marks(text: bytes) -> bytes:
    """Return a text, for learning only, with zeros in place of cells such as `??` or `--`: nothing was read there."""
    return _MARKED.sub(b"00", text)


def mended(stretches: Sequence[Sequence[bytes]]) -> list[list[bytes]]:
    """Put right, for learning only, the odd character in a column where nearly all lines of a length agree.

    Digits count as one character. What the columns are is easier to see so; no byte is read from these lines.
    """
    by_length: dict[int, list[bytes]] = {}
    for stretch in stretches:
        for text in stretch:
            by_length.setdefault(len(text), []).append(text)
    usual = {
        length: _usual_columns(texts)
        for length, texts in by_length.items()
        if len(texts) >= LEAST_ALIKE and 0 < length <= _LONGEST
    }
    return [
        [_mend(text, usual[len(text)]) if len(text) in usual else text for text in stretch] for stretch in stretches
    ]


def _usual_columns(texts: list[bytes]) -> bytes:
    """Return what nearly all texts have in each column: a character, `0` for any digit; NUL where they differ."""
    needed = max(0.8, 0.97 - 1 / len(texts)) * len(texts)
    columns = bytearray()
    for column in zip(*(text.translate(DIGITS_ALIKE) for text in texts), strict=True):
        character, number = Counter(column).most_common(1)[0]
        columns.append(character if number >= needed else 0)
    return bytes(columns)


def _mend(text: bytes, columns: bytes) -> bytes:
    alike = text.translate(DIGITS_ALIKE)
    if alike == columns:
        return text
    odd = [i for i, (a, b) in enumerate(zip(alike, columns, strict=True)) if b and a not in (b, _BLANK)]
    together = any(c - a == 2 for a, c in zip(odd, odd[2:], strict=False))
    if together or not 0 < len(odd) <= 1 + len(text) // _CHARACTERS_PER_ERROR:
        return text
    mended = bytearray(text)
    for i in odd:
        mended[i] = columns[i]
    return bytes(mended)
