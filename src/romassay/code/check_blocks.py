"""Checks that each block of an image makes of itself, or whose values stand in a table.

Blocks that are blank, equal to another or a regular table prove nothing.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from romassay.code.model import Check
from romassay.code.sums import CRC_BY_NAME, KINDS, WIDTHS, Bytes, Totals
from romassay.code.trials import Order, Trial, as_stored, constant, is_blank, stored_at

Ints = npt.NDArray[np.int64]

_BLOCKS = (256, 512, 1024, 2048, 4096, 8192, 16384)
MOST_BLOCKS = 64
_LEAST_BLOCKS = 3
_PIECE = 64

_LEAST_ODD = 8
"""Values that occur an odd number of times, below which a block's sums come out even by themselves."""

_SHARP = 1e-4
"""Chance below which a trial over blocks is worth its price."""


def _even(block: Bytes) -> bool:
    """Tell whether nearly all values occur an even number of times, or nearly all an odd one, as in regular tables."""
    odd = int((np.bincount(block, minlength=256) % 2).sum())
    return min(odd, 256 - odd) < _LEAST_ODD


def _blocks(data: Bytes) -> Iterator[list[tuple[int, int]]]:
    """Yield for each size of a block the blocks that tell something: not blank, and no repetition of those before."""
    size = len(data)
    for block in _BLOCKS:
        if size % block or not 1 < size // block <= MOST_BLOCKS:
            continue
        seen: set[bytes] = set()
        telling: list[tuple[int, int]] = []
        for first in range(0, size, block):
            pieces = [data[at : at + _PIECE] for at in range(first, first + block, _PIECE)]
            written = [piece.tobytes() for piece in pieces if not is_blank(piece)]
            fresh = 2 * sum(piece in seen for piece in written) < len(written)
            if fresh and not _even(data[first : first + block]):
                telling.append((first, first + block))
            seen.update(written)
        if len(telling) > 1:
            yield telling


def by_blocks(totals: Totals) -> Iterator[Trial]:
    """Yield checks that each block makes of itself in the same way."""
    for blocks in _blocks(totals.data):
        count = len(blocks)
        for name in KINDS:
            stored = WIDTHS[name] // 8
            behind = (stored_at(totals, name, ((first, end - stored),), end - stored, None) for first, end in blocks)
            before = (stored_at(totals, name, ((first + stored, end),), first, None) for first, end in blocks)
            yield _all_of(behind, count)
            yield _all_of(before, count)
            if name not in CRC_BY_NAME:
                yield _all_the_same([constant(totals, name, first, end) for first, end in blocks])
                yield _all_equal(totals, name, blocks)


def _all_of(trials: Iterator[Trial], count: int) -> Trial:
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
    return Trial(chance, tuple(hits)) if chance <= _SHARP else Trial(0.0)


def _all_the_same(trials: Sequence[Trial]) -> Trial:
    """Return the trial that all of some come out at the same constant."""
    values = {check.value for trial in trials for check in trial.hits}
    together = _all_of(iter(trials), len(trials))
    chance = together.chance * 2 / 2 ** len(trials)
    return Trial(chance, together.hits if len(values) == 1 else ())


def _all_equal(totals: Totals, name: str, blocks: Sequence[tuple[int, int]]) -> Trial:
    """Return the trial that all blocks come out at one value, whatever it is, but all zeros or all ones."""
    chance = 2.0 ** (-WIDTHS[name] * (len(blocks) - 1))
    if chance > _SHARP:
        return Trial(0.0)
    values = [totals.value(name, (block,)) for block in blocks]
    told = len({*values}) == 1 and values[0] not in (0, (1 << WIDTHS[name]) - 1)
    hits = (Check(name, first, end - 1, None, values[0], chance) for first, end in blocks) if told else ()
    return Trial(chance, tuple(hits))


def by_table(totals: Totals) -> Iterator[Trial]:
    """Yield checks of the blocks whose values stand in a table, in the blocks' order, somewhere in the image."""
    for blocks in _blocks(totals.data):
        if len(blocks) < _LEAST_BLOCKS:
            continue
        for name in KINDS:
            orders: Sequence[Order] = ("big",) if WIDTHS[name] == 8 else ("big", "little")
            for one in orders:
                yield from _tables(totals, name, blocks, one)


def _tables(totals: Totals, name: str, blocks: Sequence[tuple[int, int]], order: Order) -> Iterator[Trial]:
    """Look for tables of values, one for each block; blank blocks have their places in it too.

    The block that holds the table need not agree: how it is taken for its own check differs. Places are tried where
    one of the first three blocks agrees, for a table stands in two of them at most.
    """
    size, width, length = len(totals.data), WIDTHS[name] // 8, blocks[0][1] - blocks[0][0]
    whole = size // length * width
    chance = (size - whole + 1) * 2.0 ** (-8 * width * min(len(blocks) - 2, _LEAST_BLOCKS * 8))
    values = [(block, totals.value(name, (block,))) for block in blocks] if chance <= _SHARP else []
    for stored in zip(*(as_stored(name, value) for _, value in values), strict=True):
        at = _standing(totals.data, [(a // length * width, a, end) for a, end in blocks], stored, whole, order)
        away = [pair for pair in values if at is not None and not pair[0][0] - whole < at < pair[0][1]]
        told = at is not None and len({value for _, value in away}) > len(away) // 2
        yield Trial(
            chance,
            tuple(
                Check(name, first, end - 1, at + first // length * width, value, chance) for (first, end), value in away
            )
            if at is not None and told
            else (),
        )


def _standing(
    data: Bytes, blocks: Sequence[tuple[int, int, int]], stored: Sequence[int], whole: int, order: Order
) -> int | None:
    """Return where a table of so many bytes stands with these values, or None.

    Args:
        data: the image.
        blocks: of each block the place of its value in the table, its first byte and its end.
        stored: the values.
        whole: bytes of the table.
        order: that of the bytes of a value.
    """
    width = whole // max(1, len(data) // (blocks[0][2] - blocks[0][1]))
    every = np.arange(len(data) - whole + 1)
    first = [_agreeing(data, every + block[0], value.to_bytes(width, order)) for block, value in _few(blocks, stored)]
    at = every[np.logical_or.reduce(first)]
    for (entry, begin, end), value in zip(blocks, stored, strict=True):
        held = (at > begin - whole) & (at < end)
        at = at[held | _agreeing(data, at + entry, value.to_bytes(width, order))]
        if not len(at):
            return None
    return int(at[0])


def _few(blocks: Sequence[tuple[int, int, int]], stored: Sequence[int]) -> list[tuple[tuple[int, int, int], int]]:
    return list(zip(blocks, stored, strict=True))[:3]


def _agreeing(data: Bytes, places: Ints, value: bytes) -> npt.NDArray[np.bool_]:
    """Tell at which places a value stands."""
    same = np.ones(len(places), bool)
    for i, byte in enumerate(value):
        same &= data[places + i] == byte
    return same
