"""What a bus says where nobody answers, told from what a chip says.

Over sixteen addresses each data line of a floating bus does one of few things: it stays high or low (a pull, a held
charge, the opcode or operand last fetched), or it follows an address line. Sixteen bits of code do not, all eight at
once. Where a control reading of the empty socket exists, that reading itself is the model.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Consensus

LOOSE = 2
"""Bits of a data line's sixteen that line noise may spoil without hiding what the line does."""

FILLINGS = (0x00, 0xFF)
"""What unused bytes of a ROM hold: the erased or the unprogrammed state. Common practice, no source."""

LONG_RUN = 4
"""Granules of one other value that no ROM fills itself with."""

QUIET = 0.1
"""Share of the granules with content in which a data line may be irregular and still seem silent: line noise."""

SPECKS = 12
"""Bits of a granule that differ from the bus before a single reading calls it content: a bus that leaks has fewer."""

FADES = 16
"""Granules over which a charge may fade."""

BUS, STRUCTURED, CONTENT, VOLATILE, HOST, UNSEEN, CONTENDED = range(7)
"""What a granule holds: the floating bus; something as regular that is not this bus (a blank tail, a table of zeros);
something that a memory said; something that changes from reading to reading; host memory; nothing known; host memory
against which something drives."""

_POSITIONS = np.arange(GRANULE)
_RAMPS = [sum(1 << int(x) for x in _POSITIONS if x >> line & 1) for line in range(GRANULE_LINES)]
_PATTERNS = [0x0000, 0xFFFF, *_RAMPS, *(ramp ^ 0xFFFF for ramp in _RAMPS)]
"""What one data line does over sixteen addresses, bit x for address x: low, high, A0 … A3, their inverses."""

FLAT = 2
"""Patterns below this are fixed levels."""

_LEAKS = [((1 << x) - 1) ^ flip for x in range(GRANULE + 1) for flip in (0, 0xFFFF)]
"""What a data line does whose charge leaks away somewhere on the way, or stays."""


def _distances(patterns: list[int]) -> Bytes:
    """Return the bits in which each 16-bit word differs from each pattern, uint8[P, 65536]."""
    words = np.arange(1 << GRANULE, dtype=np.uint32)
    return np.stack([np.bitwise_count(words ^ np.uint32(p)) for p in patterns]).astype(np.uint8)


@dataclass(frozen=True, slots=True, eq=False)
class Shape:
    """How regular each granule is.

    Attributes:
        distance: uint8[G, 8], for each data line the bits that fit no regular pattern.
        pattern: uint8[G, 8], the best pattern of each data line.
        leak: uint8[G, 8], for each data line the bits that fit no leaking charge.
    """

    distance: Bytes
    pattern: Bytes
    leak: Bytes

    def regular(self, driven: int) -> Bools:
        """Return the granules all of whose driven data lines are regular, bool[G]."""
        fits: Bools = np.all(self.distance[:, _lines(driven)] <= LOOSE, axis=1)
        return fits

    def leaking(self, driven: int) -> Bools:
        """Return the granules in which charges leak away and nothing else happens, bool[G]."""
        leaks: Bools = np.asarray(self.leak[:, _lines(driven)].sum(axis=1) <= LOOSE)
        return leaks


def _lines(mask: int) -> list[int]:
    return [bit for bit in range(8) if mask >> bit & 1]


def shapes(value: Bytes, sure: Bools) -> Shape:
    """Return how regular each granule is; an unsure byte counts as its nearest sure neighbour before it."""
    filled = value if sure.all() else _filled(value, sure)
    levels, leaks = _distances(_PATTERNS), _distances(_LEAKS).min(axis=0)
    words = np.empty((len(filled), 8), np.uint16)
    chunk = 1 << 16
    for start in range(0, len(filled), chunk):
        part = filled[start : start + chunk]
        for bit in range(8):
            packed = np.packbits(part >> bit & 1, axis=1, bitorder="little")
            words[start : start + chunk, bit] = packed.view("<u2")[:, 0]
    return Shape(levels.min(axis=0)[words], levels.argmin(axis=0).astype(np.uint8)[words], leaks[words])


def _filled(value: Bytes, sure: Bools) -> Bytes:
    at = np.where(sure, _POSITIONS, -1)
    before = np.maximum.accumulate(at, axis=1)
    first = np.argmax(sure, axis=1)[:, None]
    filled: Bytes = np.take_along_axis(value, np.where(before < 0, first, before), axis=1)
    return filled


@dataclass(frozen=True, slots=True)
class BusModel:
    """What each data line of the floating bus does.

    Attributes:
        sources: for each data line '0', '1', or the number of the address line that it follows, inverted if negative
            (-1 - n); an empty tuple where the bus follows no such rule (it holds what it last carried).
        share: share of the regular granules that it explains.
    """

    sources: tuple[str | int, ...]
    share: float

    def predict(self, granules: Index) -> Bytes:
        """Return what the bus says at every address of the granules, uint8[G, 16]."""
        out = np.zeros((len(granules), GRANULE), np.uint8)
        for bit, source in enumerate(self.sources):
            if isinstance(source, str):
                out |= np.uint8(int(source) << bit)
                continue
            line = source if source >= 0 else -1 - source
            inside = line < GRANULE_LINES
            level = _POSITIONS >> line & 1 if inside else granules[:, None] >> (line - GRANULE_LINES) & 1
            out |= ((level ^ (source < 0)) << bit).astype(np.uint8)
        return out


def learn_bus(shape: Shape, granules: Index, bits: int, driven: int, restless: Bools) -> BusModel:
    """Learn from the regular granules what the floating bus does on each data line.

    A model that explains less than half of what is regular or restless is none: the bus then holds what it last
    carried, and each regular granule is its own prediction; or it is noise, and what stands still is driven.
    """
    regular = shape.regular(driven) & ~restless
    pattern, numbers = shape.pattern[regular], granules[regular]
    if not len(numbers):
        return BusModel((), 0.0)
    sources: list[str | int] = []
    fits = np.ones(len(numbers), np.bool_)
    for bit in range(8):
        if not driven >> bit & 1:
            sources.append("0")
            continue
        source, hits = _best_source(bit, pattern[:, bit], numbers, bits)
        sources.append(source)
        fits &= hits
    levels = _commonest(pattern, driven)
    if levels and np.count_nonzero(levels[1]) >= 0.98 * np.count_nonzero(fits):
        sources, fits = levels
    share = np.count_nonzero(fits) / (len(fits) + np.count_nonzero(restless))
    return BusModel(tuple(sources) if share >= 0.5 else (), share)


def _commonest(pattern: Bytes, driven: int) -> tuple[list[str | int], Bools] | None:
    """Return the commonest fixed value of all data lines together, and in which granules it stands."""
    lines = _lines(driven)
    flat = (pattern[:, lines] < FLAT).all(axis=1)
    if not flat.any():
        return None
    value = np.zeros(len(pattern), np.int64)
    for bit in lines:
        value |= (pattern[:, bit] == 1).astype(np.int64) << bit
    best = int(np.bincount(value[flat], minlength=256).argmax())
    hits: Bools = flat & (value == best)
    return [str(best >> bit & 1) for bit in range(8)], hits


def _best_source(bit: int, pattern: Bytes, numbers: Index, bits: int) -> tuple[str | int, Bools]:
    """Return what one data line follows in most granules, and in which it does.

    Above A3 only the address lines are asked that meet the data line when a byte of the address is on the bus.
    """
    candidates: list[tuple[str | int, npt.NDArray[np.bool_]]] = [("0", pattern == 0), ("1", pattern == 1)]
    candidates += [(line, pattern == 2 + line) for line in range(GRANULE_LINES)]
    candidates += [(-1 - line, pattern == 2 + GRANULE_LINES + line) for line in range(GRANULE_LINES)]
    for line in range(bit, bits, 8):
        if line >= GRANULE_LINES:
            level = (numbers >> (line - GRANULE_LINES) & 1).astype(np.uint8)
            candidates.append((line, pattern == level))
    return max(candidates, key=lambda item: int(np.count_nonzero(item[1])))


def driven_lines(shape: Shape) -> int:
    """Return the data lines that are ever irregular where any is, as a bit mask: 0 where none is.

    A line that stays regular wherever others are not is not driven by the specimen (a part four bits wide), or says
    nothing that a comparison could use.
    """
    irregular = shape.distance > LOOSE
    at_once = irregular.sum(axis=1)
    content = at_once >= 2
    if not content.any():
        content = at_once >= 1
    total = int(np.count_nonzero(content))
    if not total:
        return 0
    counts = np.count_nonzero(irregular[content], axis=0)
    return sum(1 << bit for bit in range(8) if counts[bit] > max(1, total * QUIET))


@dataclass(frozen=True, slots=True, eq=False)
class Ground:
    """Each granule's state and what the bus would say there.

    Attributes:
        state: uint8[G], BUS … UNSEEN.
        prediction: uint8[G, 16], what the floating bus (or the empty socket) says at each address.
        predicted: bool[G, 16], False where no prediction exists.
        model: the rule of the bus; None where a control reading took its place.
    """

    state: Bytes
    prediction: Bytes
    predicted: Bools
    model: BusModel | None

    def told(self, said: Consensus) -> Bools:
        """Return the bytes that say more than the bus would, bool[G, 16]."""
        speaks = (self.state == CONTENT) | (self.state == STRUCTURED)
        differs: Bools = said.sure & ~(self.predicted & (said.value == self.prediction)) & speaks[:, None]
        return differs


def ground(
    said: Consensus, granules: Index, bits: int, driven: int, *, readings: int, empty: Consensus | None
) -> Ground:
    """Tell what each granule holds.

    Args:
        said: what the specimen's readings say together.
        granules: their numbers.
        bits: lines of the bus.
        driven: data lines to look at.
        readings: how many readings there are.
        empty: what the readings of the empty socket say, over the same granules.
    """
    shape = shapes(said.value, said.sure)
    regular = shape.regular(driven)
    restless = _restless(said) if readings > 1 else np.zeros(len(granules), np.bool_)
    model = learn_bus(shape, granules, bits, driven, restless)
    state = np.full(len(granules), CONTENT, np.uint8)
    state[regular] = STRUCTURED
    known = np.count_nonzero(said.sure, axis=1)
    if readings > 1:
        odd = np.count_nonzero(said.firm & (said.value != _held(said, shape) & np.uint8(driven)), axis=1) > 0
        regular &= ~odd
        state[odd] = CONTENT
    if model.sources:
        prediction = model.predict(granules)
        predicted = np.ones(said.value.shape, np.bool_)
        wrong = np.count_nonzero(said.sure & (said.value != prediction & np.uint8(driven)), axis=1)
        state[regular & (wrong <= known // 5)] = BUS
        state[shape.leaking(driven) & ~regular] = BUS
        state[_held_runs(said, granules, state, shape, driven)] = BUS
        if readings == 1:
            off = np.bitwise_count((said.value ^ prediction) & np.uint8(driven)) * said.sure
            state[(state == CONTENT) & (off.sum(axis=1) < SPECKS)] = BUS
    else:
        noisy = np.count_nonzero(restless) > np.count_nonzero(regular & ~restless)
        prediction = _held(said, shape)
        predicted = np.repeat((regular & ~np.bool_(noisy))[:, None], GRANULE, axis=1)
        state[regular] = STRUCTURED if noisy else BUS
    if empty is not None:
        prediction = np.where(empty.sure, empty.value & np.uint8(driven), prediction)
        predicted = predicted | empty.sure
        state = _against_empty(said, state, regular, empty, driven)
        state[_held_runs(said, granules, state, shape, driven)] = BUS
    state[restless & (state != HOST) & (state != CONTENDED)] = VOLATILE
    if model.sources:
        state[_fading(said, granules, state, prediction & np.uint8(driven))] = BUS
    state[(known < GRANULE // 4) & (np.count_nonzero(said.seen, axis=1) < GRANULE // 4)] = UNSEEN
    return Ground(state, prediction & np.uint8(driven), predicted, None if empty is not None else model)


def _fading(said: Consensus, granules: Index, state: Bytes, prediction: Bytes) -> Bools:
    """Return the granules after a chip's last byte in which its charges fade towards the floating bus, bool[G].

    Every byte there differs from the bus only in bits in which that last byte did.
    """
    out = np.zeros(len(granules), np.bool_)
    speaks = (state == CONTENT) | (state == VOLATILE)
    next_to = np.flatnonzero((np.diff(granules) == 1) & (state[:-1] == CONTENT) & speaks[1:]) + 1
    next_to = next_to[granules[next_to] % 2 == 0]
    for at in next_to:
        left = int(said.value[at - 1, -1] ^ prediction[at - 1, -1])
        for here in range(at, min(at + FADES, len(granules))):
            off = (said.value[here] ^ prediction[here])[said.seen[here] > 0]
            if left.bit_count() > 6 or (off & ~np.uint8(left)).any() or granules[here] - granules[at] != here - at:
                break
            out[here] = speaks[here]
    return out


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


def _restless(said: Consensus) -> Bools:
    """Return the granules that change from reading to reading far more than a line in use would make them, bool[G]."""
    against = said.against.sum(axis=1, dtype=np.int64)
    much: Bools = (against >= GRANULE // 4) & (against * 8 >= said.seen.sum(axis=1, dtype=np.int64))
    return much


def _held_runs(said: Consensus, granules: Index, state: Bytes, shape: Shape, driven: int) -> Bools:
    """Return the granules in which the bus holds the last byte that a chip put there, bool[G].

    Such a run of one value begins on the end of an aligned block, repeats the one byte before it, and ends only where
    something drives the bus again. A blank tail begins raggedly, or ends beside the floating bus.
    """
    out = np.zeros(len(granules), np.bool_)
    flat = (shape.pattern[:, _lines(driven)] < FLAT).all(axis=1) & ((state == STRUCTURED) | (state == BUS))
    if not flat.any():
        return out
    value = _held(said, shape)[:, 0]
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
    if holds.any():
        holds |= starts == 0
    holds |= (state[starts] == STRUCTURED) & ~np.isin(value[starts], FILLINGS) & (ends - starts >= LONG_RUN)
    for start, end in zip(starts[holds], ends[holds], strict=True):
        out[start : end + 1] = True
    return out


def _held(said: Consensus, shape: Shape) -> Bytes:
    """Return each granule's own most regular content: the prediction for a bus that holds what it last carried."""
    ones = np.array([np.array([p >> x & 1 for x in range(GRANULE)]) for p in _PATTERNS], np.uint8)
    out = np.zeros(said.value.shape, np.uint8)
    for bit in range(8):
        out |= (ones[shape.pattern[:, bit]] << bit).astype(np.uint8)
    return out


def _against_empty(said: Consensus, state: Bytes, regular: Bools, empty: Consensus, driven: int) -> Bytes:
    """Compare with the empty socket: what is as without the specimen is the bus, or the host's own memory."""
    both = said.sure & empty.sure
    count = np.count_nonzero(both, axis=1)
    same = np.count_nonzero(both & (said.value == (empty.value & np.uint8(driven))), axis=1)
    alike = (count >= GRANULE // 4) & (same * 5 >= count * 4)
    still = shapes(empty.value & np.uint8(driven), empty.sure).regular(driven)
    out = state.copy()
    out[alike] = np.where(still[alike], BUS, HOST)
    unlike = (count >= GRANULE // 4) & ~alike
    out[unlike & regular] = STRUCTURED
    theirs = empty.value & np.uint8(driven)
    for pulled, kept in ((said.value & ~theirs, theirs), (theirs & ~said.value, ~theirs)):
        one_sided = np.count_nonzero(both & (pulled == 0), axis=1) * 16 >= count * 15
        spoken = np.count_nonzero(both & (kept & np.uint8(driven) != 0), axis=1) * 2 >= count
        out[unlike & ~still & one_sided & spoken] = CONTENDED
    return out
