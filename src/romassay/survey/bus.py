"""What a bus says where nobody answers, told from what a chip says.

Over sixteen addresses each data line of a floating bus does one of few things: it stays high or low (a pull, a held
charge, the opcode or operand last fetched), or it follows an address line. Sixteen bits of code do not, all eight at
once.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from romassay.reading import Bytes, Index
from romassay.survey.consensus import ENOUGH, Consensus
from romassay.survey.noise import Noise, measure
from romassay.survey.stack import GRANULE, GRANULE_LINES, Bools, Stack

LOOSE = 2
"""Bits of a data line's sixteen that line noise may spoil without hiding what the line does."""

QUIET = 0.1
"""Share of the granules with content in which a data line may be irregular and still seem silent: line noise."""

FEW = 8
"""Granules that must say something on a noisy bus before some data lines are believed to say nothing."""

RESTLESS = 0.75
"""Share of the granules with content in which a line makes noise that nobody drives."""

SPECKS = 12
"""Bits of a granule that differ from the bus before a single reading calls it content: a bus that leaks has fewer."""

MOSTLY = 0.98
"""Share of the granules that a simpler rule of the bus must explain of those that another does."""

GAIN = 0.1
"""Share of the granules that a rule with any address lines must explain besides."""

Rule = tuple[list[str | int], Bools]
"""What each data line follows, and the granules in which all of them do."""

_POSITIONS = np.arange(GRANULE)
_RAMPS = [sum(1 << int(x) for x in _POSITIONS if x >> line & 1) for line in range(GRANULE_LINES)]
_PATTERNS = [0x0000, 0xFFFF, *_RAMPS, *(ramp ^ 0xFFFF for ramp in _RAMPS)]
"""What one data line does over sixteen addresses, bit x for address x: low, high, A0 … A3, their inverses."""

_CHUNK = 1 << 16

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
    """Return how regular each granule is, as far as its bytes are sure."""
    levels, leaks = _distances(_PATTERNS), _distances(_LEAKS).min(axis=0)
    words = np.empty((len(value), 8), np.uint16)
    for start in range(0, len(value), _CHUNK):
        words[start : start + _CHUNK] = _words(value[start : start + _CHUNK])
    shape = Shape(levels.min(axis=0)[words], levels.argmin(axis=0).astype(np.uint8)[words], leaks[words])
    broken = np.flatnonzero(~sure.all(axis=1))
    for start in range(0, len(broken), _CHUNK):
        at = broken[start : start + _CHUNK]
        known = np.packbits(sure[at], axis=1, bitorder="little").view("<u2")
        off = np.stack([np.bitwise_count((words[at] ^ np.uint16(p)) & known) for p in _PATTERNS])
        shape.distance[at], shape.pattern[at] = off.min(axis=0), off.argmin(axis=0)
        shape.leak[at] = np.min([np.bitwise_count((words[at] ^ np.uint16(p)) & known) for p in _LEAKS], axis=0)
    return shape


def _words(value: Bytes) -> npt.NDArray[np.uint16]:
    """Return what each data line does over each granule, uint16[n, 8], bit x for address x."""
    lines = [np.packbits(value >> bit & 1, axis=1, bitorder="little").view("<u2")[:, 0] for bit in range(8)]
    return np.stack(lines, axis=1)


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


@dataclass(frozen=True, slots=True, eq=False)
class Background:
    """What stands behind everything that answers.

    Attributes:
        shape: how regular each granule is, as the readings have it together.
        restless: granules that change from reading to reading, bool[G].
        model: what the floating bus does.
        noise: how far it departs from that; None where no rule is known.
    """

    shape: Shape
    restless: Bools
    model: BusModel
    noise: Noise | None

    @property
    def quiet(self) -> Bools:
        """Granules that are the floating bus but for its noise, bool[G]."""
        return np.zeros_like(self.restless) if self.noise is None else self.noise.quiet


def background(stacked: Stack, said: Consensus, driven: int) -> Background:
    """Learn the rule of the floating bus and its noise.

    Where the readings differ so much that they show no rule together, the first one is asked alone.
    """
    granules, bits = stacked.granules, stacked.bits
    shape = shapes(said.value, said.sure)
    restless = restless_granules(said) if len(stacked.value) > 1 else np.zeros(len(granules), np.bool_)
    heard = np.count_nonzero(said.sure, axis=1) >= GRANULE // 4
    model = learn_bus(shape, granules, bits, driven, restless, heard)
    if not model.sources and restless.any():
        known = (stacked.known[0] & np.uint8(driven)) == driven
        alone = shapes(stacked.value[0] & np.uint8(driven), known)
        unruly = restless & ~alone.regular(driven)
        model = learn_bus(alone, granules, bits, driven, unruly, np.count_nonzero(known, axis=1) >= GRANULE // 4)
    if not model.sources:
        return Background(shape, restless, model, None)
    return Background(shape, restless, model, measure(stacked, said, model.predict(granules), driven, SPECKS))


def learn_bus(shape: Shape, granules: Index, bits: int, driven: int, restless: Bools, heard: Bools) -> BusModel:
    """Learn from the regular granules what the floating bus does on each data line.

    A model that explains less than half of what is regular or restless is none: the bus then holds what it last
    carried, and each regular granule is its own prediction; or it is noise, and what stands still is driven.
    """
    regular = shape.regular(driven) & heard & ~restless
    pattern, numbers = shape.pattern[regular], granules[regular]
    if not len(numbers):
        return BusModel((), 0.0)
    sources, fits = _rule(pattern, numbers, bits, driven)
    levels = _commonest(pattern, driven)
    if levels and np.count_nonzero(levels[1]) >= MOSTLY * np.count_nonzero(fits):
        sources, fits = levels
    share = np.count_nonzero(fits) / (len(fits) + np.count_nonzero(restless))
    return BusModel(tuple(sources) if share >= 0.5 else (), share)


def _rule(pattern: Bytes, numbers: Index, bits: int, driven: int) -> Rule:
    """Return the rule that most granules follow; a data line follows any address line only where no plainer rule does.

    A rule of that kind is not believed if it explains little more, or looks like a chip's select: data lines follow
    one address line, or what it explains besides is mostly padding.
    """
    rule = _each_alone(pattern, numbers, bits, driven, any_line=False)
    for any_line, enough in ((False, 1.0), (True, MOSTLY)):
        for learn in (_each_alone, _all_together):
            if np.count_nonzero(rule[1]) >= enough * len(numbers):
                return rule
            other = learn(pattern, numbers, bits, driven, any_line=any_line)
            gain = np.count_nonzero(other[1]) - np.count_nonzero(rule[1])
            if any_line and (_like_a_select(other[0], driven) or _padding(pattern, driven, other[1] & ~rule[1])):
                continue
            if gain > (GAIN * len(numbers) if any_line else 0):
                rule = other
    return rule


def _each_alone(pattern: Bytes, numbers: Index, bits: int, driven: int, *, any_line: bool) -> Rule:
    """Return what each data line follows in most granules, and in which granules all do."""
    sources: list[str | int] = ["0"] * 8
    fits = np.ones(len(numbers), np.bool_)
    for bit in _lines(driven):
        source, hits = _best_source(bit, pattern[:, bit], numbers, bits, any_line=any_line)
        sources[bit] = source
        fits &= hits
    return sources, fits


def _all_together(pattern: Bytes, numbers: Index, bits: int, driven: int, *, any_line: bool) -> Rule:
    """Return the same, where each data line is asked only in the granules in which the clearer ones do as they do.

    Something blank beside the bus may make a line seem steady that follows an address line.
    """
    sources: list[str | int] = ["0"] * 8
    left, at = _lines(driven), np.arange(len(numbers))
    while left:
        best = [_best_source(bit, pattern[at, bit], numbers[at], bits, any_line=any_line) for bit in left]
        clearest = max(range(len(left)), key=lambda i: int(np.count_nonzero(best[i][1])))
        source, hits = best[clearest]
        sources[left.pop(clearest)] = source
        at = at[hits]
    fits = np.zeros(len(numbers), np.bool_)
    fits[at] = True
    return sources, fits


def _commonest(pattern: Bytes, driven: int) -> Rule | None:
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


def _best_source(bit: int, pattern: Bytes, numbers: Index, bits: int, *, any_line: bool) -> tuple[str | int, Bools]:
    """Return what one data line follows in most granules, and in which it does.

    Above A3 only the address lines are asked that meet the data line when a byte of the address is on the bus, unless
    `any_line` is true.
    """
    candidates: list[tuple[str | int, Bools]] = [("0", pattern == 0), ("1", pattern == 1)]
    candidates += [(line, pattern == 2 + line) for line in range(GRANULE_LINES)]
    candidates += [(-1 - line, pattern == 2 + GRANULE_LINES + line) for line in range(GRANULE_LINES)]
    for line in range(GRANULE_LINES, bits):
        if any_line or _meets(line, bit):
            level = (numbers >> (line - GRANULE_LINES) & 1).astype(np.uint8)
            candidates += [(line, pattern == level), (-1 - line, pattern == 1 - level)]
    return max(candidates, key=lambda item: int(np.count_nonzero(item[1])))


def _meets(line: int, bit: int) -> bool:
    """Tell whether an address line meets a data line when a byte of the address is on the bus."""
    return line % 8 == bit


def _like_a_select(sources: Sequence[str | int], driven: int) -> bool:
    """Tell whether more than half of the data lines follow one address line that they do not meet."""
    lines = _lines(driven)
    followed = [(max(source, -1 - source), bit) for bit in lines if isinstance(source := sources[bit], int)]
    crossed = [line for line, bit in followed if line >= GRANULE_LINES and not _meets(line, bit)]
    return any(crossed.count(line) * 2 > len(lines) for line in crossed)


def _padding(pattern: Bytes, driven: int, where: Bools) -> bool:
    """Tell whether most of some granules have all data lines at one level: a chip's blank bytes, behind a select."""
    lines = _lines(driven)
    flat = (pattern[where][:, lines] == pattern[where][:, lines[:1]]).all(axis=1) & (pattern[where, lines[0]] < FLAT)
    return bool(np.count_nonzero(flat) * 2 > len(flat))


def driven_lines(said: Consensus, behind: Background, granules: Index) -> int:
    """Return the data lines that ever say something where any does, as a bit mask: 0 where none does.

    A line says something where it is irregular, or departs from what the bus says. A line that never does where others
    do is not driven by the specimen (a part four bits wide), or says nothing that a comparison could use. On a noisy
    bus a few odd granules tell no lines apart.
    """
    irregular = (behind.shape.distance > LOOSE) & ~behind.quiet[:, None]
    at_once = irregular.sum(axis=1)
    content = at_once >= 2
    if not content.any():
        content = at_once >= 1
    total = int(np.count_nonzero(content))
    if not total or (behind.noise and behind.noise.rate and total < FEW):
        return 0
    speaks = irregular[content]
    if behind.noise and not speaks.any(axis=0).all():
        off = (said.value[content] ^ behind.model.predict(granules[content])) * said.sure[content]
        loose = LOOSE if behind.noise.rate else 0
        speaks = speaks | np.stack([np.count_nonzero(off >> bit & 1, axis=1) > loose for bit in range(8)], axis=1)
    counts = np.count_nonzero(speaks, axis=0)
    return sum(1 << bit for bit in range(8) if counts[bit] > max(1, total * QUIET))


def unsteady_lines(stacked: Stack, behind: Background) -> int:
    """Return the data lines that only make noise where others say something and stand still, as a bit mask.

    Nobody drives them, and the bus holds nothing on them. A line that says something elsewhere and stands still there
    is none of them: what moves is RAM or registers. Where no line stands still throughout, all is noise, and what seems
    to stand still does so by chance.
    """
    if len(stacked.value) < ENOUGH or not behind.restless.any():
        return 0
    at = np.flatnonzero(behind.restless)
    moves = np.zeros((len(at), GRANULE), np.uint8)
    for value, known in zip(stacked.value[1:], stacked.known[1:], strict=True):
        moves |= (value[at] ^ stacked.value[0, at]) & known[at] & stacked.known[0, at]
    moved = np.stack([np.count_nonzero(moves >> bit & 1, axis=1) for bit in range(8)], axis=1)
    alone = shapes(stacked.value[0, at], stacked.known[0, at] == 0xFF)
    speaks = (alone.distance > LOOSE) & (moved <= LOOSE)
    content = np.count_nonzero(speaks, axis=1) >= LOOSE
    if not content.any():
        content = speaks.any(axis=1)
    noisy = np.count_nonzero(moved[content] >= GRANULE // 4, axis=0)
    total = int(np.count_nonzero(content))
    if np.count_nonzero(moved[content] <= LOOSE, axis=0).max() < RESTLESS * total:
        return 0
    calm = ~behind.restless & (stacked.known[0] == 0xFF).all(axis=1)
    steady = np.count_nonzero(shapes(stacked.value[0, calm], stacked.known[0, calm] == 0xFF).distance > LOOSE, axis=0)
    return sum(1 << bit for bit in range(8) if total >= FEW and noisy[bit] >= RESTLESS * total and steady[bit] < FEW)


def restless_granules(said: Consensus) -> Bools:
    """Return the granules that change from reading to reading far more than a line in use would make them, bool[G]."""
    against = said.against.sum(axis=1, dtype=np.int64)
    much: Bools = (against >= GRANULE // 4) & (against * 8 >= said.seen.sum(axis=1, dtype=np.int64))
    return much


def held(said: Consensus, shape: Shape) -> Bytes:
    """Return each granule's own most regular content: the prediction for a bus that holds what it last carried."""
    ones = np.array([np.array([p >> x & 1 for x in range(GRANULE)]) for p in _PATTERNS], np.uint8)
    out = np.zeros(said.value.shape, np.uint8)
    for bit in range(8):
        out |= (ones[shape.pattern[:, bit]] << bit).astype(np.uint8)
    return out
