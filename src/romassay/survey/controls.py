"""What control readings tell: which bits nobody drives, and what stands there without the specimen.

A control comes over the same noisy line as everything else. So it is asked granule by granule and data line by data
line, and what it lost is taken from the granules on either side of it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from romassay.reading import Bytes, Index, ReadingSet
from romassay.survey.bus import shapes
from romassay.survey.consensus import Consensus, consensus
from romassay.survey.noise import most_noise
from romassay.survey.stack import GRANULE, Bools, Stack, stack
from romassay.survey.states import BUS, CONTENDED, CONTENT, HOST, STRUCTURED, UNSEEN, VOLATILE, Ground

JUDGED = GRANULE // 4
"""Bytes of a granule that a control must show before it says anything about it."""

MOVED = {True: (0.25, 0.75), False: (0.125, 0.25)}
"""Shares of a granule's bits that move, with both pulls (True) or with one: up to the first a data line is driven,
from the second on it is not. With one pull, half of the bits stand at its level anyway."""

SILENT = 0.9
"""Share of the granules in which a data line could follow the pull and did, from which on nobody drives it anywhere."""

FEW_JUDGED = 4
"""Granules needed to say so."""

SPOKEN = 3
"""Bytes of a granule on which all readings agree against the empty socket before its noise explains none of it: a burst
of the line spoils two. On a bus without any noise one fewer."""

NEAR = 8
"""Granules over which what a control says on both sides of a gap holds inside it."""

_BITS = np.arange(8, dtype=np.uint8)


def undriven_bits(readings: ReadingSet, granules: Index) -> Bytes | None:
    """Return the bits that follow the pull, uint8[G, 16], or None where no such reading was given.

    With one pull only, a bit that is at the pull's level anyway says nothing by itself; but where any of a granule
    moved and no data line was held against the pull, nobody drives there.
    """
    up, down = readings.with_role("pulled-up"), readings.with_role("pulled-down")
    plain = readings.with_role("specimen")
    if not up and not down:
        return None
    both = bool(up) and bool(down)
    sides: list[Bytes] = []
    heard = np.ones((len(granules), GRANULE), np.bool_)
    for chosen, level in ((up, 0xFF), (down, 0x00)):
        said = _together(stack(chosen or plain, readings.address_bits, readings.excluded, granules))
        sides.append(np.where(said.sure, said.value if level else ~said.value, 0).astype(np.uint8))
        heard &= said.sure
    followed = sides[0] & sides[1]
    moved = _by_line(followed, heard, MOVED[both])
    if not both:
        free = sides[1] if up else sides[0]
        held = _times(free & ~followed, heard) >= JUDGED
        enough = np.count_nonzero(heard, axis=1) >= GRANULE // 2
        moved[enough & moved.any(axis=1) & ~held.any(axis=1)] = 0xFF
        moved |= _silent_lines(moved, free, heard)
    return _between(moved, np.count_nonzero(heard, axis=1) >= JUDGED, granules)


def _together(stacked: Stack) -> Consensus:
    """Return what readings say together, or the first of them where they seldom agree: lines that make noise."""
    said = consensus(stacked)
    heard = int(np.count_nonzero(said.seen))
    if int(np.count_nonzero(said.sure)) * 2 >= heard:
        return said
    return consensus(replace(stacked, value=stacked.value[:1], known=stacked.known[:1]))


def _silent_lines(moved: Bytes, free: Bytes, heard: Bools) -> Bytes:
    """Return the lines that nobody drives, uint8[G, 1], where one pull could not show it: they stood at its level.

    A line is one of these if it moved in nearly all granules in which it could have, and others did not.

    Args:
        moved: uint8[G, 16], the bits that followed the pull.
        free: uint8[G, 16], the bits that stood at the other level without it.
        heard: bool[G, 16], bytes that both readings show.
    """
    could, did = (_times(plane, heard) >= JUDGED for plane in (free, moved))
    driven = np.any(could & ~did, axis=1)
    judged, silent = could & driven[:, None], did & driven[:, None]
    amount = np.count_nonzero(judged, axis=0)
    lines: Bools = (amount >= FEW_JUDGED) & (np.count_nonzero(silent, axis=0) >= SILENT * amount)
    out: Bytes = np.packbits(~could & lines, axis=1, bitorder="little")
    return out


def _times(plane: Bytes, heard: Bools) -> Index:
    """Return in how many bytes of each granule each data line has a bit set, int64[G, 8]."""
    return np.stack([np.count_nonzero(plane >> bit & 1 & heard, axis=1) for bit in _BITS], axis=1)


def _by_line(moved: Bytes, heard: Bools, shares: tuple[float, float]) -> Bytes:
    """Take a data line for driven in all of a granule where few of its bits moved, and in none of it where most did."""
    count = np.count_nonzero(heard, axis=1)
    share = np.array([np.count_nonzero(moved >> bit & heard, axis=1) for bit in _BITS]) / np.maximum(count, 1)
    judged = count >= JUDGED
    all_of = np.packbits((share >= shares[1]) & judged, axis=0, bitorder="little")[0]
    none_of = np.packbits((share <= shares[0]) & judged, axis=0, bitorder="little")[0]
    out: Bytes = (moved | all_of[:, None]) & ~none_of[:, None]
    return out


def _between(moved: Bytes, judged: Bools, granules: Index) -> Bytes:
    """Let a granule that the control lost follow the pull in the bits in which the granules on both sides do."""
    before, after = _neighbours(judged, granules)
    lost = ~judged & ((before >= 0) | (after >= 0))
    every = np.bitwise_and.reduce(moved, axis=1)
    left = np.where(before >= 0, every[before], every[after])
    right = np.where(after >= 0, every[after], left)
    out = moved.copy()
    out[lost] = (left & right)[lost, None]
    return out


def _neighbours(judged: Bools, granules: Index) -> tuple[Index, Index]:
    """Return the nearest judged granule before and after each, -1 where there is none that is near."""
    index = np.arange(len(judged))
    before = np.maximum.accumulate(np.where(judged, index, -1))
    after = np.minimum.accumulate(np.where(judged, index, len(judged))[::-1])[::-1]
    after = np.where(after == len(judged), -1, after)
    sides = []
    for side in (before, after):
        near = (side >= 0) & (np.abs(granules[side] - granules) <= NEAR)
        sides.append(np.where(near, side, -1))
    return sides[0], sides[1]


def where_nobody_drives(based: Ground, nowhere: Bools, *, both: bool) -> Ground:
    """Take what follows the pulls for the floating bus, byte by byte; with both of them, nothing else is."""
    state = based.state.copy()
    if both:
        state[state == BUS] = STRUCTURED
    state[nowhere.all(axis=1)] = BUS
    return replace(
        based,
        state=state,
        prediction=np.where(nowhere, np.uint8(0), based.prediction),
        predicted=nowhere.copy() if both else nowhere | based.predicted,
    )


def against_empty(
    said: Consensus, granules: Index, state: Bytes, regular: Bools, empty: Consensus, driven: int, rate: float
) -> Bytes:
    """Compare with the empty socket: what is as without the specimen is the bus, or the host's own memory.

    Both may be noisy: bits that differ at `rate` each make no difference. What looks like a charge that leaks, but
    begins where the bus was at rest already, is none.
    """
    both = said.sure & empty.sure
    count = np.count_nonzero(both, axis=1)
    same = np.count_nonzero(both & (said.value == (empty.value & np.uint8(driven))), axis=1)
    judged = count >= JUDGED
    off = (np.bitwise_count((said.value ^ empty.value) & np.uint8(driven)) * both).sum(axis=1, dtype=np.int64)
    near = off <= most_noise(2 * rate, count * driven.bit_count())
    spoken = np.count_nonzero(said.firm & empty.sure & (said.value != (empty.value & np.uint8(driven))), axis=1)
    alike = judged & ((same * 5 >= count * 4) | near) & (spoken < (SPOKEN if rate else SPOKEN - 1))
    still = shapes(empty.value & np.uint8(driven), empty.sure).regular(driven)
    out = state.copy()
    out[alike] = np.where(still[alike], BUS, HOST)
    unlike = judged & ~alike
    begins = (said.value[:, 0] == (empty.value[:, 0] & np.uint8(driven))) & both[:, 0]
    out[unlike & begins & ~regular & (spoken >= SPOKEN - 1) & (state == BUS)] = CONTENT
    out[unlike & regular] = STRUCTURED
    theirs = empty.value & np.uint8(driven)
    for pulled, kept in ((said.value & ~theirs, theirs), (theirs & ~said.value, ~theirs)):
        one_sided = np.count_nonzero(both & (pulled == 0), axis=1) * 16 >= count * 15
        kept_some = np.count_nonzero(both & (kept & np.uint8(driven) != 0), axis=1) * 2 >= count
        out[unlike & ~still & one_sided & kept_some] = CONTENDED
    return _lost_in_host(out, judged, granules)


def _lost_in_host(state: Bytes, judged: Bools, granules: Index) -> Bytes:
    """Say of what the empty socket's log lost no more than its neighbours allow.

    It is the host's where both sides are, and nothing is known of it where one is, or where no side speaks.
    """
    before, after = _neighbours(judged, granules)
    before, after = np.where(before >= 0, before, after), np.where(after >= 0, after, before)
    left, right = ((side >= 0) & (state[side] == HOST) for side in (before, after))
    out = state.copy()
    speaks = [(side >= 0) & ~np.isin(state[side], (BUS, STRUCTURED, VOLATILE)) for side in (before, after)]
    lost = ~judged & (before >= 0) & (state != BUS) & (state != STRUCTURED)
    out[lost & (left | right | ~(speaks[0] | speaks[1]))] = UNSEEN
    out[lost & left & right] = HOST
    return out
