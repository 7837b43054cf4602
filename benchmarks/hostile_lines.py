"""Lines that lead nowhere: how long the program takes to give up, how much memory, and what it says.

    python -m benchmarks.hostile_lines

Each is a real socket on the loopback, and the program a process of its own. 'memory' is the largest resident set of all
calls so far, as the system counts it.
"""

from __future__ import annotations

import random
import resource
import socket
import subprocess
import sys
import tempfile
import threading
import time
from collections.abc import Callable
from pathlib import Path

HOST = Path(__file__).parent.parent / "tests" / "board" / "host.toml"
BLOCK = 1 << 16


def random_bytes(line: socket.socket) -> None:
    """Ten million of them, and then silence."""
    chance = random.Random(1)
    for _ in range(160):
        line.sendall(chance.randbytes(BLOCK))
    silence(line)


def silence(line: socket.socket) -> None:
    """A host that never prompts."""
    while line.recv(BLOCK):
        pass


def prompts_without_end(line: socket.socket) -> None:
    """A host that prompts for ever, asked or not."""
    while True:
        line.sendall(b"\r\n*")


def prompts_at_each_key(line: socket.socket) -> None:
    """A host that answers each key with a prompt."""
    while line.recv(BLOCK):
        line.sendall(b"\r\n*")


def echoes(line: socket.socket) -> None:
    """A line whose two wires are connected."""
    while data := line.recv(BLOCK):
        line.sendall(data)


def one_line_without_end(line: socket.socket) -> None:
    """One line that never ends."""
    while True:
        line.sendall(b"A" * BLOCK)


def floods(line: socket.socket) -> None:
    """A host that echoes and prompts, and answers a dump with ten million random bytes."""
    while data := line.recv(BLOCK):
        for byte in data:
            line.sendall(b"\r\n*" if byte == 0x1B else b"" if byte == 13 else bytes([byte]))
            for _ in range(160 if byte == 13 else 0):
                line.sendall(random.randbytes(BLOCK))


LINES: tuple[Callable[[socket.socket], None], ...] = (
    random_bytes, silence, prompts_without_end, prompts_at_each_key, echoes, one_line_without_end, floods,
)  # fmt: skip


def run(speak: Callable[[socket.socket], None]) -> tuple[float, int, int, str]:
    """Return seconds, megabytes, lines that were printed, and the last of them."""
    with socket.create_server(("127.0.0.1", 0)) as server, tempfile.TemporaryDirectory() as folder:

        def serve() -> None:
            caller, _ = server.accept()
            with caller:
                try:
                    speak(caller)
                except OSError:
                    return

        threading.Thread(target=serve, daemon=True).start()
        url = f"socket://127.0.0.1:{server.getsockname()[1]}"
        words = ["capture", url, "--host", str(HOST), "--window", "0xD000-0xD1FF", "-o", f"{folder}/docket"]
        start = time.monotonic()
        done = subprocess.run([sys.executable, "-m", "romassay", *words], capture_output=True, text=True, check=False)
        took = time.monotonic() - start
    most = resource.getrusage(resource.RUSAGE_CHILDREN).ru_maxrss // 1024
    told = [line for line in done.stderr.splitlines() if line.startswith("romassay:")]
    return took, most, len(told), told[-1] if told else ""


def main() -> None:
    """Measure and print."""
    for speak in LINES:
        took, most, lines, said = run(speak)
        print(f"{speak.__name__:22} {took:6.1f} s  memory {most:4} MB  {lines} line: {said[:110]}", flush=True)


if __name__ == "__main__":
    main()
