"""A bounded sample of a file, and how much of it is good records."""

from __future__ import annotations

from romassay.formats.records import Grammar, plain, scan
from romassay.formats.terminal import line_end_of

_PART = 1 << 16
_PARTS = 4


def sample_of(source: bytes) -> bytes:
    """Return up to 256 KiB of a file, from its start and three later places, in whole lines where it has lines."""
    if len(source) <= _PART * _PARTS:
        return source
    end = line_end_of(source)
    step = (len(source) - _PART) // (_PARTS - 1) // len(end) * len(end)
    parts = []
    for start in range(0, step * _PARTS, step):
        part = source[start : start + _PART]
        ends = _ends(part, end)
        head = ends[0] if start and ends else 0
        parts.append(part[head : ends[-1] if ends else len(part)])
    return end.join(parts)


def _ends(part: bytes, end: bytes) -> list[int]:
    """Return where the first and the last line of a part end, in step with its characters; nothing where none does."""
    first, last = part.find(end), part.rfind(end)
    while first >= 0 and first % len(end):
        first = part.find(end, first + 1)
    while last >= 0 and last % len(end):
        last = part.rfind(end, 0, last + len(end) - 1)
    return [first + len(end), last + len(end)] if first >= 0 and last >= 0 else []


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
