"""What to ask next: holes first, then the next pass, then the lines that disagree. A pure account; no port, no clock.

Every address of the window is asked for once a pass. What an answer leaves out is asked for again, line by line. After
the last pass, what the passes read differently is asked for again until one value is two ahead, a few times at most: an
address that says something else each time is no ROM, and asking on would not make it one.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np
import numpy.typing as npt

from romassay.address import Range, merge_ranges
from romassay.capture.events import Ask
from romassay.errors import BadInput
from romassay.formats.answers import Heard

_TRIES = 8
"""Times that an address is asked for in one pass."""
_EXTRA = 4
"""Passes over what disagrees, after the others."""
_UNSTABLE = 4
"""Bytes of a line that differ at once: more than the line's noise does, so one more pass over them is enough."""
_LEAD = 2
_EMPTY = 16
"""Answers without a single byte, one after the other, before the host is given up."""

Bools = npt.NDArray[np.bool_]
Octets = npt.NDArray[np.uint8]


class _Pass:
    """What one pass wants, has, and how often each address was asked for."""

    def __init__(self, want: Bools) -> None:
        self.want = want
        self.have = np.zeros(len(want), np.bool_)
        self.value = np.zeros(len(want), np.uint8)
        self.tries = np.zeros(len(want), np.uint8)

    def missing(self) -> Bools:
        return self.want & ~self.have & (self.tries < _TRIES)


class Asking:
    """Keeps account of a window, and says what to ask next.

    Args:
        window: ranges to read; they are merged.
        passes: over all of it.
        piece: most bytes to ask for at once.
        fixed: the host prints `piece` bytes whatever is asked, from a multiple of it.

    Attributes:
        line: bytes in a line of the host's dump: a line is asked for as a whole.
        bytes_asked: sum of the sizes of all that was asked for.
    """

    def __init__(self, window: Sequence[Range], *, passes: int = 2, piece: int = 256, fixed: bool = False) -> None:
        self.window = merge_ranges(window)
        self.line = 1
        self.bytes_asked = 0
        self._piece = piece
        self._fixed = fixed
        self._whole = passes
        self._address = np.concatenate([np.arange(r.first, r.last + 1, dtype=np.int64) for r in self.window])
        self._passes = [_Pass(np.ones(len(self._address), np.bool_)) for _ in range(passes)]
        self._empty = 0

    @property
    def size(self) -> int:
        """Bytes of the window."""
        return len(self._address)

    @property
    def needed(self) -> int:
        """Bytes that all passes so far want, each once."""
        return sum(int(item.want.sum()) for item in self._passes)

    @property
    def got(self) -> int:
        """Bytes of those that were heard."""
        return sum(int((item.have & item.want).sum()) for item in self._passes)

    @property
    def number(self) -> int:
        """The pass that is under way, or the last."""
        return next((i for i, item in enumerate(self._passes, 1) if item.missing().any()), len(self._passes))

    def next(self) -> Ask | None:
        """Return what to ask, or None where nothing is left that asking could mend.

        Raises:
            BadInput: answer after answer held nothing that can be read.
        """
        if self._empty >= _EMPTY:
            raise BadInput(
                f"the last {_EMPTY} answers of the host hold nothing that can be read",
                advice="see that the dialogue's dump command and layout are those of the host",
            )
        ask = self._next()
        while ask is None and self._extended():
            ask = self._next()
        return ask

    def _next(self) -> Ask | None:
        for number, item in enumerate(self._passes, 1):
            missing = item.missing()
            if missing.any():
                return self._piece_of(number, item, missing)
        return None

    def _piece_of(self, number: int, item: _Pass, missing: Bools) -> Ask:
        """Return the first run of missing bytes, in whole lines and within its range, and count the try."""
        at = int(np.argmax(missing))
        first = int(self._address[at])
        home = next(r for r in self.window if first in r)
        step = self._piece if self._fixed else self.line
        first = max(home.first, first - first % step)
        start = at - (int(self._address[at]) - first)
        most = min(self._piece - (first % self._piece if self._fixed else 0), home.last - first + 1)
        run = missing[at : start + most]
        length = (at - start) + (len(run) if run.all() else int(np.argmin(run)))
        last = first + length - 1
        last = min(home.last, first + most - 1, last + (-(last + 1)) % step)
        stop = start + last - first + 1
        item.tries[start:stop] += 1
        self.bytes_asked += last - first + 1
        return Ask(Range(first, last), number)

    def take(self, ask: Ask, heard: Iterable[Heard]) -> None:
        """Enter what an answer said."""
        found = list(heard)
        self._empty = 0 if found else self._empty + 1
        self.enter(ask.number, found)

    def enter(self, number: int, heard: Iterable[Heard]) -> None:
        """Enter bytes of a pass, from an answer or from a former capture. The first value that a pass has stays."""
        while len(self._passes) < number:
            self._passes.append(_Pass(np.zeros(self.size, np.bool_)))
        item = self._passes[number - 1]
        for piece in heard:
            values = np.frombuffer(piece.values, np.uint8)
            place = np.searchsorted(self._address, piece.first + np.arange(len(values)))
            inside = place < self.size
            inside[inside] = self._address[place[inside]] == piece.first + np.flatnonzero(inside)
            place, values = place[inside], values[inside]
            new = ~item.have[place]
            item.value[place[new]] = values[new]
            item.have[place[new]] = True

    def again(self, ranges: Iterable[Range]) -> int:
        """Ask for ranges once more, as a pass of their own; return its number."""
        want: Bools = np.zeros(self.size, np.bool_)
        for item in ranges:
            want |= (self._address >= item.first) & (self._address <= item.last)
        self._passes.append(_Pass(want))
        return len(self._passes)

    def _extended(self) -> bool:
        """Add a pass over what still disagrees; tell whether there is one."""
        extra = len(self._passes) - self._whole
        if self._whole < 2 or extra >= _EXTRA:
            return False
        want = self.undecided()
        if extra:
            want &= ~self._unstable()
        if not want.any():
            return False
        self._passes.append(_Pass(want))
        return True

    def _stack(self) -> npt.NDArray[np.int16]:
        return np.stack([np.where(item.have, item.value.astype(np.int16), -1) for item in self._passes])

    def disagreeing(self) -> Bools:
        """Return where two passes read different values, bool[n] over the window's addresses."""
        stack = self._stack()
        highest = stack.max(axis=0)
        lowest = np.where(stack < 0, np.int16(256), stack).min(axis=0)
        return np.asarray((highest >= 0) & (lowest < highest))

    def undecided(self) -> Bools:
        """Return where passes disagree and no value is two ahead of the others."""
        result: Bools = np.zeros(self.size, np.bool_)
        places = np.flatnonzero(self.disagreeing())
        stack = self._stack()[:, places]
        votes = np.array([((stack == row) & (row >= 0)).sum(axis=0) for row in stack])
        best = votes.max(axis=0, initial=0)
        leader = np.take_along_axis(stack, votes.argmax(axis=0)[None], axis=0) if len(places) else stack[:1]
        second = np.where(stack == leader, 0, votes).max(axis=0, initial=0)
        result[places] = best - second < _LEAD
        return result

    def _unstable(self) -> Bools:
        """Return the lines of which so many bytes disagree that the wire cannot be why."""
        group = self._address // max(self.line, _UNSTABLE)
        numbers, where = np.unique(group, return_inverse=True)
        count = np.bincount(where, weights=self.disagreeing(), minlength=len(numbers))
        return np.asarray(count[where] >= _UNSTABLE)

    def picture(self) -> tuple[npt.NDArray[np.int64], Octets, Bools]:
        """Return what was seen: addresses int64[n], passes that heard each uint8[n], where they disagree bool[n]."""
        heard = np.zeros(self.size, np.uint8)
        for item in self._passes:
            heard += item.have
        return self._address, heard, self.disagreeing()
