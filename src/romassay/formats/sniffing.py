"""A bounded sample of a file, and how much of it is good records."""

from __future__ import annotations

from romassay.formats.records import Grammar, plain, scan

_PART = 1 << 16
_PARTS = 4


def sample_of(source: bytes) -> bytes:
    """Return up to 256 KiB of a file, from its start and three later places, in whole lines where it has lines."""
    if len(source) <= _PART * _PARTS:
        return source
    step = (len(source) - _PART) // (_PARTS - 1)
    parts = []
    for start in range(0, step * _PARTS, step):
        part = source[start : start + _PART]
        head = part.find(b"\n") + 1 if start else 0
        parts.append(part[head : part.rfind(b"\n") + 1 or len(part)])
    return b"\n".join(parts)


def share_of_records(source: bytes, grammar: Grammar) -> float:
    """Tell how surely a file consists of a grammar's records, 0 to 1.

    Half is for one good record, the rest for the share of the printed characters that stand in records. Torn ones count
    a little less there; where there is no good one, they count for less than a good one would. Their lengths are right,
    which no other text has by chance.
    """
    found = scan(plain(sample_of(source)), grammar, brief=True)
    ink = max(found.ink, 1)
    if len(found.line):
        return 0.5 + 0.5 * (found.taken + 0.9 * found.torn) / ink
    return 0.7 * found.torn / ink
