"""From a bench to logs: sweep the window, read it as often as asked, print it, and send it down the line."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from romassay.twin.chance import draw
from romassay.twin.layout import Layout, Terminal
from romassay.twin.model import Bench, Role
from romassay.twin.noise import LineNoise, disturb
from romassay.twin.observe import observe
from romassay.twin.printer import Pass, print_log

Window = Sequence[tuple[int, int]]
"""(first, last) addresses, both included, in the order in which they are read."""


def take(bench: Bench, window: Window, *, session: int = 1, reading: int = 1, role: Role = "specimen") -> Pass:
    """Read the window once and return what was seen."""
    addresses = np.concatenate([np.arange(first, last + 1, dtype=np.int64) for first, last in window])
    data = observe(bench, addresses, session=session, reading=reading, role=role).tobytes()
    result = []
    at = 0
    for first, last in window:
        size = last - first + 1
        result.append((first, data[at : at + size]))
        at += size
    return tuple(result)


def record(
    bench: Bench,
    window: Window,
    layout: Layout,
    *,
    session: int = 1,
    readings: Iterable[int] = (1,),
    role: Role = "specimen",
    noise: LineNoise | None = None,
    terminal: Terminal | None = None,
) -> bytes:
    """Return one log that holds the readings of the given numbers, noise and all.

    Args:
        bench: what is on the bus.
        window: what is read.
        layout: how the host prints it.
        session: the power-up, from 1.
        readings: numbers of the readings, each a pass of the log; they differ in noise and in what changes by itself.
        role: what is in the socket and how the bus is biased.
        noise: of the line, or None.
        terminal: what lies between the host and the file.
    """
    numbers = tuple(readings)
    passes = [take(bench, window, session=session, reading=number, role=role) for number in numbers]
    log = print_log(passes, layout, address_bits=bench.address_bits, terminal=terminal)
    if noise is None:
        return log
    seed = int(draw(bench.seed, "line", session, role, *numbers)[0])
    return disturb(log, noise, seed=seed)
