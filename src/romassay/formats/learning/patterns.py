"""Texts that are nearly alike as one pattern: literal where they agree, open where they do not."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Sequence

from romassay.formats.layout import literal
from romassay.formats.learning.sample import usual

AGREE = 0.75
_FEW_OPEN = 2
"""Open columns of a clock or a counter; where there are more, any text may stand."""


def common_pattern(texts: Sequence[bytes]) -> str:
    """Return the pattern of texts that are nearly all alike: literal where they agree, and open where they do not."""
    text, share = usual(texts)
    if share >= AGREE:
        return literal(as_text(text))
    length, number = Counter(len(t) for t in texts).most_common(1)[0]
    shape, alike = usual([_NUMBER.sub(b"0", t) for t in texts])
    if alike >= AGREE and alike * len(texts) > 1.03 * number:
        return _number_pattern([t for t in texts if _NUMBER.sub(b"0", t) == shape])
    if number >= AGREE * len(texts):
        return _column_pattern([t for t in texts if len(t) == length])
    return "*" + literal(as_text(_common_end(texts)))


_NUMBER = re.compile(rb"\d+")
STEADY = 0.94


def _number_pattern(texts: list[bytes]) -> str:
    """Return the pattern of texts that differ in their numbers only: `#` for one that gets longer, else `?` a digit."""
    around = _NUMBER.split(texts[0])
    pattern = literal(as_text(around[0]))
    for i, after in enumerate(around[1:]):
        same, share = usual([_NUMBER.findall(t)[i] for t in texts])
        if share >= STEADY:
            pattern += literal(as_text(same + after))
            continue
        width, number = Counter(len(_NUMBER.findall(t)[i]) for t in texts).most_common(1)[0]
        pattern += ("?" * width if number >= STEADY * len(texts) else "#") + literal(as_text(after))
    return pattern


def _column_pattern(texts: list[bytes]) -> str:
    usual_characters = [Counter(column).most_common(1)[0] for column in zip(*texts, strict=True)]
    open_columns = sum(number < 0.85 * len(texts) for _, number in usual_characters)
    least = 0.85 if open_columns <= _FEW_OPEN else 0.97
    pattern = ""
    for character, number in usual_characters:
        steady = number >= least * len(texts) and not chr(character).isdecimal()
        pattern += literal(chr(character)) if steady else "?"
    return _GROWING.sub(lambda match: "?" * len(match[0]), pattern)


_GROWING = re.compile(r" {1,6}(?=\?)")
"""Blanks before a number that may grow into them."""


def _common_end(texts: Sequence[bytes]) -> bytes:
    """Return the text, not of digits, that nearly all texts end with."""
    end = b""
    for length in range(1, max(len(t) for t in texts) + 1):
        tails = [t[-length:] for t in texts if len(t) >= length]
        tail, share = usual(tails)
        if share * len(tails) < AGREE * len(texts) or chr(tail[0]).isalnum():
            break
        end = tail
    return end


def as_text(data: bytes) -> str:
    """Return text of one byte a character as such."""
    return data.decode("latin-1")
