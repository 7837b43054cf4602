"""How one talks to a host's monitor: the prompt, the command that dumps, what it echoes. A frozen value; no port.

A host file describes it in its `dialogue` table, key for key. A dialogue can only read: what it types is a dump command
built from a template, compared with its echo before the return that starts it, and the keys named here.
"""

from __future__ import annotations

import string
from typing import Literal

import msgspec

Echo = Literal["all", "none"]

_FIELDS = ("first", "last", "after", "count", "first_page", "first_low", "last_page", "last_low")
_ENDS = frozenset(_FIELDS) - {"first", "first_page", "first_low"}
_LARGEST_PIECE = 1 << 16


class Dialogue(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True, omit_defaults=True):
    r"""What is typed at a host and what it answers.

    Attributes:
        dump: the command that prints a range, without the return: a template with the fields {first} and {last}, the
            addresses of both ends, {after}, one behind the last, and {count}, bytes; each may carry a Python format,
            such as {first:04X}. {first_page}, {first_low}, {last_page} and {last_low} are the two bytes of the ends. A
            command that names no end is one that prints on: it is stopped when what was asked for has come.
        shows: the same as the host shows it where it adds signs to what is typed or prints it in capitals; as `dump`
            where it is empty.
        prompt: what stands on the last line when the host waits for a command; empty where it prints none.
        any_digits: True where the digits of the prompt may be others: a host that prompts with an address.
        enter: what starts the command; empty for a host that starts at the last character of a command.
        echo: 'all' where the host sends back what is typed, 'none' where it does not.
        cancel: what makes the host forget a line that came back garbled, and prompt again.
        cancel_prompts: False where it forgets without prompting anew: rub-outs, say, more of them than any line has.
        cannot_write: True where no command of the host writes memory or runs code. Only such a host may go without
            echo.
        writes_or_runs: what commands that write or run begin with: nothing that is typed may begin so.
        wake: sent until the host prompts, where `cancel` does not make it.
        rate_key: sent before anything else, until the host prompts: the character from which it finds its rate.
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
    shows: str = ""
    prompt: str = ""
    any_digits: bool = False
    enter: str = "\r"
    echo: Echo = "all"
    cancel: str = ""
    cancel_prompts: bool = True
    cannot_write: bool = False
    writes_or_runs: tuple[str, ...] = ()
    wake: str = ""
    rate_key: str = ""
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
        if not (self.dump + self.shows).isascii():
            raise ValueError("the dump command holds a character that is not ASCII")
        self._check_figures()
        self._check_safety()
        if self.shows:
            _check_template(self.shows)
            _segments(self.command(0x1234, 0x5678), self._shown(0x1234, 0x5678))

    def _check_figures(self) -> None:
        if not 1 <= self.piece <= _LARGEST_PIECE:
            raise ValueError("piece is 1 to 65536 bytes")
        if not 0 < self.silence_s <= 600:
            raise ValueError("silence_s is above 0 and at most 600 seconds")
        if not (0 <= self.character_ms <= 10_000 and 0 <= self.line_ms <= 10_000):
            raise ValueError("a pause is 0 to 10000 milliseconds")
        if self.layout and self.format:
            raise ValueError("an answer has a layout or a format, not both")

    def _check_safety(self) -> None:
        if "\r" in self.dump or "\n" in self.dump or (self.enter and self.enter in self.dump):
            raise ValueError("the dump command holds no return: it is sent once the echo is right")
        if self.echo == "none" and not self.cannot_write:
            raise ValueError("without echo nobody sees a garbled letter: cannot_write must be true")
        if self.echo == "all" and not (self.cancel or self.cannot_write):
            raise ValueError("cancel is missing: a command that comes back garbled must not be run")
        if self.cancel and self.enter and self.enter in self.cancel:
            raise ValueError("cancel holds a return: it would run the garbled command that it is to take back")
        if self.open_ended and not (self.stop or self.more):
            raise ValueError("stop is missing: the dump command names no end, so something has to end the dump")
        typed = (self.dump, self.more_key, self.stop, self.wake, self.rate_key)
        for word in self.writes_or_runs:
            if not word:
                raise ValueError("an empty word in writes_or_runs")
            if any(text.lstrip().upper().startswith(word.upper()) for text in typed):
                raise ValueError(f"what is typed begins with {word!r}, which writes or runs")

    @property
    def open_ended(self) -> bool:
        """Tell whether the dump command names no end, and the host does not stop by itself."""
        return not self.fixed and not _ENDS.intersection(_fields_of(self.dump))

    def command(self, first: int, last: int) -> str:
        """Return what is typed to have a range printed, without the return."""
        return _filled(self.dump, first, last)

    def keystrokes(self, first: int, last: int) -> tuple[tuple[tuple[str, str], ...], str]:
        """Return the pieces that are typed, each with the echo that must come before the next, and what starts it.

        A host that can't listen while it sends, or that starts by itself, gets one character at a time.
        """
        typed, shown = self.command(first, last), self._shown(first, last)
        if not (self.half_duplex or not self.enter):
            return ((typed, shown),), self.enter
        pieces = tuple(zip(typed, _segments(typed, shown), strict=True))
        return (pieces, self.enter) if self.enter else (pieces[:-1], typed[-1])

    def _shown(self, first: int, last: int) -> str:
        return _filled(self.shows or self.dump, first, last)


def _filled(template: str, first: int, last: int) -> str:
    """Return a template with its fields filled in."""
    return template.format(
        first=first,
        last=last,
        after=last + 1,
        count=last - first + 1,
        first_page=first >> 8,
        first_low=first & 0xFF,
        last_page=last >> 8,
        last_low=last & 0xFF,
    )


def _segments(typed: str, shown: str) -> tuple[str, ...]:
    """Return what a host shows for each character that is typed; ValueError where they don't fit together."""
    starts: list[int] = []
    at = 0
    for character in typed:
        at = shown.upper().find(character.upper(), at)
        if at < 0 or (not starts and at):
            raise ValueError(
                f"shows is what is typed with signs added behind its characters, not {shown!r} for {typed!r}"
            )
        starts.append(at)
        at += 1
    return tuple(shown[a:b] for a, b in zip(starts, [*starts[1:], len(shown)], strict=True))


def _fields_of(template: str) -> list[str]:
    return [name for _, name, _, _ in string.Formatter().parse(template) if name is not None]


def _check_template(template: str) -> None:
    try:
        fields = _fields_of(template)
    except ValueError as e:
        raise ValueError(f"the dump command is no template: {e}") from e
    for name in fields:
        if name not in _FIELDS:
            raise ValueError(f"the dump command has the field {{{name}}}; allowed: {', '.join(_FIELDS)}")
    if not {"first", "first_page"}.intersection(fields):
        raise ValueError("the dump command says nowhere where to begin: {first} is missing")
    try:
        _filled(template, 0, 0)
    except (ValueError, IndexError, KeyError) as e:
        raise ValueError(f"the dump command is no template: {e}") from e
