"""Checks that the firmware may make of its own image: sums and CRCs at a constant, or equal to a stored value.

A check is tried where firmware usually makes one, the likeliest place first: over the whole image, up to the vectors
or to the padding, around a value that is stored near the beginning, and block by block, with the values in each block
or in a table; then of parts of the image, where the value has 32 bits, or 16 and its complement beside it. Each trial
comes out right by chance once in so many. The chances of all trials up to a hit that would have convinced as much are
added up, and a hit counts only where chance would hardly give one: a single 8-bit sum never does, and it is blind to
bytes in a wrong order besides. Blocks that are blank, equal to another or a regular table prove nothing. A single value
of 16 bits over a range that begins or ends anywhere cannot be told from chance: there are more ranges than values.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from romassay.code.model import Check
from romassay.code.sums import CRC_BY_NAME, KINDS, NARROW, WIDE, WIDTHS, Bytes, Parts, Totals
from romassay.cpus.likeness import padding

Ints = npt.NDArray[np.int64]
Order = Literal["big", "little"]

ENOUGH = 0.005
"""Chance hits below which a hit counts."""

LEAST = 64
MOST = 1 << 16
"""Bytes of an image that is searched."""

_BLOCKS = (256, 512, 1024, 2048, 4096, 8192, 16384)
_MOST_BLOCKS = 64
_LEAST_BLOCKS = 3
_PIECE = 64
_HEADS = (3, 2, 4, 8)
"""Offsets at which a value may be stored behind a first jump or a header."""

_FAR_LESS = 0.01
"""What a less usual place must have less chance hits by, to be told instead of a more usual one."""

_PAGE = 256
_BEGINS = 64
"""Places, at equal distances, at which a range is tried to begin that may end anywhere."""

_ONES = 0xFFFFFFFF

_SMALL_STEP = 4
_SMOOTH = 0.6
"""Share of small steps from which on bytes are a curve or a count, and no program."""

_LEAST_ODD = 8
"""Values that occur an odd number of times, below which a block's sums come out even by themselves."""

_SHARP = 1e-4
"""Chance below which a trial over blocks is worth its price."""


@dataclass(frozen=True, slots=True)
class _Trial:
    """A check that is tried, what it comes out at where it hits, and how likely chance makes it hit."""

    chance: float
    hits: tuple[Check, ...] = ()


def own_checks(data: Bytes, *, vectors: int = 0, order: Order | None = None) -> tuple[Check, ...]:
    """Return the checks that an image seems to make of itself, and that chance does not explain.

    Those of one place are told: the most usual one, unless another convinces far more.

    Args:
        data: the image.
        vectors: bytes of the vectors at its end, before which a value may be stored.
        order: that of the CPU's words, where it is known.
    """
    size = len(data)
    if not LEAST <= size <= MOST or _repeats(data):
        return ()
    totals = Totals(data)
    tried: list[float] = []
    best: list[Check] = []
    for stage in (
        _whole,
        _to_the_vectors,
        _to_the_padding,
        _halves,
        _around_a_head,
        _by_blocks,
        _by_table,
        _with_complement,
        _anywhere,
    ):
        trials = list(stage(totals, vectors, order))
        tried += [trial.chance for trial in trials]
        found: list[Check] = []
        for trial in (trial for trial in trials if trial.hits):
            chance = sum(one for one in tried if one <= trial.chance)
            found += [_told(check, chance) for check in trial.hits if chance < ENOUGH]
        if found and (not best or _chance(found) < _chance(best) * _FAR_LESS):
            best = found
    return tuple(best)


def _chance(found: Sequence[Check]) -> float:
    return min(check.chance_hits for check in found)


def _told(check: Check, chance: float) -> Check:
    return Check(check.kind, check.first, check.last, check.stored_at, check.value, chance)


def _repeats(data: Bytes) -> bool:
    """Tell whether the image is a shorter one several times, counts on, is smooth or blank: sums then come out even."""
    half = len(data) // 2
    steps = np.diff(data)[~padding(data)[1:]]
    if len(steps) < LEAST:
        return True
    smooth = any(_share_of_small_steps(data, stride) > _SMOOTH for stride in (1, 2))
    counts_on = int(np.bincount(steps).max()) > 0.5 * len(steps)
    blank = int(np.bincount(data).max()) > 0.9 * len(data)
    return counts_on or smooth or blank or bool((data[:half] == data[half : 2 * half]).all())


def _share_of_small_steps(data: Bytes, stride: int) -> float:
    """Return the share of bytes a few above or below the one so far before, of those that are not blank."""
    steps = (data[stride:] - data[:-stride]).view(np.int8)
    written = ~padding(data)[stride:]
    return float((np.abs(steps[written].astype(np.int16)) <= _SMALL_STEP).mean()) if written.any() else 1.0


def _whole(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    del vectors, order
    size = len(totals.data)
    for name in WIDE:
        stored = WIDTHS[name] // 8
        yield _stored(totals, name, ((0, size - stored),), size - stored, None)
        yield _stored(totals, name, ((stored, size),), 0, None)
        if name not in CRC_BY_NAME:
            yield _constant(totals, name, 0, size)


def _to_the_vectors(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    size = len(totals.data)
    for name in WIDE if vectors else ():
        at = size - vectors - WIDTHS[name] // 8
        yield _stored(totals, name, ((0, at),), at, order)
        yield _stored(totals, name, ((0, at), (size - vectors, size)), at, order)


def _to_the_padding(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    """Yield checks of what stands before the padding at the end, whose value is the last of it."""
    size = len(totals.data) - vectors
    blank = totals.data[:size] == totals.data[size - 1]
    end = size if blank.all() else int(np.flatnonzero(~blank)[-1]) + 1
    for name in WIDE if size - end >= LEAST // 4 else ():
        at = end - WIDTHS[name] // 8
        if at >= LEAST:
            yield _stored(totals, name, ((0, at),), at, order)


def _halves(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    """Yield checks of the first half alone, as of a program that is followed by tables."""
    del vectors
    half = len(totals.data) // 2
    for name in WIDE:
        at = half - WIDTHS[name] // 8
        if not _blank(totals.data[:half]):
            yield _stored(totals, name, ((0, at),), at, order)


def _around_a_head(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    del vectors
    size = len(totals.data)
    for at in _HEADS:
        for name in WIDE:
            behind = at + WIDTHS[name] // 8
            yield _stored(totals, name, ((behind, size),), at, order)
            yield _stored(totals, name, ((0, at), (behind, size)), at, order)


def _stored(totals: Totals, name: str, parts: Parts, at: int, order: Order | None) -> _Trial:
    """Try a check whose value is stored: itself, and of a sum also its complement and its negative."""
    width = WIDTHS[name]
    top = (1 << width) - 1
    value = totals.value(name, parts)
    raw = totals.data[at : at + width // 8].tobytes()
    orders: tuple[Order, ...] = ("big", "little") if order is None else (order,)
    stored = {int.from_bytes(raw, one) for one in orders}
    wanted = {value} if name in CRC_BY_NAME else {value, value ^ top, -value & top}
    chance = len(stored) * len(wanted) / (1 << width)
    hit = Check(name, parts[0][0], parts[-1][1] - 1, at, value, chance)
    behind_padding = name in CRC_BY_NAME and stored <= {0, top}
    return _Trial(chance, (hit,) if stored & wanted and not behind_padding else ())


def _constant(totals: Totals, name: str, first: int, end: int) -> _Trial:
    """Try a check that comes out at all zeros or all ones by itself."""
    width = WIDTHS[name]
    value = totals.value(name, ((first, end),))
    chance = 2 / (1 << width)
    hit = Check(name, first, end - 1, None, value, chance)
    return _Trial(chance, (hit,) if value in (0, (1 << width) - 1) else ())


def _blank(data: Bytes) -> bool:
    return bool((data == data[0]).all())


def _even(block: Bytes) -> bool:
    """Tell whether nearly all values occur an even number of times, or nearly all an odd one, as in regular tables."""
    odd = int((np.bincount(block, minlength=256) % 2).sum())
    return min(odd, 256 - odd) < _LEAST_ODD


def _blocks(data: Bytes) -> Iterator[list[tuple[int, int]]]:
    """Yield for each size of a block the blocks that tell something: not blank, and no repetition of those before."""
    size = len(data)
    for block in _BLOCKS:
        if size % block or not 1 < size // block <= _MOST_BLOCKS:
            continue
        seen: set[bytes] = set()
        telling: list[tuple[int, int]] = []
        for first in range(0, size, block):
            pieces = [data[at : at + _PIECE] for at in range(first, first + block, _PIECE)]
            written = [piece.tobytes() for piece in pieces if not _blank(piece)]
            fresh = 2 * sum(piece in seen for piece in written) < len(written)
            if fresh and not _even(data[first : first + block]):
                telling.append((first, first + block))
            seen.update(written)
        if len(telling) > 1:
            yield telling


def _by_blocks(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    """Yield checks that each block makes of itself in the same way."""
    del vectors
    for blocks in _blocks(totals.data):
        count = len(blocks)
        for name in KINDS:
            stored = WIDTHS[name] // 8
            behind = (_stored(totals, name, ((first, end - stored),), end - stored, order) for first, end in blocks)
            before = (_stored(totals, name, ((first + stored, end),), first, order) for first, end in blocks)
            yield _all_of(behind, count)
            yield _all_of(before, count)
            if name not in CRC_BY_NAME:
                yield _all_the_same([_constant(totals, name, first, end) for first, end in blocks])


def _all_of(trials: Iterator[_Trial], count: int) -> _Trial:
    """Return the trial that all of some hit at once; one that would convince nobody is not made.

    None is looked at behind the first that fails: its chance stands for theirs.
    """
    chance = 1.0
    hits: list[Check] = []
    for number, trial in enumerate(trials, 1):
        chance *= trial.chance
        hits += trial.hits
        if not trial.hits:
            chance *= trial.chance ** (count - number)
            hits = []
            break
    return _Trial(chance, tuple(hits)) if chance <= _SHARP else _Trial(0.0)


def _all_the_same(trials: Sequence[_Trial]) -> _Trial:
    """Return the trial that all of some come out at the same constant."""
    values = {check.value for trial in trials for check in trial.hits}
    together = _all_of(iter(trials), len(trials))
    chance = together.chance * 2 / 2 ** len(trials)
    return _Trial(chance, together.hits if len(values) == 1 else ())


def _by_table(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    """Yield checks of the blocks whose values stand in a table, in the blocks' order, somewhere in the image."""
    del vectors
    for blocks in _blocks(totals.data):
        if len(blocks) < _LEAST_BLOCKS:
            continue
        for name in (*NARROW, *WIDE):
            orders: Sequence[Order] = (
                ("big",) if WIDTHS[name] == 8 else ("big", "little") if order is None else (order,)
            )
            for one in orders:
                yield _table(totals, name, blocks, one)


def _table(totals: Totals, name: str, blocks: Sequence[tuple[int, int]], order: Order) -> _Trial:
    """Look for a table of values, one for each block; blank blocks have their places in it too.

    The block that holds the table need not agree: how it is taken for its own check differs. Places are tried where
    one of the first three blocks agrees, for a table stands in two of them at most.
    """
    size, width, length = len(totals.data), WIDTHS[name] // 8, blocks[0][1] - blocks[0][0]
    whole = size // length * width
    places = size - whole + 1
    chance = places * 2.0 ** (-8 * width * min(len(blocks) - 2, _LEAST_BLOCKS * 8))
    if chance > _SHARP:
        return _Trial(0.0)
    first = [_agreeing(totals, name, block, length, np.arange(places), order) for block in blocks[:3]]
    at = np.flatnonzero(np.logical_or.reduce(first))
    for block in blocks:
        held = (at > block[0] - whole) & (at < block[1])
        at = at[held | _agreeing(totals, name, block, length, at, order)]
        if not len(at):
            return _Trial(chance)
    table = int(at[0])
    values = [(block, totals.value(name, (block,))) for block in blocks if not block[0] - whole < table < block[1]]
    if len({value for _, value in values}) <= len(values) // 2:
        return _Trial(chance)
    hits = [Check(name, a, end - 1, table + a // length * width, value, chance) for (a, end), value in values]
    return _Trial(chance, tuple(hits))


def _words(data: Bytes, width: int, order: Order) -> Ints:
    """Return the word of so many bytes that stands at each offset."""
    count = len(data) - width + 1
    places = range(width - 1, -1, -1) if order == "big" else range(width)
    words = np.zeros(count, np.int64)
    for i, place in enumerate(places):
        words |= data[i : i + count].astype(np.int64) << 8 * place
    return words


def _with_complement(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    """Yield checks of 16 bits whose value is stored anywhere, its complement beside it.

    Of the whole image without the two, of what stands before or behind them, and the sum of all the bytes.
    """
    del vectors
    data, size = totals.data, len(totals.data)
    for one in ("big", "little") if order is None else (order,):
        words = _words(data, 2, one)
        pairs = np.flatnonzero((words[:-2] ^ words[2:] == 0xFFFF) & (words[:-2] != 0) & (words[2:] != 0))
        for name in (name for name in WIDE if WIDTHS[name] == 16):
            chance = 4 * 2 * (size - 3) / 2.0**32
            hits = []
            for at in pairs.tolist():
                stored = {int(words[at]), int(words[at + 2])}
                ranges: list[Parts] = [((0, at), (at + 4, size)), ((0, at),), ((at + 4, size),)]
                ranges += [((0, size),)] if name == "sum-16" else []
                hits += [
                    Check(name, parts[0][0], parts[-1][1] - 1, at, value, chance)
                    for parts in ranges
                    if parts[-1][1] - parts[0][0] >= LEAST and (value := totals.value(name, parts)) in stored
                ]
            yield _Trial(chance, tuple(hits[:1]))


def _anywhere(totals: Totals, vectors: int, order: Order | None) -> Iterator[_Trial]:
    """Yield CRCs of 32 bits over part of the image: those whose value follows anywhere, and those of whole pieces.

    A range begins at one of `_BEGINS` places or behind a header, and ends where its value stands, anywhere; or it
    begins and ends at an eighth of the image, the vectors or the padding, and the value stands anywhere outside.
    """
    data, size = totals.data, len(totals.data)
    if size < 2 * LEAST:
        return
    orders: tuple[Order, ...] = ("big", "little") if order is None else (order,)
    words = [_words(data, 4, one) for one in orders]
    begins = range(0, size, max(2, size // _BEGINS))
    blank = np.flatnonzero(data != data[-1])
    written = int(blank[-1]) + 1 if len(blank) else size
    pieces = set(range(0, size + 1, max(_PAGE, size // 8))) | {size, size - vectors, written}
    for name in (name for name in WIDE if WIDTHS[name] == 32):
        for first in sorted({*begins, *_HEADS, *pieces - {size}}):
            values = totals.crc_to_each(CRC_BY_NAME[name], first).astype(np.int64)
            ends = np.arange(first + LEAST, size - 3)
            wanted = values[ends - first]
            found = [ends[(wanted == word[ends]) & (wanted != 0) & (wanted != _ONES)] for word in words]
            chance = len(orders) * (size - first) / 2.0**32
            places = np.concatenate(found).tolist()
            hits = [Check(name, first, end - 1, end, int(values[end - first]), chance) for end in places]
            yield _Trial(chance, tuple(hits))
            if first in pieces:
                yield from (
                    _elsewhere(name, first, end, int(values[end - first]), words)
                    for end in sorted(pieces)
                    if end - first >= LEAST
                )


def _elsewhere(name: str, first: int, end: int, value: int, words: Sequence[Ints]) -> _Trial:
    """Try a check whose value stands anywhere outside of what it covers."""
    chance = len(words) * len(words[0]) / 2.0**32
    at = np.concatenate([np.flatnonzero(word == value) for word in words]).tolist()
    outside = [place for place in at if place >= end or place + 4 <= first] if value not in (0, _ONES) else []
    return _Trial(chance, tuple(Check(name, first, end - 1, place, value, chance) for place in outside[:1]))


def _agreeing(
    totals: Totals, name: str, block: tuple[int, int], length: int, places: Ints, order: Order
) -> npt.NDArray[np.bool_]:
    """Tell for each place of a table whether a block's value stands where it should."""
    width = WIDTHS[name] // 8
    entry = block[0] // length * width
    same = np.ones(len(places), bool)
    for i, byte in enumerate(totals.value(name, (block,)).to_bytes(width, order)):
        same &= totals.data[places + entry + i] == byte
    return same
