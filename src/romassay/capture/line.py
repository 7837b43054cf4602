"""The line to a host: bytes sent at its pace, what comes in handed out as events, waits that end.

Whatever waits is bounded, in time by the dialogue's silence and in characters by what a piece may take.
"""

from __future__ import annotations

from collections.abc import Callable, Generator, Iterator

from romassay.capture.answers import LostLine
from romassay.capture.events import Event, Received, Sent
from romassay.capture.port import Port
from romassay.capture.prompt import Prompt
from romassay.dialogue import Dialogue

Clock = Callable[[], float]

Telling = Generator[Event, None, bool]

_TICK = 0.05
"""Seconds that one read of the port lasts at most."""
_PROMPT_S = 0.01
_PROMPT_CHARACTERS = 4
"""What looks like a prompt is one if nothing follows for so long, or for so many characters' time."""
_LOOSE = 8
"""A prompt whose digits may be others looks like the beginning of a line: so many times as long must nothing follow."""
_BETWEEN_KEYS = 8
"""Characters' time without a character after which a host that can't listen while it sends has sent its echo."""
_CHARACTERS_PER_BYTE = 12
_SLACK = 4096
"""An answer may have so many characters for each byte asked, and so many besides, before it is cut off."""
_DEEP = 1 << 12
"""Characters of an unexpected flood that are looked at for a prompt."""
_SHOWN = 24
"""Characters of what a host said last that are shown."""


class HostLine:
    """An open line to one host.

    Attributes:
        prompt: of the host.
        character_s: seconds that a character takes.
        came: characters that came when a prompt was last waited for in vain.
        last: the end of them.
    """

    def __init__(self, port: Port, dialogue: Dialogue, clock: Clock, character_s: float) -> None:
        self._port = port
        self._dialogue = dialogue
        self._start = clock()
        self._early = bytearray()
        self._bound = self.most(dialogue.piece)
        self.clock = clock
        self.prompt = Prompt(dialogue)
        self.character_s = character_s
        self.came = 0
        self.last = b""

    def most(self, size: int) -> int:
        """Return the characters that an answer of so many bytes may have."""
        return _SLACK + _CHARACTERS_PER_BYTE * size

    def now(self) -> float:
        """Return the seconds since the conversation began."""
        return self.clock() - self._start

    def send(self, data: bytes) -> Iterator[Event]:
        """Send bytes, with the host's pause after each where it needs one."""
        pause = self._dialogue.character_ms / 1000
        for piece in (bytes([byte]) for byte in data) if pause else (data,):
            self._port.write(piece)
            yield Sent(self.now(), piece)
            if pause:
                yield from self.wait(pause)

    def send_at_once(self, data: bytes) -> None:
        """Send bytes without the host's pauses and without telling: the conversation is broken off."""
        self._port.write(data)

    def wait(self, seconds: float) -> Iterator[Event]:
        """Let time pass; what comes in meanwhile is handed out, and kept for whoever waits for an answer next."""
        end = self.clock() + seconds
        while (left := end - self.clock()) > 0:
            data = self._port.read(min(left, _TICK))
            if data:
                yield Received(self.now(), data)
                self._early += data
                del self._early[:-_DEEP]

    def forget(self) -> None:
        """Drop what came in during the pauses of sending."""
        self._early.clear()

    def came_early(self) -> bytes:
        """Return what came in during the pauses of sending, once."""
        data = bytes(self._early)
        self._early.clear()
        return data

    def read(self, limit: float) -> bytes:
        """Return what comes in before the clock shows `limit`, at most a tick's worth."""
        return self._port.read(max(0.0, min(limit - self.clock(), _TICK)))

    def press(self, keys: bytes) -> Iterator[Event]:
        """Send keys; a host that can't listen while it sends gets each when it has answered the one before."""
        if len(keys) < 2 or not self._dialogue.half_duplex:
            yield from self.send(keys)
            return
        for byte in keys:
            yield from self.send(bytes([byte]))
            quiet = self.clock() + _BETWEEN_KEYS * self.character_s
            while self.clock() < quiet:
                data = self.read(quiet)
                if data:
                    yield Received(self.now(), data)
                    self._early += data
                    quiet = self.clock() + _BETWEEN_KEYS * self.character_s

    def at_prompt(self) -> Telling:
        """Wait for the prompt on a new line; returns whether it came before the host fell silent or talked too long.

        On the same line it may be the echo of a garbled key.
        """
        text = bytearray(self.came_early())
        total = len(text)
        quiet = self.clock() + self._dialogue.silence_s
        while self.clock() < quiet and total < self._bound:
            data = self.read_on(text, quiet)
            if not data:
                if self.prompt.on_new_line(text):
                    return True
                continue
            yield Received(self.now(), data)
            total += len(data)
            text += data
            del text[:-_DEEP]
            quiet = self.clock() + self._dialogue.silence_s
        self.came = total
        self.last = bytes(text[-_SHOWN:])
        return self.prompt.on_new_line(text)

    def drain(self) -> Iterator[Event]:
        """Read until the line is silent, within bounds."""
        total, quiet = 0, self.clock() + self._dialogue.silence_s
        while self.clock() < quiet:
            data = self.read(quiet)
            if data:
                yield Received(self.now(), data)
                total += len(data)
                if total > self._bound:
                    raise self.lost("the line does not fall silent")
                quiet = self.clock() + self._dialogue.silence_s

    def read_on(self, text: bytearray, limit: float) -> bytes:
        """Return what comes in; behind what may be the prompt, wait only for as long as a line would go on at once."""
        if self.prompt.on_last_line(text):
            wait = max(_PROMPT_S, _PROMPT_CHARACTERS * self.character_s) * (_LOOSE if self._dialogue.any_digits else 1)
            limit = min(limit, self.clock() + wait)
        return self.read(limit)

    def lost(self, problem: str) -> LostLine:
        """Return the error for a host that can no longer be followed."""
        advice = "see that the host file fits, and the rate with --probe; then --resume, with --host if you mend it"
        return LostLine(problem, advice=advice)
