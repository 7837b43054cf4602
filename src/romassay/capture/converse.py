"""The conversation with a host: ask, compare the echo, send the return, take the answer. Bounded in time and memory.

A command is typed without its return, and the return follows only when the echo is what was typed. A garbled command is
taken back with the dialogue's cancel key, and nothing else is typed before the host prompts again. What a former call
may have left half typed is taken back before the first return.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Generator, Iterator, Sequence

from romassay.address import Range
from romassay.capture.answers import Answers, LostLine
from romassay.capture.events import AnswerBegan, Answered, Ask, Asked, Event, Learnt, Received, Retried, Sent, printed
from romassay.capture.port import Port
from romassay.dialogue import Dialogue
from romassay.errors import BadInput

Clock = Callable[[], float]

Telling = Generator[Event, None, bool]
Saying = Generator[Event, None, bytes]

_TRIES = 8
"""Times that a prompt is waited for before the host is given up."""
_SILENT_TWICE = 2
"""The echo of a garbled cancel key may be lost as well: one silence does not prove that the host holds nothing."""
_TYPED = 20
"""Times that a command is typed until its echo is right: where 2 % of the characters come garbled, a third is not."""
_ECHO_S = 1.0
_ECHO_CHARACTERS = 30
_TICK = 0.05
_PROMPT_S = 0.01
_PROMPT_CHARACTERS = 4
"""What looks like a prompt is one if nothing follows for so long, or for so many characters' time."""
_LOOSE = 8
"""A prompt whose digits may be others looks like the beginning of a line: so many times as long must nothing follow."""
_BETWEEN_KEYS = 8
"""Characters' time without a character after which a host that can't listen while it sends has sent its echo."""
_DIGITS = bytes.maketrans(b"123456789abcdefABCDEF", b"0" * 21)
_CHARACTERS_PER_BYTE = 12
_SLACK = 4096
"""An answer may have so many characters for each byte asked, and so many besides, before it is cut off."""
_DEEP = 1 << 12
"""Characters of an unexpected flood that are looked at for a prompt."""
_SHOWN = 24
_BEGINNING = 48
_WORD = 3
_NEAR = 512
"""Characters at the end of a text in which a prompt stands, with all the fill behind it."""


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
    talk = _Talk(port, dialogue, clock, character_s)
    if layout and not dialogue.layout:
        yield talk.take_layout(layout)
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
        self._prompt = self._as_lines(b"\n" + dialogue.prompt.encode("latin-1", "replace")).lstrip(b"\n")
        self._cancel = dialogue.cancel.encode("latin-1", "replace")
        self._on_leaving = b""
        self._answers = Answers(dialogue)
        self._character_s = character_s
        self._early = bytearray()
        self._came = 0
        self._most = _SLACK + _CHARACTERS_PER_BYTE * dialogue.piece
        self._last = b""

    def take_layout(self, layout: str) -> Event:
        """Read answers by a layout that was learnt before; returns the event that tells of it."""
        self._answers.take_layout(layout)
        return Learnt(self._now(), layout)

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
        """Bring the host to its prompt, or take what it says at first for granted where it has none.

        What stands half typed at the host must not be run by the return that wakes it: the cancel key goes first, but
        for a host that takes its rate from the first character.
        """
        wake = (self._dialogue.rate_key or self._dialogue.wake).encode("latin-1", "replace")
        if not self._dialogue.rate_key and (yield from self._cancelled()):
            return
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
        said = f"it last said {printed(self._last)}" if self._last else "it said nothing"
        raise self._lost(f"the host never prompted with {printed(self._prompt)}, {_TRIES} times asked; {said}")

    def _cancelled(self) -> Telling:
        """Send the cancel key while the host says anything at all to it; returns whether it prompts.

        A return sent to a host that holds a garbled character would run it.
        """
        silent = 0
        for _ in range(_TRIES if self._cancel else 0):
            self._early.clear()
            yield from self._press(self._cancel)
            if not (self._prompt and self._dialogue.cancel_prompts):
                yield from self._drain()
                return False
            if (yield from self._at_prompt()):
                return True
            silent += not self._came
            if silent == _SILENT_TWICE or self._came >= self._most:
                break
        return False

    def _press(self, keys: bytes) -> Iterator[Event]:
        """Send keys; a host that can't listen while it sends gets each when it has answered the one before."""
        if len(keys) < 2 or not self._dialogue.half_duplex:
            yield from self._send(keys)
            return
        for byte in keys:
            yield from self._send(bytes([byte]))
            quiet = self._clock() + _BETWEEN_KEYS * self._character_s
            while self._clock() < quiet:
                data = self._read(quiet)
                if data:
                    yield Received(self._now(), data)
                    self._early += data
                    quiet = self._clock() + _BETWEEN_KEYS * self._character_s

    def _at_prompt(self) -> Telling:
        """Wait for the prompt on a new line; returns whether it came before the host fell silent or talked too long.

        On the same line it may be the echo of a garbled key.
        """
        text = bytearray(self._came_early())
        total = len(text)
        quiet = self._clock() + self._dialogue.silence_s
        while self._clock() < quiet and total < self._most:
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
        self._came = total
        self._last = bytes(text[-_SHOWN:])
        return self._prompts(text)

    def _prompts(self, text: bytes | bytearray) -> bool:
        """Tell whether a text ends with the prompt on a line of its own, behind a line end."""
        return bool(self._prompt) and self._is_prompt(self._as_lines(text[-_NEAR:]))

    def _ends_with_prompt(self, text: bytes | bytearray) -> bool:
        """Tell whether the last line is the prompt, be it behind a line end or the first that came."""
        return bool(self._prompt) and self._is_prompt(b"\n" + self._as_lines(text[-_NEAR:]))

    def _is_prompt(self, lines: bytes) -> bool:
        """Tell whether lines end with the prompt; behind a word, such as 'READY.', a new line may have been begun."""
        wanted = b"\n" + self._prompt
        return lines.endswith(wanted) or (len(self._prompt) >= _WORD and lines.endswith(wanted + b"\n"))

    def _as_lines(self, text: bytes | bytearray) -> bytes:
        """Return text as prompts are compared: without parity, fill, empty lines and blanks behind, digits alike."""
        plain = _plain(text).replace(b"\r", b"\n").replace(b"\x7f", b"")
        plain = re.sub(rb"\n[ \n]*", b"\n", plain).rstrip(b" ")
        return plain.translate(_DIGITS) if self._dialogue.any_digits else plain

    def _drain(self) -> Iterator[Event]:
        """Read until the line is silent, within bounds."""
        total, quiet = 0, self._clock() + self._dialogue.silence_s
        while self._clock() < quiet:
            data = self._read(quiet)
            if data:
                yield Received(self._now(), data)
                total += len(data)
                if total > self._most:
                    raise self._lost("the line does not fall silent")
                quiet = self._clock() + self._dialogue.silence_s

    # --- commands -------------------------------------------------------------------------------------------------

    def ask(self, ask: Ask) -> Iterator[Event]:
        """Ask for a range and take the answer. Whoever breaks off leaves the host with nothing half typed."""
        try:
            yield Asked(self._now(), ask)
            if self._dialogue.line_ms:
                yield from self._wait(self._dialogue.line_ms / 1000)
            pieces, start = self._dialogue.keystrokes(ask.asked.first, ask.asked.last)
            yield from self._type([(typed.encode("latin-1"), shown.encode("latin-1")) for typed, shown in pieces])
            yield AnswerBegan(self._now())
            self._on_leaving = b"" if self._dialogue.half_duplex else self._dialogue.stop.encode("latin-1", "replace")
            yield from self._send(start.encode("latin-1", "replace"))
            text, ended = yield from self._answer(ask.asked)
            self._on_leaving = b""
        except (GeneratorExit, KeyboardInterrupt):
            self._leave()
            raise
        if self._answers.learn(text):
            yield Learnt(self._now(), str(self._answers.layout))
        found = self._answers.heard(text, ask.asked)
        yield Answered(self._now(), ask, found, ended, text[:_BEGINNING])

    def _leave(self) -> None:
        """Take back what is half typed, or stop what prints; the line may be gone already."""
        import contextlib

        if self._on_leaving:
            with contextlib.suppress(BadInput):
                self._port.write(self._on_leaving)

    def _type(self, pieces: Sequence[tuple[bytes, bytes]]) -> Iterator[Event]:
        """Type a command until its echo is right. What starts it is not sent here."""
        command = b"".join(typed for typed, _ in pieces)
        for _ in range(_TYPED):
            self._on_leaving = self._cancel
            if self._dialogue.echo == "none":
                yield from self._send(command)
                return
            if (yield from self._typed_and_echoed(pieces)):
                return
            yield Retried(self._now(), "the echo of the command differs from what was typed")
            yield from self._take_back()
        raise self._lost(f"the host never echoed the command {command.decode()!r} as it was typed")

    def _typed_and_echoed(self, pieces: Sequence[tuple[bytes, bytes]]) -> Telling:
        self._early.clear()
        for typed, shown in pieces:
            yield from self._send(typed)
            if (yield from self._echo(shown)) != shown:
                return False
        return True

    def _echo(self, shown: bytes) -> Saying:
        """Return the echo, or what of it came in time or before it was wrong; fill and parity don't count."""
        echo = bytearray(_plain(self._came_early()))
        patience = max(_ECHO_S, self._dialogue.silence_s / 2) + _ECHO_CHARACTERS * self._character_s
        limit = self._clock() + patience + len(shown) * self._character_s
        while len(echo) < len(shown) and shown.startswith(echo) and self._clock() < limit:
            data = self._read(limit)
            if data:
                yield Received(self._now(), data)
                echo += _plain(data)
                limit = self._clock() + patience
        return bytes(echo)

    def _take_back(self) -> Iterator[Event]:
        """Make the host forget what was typed, and see it prompt; one that was reset meanwhile is woken anew."""
        for _ in range(_TRIES):
            if self._dialogue.half_duplex:
                yield from self._drain()
            self._early.clear()
            yield from self._press(self._cancel)
            if not (self._prompt and self._dialogue.cancel_prompts):
                yield from self._drain()
                return
            if (yield from self._at_prompt()):
                return
            if not self._came and self._dialogue.rate_key:
                yield Retried(self._now(), "the host says nothing; it may have been reset")
                yield from self.wake()
                return
        raise self._lost(
            "the host did not prompt after a garbled command was taken back; "
            + (f"it last said {printed(self._last)}" if self._last else "it said nothing")
        )

    # --- answers --------------------------------------------------------------------------------------------------

    def _answer(self, asked: Range) -> Generator[Event, None, tuple[bytes, str]]:
        """Return the text of an answer and what ended it."""
        dialogue = self._dialogue
        more, end = dialogue.more.encode("latin-1", "replace"), dialogue.end.encode("latin-1", "replace")
        most = _SLACK + _CHARACTERS_PER_BYTE * max(asked.size, dialogue.piece if dialogue.fixed else 0)
        text = bytearray(self._came_early())
        searched = 0
        quiet = self._clock() + dialogue.silence_s
        while self._clock() < quiet:
            data = self._read_on(text, quiet)
            if data:
                yield Received(self._now(), data)
                text += data
                quiet = self._clock() + dialogue.silence_s
            if data and dialogue.open_ended and self._answers.cover(text, asked):
                yield from self._stop()
                return bytes(text), "all that was asked for came"
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
        if self._prompt and self._dialogue.cancel:
            yield Retried(self._now(), "no prompt came after the dump")
            yield from self._take_back()
        return bytes(text), "the host fell silent"

    def _read_on(self, text: bytearray, limit: float) -> bytes:
        """Return what comes in; behind what may be the prompt, wait only for as long as a line would go on at once."""
        if self._ends_with_prompt(text):
            wait = max(_PROMPT_S, _PROMPT_CHARACTERS * self._character_s) * (_LOOSE if self._dialogue.any_digits else 1)
            limit = min(limit, self._clock() + wait)
        return self._read(limit)

    def _stop(self) -> Iterator[Event]:
        """End a dump that does not end; LostLine where the host goes on talking."""
        self._early.clear()
        if self._dialogue.stop and not self._dialogue.half_duplex:
            yield from self._send(self._dialogue.stop.encode("latin-1", "replace"))
            if self._prompt and (yield from self._at_prompt()):
                return
        yield from self._drain()
        if self._prompt and self._dialogue.cancel:
            yield from self._take_back()

    def _lost(self, problem: str) -> LostLine:
        advice = "see that the host file fits, and the rate with --probe; then --resume, with --host if you mend it"
        return LostLine(problem, advice=advice)


def _plain(data: bytes | bytearray) -> bytes:
    """Return characters without their parity bits, and without fill."""
    return bytes(byte & 0x7F for byte in data if byte & 0x7F)
