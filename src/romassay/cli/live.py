"""The screen of a capture: a map that grows in place on a terminal, a line now and then elsewhere."""

from __future__ import annotations

import sys
import time
from types import TracebackType
from typing import TYPE_CHECKING, Self

from romassay.cli import screen
from romassay.report.capture import LEGEND, growing_map, progress_line
from romassay.report.text import Line, Segment, render

if TYPE_CHECKING:
    from rich.live import Live

    from romassay.capture import Asking, Event

_EVERY_S = 0.25
_SAID_EVERY_S = 10.0
_USUAL = 4.0
"""Characters for a byte, where no answer was over yet: eight bytes of hex on a line with an address."""


class UnderWay:
    """How much of an answer has come, in bytes: on a slow line one takes a minute, and counts only when it is over.

    Told from the characters that the answers before took for a byte; before the first, from what is usual.
    """

    def __init__(self) -> None:
        self._each = _USUAL
        self._came = 0
        self._asked = 0

    def watch(self, event: Event) -> None:
        """Take an event."""
        from romassay.capture import AnswerBegan, Answered, Asked, Received

        if isinstance(event, Asked):
            self._asked = event.ask.asked.size
            self._came = 0
        elif isinstance(event, AnswerBegan):
            self._came = 0
        elif isinstance(event, Received):
            self._came += len(event.data)
        elif isinstance(event, Answered):
            count = sum(len(piece.values) for piece in event.heard)
            if count:
                self._each = self._came / count
            self._asked = 0

    @property
    def bytes(self) -> int:
        """Bytes of the answer that comes in just now."""
        return min(self._asked, int(self._came / self._each))


class Screen:
    """Shows how a capture goes, on standard error, so that standard output stays the result's."""

    def __init__(self, title: str) -> None:
        self._title = title
        self._start = time.monotonic()
        self._shown = 0.0
        self._before: int | None = None
        self._retries = 0
        self._under_way = UnderWay()
        self._live: Live | None = None

    def __enter__(self) -> Self:
        if sys.stderr.isatty():
            from rich.console import Console
            from rich.live import Live

            self._live = Live(console=Console(stderr=True), auto_refresh=False, transient=False)
            self._live.start()
        return self

    def __exit__(self, kind: type[BaseException] | None, e: BaseException | None, trace: TracebackType | None) -> None:
        if self._live:
            self._live.stop()

    def watch(self, account: Asking, event: Event) -> None:
        """Take an event; draw where enough time has passed."""
        from romassay.capture import Answered, Retried

        if self._before is None:
            self._before = account.got
        self._under_way.watch(event)
        self._retries += isinstance(event, Retried)
        now = time.monotonic() - self._start
        over = account.got >= account.needed and isinstance(event, Answered)
        if now - self._shown < (_EVERY_S if self._live else _SAID_EVERY_S) and not over:
            return
        self._shown = now
        got = min(account.needed, account.got + self._under_way.bytes)
        line = progress_line(got, account.needed, account.number, now, self._before)
        if self._live is None:
            sys.stderr.write(f"{line}\n")
            sys.stderr.flush()
            return
        from rich.text import Text

        self._live.update(Text.from_ansi(render(self._page(account, line), colour=screen.takes_colour())), refresh=True)

    def _page(self, account: Asking, line: str) -> list[Line]:
        address, heard, differ = account.picture()
        bits = max(16, int(address[-1]).bit_length())
        rows = growing_map(address, heard, differ, account.passes, room=screen.width(), address_bits=bits)
        tries = f"; the line was at fault {self._retries} times" if self._retries else ""
        return [(Segment(self._title, "strong"),), *rows, (Segment(LEGEND, "faint"),), (Segment(line + tries),)]
