"""A whole board in a process of its own: py65 runs the monitor, its bus carries a twin's specimen, a line leads out.

Run as a program, it prints the place of its line (a pseudo-terminal, or socket://…), and then lives until it is ended.
Seen from outside it is a machine on a bench; nothing here is shared with the program under test but the twin.
"""

from __future__ import annotations

import argparse
import json
import os
import pty
import random
import select
import signal
import socket
import sys
import time
import tty
from collections import deque
from collections.abc import Iterable
from pathlib import Path

import numpy as np
from py65.devices.mpu6502 import MPU

from romassay.twin.model import Bench, Floating, Specimen, function_from_pattern
from romassay.twin.observe import observe

HERE = Path(__file__).parent
PROGRAM = (HERE / "monitor.bin").read_bytes()
DATA, STATUS, ROM = 0xF000, 0xF001, 0xF800
BATCH = 400
FEW = 16
"""Characters on the way beyond which the processor waits for its transmitter."""


def contents(size: int, seed: int) -> bytes:
    """Return the invented contents of a ROM."""
    return random.Random(seed).randbytes(size)


def bench_with(pattern: str, data: bytes) -> Bench:
    """Return a bus with one ROM, and otherwise what was left on the lines."""
    return Bench(16, (Specimen((function_from_pattern("rom", pattern, data),)),), floating=(Floating("address-high"),))


class Noise:
    """What the line does to characters, each way."""

    def __init__(self, rate: float, drop: float, seed: int) -> None:
        self.rate, self.drop = rate, drop
        self.chance = random.Random(seed)

    def __call__(self, byte: int) -> int | None:
        toss = self.chance.random()
        if toss < self.drop:
            return None
        if toss < self.drop + self.rate:
            return self.chance.randrange(0x20, 0x7F)
        return byte


class Bus:
    """RAM, the line, the monitor's ROM, and the specimen on all else."""

    def __init__(self, bench: Bench) -> None:
        self.ram = bytearray(0x800)
        self.table = bytes(observe(bench, np.arange(1 << 16)))
        self.coming: deque[int] = deque()
        self.going: list[int] = []
        self.stray_writes = 0
        self.idle = 0
        self.reads = 0

    def __getitem__(self, address: int) -> int:
        if address < 0x800:
            return self.ram[address]
        if address >= ROM:
            return PROGRAM[address - ROM]
        if address == DATA:
            return self.coming.popleft() if self.coming else 0
        if address == STATUS:
            self.idle += not self.coming
            return int(bool(self.coming))
        self.reads += 1
        return self.table[address]

    def __setitem__(self, address: int, value: int) -> None:
        if address < 0x800:
            self.ram[address] = value & 0xFF
        elif address == DATA:
            self.going.append(value & 0xFF)
        else:
            self.stray_writes += 1


class Paced:
    """Characters that take ten bit times each on the line, one behind the other; none at all where no rate is given."""

    def __init__(self, baud: int) -> None:
        self.each = 10 / baud if baud else 0.0
        self.free_at = 0.0
        self.on_the_way: deque[tuple[float, int]] = deque()

    def put(self, data: Iterable[int]) -> None:
        self.free_at = max(self.free_at, time.monotonic())
        for byte in data:
            self.free_at += self.each
            self.on_the_way.append((self.free_at, byte))

    def arrived(self) -> list[int]:
        result = []
        now = time.monotonic()
        while self.on_the_way and self.on_the_way[0][0] <= now:
            result.append(self.on_the_way.popleft()[1])
        return result

    def wait(self) -> float:
        """Return the seconds until the next arrives, or a while where none is on the way."""
        return max(0.0, self.on_the_way[0][0] - time.monotonic()) if self.on_the_way else 0.2


def serve(bus: Bus, handle: int, noise: Noise, baud: int, report: Path | None, die_after: int) -> None:
    """Run the board; a character takes ten bit times, either way, where a rate is given."""
    mpu = MPU(memory=bus)  # type: ignore[arg-type]
    mpu.pc = PROGRAM[0x7FC] | PROGRAM[0x7FD] << 8
    sent = 0
    coming, going = Paced(baud), Paced(baud)
    while True:
        for _ in range(BATCH if len(going.on_the_way) < FEW else 0):
            mpu.step()
            if bus.idle > 2:
                break
        waiting = bus.idle > 2 and not bus.going
        bus.idle = 0
        going.put(bus.going)
        bus.going.clear()
        bus.coming.extend(b for b in map(noise, coming.arrived()) if b is not None)
        out = bytes(b for b in map(noise, going.arrived()) if b is not None)
        sent += len(out)
        if die_after and sent > die_after:
            out = out[: max(0, len(out) - (sent - die_after))]
        try:
            while out:
                out = out[os.write(handle, out) :]
        except OSError:  # the caller hung up
            return
        if die_after and sent > die_after:
            return
        full = len(going.on_the_way) >= FEW
        patience = min(coming.wait(), going.wait()) if (waiting and not bus.coming) or full else 0
        readable, _, _ = select.select([handle], [], [], patience)
        if readable:
            try:
                data = os.read(handle, 256)
            except OSError:
                data = b""
            if not data:
                return
            coming.put(data)
        if report:
            report.write_text(json.dumps({"writes": bus.stray_writes, "reads": bus.reads}))


def announce(place: str) -> None:
    """Say where the line is."""
    sys.stdout.write(place + "\n")
    sys.stdout.flush()


def main() -> None:
    """Take the options, print the line's place, and serve."""
    options = argparse.ArgumentParser()
    options.add_argument("--pattern", default="1101 00aa aaaa aaaa")
    options.add_argument("--size", type=int, default=1024)
    options.add_argument("--seed", type=int, default=1)
    options.add_argument("--corrupt", type=float, default=0.0)
    options.add_argument("--drop", type=float, default=0.0)
    options.add_argument("--line-seed", type=int, default=1)
    options.add_argument("--baud", type=int, default=0)
    options.add_argument("--tcp", action="store_true")
    options.add_argument("--again", action="store_true", help="serve one caller after the other")
    options.add_argument("--die-after", type=int, default=0, help="close the line after so many characters, once")
    options.add_argument("--report", type=Path)
    said = options.parse_args()
    signal.signal(signal.SIGTERM, lambda *_: sys.exit(0))
    bench = bench_with(said.pattern, contents(said.size, said.seed))
    bus = Bus(bench)
    noise = Noise(said.corrupt, said.drop, said.line_seed)
    if not said.tcp:
        master, slave = pty.openpty()
        tty.setraw(slave)
        announce(os.ttyname(slave))
        serve(bus, master, noise, said.baud, said.report, 0)
        return
    with socket.create_server(("127.0.0.1", 0)) as server:
        announce(f"socket://127.0.0.1:{server.getsockname()[1]}")
        die_after = said.die_after
        while True:
            caller, _ = server.accept()
            with caller:
                bus.coming.clear()
                bus.going.clear()
                serve(bus, caller.fileno(), noise, said.baud, said.report, die_after)
            die_after = 0
            if not said.again:
                return


if __name__ == "__main__":
    main()
