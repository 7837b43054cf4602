"""Bus traces: which signal is which line of the bus, when the bus is valid, and cycles as observations.

A logic capture is a list of changes. The bus is looked at just before the edge that ends a read: the end of the read
strobe, or of the clock's phase. A bit that changed within the set-up time before that edge counts as not seen. On a
multiplexed bus the address is the one that stood at the latch pulse before. The notation is that of `--layout`:

    address=A0-A15 data=D0-D7 sample=PHI2:fall require=R/W:1 require=/CS:0 setup=50ns latch=ALE:fall
"""

from __future__ import annotations

import itertools
import re
import shlex
from collections import Counter
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
import numpy.typing as npt

from romassay.errors import BadInput, BadValue, did_you_mean
from romassay.reading import Index, Reading, Source

Values = npt.NDArray[np.uint64]
Times = npt.NDArray[np.float64]

MOST_TIMES = 15
"""Observations of one address that a reading keeps at most: so many of the likeliest byte, of others in proportion."""
MAX_WIDTH = 64

_SPAN = re.compile(r"(?P<stem>.*?)(?P<first>\d+)-(?P=stem)(?P<last>\d+)(?P<end>[^\d]*)")
_EDGE = re.compile(r"(?P<name>.+):(?P<edge>rise|fall)")
_LEVEL = re.compile(r"(?P<name>.+):(?P<level>[01])")
_TIME = re.compile(r"(?P<number>\d+(?:\.\d+)?)(?P<unit>s|ms|us|ns|ps|fs)")
UNITS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "ps": 1e-12, "fs": 1e-15}
_EXAMPLE = "address=A0-A15 data=D0-D7 sample=PHI2:fall require=R/W:1"


@dataclass(frozen=True, slots=True)
class Edge:
    """An edge of a signal."""

    name: str
    falls: bool


@dataclass(frozen=True, slots=True)
class SignalMap:
    """Which signal is what.

    Attributes:
        address: signals of the address, the lowest bit first; a signal of several bits stands for all of them.
        data: the same for the data lines.
        sample: the edge that ends a read.
        require: levels that other signals must have at it: the read/write line, selects.
        latch: the edge at which a multiplexed bus holds the address; None where it stands all the while.
        setup: seconds for which a bit must not have changed before.
    """

    address: tuple[str, ...]
    data: tuple[str, ...]
    sample: Edge
    require: tuple[tuple[str, int], ...] = ()
    latch: Edge | None = None
    setup: float = 0.0

    @property
    def names(self) -> tuple[str, ...]:
        """Every signal that is looked at, each once."""
        others = [self.sample.name, *(name for name, _ in self.require), *([self.latch.name] if self.latch else [])]
        return tuple(dict.fromkeys((*self.address, *self.data, *others)))


def _bad(problem: str) -> BadValue:
    return BadValue(problem, place="--layout", advice=f"write it like {_EXAMPLE}")


def parse_map(text: str) -> SignalMap:
    """Return the map that the notation gives; BadValue where it is broken or lacks address, data or sample."""
    given: dict[str, list[str]] = {}
    try:
        words = shlex.split(text)
    except ValueError as e:
        raise _bad(f"the map of signals is broken ({e})") from e
    for word in words:
        key, equals, value = word.partition("=")
        if key not in ("address", "data", "sample", "require", "latch", "setup") or not equals or not value:
            raise _bad(f"'{word}' is no part of a map of signals")
        given.setdefault(key, []).append(value)
    for key in ("address", "data", "sample"):
        if key not in given:
            raise _bad(f"the map of signals lacks {key}")
    for key, values in given.items():
        if len(values) > 1 and key != "require":
            raise _bad(f"{key} stands there twice")
    return SignalMap(
        address=_listed(given["address"][0]),
        data=_listed(given["data"][0]),
        sample=_edge(given["sample"][0]),
        require=tuple(_level(item) for item in given.get("require", ())),
        latch=_edge(given["latch"][0]) if "latch" in given else None,
        setup=_seconds(given["setup"][0]) if "setup" in given else 0.0,
    )


def _listed(text: str) -> tuple[str, ...]:
    """Return the signals of a list, spans spread out, the lowest number first."""
    names: list[str] = []
    for item in text.split(","):
        found = _SPAN.fullmatch(item)
        if not found:
            names.append(item)
            continue
        low, high = sorted((int(found["first"]), int(found["last"])))
        if high - low >= MAX_WIDTH:
            raise _bad(f"'{item}' spans more lines than there are")
        names.extend(f"{found['stem']}{number}{found['end']}" for number in range(low, high + 1))
    if len(set(names)) != len(names):
        raise _bad(f"'{text}' names a signal twice")
    return tuple(names)


def _edge(text: str) -> Edge:
    found = _EDGE.fullmatch(text)
    if not found:
        raise _bad(f"'{text}' is no edge; write NAME:fall or NAME:rise")
    return Edge(found["name"], found["edge"] == "fall")


def _level(text: str) -> tuple[str, int]:
    found = _LEVEL.fullmatch(text)
    if not found:
        raise _bad(f"'{text}' is no level; write NAME:0 or NAME:1")
    return found["name"], int(found["level"])


def _seconds(text: str) -> float:
    found = _TIME.fullmatch(text)
    if not found:
        raise _bad(f"'{text}' is no time; write it like 50ns")
    return float(found["number"]) * UNITS[found["unit"]]


@dataclass(slots=True, eq=False)
class Changes:
    """Changes of one signal, in the order of time.

    Attributes:
        time: float64[n], in any one unit.
        value: uint64[n], its bits.
        unknown: uint64[n], bits that are neither 0 nor 1.
    """

    time: Times
    value: Values
    unknown: Values


@dataclass(slots=True)
class _State:
    """A signal between two blocks."""

    time: float = -np.inf
    value: int = 0
    unknown: int = (1 << MAX_WIDTH) - 1


@dataclass(slots=True)
class Sampler:
    """Takes blocks of changes and counts what stood on the bus at each read.

    Attributes:
        map: which signal is what.
        widths: bits of each signal.
        tick: seconds of one unit of time.
        cycles: reads that were looked at.
        late: of those, reads in which a data bit changed within the set-up time.
        lost: reads at which an address line was neither 0 nor 1, or within the set-up time.
    """

    map: SignalMap
    widths: Mapping[str, int]
    tick: float = 1.0
    cycles: int = 0
    late: int = 0
    lost: int = 0
    _states: dict[str, _State] = field(default_factory=dict)
    _latched: tuple[int, bool] = (0, False)
    _seen: list[npt.NDArray[np.uint64]] = field(default_factory=list)
    _counts: list[Index] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._states = {name: _State() for name in self.map.names}
        if (bits := sum(self.widths[name] for name in self.map.data)) > 8:
            raise BadInput(f"the data lines are {bits}", advice="name at most eight")
        if (bits := sum(self.widths[name] for name in self.map.address)) > 32:
            raise BadInput(f"the address lines are {bits}", advice="name at most 32")

    def feed(self, block: Mapping[str, Changes]) -> None:
        """Take a block; all changes of one moment must be in one block."""
        whole = {name: self._whole(name, block.get(name)) for name in self.map.names}
        at = _edges(whole[self.map.sample.name], self.map.sample.falls)
        if self.map.latch:
            latches = _edges(whole[self.map.latch.name], self.map.latch.falls)
            held, sure = self._bits(whole, self.map.address, latches)
            held = np.concatenate([np.array([self._latched[0]], np.uint64), held])
            sure = np.concatenate([np.array([self._latched[1]]), sure == self._all(self.map.address)])
            which = np.searchsorted(latches, at, "left")
            address, certain = held[which], sure[which]
            self._latched = (int(held[-1]), bool(sure[-1]))
        else:
            address, known = self._bits(whole, self.map.address, at)
            certain = known == self._all(self.map.address)
        data, known = self._bits(whole, self.map.data, at)
        wanted = np.ones(len(at), np.bool_)
        for name, level in self.map.require:
            value, sure_level = self._bits(whole, (name,), at)
            wanted &= (value == level) & (sure_level == 1)
        self.cycles += int(wanted.sum())
        self.lost += int((wanted & ~certain).sum())
        self.late += int((wanted & certain & (known != self._all(self.map.data))).sum())
        kept = wanted & certain & (known != 0)
        self._count(address[kept] << np.uint64(16) | data[kept] << np.uint64(8) | known[kept])
        for name, changes in whole.items():
            self._states[name] = _State(float(changes.time[-1]), int(changes.value[-1]), int(changes.unknown[-1]))

    def _whole(self, name: str, changes: Changes | None) -> Changes:
        """Return a block's changes of one signal behind the state before it."""
        state = self._states[name]
        time = np.array([state.time], np.float64)
        value, unknown = np.array([state.value], np.uint64), np.array([state.unknown], np.uint64)
        if changes is None:
            return Changes(time, value, unknown)
        return Changes(
            np.concatenate([time, changes.time]),
            np.concatenate([value, changes.value]),
            np.concatenate([unknown, changes.unknown]),
        )

    def _all(self, names: Sequence[str]) -> int:
        return (1 << sum(self.widths[name] for name in names)) - 1

    def _bits(self, whole: Mapping[str, Changes], names: Sequence[str], at: Times) -> tuple[Values, Values]:
        """Return what signals were just before some moments, as one number, and which of its bits are certain."""
        value = np.zeros(len(at), np.uint64)
        known = np.zeros(len(at), np.uint64)
        shift = 0
        setup = self.map.setup / self.tick
        for name in names:
            changes, width = whole[name], self.widths[name]
            mask = np.uint64((1 << width) - 1)
            last = np.maximum(np.searchsorted(changes.time, at, "left") - 1, 0)
            sure = ~changes.unknown[last] & mask
            if setup:
                before = np.maximum(np.searchsorted(changes.time, at - setup, "right") - 1, 0)
                moved = np.where(last > before, changes.value[last] ^ changes.value[before], np.uint64(0))
                sure &= ~(moved | np.where(last > before, changes.unknown[before], np.uint64(0)))
            value |= (changes.value[last] & mask) << np.uint64(shift)
            known |= sure << np.uint64(shift)
            shift += width
        return value, known

    def _count(self, keys: npt.NDArray[np.uint64]) -> None:
        """Add up equal observations, so that memory grows with what differs and not with time."""
        seen, counts = np.unique(keys, return_counts=True)
        self._seen.append(seen)
        self._counts.append(counts.astype(np.int64))
        if sum(map(len, self._seen)) > 1 << 20:
            self._merge()

    def _merge(self) -> None:
        if not self._seen:
            return
        keys, where = np.unique(np.concatenate(self._seen), return_inverse=True)
        counts = np.bincount(where, weights=np.concatenate(self._counts)).astype(np.int64)
        self._seen, self._counts = [keys], [counts]

    def reading(self, address_bits: int | None) -> Reading:
        """Return what was seen, as a reading; BadInput where no read was.

        An address that was read a thousand times keeps as many observations as say which byte it holds.
        """
        self._merge()
        keys = self._seen[0] if self._seen else np.zeros(0, np.uint64)
        if not len(keys):
            raise BadInput(
                f"no read is in this trace: of {self.cycles} cycles none has an address and data that are certain"
                if self.cycles
                else "no read is in this trace: the edge and the levels that the map asks for never come together",
                advice="check the map of signals",
            )
        address = (keys >> np.uint64(16)).astype(np.int64)
        times = _in_proportion(address, self._counts[0])
        level, place = _levels(address, times)
        order = np.lexsort((address[place], level))
        place = place[order]
        bits = address_bits or max(8, sum(self.widths[name] for name in self.map.address))
        known = (keys & np.uint64(0xFF)).astype(np.uint8)
        data = self._all(self.map.data)
        return Reading(
            runs=_runs(address[place], level[order]),
            value=((keys >> np.uint64(8)) & np.uint64(0xFF)).astype(np.uint8)[place],
            known=None if data == 0xFF and (known == 0xFF).all() else known[place],
            address_bits=bits,
            unit="trace",
            source=Source(bad_lines=self.late + self.lost),
        )


def _edges(changes: Changes, falls: bool) -> Times:
    """Return when a signal of one bit went over to 0, or to 1."""
    level, sure = changes.value & np.uint64(1), (changes.unknown & np.uint64(1)) == 0
    first, second = (1, 0) if falls else (0, 1)
    went = (level[:-1] == first) & (level[1:] == second) & sure[:-1] & sure[1:]
    return np.asarray(changes.time[1:][went])


def _in_proportion(address: Index, counts: Index) -> Index:
    """Return how many observations to keep of each (address, byte): no more than `MOST_TIMES`, at least one."""
    _, where = np.unique(address, return_inverse=True)
    most = np.zeros(int(where.max()) + 1, np.int64)
    np.maximum.at(most, where, counts)
    scale = np.minimum(1.0, MOST_TIMES / most[where])
    return np.maximum(1, np.floor(counts * scale)).astype(np.int64)


def _levels(address: Index, times: Index) -> tuple[Index, Index]:
    """Return for each observation which one of its address it is, and which row it repeats; rows are sorted."""
    place = np.repeat(np.arange(len(address)), times)
    total = np.arange(len(place))
    start = np.searchsorted(address[place], address[place], "left")
    return total - start, place


def _runs(address: Index, level: Index) -> Index:
    """Return runs of addresses that follow each other on one level."""
    new = np.flatnonzero(np.r_[True, (np.diff(address) != 1) | (np.diff(level) != 0)])
    count = np.diff(np.r_[new, len(address)])
    return np.stack([address[new], new, count, np.zeros(len(new), np.int64)], axis=1).astype(np.int64)


def missing(names: Iterable[str], there: Iterable[str]) -> BadInput | None:
    """Return the error for signals of a map that a trace does not have, or None."""
    known = list(there)
    for name in names:
        if name not in known:
            guess = did_you_mean(name, known)
            return BadInput(f"the trace has no signal '{name}'", advice=f"{guess} it has {listed(known)}".strip())
    return None


def listed(names: Sequence[str], most: int = 40) -> str:
    """Return names for a message, as short as they are plain: lines that are numbered through as 'A0 to A15'."""
    ends = Counter(name.rpartition(".")[2] for name in set(names) if "." in name)
    plain = [name if ends[name.rpartition(".")[2]] > 1 else name.rpartition(".")[2] for name in names]
    shown = _numbered(list(dict.fromkeys(plain)))
    return ", ".join(shown[:most]) + (f" and {len(shown) - most} more" if len(shown) > most else "")


def _numbered(names: Sequence[str]) -> list[str]:
    """Return names with each run of three or more that count up or down by one drawn together."""
    runs: list[list[str]] = []
    for name in names:
        if runs and _next_number(runs[-1], name):
            runs[-1].append(name)
        else:
            runs.append([name])
    return [text for run in runs for text in ([f"{run[0]} to {run[-1]}"] if len(run) > 2 else run)]


_NUMBER = re.compile(r"(?P<stem>.*?)(?P<number>[0-9]+)")


def _next_number(run: Sequence[str], name: str) -> bool:
    """Tell whether a name goes on where a run of names ends: the same stem, the next number in the same direction."""
    found = [_NUMBER.fullmatch(item) for item in (*run[-2:], name)]
    numbers = [int(item["number"]) for item in found if item]
    if len(numbers) < len(found) or len({item["stem"] for item in found if item}) > 1:
        return False
    steps = {b - a for a, b in itertools.pairwise(numbers)}
    return steps in ({1}, {-1})


def without_a_map(names: Sequence[str]) -> BadInput:
    """Return the error for a trace of which nobody said which signal is which."""
    return BadInput(
        "this is a trace of signals, and nothing says which of them are the bus",
        advice=f"give --layout, such as '{_EXAMPLE}'; its signals are {listed(names)}",
    )
