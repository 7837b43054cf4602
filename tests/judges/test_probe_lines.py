"""`--probe` on lines whose rate can be set: a pseudo-terminal, ser2net, and pyserial's own side of RFC 2217.

Behind each is what a UART would deliver at the rate, parity and word length that were set, whichever they are.
"""

from __future__ import annotations

import os
import pty
import socket
import subprocess
import sys
import termios
import threading
import time
import tty
from collections import deque
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.tools import need
from tests.uart import Frame, dump_text, levels_of, received

from romassay.rig import Serial

SPEEDS = {getattr(termios, f"B{baud}"): baud for baud in (110, 150, 300, 600, 1200, 2400, 4800, 9600, 19200, 38400)}
SPEEDS |= {termios.B57600: 57600, termios.B115200: 115200}


class Printing:
    """A host that prints for ever, and a receiver whose settings `settings` tells: what has come since it last said."""

    def __init__(self, baud: int, frame: Frame, settings: Callable[[], Serial]) -> None:
        # long enough that a slow receiver does not hear the same few characters again and again
        self.levels = levels_of(dump_text(5, 40 + baud // 100), frame, pause=20)
        self.baud, self.settings = baud, settings
        self.set: Serial | None = None
        self.start = 0.0
        self.coming: Iterator[tuple[float, int]] = iter(())
        self.next: tuple[float, int] | None = None

    def due(self) -> bytes:
        wanted = self.settings()
        if wanted != self.set or self.next is None:
            self.set, self.start = wanted, time.monotonic()
            self.coming = received(self.levels, self.baud, wanted)
            self.next = next(self.coming, None)
        data = bytearray()
        while self.next and self.start + self.next[0] <= time.monotonic():
            data.append(self.next[1])
            self.next = next(self.coming, None)
        return bytes(data)


@contextmanager
def running(work: Callable[[], None]) -> Iterator[None]:
    """Do a piece of work again and again in a thread."""
    over = threading.Event()

    def loop() -> None:
        while not over.wait(0.02):
            work()

    thread = threading.Thread(target=loop, daemon=True)
    thread.start()
    try:
        yield
    finally:
        over.set()
        thread.join()


@contextmanager
def pseudo_terminal(baud: int, frame: Frame) -> Iterator[str]:
    """Give the place of a pseudo-terminal; it tells the rate that is set, but neither parity nor word length."""
    master, slave = pty.openpty()
    tty.setraw(slave)
    os.set_blocking(master, False)  # nobody may be there yet to take what is printed
    host = Printing(baud, frame, lambda: Serial(kind="ttl", baud=SPEEDS.get(termios.tcgetattr(master)[5], 9600)))

    def work() -> None:
        try:
            os.write(master, host.due())
        except BlockingIOError:
            termios.tcflush(slave, termios.TCIFLUSH)

    with running(work):
        yield os.ttyname(slave)
    os.close(master)
    os.close(slave)


def probed(url: str) -> str:
    run = subprocess.run(
        [sys.executable, "-m", "romassay", "capture", url, "--probe"],
        capture_output=True, text=True, check=False, timeout=300,
    )  # fmt: skip
    return run.stdout.strip() or run.stderr.strip()


@pytest.mark.parametrize(("baud", "frame"), [(19200, Frame(8)), (4800, Frame(7, "odd"))], ids=str)
def test_a_pseudo_terminal_is_probed(baud: int, frame: Frame) -> None:
    with pseudo_terminal(baud, frame) as place:
        assert probed(place) == f"--baud {baud} --data-bits {frame.data_bits} --parity {frame.parity}"


def test_a_raw_socket_has_no_rate_to_find() -> None:
    said = probed("socket://127.0.0.1:9")
    assert said == (
        "romassay: socket://127.0.0.1:9: a raw socket has the rate that is set at its other end; "
        "probe there, or by rfc2217:// where the other end knows it"
    )


def free_port() -> int:
    with socket.create_server(("127.0.0.1", 0)) as free:
        return int(free.getsockname()[1])


def test_a_line_behind_ser2net_is_probed(tmp_path: Path) -> None:
    server, port, table = need("ser2net"), free_port(), tmp_path / "ser2net.yaml"
    with pseudo_terminal(38400, Frame(7, "even")) as place:
        table.write_text(
            f"connection: &one\n    accepter: telnet(rfc2217),tcp,localhost,{port}\n"
            f"    connector: serialdev,{place},9600n81,local\n"
        )
        with subprocess.Popen([server, "-n", "-c", str(table), "-P", str(tmp_path / "pid")]) as process:
            try:
                wanted = f":{port:04X} "
                while wanted not in Path("/proc/net/tcp").read_text() + Path("/proc/net/tcp6").read_text():
                    time.sleep(0.02)
                assert probed(f"rfc2217://127.0.0.1:{port}") == "--baud 38400 --data-bits 7 --parity even"
            finally:
                process.terminate()


class Port:
    """What pyserial's side of an access server needs of a port."""

    def __init__(self) -> None:
        self.baudrate, self.bytesize, self.parity, self.stopbits = 9600, 8, "N", 1
        self.dtr = self.rts = self.cts = self.dsr = self.ri = self.cd = False
        self.xonxoff = self.rtscts = self.break_condition = False

    def reset_input_buffer(self) -> None:
        pass

    reset_output_buffer = reset_input_buffer

    def settings(self) -> Serial:
        parity = {"N": "none", "E": "even", "O": "odd", "M": "mark"}[self.parity]
        return Serial(kind="ttl", baud=int(self.baudrate), data_bits=int(self.bytesize), parity=parity)  # type: ignore[arg-type]


def test_parity_and_word_length_are_set_by_rfc_2217() -> None:
    """Nine bits to a character: found only by a receiver that was set to seven."""
    from serial import rfc2217

    port = Port()
    host = Printing(57600, Frame(7, "none", 1), port.settings)
    with socket.create_server(("127.0.0.1", 0)) as server:

        def serve() -> None:
            caller, _ = server.accept()
            lock = threading.Lock()

            class Wire:
                def write(self, data: bytes) -> None:
                    with lock:
                        caller.sendall(data)

            manager = rfc2217.PortManager(port, Wire())

            def work() -> None:
                data = b"".join(manager.escape(host.due()))
                try:
                    Wire().write(data)
                except OSError:
                    return

            with caller, running(work):
                try:
                    while data := caller.recv(1024):
                        deque(manager.filter(data), maxlen=0)
                except OSError:
                    return

        threading.Thread(target=serve, daemon=True).start()
        said = probed(f"rfc2217://127.0.0.1:{server.getsockname()[1]}")
    assert said == "--baud 57600 --data-bits 7 --parity none --stop-bits 2"
