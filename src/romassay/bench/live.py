"""A capture that runs while the page looks on: one at a time, in a thread of its own; what came in is in the docket."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from romassay.capture import Asking, Event
from romassay.errors import BadValue, RomassayError
from romassay.report.capture import progress_line
from romassay.session.capture import Watch

_EVERY_S = 0.25
_MOST_RUNS = 20_000

UNREAD, ONCE, AGREED, DIFFERING = range(4)


Work = Callable[[Watch], object]
"""A capture that tells a watcher of every event."""


class _StoppedError(Exception):
    """The person asked the capture to stop."""


@dataclass(eq=False)
class Live:
    """A capture under way, or the last one."""

    name: str
    work: Work
    error: str = ""
    stopped: bool = False
    unfinished: bool = False
    running: bool = True
    line: str = ""
    runs: list[list[int]] = field(default_factory=list)
    _start: float = field(default_factory=time.monotonic)
    _shown: float = 0.0
    _before: int | None = None

    def start(self) -> None:
        """Begin, in a thread that ends with the program."""
        threading.Thread(target=self._run, name="capture", daemon=True).start()

    def stop(self) -> None:
        """Ask it to stop; what came in stays in the docket, and can be gone on with."""
        self.stopped = True

    def _run(self) -> None:
        try:
            self.work(self._watch)
        except _StoppedError:
            self.line = "Stopped; what came in is kept."
            self.unfinished = True
        except RomassayError as e:
            self.error = str(e)
            self.unfinished = True
        except Exception as e:
            self.error = f"a fault of the program ({type(e).__name__}: {e})"
        finally:
            self.running = False

    def _watch(self, account: Asking, _: Event) -> None:
        if self.stopped:
            raise _StoppedError
        if self._before is None:
            self._before = account.got
        now = time.monotonic() - self._start
        if now - self._shown < _EVERY_S:
            return
        self._shown = now
        self.line = progress_line(account.got, account.needed, account.number, now, self._before)
        self.runs = runs_of(account)

    def said(self) -> dict[str, Any]:
        """Return how it goes: a line in words, and what was heard as runs of [first, last, state]."""
        return {
            "running": self.running,
            "line": self.line,
            "error": self.error,
            "unfinished": self.unfinished,
            "runs": self.runs,
        }


def runs_of(account: Asking) -> list[list[int]]:
    """Return what was heard as runs of [first, last, state], sorted; beyond some thousands the rest is left out."""
    address, heard, differ = account.picture()
    state = np.where(differ, DIFFERING, np.where(heard > 1, AGREED, np.where(heard == 1, ONCE, UNREAD)))
    new = np.flatnonzero(np.r_[True, (np.diff(state) != 0) | (np.diff(address) != 1)])
    last = np.r_[new[1:] - 1, len(address) - 1]
    return [
        [int(address[a]), int(address[b]), int(state[a])]
        for a, b in zip(new[:_MOST_RUNS], last[:_MOST_RUNS], strict=True)
    ]


@dataclass(eq=False)
class Captures:
    """The one capture that may run on a bench."""

    now: Live | None = None

    def begin(self, name: str, work: Work) -> Live:
        """Begin a capture; BadValue while another one runs."""
        if self.now is not None and self.now.running:
            raise BadValue(f"a capture into '{self.now.name}' is under way", advice="wait for it, or stop it")
        self.now = Live(name, work)
        self.now.start()
        return self.now

    def of(self, name: str) -> Live | None:
        """Return the capture into a docket, or None."""
        return self.now if self.now is not None and self.now.name == name else None
