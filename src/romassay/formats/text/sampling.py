"""A bounded sample of a file, in whole lines."""

from __future__ import annotations

from romassay.formats.text.terminal import line_end_of

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
