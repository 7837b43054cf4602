"""What stands where: the floating bus, something that a memory said, something that runs, the host's own memory."""

from __future__ import annotations

import numpy as np

from romassay.address import lines_of
from romassay.reading import Bytes, Index
from romassay.survey.bus import FLAT, Background, BusModel, Shape, held
from romassay.survey.consensus import Consensus
from romassay.survey.controls import against_empty
from romassay.survey.noise import most_noise
from romassay.survey.stack import GRANULE, Bools, Stack
from romassay.survey.states import BUS, CONTENDED, CONTENT, FILLINGS, HOST, STRUCTURED, UNSEEN, VOLATILE, Ground

LONG_RUN = 4
"""Granules of one other value that no ROM fills itself with."""

FADES = 16
"""Granules over which a charge may fade."""

STEADY = 2
"""Data lines that must stand as the floating bus does all the while, so that a fading charge is told from content."""


def ground(stacked: Stack, said: Consensus, behind: Background, driven: int, *, empty: Consensus | None) -> Ground:
    """Tell what each granule holds.

    Args:
        stacked: the specimen's readings.
        said: what they say together.
        behind: what the bus does by itself.
        driven: data lines to look at.
        empty: what the readings of the empty socket say, over the same granules.
    """
    granules, shape, restless, model = stacked.granules, behind.shape, behind.restless, behind.model
    rate = behind.noise.rate if behind.noise else 0.0
    regular = shape.regular(driven)
    state = np.full(len(granules), CONTENT, np.uint8)
    state[regular] = STRUCTURED
    known = np.count_nonzero(said.sure, axis=1)
    if len(stacked.value) > 1:
        against = said.firm & (said.value != held(said, shape) & np.uint8(driven))
        if behind.noise:
            against &= said.value != model.predict(granules) & np.uint8(driven)
        odd = np.count_nonzero(against, axis=1) >= (behind.noise.agreeing if behind.noise else 1)
        regular &= ~odd
        state[odd] = CONTENT
    else:
        odd = np.zeros(len(granules), np.bool_)
    if behind.noise:
        prediction = model.predict(granules)
        predicted = np.ones(said.value.shape, np.bool_)
        wrong = np.count_nonzero(said.sure & (said.value != prediction & np.uint8(driven)), axis=1)
        state[regular & (wrong <= known // 5)] = BUS
        leaks = shape.leaking(driven) & ~regular
        state[leaks & ~_after_bus(said, granules, state, prediction & np.uint8(driven))] = BUS
        state[_held_runs(said, granules, state, shape, driven, model)] = BUS
        state[behind.quiet & ~odd] = BUS
        restless = restless & ~behind.quiet
    else:
        noisy = np.count_nonzero(restless) > np.count_nonzero(regular & ~restless)
        prediction = held(said, shape)
        predicted = np.repeat((regular & ~np.bool_(noisy))[:, None], GRANULE, axis=1)
        state[regular] = STRUCTURED if noisy else BUS
    if empty is not None:
        prediction = np.where(empty.sure, empty.value & np.uint8(driven), prediction)
        predicted = predicted | empty.sure
        by_rule = (state == BUS) & _strays(empty, model, granules, driven, rate)
        state = against_empty(said, granules, state, regular, empty, driven, rate)
        state[by_rule] = BUS
        state[_held_runs(said, granules, state, shape, driven, model)] = BUS
    state[restless & (state != HOST) & (state != CONTENDED)] = VOLATILE
    if model.sources:
        state[_fading(said, granules, state, prediction & np.uint8(driven), driven, rate)] = BUS
    state[(known < GRANULE // 4) & (np.count_nonzero(said.seen, axis=1) < GRANULE // 4)] = UNSEEN
    return Ground(state, prediction & np.uint8(driven), predicted, None if empty is not None else model, rate)


def _strays(empty: Consensus, model: BusModel, granules: Index, driven: int, rate: float) -> Bools:
    """Return the granules, bool[G], where a noisy bus left its rule while the socket was empty: that is no control.

    Where it left the rule nearly everywhere, it follows another: what was learnt is what the pulls left of it.
    """
    none = np.zeros(len(granules), np.bool_)
    if not rate or not model.sources:
        return none
    strays: Bools = (empty.sure & ((empty.value ^ model.predict(granules)) & np.uint8(driven) != 0)).any(axis=1)
    return strays if np.count_nonzero(strays) * 2 <= np.count_nonzero(empty.sure.any(axis=1)) else none


def _after_bus(said: Consensus, granules: Index, state: Bytes, prediction: Bytes) -> Bools:
    """Return the granules, bool[G], that do not begin as the bus does though it had settled just before.

    A charge leaks towards what the bus says by itself, never away from it.
    """
    settled = (state[:-1] == BUS) & (np.diff(granules) == 1) & (said.value[:-1, -1] == prediction[:-1, -1])
    departs = said.firm[1:, 0] & (said.value[1:, 0] != prediction[1:, 0])
    after: Bools = np.r_[False, settled & departs]
    return after


def _fading(said: Consensus, granules: Index, state: Bytes, prediction: Bytes, driven: int, rate: float) -> Bools:
    """Return the granules in which charges fade towards the floating bus, after a chip's last byte, bool[G].

    Every byte there differs from the bus only in bits in which that last byte did, but for noise at `rate`. Where a
    noisy window begins, the byte is not known, but it stood in fewer bits than content would.
    """
    out = np.zeros(len(granules), np.bool_)
    speaks = (state == CONTENT) | (state == VOLATILE)
    joined = np.r_[False, np.diff(granules) == 1]
    before = np.r_[np.uint8(UNSEEN), state[:-1]]
    after_byte = joined & ((before == CONTENT) | (before == HOST)) & (granules % 2 == 0)
    unknown_byte = (~joined | (before == UNSEEN)) & np.bool_(rate > 0)
    off = (said.value ^ prediction) * (said.seen > 0)
    starts = np.flatnonzero(speaks & (after_byte | unknown_byte))
    byte = np.where(after_byte[starts], said.value[starts - 1, -1] ^ prediction[starts - 1, -1], 0).astype(np.uint8)
    for row in np.flatnonzero(unknown_byte[starts]):
        byte[row] = _often(off[starts[row]])
    steady = driven.bit_count() - np.bitwise_count(byte).astype(np.int64)
    stray = most_noise(rate, GRANULE * np.maximum(steady, 0))
    settled = np.count_nonzero(said.firm & (off > 0), axis=1) > GRANULE // 2
    same_each_time = settled & np.bool_(rate > 0)
    strange = np.bitwise_count(off[starts] & ~byte[:, None]).sum(axis=1)
    fades = (steady >= STEADY) & (strange <= stray) & ~same_each_time[starts]
    for at, left, most in zip(starts[fades].tolist(), byte[fades], stray[fades], strict=True):
        for here in range(at, min(at + FADES, len(granules))):
            far = granules[here] - granules[at] != here - at
            if far or same_each_time[here] or np.bitwise_count(off[here] & ~left).sum() > most:
                break
            out[here] = speaks[here]
    return out


def _often(off: Bytes) -> int:
    """Return the bits that are set in more than one of some bytes, as a mask."""
    return sum(1 << bit for bit in range(8) if np.count_nonzero(off >> bit & 1) > 1)


def padding(said: Consensus, based: Ground) -> Bools:
    """Return the granules that hold nothing but what unused bytes of a ROM hold, and the bus does not, bool[G]."""
    same = (~said.sure | (said.value == said.value[:, :1])).all(axis=1)
    padded: Bools = (based.state == STRUCTURED) & same & is_filling(said, said.value[:, 0])
    return padded


def is_filling(said: Consensus, value: Bytes) -> Bools:
    """Tell which values are what unused bytes hold, over the data lines that ever say something, bool[n]."""
    every = np.bitwise_or.reduce(said.value, axis=None)
    return np.isin(value, [filling & every for filling in FILLINGS])


def registers(said: Consensus, based: Ground) -> Bools:
    """Return the granules that hold registers, bool[G]: some bytes stand still, others run, where little else does.

    A timer runs between two readings; ports and directions stand still.
    """
    restless = based.state == VOLATILE
    if np.count_nonzero(restless) * 8 > len(restless):
        return np.zeros(len(restless), np.bool_)
    still = np.count_nonzero(said.firm, axis=1)
    some: Bools = restless & (still >= GRANULE // 4) & (still < GRANULE - 1)
    return some


RUNNING = 0xA5
"""Stands for a byte that changes from reading to reading, so that a register can be compared with its mirrors."""


def as_registers(said: Consensus, where: Bools) -> Consensus:
    """Return what is said with every running byte of some granules made comparable."""
    running = where[:, None] & (said.against > 0)
    return Consensus(np.where(running, np.uint8(RUNNING), said.value), said.sure | running, said.seen, said.against)


def _held_runs(said: Consensus, granules: Index, state: Bytes, shape: Shape, driven: int, model: BusModel) -> Bools:
    """Return the granules in which the bus holds the last byte that a chip put there, bool[G].

    Such a run of one value begins on the end of an aligned block, repeats the one byte before it, and ends only where
    something drives the bus again. A blank tail begins raggedly, or ends beside the floating bus; what looks held is
    one, too, where the bus rests at fixed levels and nowhere holds anything but what blank bytes say. A data line that
    follows an address line holds nothing.
    """
    out = np.zeros(len(granules), np.bool_)
    flat = (shape.pattern[:, lines_of(driven)] < FLAT).all(axis=1) & ((state == STRUCTURED) | (state == BUS))
    following = sum(1 << bit for bit, source in enumerate(model.sources) if isinstance(source, int)) & driven
    if following:
        flat &= ~(((said.value ^ model.predict(granules)) & np.uint8(following)) * said.sure).any(axis=1)
    if not flat.any():
        return out
    value = held(said, shape)[:, 0]
    joined = flat[1:] & flat[:-1] & (value[1:] == value[:-1]) & (np.diff(granules) == 1)
    starts = np.flatnonzero(flat & ~np.r_[False, joined])
    ends = np.flatnonzero(flat & ~np.r_[joined, False])
    before, after = starts - 1, np.minimum(ends + 1, len(granules) - 1)
    opens = (before >= 0) & (granules[before] + 1 == granules[starts]) & (state[before] == CONTENT)
    goes_on = (after > ends) & (granules[after] == granules[ends] + 1)
    driven_next = ~goes_on | (state[after] == CONTENT)
    last, second = said.value[before, -1], said.value[before, -2]
    repeats = (last == value[starts]) & (second != value[starts])
    holds = opens & driven_next & (granules[starts] % 2 == 0) & repeats
    blank = np.isin(value[starts], [filling & driven for filling in FILLINGS])
    if model.sources and all(isinstance(source, str) for source in model.sources) and not (holds & ~blank).any():
        holds &= ~blank
    if holds.any():
        holds |= starts == 0
    holds |= (state[starts] == STRUCTURED) & ~blank & (ends - starts >= LONG_RUN)
    for start, end in zip(starts[holds], ends[holds], strict=True):
        out[start : end + 1] = True
    return out
