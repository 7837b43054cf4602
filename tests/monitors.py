"""A host of Python instead of a board: the same monitor as in tests/board, answered in no time. And a line to it.

The line's clock is its own: waiting costs nothing, so that silence, time-outs and floods can be tested by the hundred.
"""

from __future__ import annotations

import random
import socket
import threading
from collections.abc import Callable

from romassay.capture.port import Unplugged
from romassay.dialogue import Dialogue

LAYOUT = 'address=hex4 after="  " cells=8 cell=hex2 gap=" "'
DIALOGUE = Dialogue(
    prompt="*",
    dump="D {first:04X},{last:04X}",
    cancel="\x1b",
    stop="\x1b",
    wake="\r",
    writes_or_runs=("M", "G"),
    silence_s=0.6,
    layout=LAYOUT,
)


class Monitor:
    """Takes characters and gives characters; counts the commands that would have written or run."""

    def __init__(self, memory: Callable[[int], int]) -> None:
        self.memory = memory
        self.line = ""
        self.harm: list[str] = []
        self.commands: list[str] = []

    def feed(self, data: bytes) -> bytes:
        return b"".join(self._take(byte & 0x7F) for byte in data)

    def _take(self, byte: int) -> bytes:
        if byte == 0x1B:
            self.line = ""
            return b"\r\n*"
        if byte != 13:
            self.line += chr(byte)
            return bytes([byte])
        line, self.line = self.line, ""
        return b"\r\n" + (self._run(line) if line else b"") + b"\r\n*"

    def _run(self, line: str) -> bytes:
        self.commands.append(line)
        if line[0] in "MG":
            self.harm.append(line)
        try:
            first, last = (int(part, 16) for part in line.removeprefix("D ").split(","))
        except ValueError:
            return b"?"
        return self.dump(first, last)

    def dump(self, first: int, last: int) -> bytes:
        rows, at = [], first
        while at <= last:
            end = min(last, at | 7)
            cells = " ".join(f"{self.memory(a):02X}" for a in range(at, end + 1))
            rows.append(f"{at:04X}  {cells}")
            at = end + 1
        return "\r\n".join(rows).encode()


class Clock:
    def __init__(self) -> None:
        self.now = 0.0

    def __call__(self) -> float:
        return self.now


class Line:
    """A port with a host at its other end.

    Args:
        feed: the host.
        clock: moved on by what is sent, what comes and what is waited for.
        corrupt: share of characters that arrive as another one, both ways.
        drop: share that does not arrive.
        seed: of the chance.
        unplug_after: characters from the host after which the line is gone.
    """

    def __init__(
        self,
        feed: Callable[[bytes], bytes],
        clock: Clock,
        *,
        corrupt: float = 0.0,
        drop: float = 0.0,
        seed: int = 0,
        unplug_after: int | None = None,
    ) -> None:
        self.feed, self.clock = feed, clock
        self.corrupt, self.drop = corrupt, drop
        self.chance = random.Random(seed)
        self.coming = bytearray()
        self.left = unplug_after
        self.received = 0
        self.sent = bytearray()
        self.closed = False

    def through(self, data: bytes) -> bytes:
        if not (self.corrupt or self.drop):
            return data
        result = bytearray()
        for byte in data:
            toss = self.chance.random()
            if toss < self.corrupt:
                result.append(self.chance.randrange(0x20, 0x7F))
            elif toss >= self.corrupt + self.drop:
                result.append(byte)
        return bytes(result)

    def write(self, data: bytes) -> None:
        self.sent += data
        self.coming += self.through(self.feed(self.through(data)))

    def read(self, timeout: float) -> bytes:
        if not self.coming:
            self.clock.now += max(timeout, 1e-4)
            return b""
        data = bytes(self.coming[: self.chance.randint(1, 200)])
        if self.left is not None:
            data = data[: self.left]
            self.left -= len(data)
            if not data:
                raise Unplugged("the line is gone", place="test")
        del self.coming[: len(data)]
        self.clock.now += len(data) * 0.001
        self.received += len(data)
        return data

    def close(self) -> None:
        self.closed = True

    def __enter__(self) -> Line:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()


class Server:
    """A monitor behind a real socket on the loopback, one caller after the other."""

    def __init__(self, memory: Callable[[int], int], *, corrupt: float = 0.0, pause: float = 0.0) -> None:
        self.monitor = Monitor(memory)
        self.noise = Line(lambda data: data, Clock(), corrupt=corrupt)
        self.pause = pause
        self.server = socket.create_server(("127.0.0.1", 0))
        self.url = f"socket://127.0.0.1:{self.server.getsockname()[1]}"
        self.stopped = threading.Event()
        self.hang_up_after: int | None = None
        self.thread = threading.Thread(target=self._serve, daemon=True)
        self.thread.start()

    def _serve(self) -> None:
        while not self.stopped.is_set():
            try:
                caller, _ = self.server.accept()
            except OSError:
                return
            with caller:
                self._talk(caller)

    def _talk(self, caller: socket.socket) -> None:
        self.monitor.line = ""
        left = self.hang_up_after
        try:
            while data := caller.recv(4096):
                answer = self.noise.through(self.monitor.feed(self.noise.through(data)))
                for at in range(0, len(answer), 64):
                    piece = answer[at : at + 64]
                    if left is not None:
                        piece, left = piece[:left], left - len(piece)
                    caller.sendall(piece)
                    if left is not None and left <= 0:
                        self.hang_up_after = None
                        return
                    if self.pause:
                        self.stopped.wait(self.pause)
        except OSError:
            return

    def __enter__(self) -> Server:
        return self

    def __exit__(self, *_: object) -> None:
        self.stopped.set()
        self.server.close()
