"""The conversation with a host: ask, compare the echo, send the return, take the answer. Bounded in time and memory.

A command is typed without its return, and the return follows only when the echo is what was typed. A garbled command is
taken back with the dialogue's cancel key, and nothing else is typed before the host prompts again. What a former call
may have left half typed is taken back before the first return.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator, Sequence

from romassay.address import Range
from romassay.capture.answers import Answers
from romassay.capture.events import AnswerBegan, Answered, Ask, Asked, Event, Learnt, Received, Retried, printed
from romassay.capture.line import Clock, HostLine, Telling
from romassay.capture.port import Port
from romassay.capture.prompt import plain
from romassay.dialogue import Dialogue
from romassay.errors import BadInput

Saying = Generator[Event, None, bytes]

_TRIES = 8
"""Times that a prompt is waited for before the host is given up."""
_SILENT_TWICE = 2
"""The echo of a garbled cancel key may be lost as well: one silence does not prove that the host holds nothing."""
_TYPED = 20
"""Times that a command is typed until its echo is right: where 2 % of the characters come garbled, a third is not."""
_ECHO_S = 1.0
_ECHO_CHARACTERS = 30
"""An echo is waited for so many seconds, and so many characters' time besides."""
_BEGINNING = 48
"""Characters of an answer that are shown as its beginning."""
_SHORT_S = 0.05
"""Seconds that a host which needs no waking is listened to before the first command, at most."""


def converse(
    port: Port,
    dialogue: Dialogue,
    ask_next: Callable[[], Ask | None],
    clock: Clock,
    *,
    character_s: float = 0.001,
    layout: str = "",
) -> Iterator[Event]:
    """Ask what `ask_next` says until it returns None, and yield what happens.

    Close the iterator to stop: a dump that prints is ended with the dialogue's stop key.

    Args:
        port: an open line.
        dialogue: of the host.
        ask_next: called when the answer before has been handed out; returns what to ask, or None at the end.
        clock: seconds, never going back.
        character_s: seconds that a character takes on the line.
        layout: of the host's lines, learnt by an earlier conversation, where the dialogue names none.

    Raises:
        LostLine: the host never prompts, never echoes, or talks without end.
        Unplugged: the line is gone.
    """
    talk = _Talk(HostLine(port, dialogue, clock, character_s), dialogue)
    if layout and not dialogue.layout:
        yield talk.take_layout(layout)
    yield from talk.wake()
    while (ask := ask_next()) is not None:
        yield from talk.ask(ask)


class _Talk:
    """A conversation under way."""

    def __init__(self, line: HostLine, dialogue: Dialogue) -> None:
        self._line = line
        self._dialogue = dialogue
        self._cancel = dialogue.cancel.encode("latin-1", "replace")
        self._on_leaving = b""
        self._answers = Answers(dialogue)

    def take_layout(self, layout: str) -> Event:
        """Read answers by a layout that was learnt before; returns the event that tells of it."""
        self._answers.take_layout(layout)
        return Learnt(self._line.now(), layout)

    def wake(self) -> Iterator[Event]:
        """Bring the host to its prompt, or take what it says at first for granted where it has none.

        What stands half typed at the host must not be run by the return that wakes it: the cancel key goes first, but
        for a host that takes its rate from the first character.
        """
        wake = (self._dialogue.rate_key or self._dialogue.wake).encode("latin-1", "replace")
        if not self._dialogue.rate_key and (yield from self._cancelled()):
            return
        if not wake:
            yield from self._line.wait(min(_SHORT_S, self._dialogue.silence_s))
            return
        for _ in range(_TRIES):
            self._line.forget()
            yield from self._line.send(wake)
            if not self._line.prompt:
                yield from self._line.drain()
                return
            if (yield from self._line.at_prompt()) or (yield from self._cancelled()):
                return
            yield Retried(self._line.now(), "no prompt came")
        raise self._line.lost(
            f"the host never prompted with {printed(self._line.prompt.text)}, {_TRIES} times asked; {self._last_said()}"
        )

    def _last_said(self) -> str:
        return f"it last said {printed(self._line.last)}" if self._line.last else "it said nothing"

    def _cancelled(self) -> Telling:
        """Send the cancel key while the host says anything at all to it; returns whether it prompts.

        A return sent to a host that holds a garbled character would run it.
        """
        silent = 0
        for _ in range(_TRIES if self._cancel else 0):
            self._line.forget()
            yield from self._line.press(self._cancel)
            if not (self._line.prompt and self._dialogue.cancel_prompts):
                yield from self._line.drain()
                return False
            if (yield from self._line.at_prompt()):
                return True
            silent += not self._line.came
            if silent == _SILENT_TWICE or self._line.came >= self._line.most(self._dialogue.piece):
                break
        return False

    def ask(self, ask: Ask) -> Iterator[Event]:
        """Ask for a range and take the answer. Whoever breaks off leaves the host with nothing half typed."""
        try:
            yield Asked(self._line.now(), ask)
            if self._dialogue.line_ms:
                yield from self._line.wait(self._dialogue.line_ms / 1000)
            pieces, start = self._dialogue.keystrokes(ask.asked.first, ask.asked.last)
            yield from self._type([(typed.encode("latin-1"), shown.encode("latin-1")) for typed, shown in pieces])
            yield AnswerBegan(self._line.now())
            self._on_leaving = b"" if self._dialogue.half_duplex else self._dialogue.stop.encode("latin-1", "replace")
            yield from self._line.send(start.encode("latin-1", "replace"))
            text, ended = yield from self._answer(ask.asked)
            self._on_leaving = b""
        except (GeneratorExit, KeyboardInterrupt):
            self._leave()
            raise
        if self._answers.learn(text):
            yield Learnt(self._line.now(), str(self._answers.layout))
        found = self._answers.heard(text, ask.asked)
        yield Answered(self._line.now(), ask, found, ended, text[:_BEGINNING])

    def _leave(self) -> None:
        """Take back what is half typed, or stop what prints; the line may be gone already."""
        import contextlib

        if self._on_leaving:
            with contextlib.suppress(BadInput):
                self._line.send_at_once(self._on_leaving)

    def _type(self, pieces: Sequence[tuple[bytes, bytes]]) -> Iterator[Event]:
        """Type a command until its echo is right. What starts it is not sent here."""
        command = b"".join(typed for typed, _ in pieces)
        for _ in range(_TYPED):
            self._on_leaving = self._cancel
            if self._dialogue.echo == "none":
                yield from self._line.send(command)
                return
            if (yield from self._typed_and_echoed(pieces)):
                return
            yield Retried(self._line.now(), "the echo of the command differs from what was typed")
            yield from self._take_back()
        raise self._line.lost(f"the host never echoed the command {command.decode()!r} as it was typed")

    def _typed_and_echoed(self, pieces: Sequence[tuple[bytes, bytes]]) -> Telling:
        self._line.forget()
        for typed, shown in pieces:
            yield from self._line.send(typed)
            if (yield from self._echo(shown)) != shown:
                return False
        return True

    def _echo(self, shown: bytes) -> Saying:
        """Return the echo, or what of it came in time or before it was wrong; fill and parity don't count."""
        echo = bytearray(plain(self._line.came_early()))
        patience = max(_ECHO_S, self._dialogue.silence_s / 2) + _ECHO_CHARACTERS * self._line.character_s
        limit = self._line.clock() + patience + len(shown) * self._line.character_s
        while len(echo) < len(shown) and shown.startswith(echo) and self._line.clock() < limit:
            data = self._line.read(limit)
            if data:
                yield Received(self._line.now(), data)
                echo += plain(data)
                limit = self._line.clock() + patience
        return bytes(echo)

    def _take_back(self) -> Iterator[Event]:
        """Make the host forget what was typed, and see it prompt; one that was reset meanwhile is woken anew."""
        for _ in range(_TRIES):
            if self._dialogue.half_duplex:
                yield from self._line.drain()
            self._line.forget()
            yield from self._line.press(self._cancel)
            if not (self._line.prompt and self._dialogue.cancel_prompts):
                yield from self._line.drain()
                return
            if (yield from self._line.at_prompt()):
                return
            if not self._line.came and self._dialogue.rate_key:
                yield Retried(self._line.now(), "the host says nothing; it may have been reset")
                yield from self.wake()
                return
        raise self._line.lost(f"the host did not prompt after a garbled command was taken back; {self._last_said()}")

    def _answer(self, asked: Range) -> Generator[Event, None, tuple[bytes, str]]:
        """Return the text of an answer and what ended it."""
        dialogue = self._dialogue
        more, end = dialogue.more.encode("latin-1", "replace"), dialogue.end.encode("latin-1", "replace")
        most = self._line.most(max(asked.size, dialogue.piece if dialogue.fixed else 0))
        text = bytearray(self._line.came_early())
        searched = 0
        quiet = self._line.clock() + dialogue.silence_s
        while self._line.clock() < quiet:
            data = self._line.read_on(text, quiet)
            if data:
                yield Received(self._line.now(), data)
                text += data
                quiet = self._line.clock() + dialogue.silence_s
            if data and dialogue.open_ended and self._answers.cover(text, asked):
                yield from self._stop()
                return bytes(text), "all that was asked for came"
            if more and (at := text.find(more, searched)) >= 0:
                searched = at + len(more)
                yield from self._line.send(dialogue.more_key.encode("latin-1", "replace"))
            if end and text.find(end, max(0, len(text) - len(data) - len(end))) >= 0:
                return bytes(text), "the end of the dump came"
            if not data and self._line.prompt.on_new_line(text):
                return bytes(text), "the prompt came"
            if len(text) > most:
                yield Retried(self._line.now(), f"more than {most} characters came for {asked.size} bytes")
                yield from self._stop()
                return bytes(text), "it was cut off"
        if self._line.prompt and self._dialogue.cancel:
            yield Retried(self._line.now(), "no prompt came after the dump")
            yield from self._take_back()
        return bytes(text), "the host fell silent"

    def _stop(self) -> Iterator[Event]:
        """End a dump that does not end; LostLine where the host goes on talking."""
        self._line.forget()
        if self._dialogue.stop and not self._dialogue.half_duplex:
            yield from self._line.send(self._dialogue.stop.encode("latin-1", "replace"))
            if self._line.prompt and (yield from self._line.at_prompt()):
                return
        yield from self._line.drain()
        if self._line.prompt and self._dialogue.cancel:
            yield from self._take_back()
