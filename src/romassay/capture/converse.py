"""The conversation with a host: ask, compare the echo, send the return, take the answer. Bounded in time and memory.

A command is typed without its return, and the return follows only when the echo is what was typed. A garbled command is
taken back with the dialogue's cancel key, and nothing else is typed before the host prompts again.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator

from romassay.address import Range
from romassay.capture.events import AnswerBegan, Answered, Ask, Asked, Event, Learnt, Received, Retried, Sent
from romassay.capture.port import Port
from romassay.dialogue import Dialogue
from romassay.errors import BadInput
from romassay.formats.answers import heard, learnt_layout
from romassay.formats.layout import Layout, parse_layout

Clock = Callable[[], float]

Telling = Generator[Event, None, bool]
Saying = Generator[Event, None, bytes]

_TRIES = 8
"""Times that a prompt is waited for before the host is given up."""
_TYPED = 20
"""Times that a command is typed until its echo is right: where 2 % of the characters come garbled, a third is not."""
_ECHO_S = 1.0
_ECHO_CHARACTERS = 30
_TICK = 0.05
_PROMPT_S = 0.01
_PROMPT_CHARACTERS = 4
"""What looks like a prompt is one if nothing follows for so long, or for so many characters' time."""
_CHARACTERS_PER_BYTE = 12
_SLACK = 4096
"""An answer may have so many characters for each byte asked, and so many besides, before it is cut off."""
_FIRMLY_LEARNT = 64
"""Lines of answers from which a layout is learnt once and for all, while it fits."""
_KEPT_FOR_LEARNING = 1 << 15
_POOR = 0.5
_DEEP = 1 << 12
"""Characters of an unexpected flood that are looked at for a prompt."""


class LostLine(BadInput):
    """The host does not answer as its dialogue says."""


def converse(
    port: Port,
    dialogue: Dialogue,
    ask_next: Callable[[], Ask | None],
    clock: Clock,
    *,
    character_s: float = 0.001,
) -> Iterator[Event]:
    """Ask what `ask_next` says until it returns None, and yield what happens.

    Close the iterator to stop: a dump that prints is ended with the dialogue's stop key.

    Args:
        port: an open line.
        dialogue: of the host.
        ask_next: called when the answer before has been handed out; returns what to ask, or None at the end.
        clock: seconds, never going back.
        character_s: seconds that a character takes on the line.

    Raises:
        LostLine: the host never prompts, never echoes, or talks without end.
        Unplugged: the line is gone.
    """
    talk = _Talk(port, dialogue, clock, character_s)
    yield from talk.wake()
    while (ask := ask_next()) is not None:
        yield from talk.ask(ask)


class _Talk:
    """A conversation under way."""

    def __init__(self, port: Port, dialogue: Dialogue, clock: Clock, character_s: float) -> None:
        self._port = port
        self._dialogue = dialogue
        self._clock = clock
        self._start = clock()
        self._prompt = dialogue.prompt.encode("latin-1", "replace")
        self._layout: Layout | None = parse_layout(dialogue.layout) if dialogue.layout else None
        self._learnt_from = bytearray()
        self._lines_learnt = _FIRMLY_LEARNT if dialogue.layout else 0
        self._character_s = character_s
        self._early = bytearray()
        self._came = False

    # --- the line -------------------------------------------------------------------------------------------------

    def _now(self) -> float:
        return self._clock() - self._start

    def _send(self, data: bytes) -> Iterator[Event]:
        """Send bytes, with the host's pause after each where it needs one."""
        pause = self._dialogue.character_ms / 1000
        for piece in (bytes([byte]) for byte in data) if pause else (data,):
            self._port.write(piece)
            yield Sent(self._now(), piece)
            if pause:
                yield from self._wait(pause)

    def _wait(self, seconds: float) -> Iterator[Event]:
        """Let time pass; what comes in meanwhile is handed out, and kept for whoever waits for an answer next."""
        end = self._clock() + seconds
        while (left := end - self._clock()) > 0:
            data = self._port.read(min(left, _TICK))
            if data:
                yield Received(self._now(), data)
                self._early += data
                del self._early[:-_DEEP]

    def _came_early(self) -> bytes:
        """Return what came in during the pauses of sending, once."""
        data = bytes(self._early)
        self._early.clear()
        return data

    def _read(self, limit: float) -> bytes:
        """Return what comes in before the clock shows `limit`, at most a tick's worth."""
        return self._port.read(max(0.0, min(limit - self._clock(), _TICK)))

    # --- prompts --------------------------------------------------------------------------------------------------

    def wake(self) -> Iterator[Event]:
        """Bring the host to its prompt, or take what it says at first for granted where it has none."""
        wake = self._dialogue.wake.encode("latin-1", "replace")
        if not wake:
            yield from self._wait(min(_TICK, self._dialogue.silence_s))
            return
        for _ in range(_TRIES):
            self._early.clear()
            yield from self._send(wake)
            if not self._prompt:
                yield from self._drain()
                return
            if (yield from self._at_prompt()) or (yield from self._cancelled()):
                return
            yield Retried(self._now(), "no prompt came")
        raise self._lost(f"the host never prompted with {self._dialogue.prompt!r}, {_TRIES} times asked")

    def _cancelled(self) -> Telling:
        """Send the cancel key while the host says anything at all to it; returns whether it prompts.

        A return sent to a host that holds a garbled character would run it.
        """
        cancel = self._dialogue.cancel.encode("latin-1", "replace")
        for _ in range(_TRIES if cancel else 0):
            self._early.clear()
            yield from self._send(cancel)
            if (yield from self._at_prompt()):
                return True
            if not self._came:
                break
        return False

    def _at_prompt(self) -> Telling:
        """Wait for the prompt on a new line; returns whether it came before the host fell silent or talked too long.

        On the same line it may be the echo of a garbled key.
        """
        text = bytearray(self._came_early())
        total = len(text)
        quiet = self._clock() + self._dialogue.silence_s
        most = _SLACK + _CHARACTERS_PER_BYTE * self._dialogue.piece
        while self._clock() < quiet and total < most:
            data = self._read_on(text, quiet)
            if not data:
                if self._prompts(text):
                    return True
                continue
            yield Received(self._now(), data)
            total += len(data)
            text += data
            del text[:-_DEEP]
            quiet = self._clock() + self._dialogue.silence_s
        self._came = 0 < total < most
        return self._prompts(text)

    def _prompts(self, text: bytes | bytearray) -> bool:
        """Tell whether a text ends with the prompt on a line of its own, behind a line end."""
        return (b"\n" in text or b"\r" in text) and self._ends_with_prompt(text)

    def _ends_with_prompt(self, text: bytes | bytearray) -> bool:
        """Tell whether the last line is the prompt; a parity bit and fill characters don't matter."""
        tail = bytes(byte & 0x7F for byte in text[-_DEEP:]).rstrip(b"\0\x7f")
        line = tail[max(tail.rfind(b"\n"), tail.rfind(b"\r")) + 1 :].strip(b"\0\x7f")
        return bool(self._prompt) and line.rstrip(b" ") == self._prompt.strip(b"\r\n").rstrip(b" ")

    def _drain(self) -> Iterator[Event]:
        """Read until the line is silent, within bounds."""
        total, quiet = 0, self._clock() + self._dialogue.silence_s
        while self._clock() < quiet:
            data = self._read(quiet)
            if data:
                yield Received(self._now(), data)
                total += len(data)
                if total > _SLACK + _CHARACTERS_PER_BYTE * self._dialogue.piece:
                    raise self._lost("the line is never silent, though nothing was asked")
                quiet = self._clock() + self._dialogue.silence_s

    # --- commands -------------------------------------------------------------------------------------------------

    def ask(self, ask: Ask) -> Iterator[Event]:
        """Ask for a range and take the answer."""
        yield Asked(self._now(), ask)
        if self._dialogue.line_ms:
            yield from self._wait(self._dialogue.line_ms / 1000)
        yield from self._type(self._dialogue.command(ask.asked.first, ask.asked.last).encode("ascii", "replace"))
        yield AnswerBegan(self._now())
        yield from self._send(self._dialogue.enter.encode("latin-1", "replace"))
        text, ended = yield from self._answer(ask.asked)
        yield from self._learn(text)
        found = heard(text, ask.asked, layout=self._layout, format_name=self._dialogue.format)
        yield Answered(self._now(), ask, found, ended)

    def _type(self, command: bytes) -> Iterator[Event]:
        """Type a command until its echo is right. Its return is not sent here."""
        for _ in range(_TYPED):
            if self._dialogue.echo == "none":
                yield from self._send(command)
                return
            if (yield from self._typed_and_echoed(command)):
                return
            yield Retried(self._now(), "the echo of the command differs from what was typed")
            yield from self._take_back()
        raise self._lost(f"the host never echoed the command {command.decode()!r} as it was typed")

    def _typed_and_echoed(self, command: bytes) -> Telling:
        self._early.clear()
        pieces = [bytes([byte]) for byte in command] if self._dialogue.half_duplex else [command]
        for piece in pieces:
            yield from self._send(piece)
            echo = yield from self._echo(len(piece))
            if bytes(byte & 0x7F for byte in echo) != piece:
                return False
        return True

    def _echo(self, count: int) -> Saying:
        """Return as many characters as were typed, or those that came in time; fill characters don't count."""
        echo = bytearray(byte for byte in self._came_early() if byte & 0x7F)
        limit = self._clock() + _ECHO_S + (_ECHO_CHARACTERS + 2 * count) * self._character_s
        while len(echo) < count and self._clock() < limit:
            data = self._read(limit)
            if data:
                yield Received(self._now(), data)
                echo += bytes(byte for byte in data if byte & 0x7F)
        return bytes(echo)

    def _take_back(self) -> Iterator[Event]:
        """Make the host forget what was typed, and see it prompt."""
        cancel = self._dialogue.cancel.encode("latin-1", "replace")
        for _ in range(_TRIES):
            if self._dialogue.half_duplex:
                yield from self._drain()
            self._early.clear()
            yield from self._send(cancel)
            if not self._prompt:
                yield from self._drain()
                return
            if (yield from self._at_prompt()):
                return
        raise self._lost("the host did not prompt after a garbled command was taken back")

    # --- answers --------------------------------------------------------------------------------------------------

    def _answer(self, asked: Range) -> Generator[Event, None, tuple[bytes, str]]:
        """Return the text of an answer and what ended it."""
        dialogue = self._dialogue
        more, end = dialogue.more.encode("latin-1", "replace"), dialogue.end.encode("latin-1", "replace")
        most = _SLACK + _CHARACTERS_PER_BYTE * max(asked.size, dialogue.piece if dialogue.fixed else 0)
        text = bytearray(self._came_early())
        searched = 0
        quiet = self._clock() + dialogue.silence_s
        try:
            while self._clock() < quiet:
                data = self._read_on(text, quiet)
                if data:
                    yield Received(self._now(), data)
                    text += data
                    quiet = self._clock() + dialogue.silence_s
                if more and (at := text.find(more, searched)) >= 0:
                    searched = at + len(more)
                    yield from self._send(dialogue.more_key.encode("latin-1", "replace"))
                if end and text.find(end, max(0, len(text) - len(data) - len(end))) >= 0:
                    return bytes(text), "the end of the dump came"
                if not data and self._prompts(text):
                    return bytes(text), "the prompt came"
                if len(text) > most:
                    yield Retried(self._now(), f"more than {most} characters came for {asked.size} bytes")
                    yield from self._stop()
                    return bytes(text), "it was cut off"
        except GeneratorExit:
            self._stop_at_once()
            raise
        if self._prompt and self._dialogue.cancel:
            yield Retried(self._now(), "no prompt came after the dump")
            yield from self._take_back()
        return bytes(text), "the host fell silent"

    def _read_on(self, text: bytearray, limit: float) -> bytes:
        """Return what comes in; behind what may be the prompt, wait only for as long as a line would go on at once."""
        if self._ends_with_prompt(text):
            limit = min(limit, self._clock() + max(_PROMPT_S, _PROMPT_CHARACTERS * self._character_s))
        return self._read(limit)

    def _stop(self) -> Iterator[Event]:
        """End a dump that does not end; LostLine where the host goes on talking."""
        if self._dialogue.stop and not self._dialogue.half_duplex:
            yield from self._send(self._dialogue.stop.encode("latin-1", "replace"))
        yield from self._drain()
        if self._prompt and self._dialogue.cancel:
            yield from self._take_back()

    def _stop_at_once(self) -> None:
        """Send the stop key and leave; the line may be gone already."""
        import contextlib

        if self._dialogue.stop and not self._dialogue.half_duplex:
            with contextlib.suppress(BadInput):
                self._port.write(self._dialogue.stop.encode("latin-1", "replace"))

    # --- layout ---------------------------------------------------------------------------------------------------

    def _learn(self, text: bytes) -> Iterator[Event]:
        """Learn the layout of the answers, until it has held for long enough."""
        if self._dialogue.format or self._lines_learnt >= _FIRMLY_LEARNT:
            return
        self._learnt_from += text + b"\n"
        del self._learnt_from[:-_KEPT_FOR_LEARNING]
        self._lines_learnt = self._learnt_from.count(b"\n")
        found = learnt_layout(bytes(self._learnt_from))
        if found and found != self._layout:
            self._layout = found
            yield Learnt(self._now(), str(found))

    def _lost(self, problem: str) -> LostLine:
        return LostLine(problem, advice="see that the dialogue of the host file fits, and the rate with --probe")
