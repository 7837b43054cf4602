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


class Screen:
    """Shows how a capture goes, on standard error, so that standard output stays the result's."""

    def __init__(self, title: str, passes: int) -> None:
        self._title = title
        self._passes = passes
        self._start = time.monotonic()
        self._shown = 0.0
        self._before: int | None = None
        self._retries = 0
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
        self._retries += isinstance(event, Retried)
        now = time.monotonic() - self._start
        over = account.got >= account.needed and isinstance(event, Answered)
        if now - self._shown < (_EVERY_S if self._live else _SAID_EVERY_S) and not over:
            return
        self._shown = now
        line = progress_line(account.got, account.needed, account.number, now, self._before)
        if self._live is None:
            sys.stderr.write(f"{line}\n")
            sys.stderr.flush()
            return
        from rich.text import Text

        self._live.update(Text.from_ansi(render(self._page(account, line), colour=screen.takes_colour())), refresh=True)

    def _page(self, account: Asking, line: str) -> list[Line]:
        address, heard, differ = account.picture()
        bits = max(16, int(address[-1]).bit_length())
        rows = growing_map(address, heard, differ, self._passes, room=screen.width(), address_bits=bits)
        tries = f"; the line was at fault {self._retries} times" if self._retries else ""
        return [(Segment(self._title, "strong"),), *rows, (Segment(LEGEND, "faint"),), (Segment(line + tries),)]
