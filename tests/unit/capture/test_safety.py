"""No return follows an echo that differs, and no command but a dump is ever formed: over all shipped hosts, any noise.

A command that the host holds garbled although its echo came back right takes two errors on one character, the second
turning the first back; or a character that the line itself turns into the return. No program at this end can prevent
either. The line of this test notes both: without one, nothing else may ever run.
"""

from __future__ import annotations

import contextlib
import random
from collections import deque

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from tests.hosts import Host, Noise, Wire
from tests.monitors import Clock

from romassay.address import Range
from romassay.capture import AnswerBegan, Answered, Asking, converse
from romassay.catalogue import host_names, load_host
from romassay.dialogue import Dialogue
from romassay.errors import BadInput

DIALOGUES = {name: d for name in host_names() if (d := load_host(name).dialogue)}
WINDOW = Range(0x8000, 0x807F)


class AnyHost(Host):
    """A host that talks as a dialogue says, but for what its line garbles: it runs whatever stands before a return."""

    def __init__(self, dialogue: Dialogue) -> None:
        super().__init__()
        self.dialogue = dialogue
        self.prompt, self.echoes = dialogue.prompt, dialogue.echo == "all"
        self.cancel = ord(dialogue.cancel) if dialogue.cancel else 3
        self.per_line = 16 if "cells=16" in dialogue.layout else 8
        self.returns = 0
        self.deaf = dialogue.half_duplex
        self.stops = dialogue.stop.encode()

    def hear(self, byte: int) -> bytes:
        entered = chr(byte & 0x7F) == self.dialogue.enter
        self.returns += entered
        return super().hear(13 if entered else byte)

    def run(self, line: str) -> bytes:
        self.commands.append(line)
        return self.dump(0x8000, 0x801F)


class Watched(Wire):
    """A wire that checks, at each return, that the echo of what was typed before it came back right.

    Attributes:
        beyond_us: how often an error may have turned another back, or made a return.
    """

    def __init__(self, host: AnyHost, clock: Clock, noise: Noise) -> None:
        super().__init__(host, clock)
        self.board, self.dialogue = host, host.dialogue
        self.link.noise = self.noised
        self.noise = noise
        self.typed, self.echo = b"", b""
        self.beyond_us = 0

    def noised(self, byte: int) -> int | None:
        result = self.noise(byte)
        if result is not None and result != byte:
            self.beyond_us += bytes([result & 0x7F]) in self.typed
        return result

    def write(self, data: bytes) -> None:
        if data == self.dialogue.enter.encode():
            assert self.echo == self.typed or self.dialogue.echo == "none"
            self.typed = self.echo = b""
        elif data == self.dialogue.cancel.encode():
            self.typed = self.echo = b""
        else:
            self.typed += data
        before = self.board.returns
        super().write(data)
        self.beyond_us += data != self.dialogue.enter.encode() and self.board.returns - before

    def read(self, timeout: float) -> bytes:
        data = super().read(timeout)
        if self.typed:
            self.echo += bytes(byte & 0x7F for byte in data if byte & 0x7F)
        return data


@settings(max_examples=25, deadline=None)
@given(
    seed=st.integers(0, 1 << 30), corrupt=st.sampled_from([0.0, 0.01, 0.05, 0.3]), drop=st.sampled_from([0, 0.01, 0.1])
)
@pytest.mark.parametrize("name", DIALOGUES)
def test_no_return_follows_an_echo_that_differs(name: str, seed: int, corrupt: float, drop: float) -> None:
    dialogue, clock = DIALOGUES[name], Clock()
    host = AnyHost(dialogue)
    wire = Watched(host, clock, Noise(corrupt, drop, seed))
    account = Asking([WINDOW], piece=32)
    commands = {dialogue.command(a, b) for a in range(0x8000, 0x8080) for b in range(a, min(a + 32, 0x8080))}
    with contextlib.suppress(BadInput):  # a line that is too bad is given up
        for event in converse(wire, dialogue, account.next, clock):
            if isinstance(event, Answered):
                account.take(event.heard)
            if len(host.commands) > 40:
                break
    strange = [line for line in host.commands if line not in commands]
    assert not strange or wire.beyond_us or dialogue.cannot_write
    harmful = [line for line in strange if line.lstrip().upper().startswith(dialogue.writes_or_runs or ("\0",))]
    assert not harmful or wire.beyond_us


@pytest.mark.parametrize("name", DIALOGUES)
def test_whoever_breaks_off_leaves_nothing_half_typed(name: str) -> None:
    """The iterator is closed after each of the first events in turn; then a person presses return at the host."""
    dialogue = DIALOGUES[name]
    for number in range(40):
        clock = Clock()
        host = AnyHost(dialogue)
        wire = Wire(host, clock)
        conversation = converse(wire, dialogue, Asking([WINDOW]).next, clock)
        began = 0
        for count, event in enumerate(conversation):
            began += isinstance(event, AnswerBegan)
            if count == number:
                break
        conversation.close()  # type: ignore[attr-defined]
        before = len(host.commands)
        host.hear(ord(dialogue.enter))
        assert host.commands[before:] == [] or dialogue.cannot_write or began
        if host.commands[before:]:
            assert host.commands[before:] == [dialogue.command(0x8000, 0x807F)] or dialogue.cannot_write


def test_ctrl_c_while_it_waits_takes_back_what_is_half_typed_and_stops_what_prints() -> None:
    dialogue = DIALOGUES["monitor-two-strobes"]

    class Impatient(Wire):
        left = 0

        def read(self, timeout: float) -> bytes:
            self.left -= 1
            if self.left == 0:
                raise KeyboardInterrupt
            return super().read(timeout)

    for number in random.Random(4).sample(range(2, 300), 30):
        clock = Clock()
        host = AnyHost(dialogue)
        wire = Impatient(host, clock)
        wire.left = number
        with pytest.raises(KeyboardInterrupt):
            deque(converse(wire, dialogue, Asking([WINDOW]).next, clock), maxlen=0)
        typed = bytes(wire.sent).rpartition(b"\x03")[2]
        assert b"D" not in typed, "a command stands half typed, or a dump prints on"
