"""What to ask next: holes first, then the next pass, then the lines that disagree. A pure account; no port, no clock.

Every address of the window is to be heard as often as there are passes; whatever an answer says beside what was missing
counts as well. What an answer leaves out is asked for again, line by line. At last, what was not heard alike is asked
for again until one value is two ahead, a few times at most: an address that says something else each time is no ROM,
and asking on would not make it one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from romassay.address import Range, merge_ranges
from romassay.capture.events import Ask, printed
from romassay.errors import BadInput
from romassay.formats.answers import Heard

_TRIES = 8
"""Times that an address is asked for before it is given up."""
_EXTRA = 4
"""Rounds over what disagrees, after the passes."""
_UNSTABLE = 4
"""Bytes of a line that differ at once: more than the line's noise does, so one more round over them is enough."""
_LEAD = 2
_EMPTY = 16
"""Answers without a single byte, one after the other, before the host is given up."""

Bools = npt.NDArray[np.bool_]
Octets = npt.NDArray[np.uint8]


class Asking:
    """Keeps account of a window, and says what to ask next.

    Args:
        window: ranges to read; they are merged.
        passes: times that all of it is to be heard.
        piece: most bytes to ask for at once.
        fixed: the host prints `piece` bytes whatever is asked, from a multiple of it.

    Attributes:
        passes: times that all of the window is to be heard.
        line: bytes in a line of the host's dump: a line is asked for as a whole.
        bytes_asked: sum of the sizes of all that was asked for.
    """

    def __init__(self, window: Sequence[Range], *, passes: int = 2, piece: int = 256, fixed: bool = False) -> None:
        self.window = merge_ranges(window)
        self.line = 1
        self.bytes_asked = 0
        self._piece = piece
        self._fixed = fixed
        self.passes = passes
        self._address = np.concatenate([np.arange(r.first, r.last + 1, dtype=np.int64) for r in self.window])
        size = len(self._address)
        self._values: list[Octets] = []
        self._count = np.zeros(size, np.int32)
        self._goal = np.full(size, passes, np.int32)
        self._tries = np.zeros(size, np.uint8)
        self._extra = 0
        self._empty = 0
        self._said = b""

    @property
    def size(self) -> int:
        """Bytes of the window."""
        return len(self._address)

    @property
    def needed(self) -> int:
        """Bytes to be heard, each as often as it is wanted."""
        return int(self._goal.sum())

    @property
    def got(self) -> int:
        """Bytes of those that were heard."""
        return int(np.minimum(self._count, self._goal).sum())

    @property
    def number(self) -> int:
        """The pass that is under way, or the last."""
        missing = self._missing()
        return int(self._count[missing].min()) + 1 if missing.any() else int(self._goal.max())

    def next(self) -> Ask | None:
        """Return what to ask, or None where nothing is left that asking could mend.

        Raises:
            BadInput: answer after answer held nothing that can be read.
        """
        if self._empty >= _EMPTY:
            what = f"the last {_EMPTY} answers of the host hold nothing that can be read"
            raise BadInput(
                f"{what}; the last began {printed(self._said)}",
                advice="see that the dialogue's dump command and layout are those of the host",
            )
        missing = self._missing()
        while not missing.any():
            if not self._extended():
                return None
            missing = self._missing()
        return self._piece_of(missing)

    def _missing(self) -> Bools:
        return np.asarray((self._count < self._goal) & (self._tries < _TRIES))

    def _piece_of(self, missing: Bools) -> Ask:
        """Return the first run of what was heard least, in whole lines and within its range, and count the try.

        What was asked for in vain comes after what was not asked for yet: its answer may be readable by then.
        """
        level = int(self._count[missing].min())
        missing &= self._count == level
        missing &= self._tries == self._tries[missing].min()
        at = int(np.argmax(missing))
        first = int(self._address[at])
        home = next(r for r in self.window if first in r)
        step = self._piece if self._fixed else self.line
        first = max(home.first, first - first % step)
        start = at - (int(self._address[at]) - first)
        most = min(self._piece - (first % self._piece if self._fixed else 0), home.last - first + 1)
        last = first + _run(missing[start : start + most], at - start, self.line) - 1
        longest = first + most - 1
        in_lines = longest - (longest + 1) % self.line
        last = min(home.last, last + (-(last + 1)) % step, in_lines if first < in_lines < home.last else longest)
        stop = start + last - first + 1
        self._tries[start:stop] += missing[start:stop]
        self.bytes_asked += last - first + 1
        return Ask(Range(first, last), level + 1)

    def take(self, heard: Iterable[Heard], said: bytes = b"") -> None:
        """Enter what of an answer is certain; `said` is how it began, for people."""
        self._said = said
        found = list(heard)
        self._empty = 0 if found else self._empty + 1
        self.enter(found)

    def enter(self, heard: Iterable[Heard]) -> None:
        """Enter bytes, from an answer or from a former capture."""
        for piece in heard:
            values = np.frombuffer(piece.values, np.uint8)
            at = piece.first + np.arange(len(values))
            place = np.searchsorted(self._address, at)
            inside = place < self.size
            inside[inside] = self._address[place[inside]] == at[inside]
            place, values = place[inside], values[inside]
            count = self._count[place]
            while len(count) and count.max() >= len(self._values):
                self._values.append(np.zeros(self.size, np.uint8))
            for number in np.unique(count).tolist():
                same = count == number
                self._values[number][place[same]] = values[same]
            self._count[place] += 1
            self._tries[place] = 0

    def again(self, ranges: Iterable[Range]) -> None:
        """Ask for ranges once more than they were heard or are wanted."""
        for item in ranges:
            inside = (self._address >= item.first) & (self._address <= item.last)
            self._goal[inside] = np.maximum(self._goal, self._count)[inside] + 1
            self._tries[inside] = 0

    def _extended(self) -> bool:
        """Want more of what is still undecided; tell whether there is any."""
        if self.passes < 2 or self._extra >= _EXTRA:
            return False
        want = self.undecided() & (self._tries < _TRIES)
        if self._extra:
            want &= ~self._unstable()
        self._extra += 1
        self._goal[want] = self._count[want] + 1
        return bool(want.any())

    def _stack(self, places: npt.NDArray[np.int64]) -> npt.NDArray[np.int16]:
        """Return the values heard at some places, int16[heard, places], -1 where so many were not heard."""
        rows = [
            np.where(self._count[places] > number, values[places].astype(np.int16), -1)
            for number, values in enumerate(self._values)
        ]
        return np.stack(rows) if rows else np.full((1, len(places)), -1, np.int16)

    def disagreeing(self) -> Bools:
        """Return where different values were heard, bool[n] over the window's addresses."""
        result: Bools = np.zeros(self.size, np.bool_)
        for number, values in enumerate(self._values[1:], 1):
            result |= (self._count > number) & (values != self._values[0])
        return result

    def undecided(self) -> Bools:
        """Return where different values were heard and none is two ahead of the others."""
        result: Bools = np.zeros(self.size, np.bool_)
        places = np.flatnonzero(self.disagreeing())
        if len(places):
            stack = self._stack(places)
            votes = np.array([((stack == row) & (row >= 0)).sum(axis=0) for row in stack])
            leader = np.take_along_axis(stack, votes.argmax(axis=0)[None], axis=0)
            second = np.where(stack == leader, 0, votes).max(axis=0)
            result[places] = votes.max(axis=0) - second < _LEAD
        return result

    def _unstable(self) -> Bools:
        """Return the lines of which so many bytes disagree that the wire cannot be why."""
        group = self._address // max(self.line, _UNSTABLE)
        numbers, where = np.unique(group, return_inverse=True)
        count = np.bincount(where, weights=self.disagreeing(), minlength=len(numbers))
        return np.asarray(count[where] >= _UNSTABLE)

    def picture(self) -> tuple[npt.NDArray[np.int64], Octets, Bools]:
        """Return what was seen: addresses int64[n], times that each was heard uint8[n], where they differ bool[n]."""
        return self._address, np.minimum(self._count, 255).astype(np.uint8), self.disagreeing()


def _run(missing: Bools, at: int, line: int) -> int:
    """Return where the run of missing bytes that holds `at` ends; a gap shorter than a line is cheaper asked for."""
    places = np.flatnonzero(missing[at:]) + at
    wide = np.flatnonzero(np.diff(places) > line)
    return int(places[wide[0]] if len(wide) else places[-1]) + 1
