from __future__ import annotations

import random
from itertools import count, pairwise

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from msgspec.structs import replace
from tests.monitors import DIALOGUE, Clock, Line, Monitor

from romassay.address import Range
from romassay.capture import Answered, Asking, Event, Learnt, Received, Retried, Sent, converse
from romassay.dialogue import Dialogue
from romassay.errors import BadInput

DATA = random.Random(5).randbytes(0x400)
WINDOW = [Range(0x4000, 0x41FF)]


def memory(address: int) -> int:
    return DATA[address & 0x3FF]


def talk(line: Line, clock: Clock, dialogue: Dialogue = DIALOGUE, **kwargs: object) -> tuple[Asking, list[Event]]:
    account = Asking(WINDOW, piece=dialogue.piece, fixed=dialogue.fixed, **kwargs)  # type: ignore[arg-type]
    account.line = 8
    events = []
    for event in converse(line, dialogue, account.next, clock):
        events.append(event)
        if isinstance(event, Answered):
            account.take(event.heard)
    return account, events


def test_a_quiet_line_gives_the_memory_and_every_byte_both_ways_as_an_event() -> None:
    clock = Clock()
    monitor = Monitor(memory)
    line = Line(monitor.feed, clock)
    account, events = talk(line, clock)
    assert account.got == account.needed == account.bytes_asked == 2 * 512
    assert b"".join(e.data for e in events if isinstance(e, Sent)) == bytes(line.sent)
    assert sum(len(e.data) for e in events if isinstance(e, Received)) == line.received
    heard = [piece for e in events if isinstance(e, Answered) for piece in e.heard]
    assert all(piece.values == bytes(memory(piece.first + i) for i in range(len(piece.values))) for piece in heard)
    assert monitor.harm == []


@settings(max_examples=30, deadline=None)
@given(seed=st.integers(0, 1 << 30), corrupt=st.sampled_from([0.005, 0.02]), drop=st.sampled_from([0.0, 0.002]))
def test_no_garbled_command_is_ever_run(seed: int, corrupt: float, drop: float) -> None:
    clock = Clock()
    monitor = Monitor(memory)
    account, _ = talk(Line(monitor.feed, clock, corrupt=corrupt, drop=drop, seed=seed), clock)
    assert account.got == account.needed
    assert monitor.harm == []
    # an echo that comes back right by two errors in a row is one in ten thousand commands
    assert all(command.startswith("D 4") and len(command) == 11 for command in monitor.commands)


def test_a_layout_is_learnt_where_none_is_given() -> None:
    clock = Clock()
    account, events = talk(Line(Monitor(memory).feed, clock), clock, replace(DIALOGUE, layout=""))
    assert account.got == account.needed
    assert next(e.layout for e in events if isinstance(e, Learnt)).startswith("where=line address=hex4")


def test_a_half_duplex_host_gets_one_character_at_a_time() -> None:
    clock = Clock()
    monitor = Monitor(memory)

    def deaf_while_it_sends(data: bytes) -> bytes:
        return monitor.feed(data[:1])

    account, _ = talk(Line(deaf_while_it_sends, clock), clock, replace(DIALOGUE, half_duplex=True))
    assert account.got == account.needed


def test_pauses_between_characters_and_lines_are_kept() -> None:
    times: list[float] = []
    clock = Clock()
    monitor = Monitor(memory)

    def timed(data: bytes) -> bytes:
        times.append(clock.now)
        assert len(data) == 1
        return monitor.feed(data)

    slow = replace(DIALOGUE, character_ms=30, line_ms=200)
    account, _ = talk(Line(timed, clock), clock, slow)
    assert account.got == account.needed
    assert min(b - a for a, b in pairwise(times)) >= 0.029


def test_a_long_dump_that_waits_is_told_to_go_on() -> None:
    clock = Clock()
    held: list[bytes] = []

    class Paging(Monitor):
        def dump(self, first: int, last: int) -> bytes:
            pages = [super(Paging, self).dump(a, min(last, a + 63)) for a in range(first, last + 1, 64)]
            held[:] = pages[1:]
            return pages[0]

        def feed(self, data: bytes) -> bytes:
            if held and data == b" ":
                page = held.pop(0)
                return b"\r\n" + page + (b"\r\n-- more --" if held else b"\r\n*")
            out = super().feed(data)
            return out.removesuffix(b"\r\n*") + b"\r\n-- more --" if held else out

    account, _ = talk(Line(Paging(memory).feed, clock), clock, replace(DIALOGUE, more="-- more --"))
    assert account.got == account.needed == account.bytes_asked


def test_a_host_without_echo_sends_checked_records() -> None:
    clock = Clock()

    def record(kind: int, address: int, data: bytes) -> str:
        body = bytes([len(data), address >> 8, address & 0xFF, kind]) + data
        return f":{body.hex().upper()}{-sum(body) & 0xFF:02X}\r\n"

    def reader(data: bytes) -> bytes:
        if not data.startswith(b"d "):
            return b"\r\n>" if data in (b"\n", b"\x03") else b""
        held.append(data)
        return b""

    held: list[bytes] = []

    def feed(data: bytes) -> bytes:
        if data == b"\n" and held:
            try:
                first, last = (int(x, 16) for x in held.pop().split()[1:])
            except ValueError:
                return b"?\r\n>"
            rows = (
                record(0, a, bytes(map(memory, range(a, min(last + 1, a + 16))))) for a in range(first, last + 1, 16)
            )
            return ("".join(rows) + ":00000001FF\r\n>").encode()
        return reader(data)

    dialogue = Dialogue(
        dump="d {first:04X} {last:04X}",
        prompt=">",
        enter="\n",
        echo="none",
        cannot_write=True,
        wake="\n",
        format="intel-hex",
        silence_s=0.5,
    )
    account, _ = talk(Line(feed, clock, corrupt=0.002, seed=3), clock, dialogue)
    assert account.got == account.needed


def test_a_stop_sends_the_stop_key_while_a_dump_prints() -> None:
    clock = Clock()
    line = Line(Monitor(memory).feed, clock)
    account = Asking(WINDOW)
    conversation = converse(line, DIALOGUE, account.next, clock)
    began = False
    for event in conversation:
        began |= type(event).__name__ == "AnswerBegan"
        if began and isinstance(event, Received):
            break
    conversation.close()  # type: ignore[attr-defined]
    assert line.sent.endswith(b"\x1b")


def hostile_random(data: bytes) -> bytes:
    return random.Random(data).randbytes(10_000_000 // 16)


@pytest.mark.parametrize(
    ("feed", "says"),
    [
        (lambda _: b"", 'the host never prompted with "*", 8 times asked; it said nothing'),
        (lambda data: data, 'the host never prompted with "*", 8 times asked; it last said '),
        (hostile_random, 'the host never prompted with "*", 8 times asked; it last said '),
        (lambda _: b"\r\n*", "the host never echoed the command 'D 4000,40FF' as it was typed"),
        (lambda data: b"\r\n*" if data in (b"\r", b"\x1b") else b"", "the host never echoed"),
        (lambda data: data + b"\r\n*" if data == b"\r" else data, "the host did not prompt after a garbled command"),
    ],
    ids=["silent", "echoes only", "random", "prompts for ever", "deaf", "never answers a dump"],
)
def test_a_hostile_line_ends_soon_and_says_what_is_wrong(feed: object, says: str) -> None:
    clock = Clock()
    line = Line(feed, clock)  # type: ignore[arg-type]
    if "garbled" in says:
        line = Line(lambda d: b"\r\n*" if not line.sent[:-1] else b"x" * len(d), clock)
    with pytest.raises(BadInput) as error:
        talk(line, clock)
    assert says in str(error.value)
    assert clock.now < 150
    assert line.received < 2_000_000


def test_an_endless_answer_is_cut_off_and_the_capture_given_up() -> None:
    clock = Clock()
    numbers = count()
    flood = random.Random(2).randbytes(1 << 16)
    line = Line(lambda data: data, clock)

    def feed(data: bytes) -> bytes:
        if data in (b"\x1b",) or (data == b"\r" and next(numbers) == 0):
            line.coming.clear()
            return b"\r\n*"
        return flood if data == b"\r" else data

    line.feed = feed
    with pytest.raises(BadInput, match="the last 16 answers of the host hold nothing"):
        talk(line, clock)
    assert line.received < 16 * 20_000


def test_a_retry_says_why() -> None:
    clock = Clock()
    _, events = talk(Line(Monitor(memory).feed, clock, corrupt=0.02, seed=1), clock)
    reasons = {e.reason for e in events if isinstance(e, Retried)}
    assert "the echo of the command differs from what was typed" in reasons
