"""How one talks to a host's monitor: the prompt, the command that dumps, what it echoes. A frozen value; no port.

A host file describes it in its `dialogue` table, key for key. A dialogue can only read: what it types is a dump command
built from a template, compared with its echo before the return that starts it, and the keys named here.
"""

from __future__ import annotations

import string
from typing import Literal

import msgspec

Echo = Literal["all", "none"]

_FIELDS = ("first", "last", "after", "count")
_LARGEST_PIECE = 1 << 16


class Dialogue(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    r"""What is typed at a host and what it answers.

    Attributes:
        dump: the command that prints a range, without the return: a template with the fields {first} and {last}, the
            addresses of both ends, {after}, one behind the last, and {count}, bytes; each may carry a Python format,
            such as {first:04X}.
        prompt: what stands on the last line when the host waits for a command; empty where it prints none.
        enter: what starts the command.
        echo: 'all' where the host sends back what is typed, 'none' where it does not.
        cancel: what makes the host forget a line that came back garbled, and prompt again.
        cannot_write: True where no command of the host writes memory or runs code. Only such a host may go without
            echo.
        writes_or_runs: what commands that write or run begin with: nothing that is typed may begin so.
        wake: sent before anything else, until the host prompts; a return, say, for a host that finds its rate from it.
        stop: ends a dump while it prints.
        more: text at which a long dump waits, and `more_key`, what goes on.
        more_key: see there.
        end: text that ends a dump, where the prompt does not tell.
        piece: most bytes to ask for at once.
        fixed: True where the host always prints `piece` bytes, from an address that is a multiple of it.
        half_duplex: True where the host can't listen while it sends: each character waits for the echo of the one
            before, and nothing is sent while a dump prints.
        character_ms: pause after each character sent.
        line_ms: pause before each command.
        silence_s: the host is done, or lost, when it has said nothing for so long.
        layout: of the dump's lines, in the notation of `--layout`; learnt from the first answers where it is empty.
        format: name of a format, where the answer is no text dump: 'intel-hex', say.
    """

    dump: str
    prompt: str = ""
    enter: str = "\r"
    echo: Echo = "all"
    cancel: str = ""
    cannot_write: bool = False
    writes_or_runs: tuple[str, ...] = ()
    wake: str = ""
    stop: str = ""
    more: str = ""
    more_key: str = " "
    end: str = ""
    piece: int = 256
    fixed: bool = False
    half_duplex: bool = False
    character_ms: float = 0.0
    line_ms: float = 0.0
    silence_s: float = 2.0
    layout: str = ""
    format: str = ""

    def __post_init__(self) -> None:
        _check_template(self.dump)
        if not 1 <= self.piece <= _LARGEST_PIECE:
            raise ValueError("piece is 1 to 65536 bytes")
        if not 0 < self.silence_s <= 600:
            raise ValueError("silence_s is above 0 and at most 600 seconds")
        if not (0 <= self.character_ms <= 10_000 and 0 <= self.line_ms <= 10_000):
            raise ValueError("a pause is 0 to 10000 milliseconds")
        if self.layout and self.format:
            raise ValueError("an answer has a layout or a format, not both")
        if not self.enter:
            raise ValueError("without an enter a command would run before its echo can be compared")
        if self.enter in self.dump or "\r" in self.dump or "\n" in self.dump:
            raise ValueError("the dump command holds no return: it is sent once the echo is right")
        if self.echo == "none" and not self.cannot_write:
            raise ValueError("without echo nobody sees a garbled letter: cannot_write must be true")
        if self.echo == "all" and not (self.cancel or self.cannot_write):
            raise ValueError("cancel is missing: a command that comes back garbled must not be run")
        typed = (self.dump, self.more_key, self.stop, self.wake)
        for word in self.writes_or_runs:
            if not word:
                raise ValueError("an empty word in writes_or_runs")
            if any(text.lstrip().upper().startswith(word.upper()) for text in typed):
                raise ValueError(f"what is typed begins with {word!r}, which writes or runs")

    def command(self, first: int, last: int) -> str:
        """Return what is typed to have a range printed, without the return."""
        return self.dump.format(first=first, last=last, after=last + 1, count=last - first + 1)


def _check_template(template: str) -> None:
    try:
        fields = [name for _, name, _, _ in string.Formatter().parse(template) if name is not None]
    except ValueError as e:
        raise ValueError(f"the dump command is no template: {e}") from e
    for name in fields:
        if name not in _FIELDS:
            raise ValueError(f"the dump command has the field {{{name}}}; allowed: {', '.join(_FIELDS)}")
    if "first" not in fields:
        raise ValueError("the dump command says nowhere where to begin: {first} is missing")
    try:
        template.format(first=0, last=0, after=1, count=1)
    except (ValueError, IndexError, KeyError) as e:
        raise ValueError(f"the dump command is no template: {e}") from e
