"""From a reading to the pieces that a writer takes, and what stands against that."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from romassay.address import Range, merge_ranges
from romassay.errors import BadInput
from romassay.formats.model import Piece
from romassay.reading import Bytes, Index, Mask, Reading, spans_of

MOST_PIECES = 1 << 20
"""Pieces that are still laid out: more of them are no image of anything, and memory counts."""


@dataclass(frozen=True, slots=True)
class Laid:
    """A reading laid out by address.

    Attributes:
        pieces: sorted, without overlap or gap between neighbours; at a contradicted address, what came first.
        contradicted: addresses that were seen more than once, with different bytes.
        half_known: addresses of which only some bits were seen; they are in no piece.
        mask: the data bits that every byte has: 0xFF, or fewer where the whole reading is of a narrower part.
    """

    pieces: tuple[Piece, ...]
    contradicted: tuple[Range, ...] = ()
    half_known: tuple[Range, ...] = ()
    mask: int = 0xFF


def lay_out(readings: Sequence[Reading]) -> Laid:
    """Lay the bytes of one or more readings out by address. Rows that were sent again are left out where equal.

    Raises:
        BadInput: they fall into more than `MOST_PIECES` pieces.
    """
    parts = [_seen(reading) for reading in readings]
    mask = _common_mask([known for _, _, known in parts])
    half = [_half_known(runs, known, mask) for runs, _, known in parts]
    whole = [_with_mask(runs, value, known, mask) for runs, value, known in parts]
    starts = np.cumsum([0, *(len(value) for _, value in whole)])
    runs = np.concatenate([_moved(r, int(start)) for (r, _), start in zip(whole, starts, strict=False)])
    value = whole[0][1] if len(whole) == 1 else np.concatenate([v for _, v in whole])
    pieces, contradicted = _sorted(runs, value)
    return Laid(pieces, contradicted, merge_ranges(r for ranges in half for r in ranges), mask)


def _moved(runs: Index, start: int) -> Index:
    return runs if not start else runs + np.array([0, start, 0, 0], np.int64)


def _seen(reading: Reading) -> tuple[Index, Bytes, Bytes | None]:
    """Return runs, values and known bits without the rows that were sent again."""
    if not len(reading.resent):
        return reading.runs, reading.value, reading.known
    keep = np.ones(len(reading.runs), bool)
    keep[reading.resent] = False
    taken = np.repeat(keep, reading.runs[:, 2])
    runs = reading.runs[keep].copy()
    runs[:, 1] = np.cumsum(runs[:, 2]) - runs[:, 2]
    return runs, reading.value[taken], None if reading.known is None else reading.known[taken]


def _common_mask(known: Sequence[Bytes | None]) -> int:
    """Return the one mask that all bytes with any known bits share, or 0xFF."""
    if any(k is None for k in known):
        return 0xFF
    seen = np.unique(np.concatenate([np.unique(k) for k in known if k is not None]))
    seen = seen[seen > 0]
    return int(seen[0]) if len(seen) == 1 else 0xFF


def _half_known(runs: Index, known: Bytes | None, mask: int) -> tuple[Range, ...]:
    if known is None:
        return ()
    half = _byte_runs(runs, (known != mask) & (known > 0))
    return spans_of(half) if len(half) <= MOST_PIECES else ()


def _with_mask(runs: Index, value: Bytes, known: Bytes | None, mask: int) -> tuple[Index, Bytes]:
    """Leave out the bytes whose known bits are not just those of the mask."""
    if known is None or bool((known == mask).all()):
        return runs, value
    taken = known == mask
    return _byte_runs(runs, taken), value[taken]


def _byte_runs(runs: Index, taken: Mask) -> Index:
    """Return runs for some of the bytes, one for each stretch of them within a run."""
    cut = np.zeros(len(taken) + 1, bool)
    cut[runs[:, 1]] = True
    cut[-1] = True
    starts = np.flatnonzero(taken & (cut[:-1] | ~np.r_[False, taken[:-1]]))
    ends = np.flatnonzero(taken & (cut[1:] | ~np.r_[taken[1:], False])) + 1
    row = np.searchsorted(runs[:, 1], starts, "right") - 1
    new = np.empty((len(starts), 4), np.int64)
    new[:, 0], new[:, 2], new[:, 3] = runs[row, 0] + starts - runs[row, 1], ends - starts, runs[row, 3]
    new[:, 1] = np.cumsum(new[:, 2]) - new[:, 2]
    return new


def _sorted(runs: Index, value: Bytes) -> tuple[tuple[Piece, ...], tuple[Range, ...]]:
    if not len(runs):
        return (), ()
    first, end = runs[:, 0], runs[:, 0] + runs[:, 2]
    if bool((first[1:] >= end[:-1]).all()):
        return _cut(first, end, value), ()
    order = np.argsort(first, kind="stable")
    if bool((first[order][1:] >= end[order][:-1]).all()):
        index = np.repeat(runs[order, 1] - (np.cumsum(runs[order, 2]) - runs[order, 2]), runs[order, 2])
        return _cut(first[order], end[order], value[index + np.arange(len(value))]), ()
    return _merged(runs, value)


def _cut(first: Index, end: Index, value: Bytes) -> tuple[Piece, ...]:
    """Cut values that lie in the order of their addresses where the addresses have a gap."""
    new = np.flatnonzero(np.r_[True, first[1:] != end[:-1]])
    if len(new) > MOST_PIECES:
        raise BadInput(f"the bytes fall into {len(new)} separate pieces", advice=f"{MOST_PIECES} is the most")
    start = (np.cumsum(end - first) - (end - first))[new].tolist()
    data = np.ascontiguousarray(value).data
    stops = [*start[1:], len(value)]
    return tuple(
        Piece(at, bytes(data[a:b])) for at, a, b in zip(first[new].tolist(), start, stops, strict=True) if b > a
    )


def _merged(runs: Index, value: Bytes) -> tuple[tuple[Piece, ...], tuple[Range, ...]]:
    """Lay out runs that overlap, byte by byte; the first one to name an address has it."""
    address = np.arange(len(value)) + np.repeat(runs[:, 0] - runs[:, 1], runs[:, 2])
    order = np.argsort(address, kind="stable")
    address, value = address[order], value[order]
    del order
    new = np.r_[True, address[1:] != address[:-1]]
    kept = address[new]
    differs = value != value[new][np.cumsum(new) - 1]
    contradicted = np.unique(address[differs])
    stretches = np.flatnonzero(np.r_[True, np.diff(kept) != 1])
    ends = np.r_[stretches[1:], len(kept)]
    first = kept[stretches]
    return _cut(first, first + ends - stretches, value[new]), _ranges(contradicted)


def _ranges(addresses: Index) -> tuple[Range, ...]:
    """Return sorted addresses as the fewest ranges."""
    if not len(addresses):
        return ()
    new = np.flatnonzero(np.r_[True, np.diff(addresses) != 1])
    last = np.r_[new[1:], len(addresses)] - 1
    return tuple(Range(int(addresses[a]), int(addresses[b])) for a, b in zip(new, last, strict=True))


def within(pieces: Iterable[Piece], ranges: Sequence[Range]) -> tuple[Piece, ...]:
    """Return the bytes of sorted pieces that lie in some ranges (sorted, apart)."""
    found = []
    at = 0
    for piece in pieces:
        last = piece.first + len(piece.data) - 1
        while at < len(ranges) and ranges[at].last < piece.first:
            at += 1
        i = at
        while i < len(ranges) and ranges[i].first <= last:
            first, stop = max(piece.first, ranges[i].first), min(last, ranges[i].last) + 1
            found.append(Piece(first, piece.data[first - piece.first : stop - piece.first]))
            i += 1
    return tuple(found)


def gaps(pieces: Iterable[Piece], ranges: Sequence[Range]) -> tuple[Range, ...]:
    """Return the addresses of some ranges (sorted, apart) that no piece (sorted) has."""
    found = []
    seen = iter(pieces)
    piece = next(seen, None)
    for item in ranges:
        at = item.first
        while at <= item.last:
            while piece is not None and piece.first + len(piece.data) <= at:
                piece = next(seen, None)
            if piece is None or piece.first > item.last:
                found.append(Range(at, item.last))
                break
            if piece.first > at:
                found.append(Range(at, piece.first - 1))
            at = piece.first + len(piece.data)
    return tuple(found)


def joined(pieces: Iterable[Piece]) -> tuple[Piece, ...]:
    """Return pieces in the order of their addresses, neighbours put together; none may overlap."""
    groups: list[list[Piece]] = []
    for piece in sorted(pieces, key=lambda p: p.first):
        if groups and groups[-1][-1].first + len(groups[-1][-1].data) == piece.first:
            groups[-1].append(piece)
        else:
            groups.append([piece])
    return tuple(g[0] if len(g) == 1 else Piece(g[0].first, b"".join(p.data for p in g)) for g in groups)
