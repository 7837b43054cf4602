"""Readings of a faulty bench: the demo's invented program in a window with mirrors, and what a fault makes of it."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from importlib.resources import files

import numpy as np
import numpy.typing as npt

from romassay.chain import Assay, Options, assay
from romassay.finding import Finding
from romassay.reading import Bytes, Index, Reading, Source, reading_of

Change = Callable[[Bytes], Bytes]
Move = Callable[[Index], Index]

FIRST, COUNT = 0x8000, 0x1000
"""The window: the ROM answers where A10 is low, so twice; elsewhere the bus floats high."""

FOG: Bytes = np.frombuffer(files("romassay.twin.demo").joinpath("fog_signal.bin").read_bytes(), np.uint8)


def window(image: Bytes = FOG, *, data: Change | None = None, address: Move | None = None) -> Bytes:
    """Return what one pass over the window says, with faults between the specimen and the bus."""
    where = np.arange(FIRST, FIRST + COUNT)
    seen = address(where) if address else where
    value = image[seen & (len(image) - 1)]
    value = data(value) if data else value
    return np.where(where & 0x400 == 0, value, np.uint8(0xFF)).astype(np.uint8)


def readings(*passes: Bytes, session: tuple[str | None, ...] = ()) -> list[Reading]:
    """Return each pass as a reading of its own."""
    made = []
    for number, value in enumerate(passes):
        reading = reading_of([(FIRST, value.tobytes())], unit="hex-digit")
        conditions = replace(reading.conditions, session=session[number] if session else None)
        source = Source(name=f"pass-{number + 1}.log", sha256=f"{number:064x}")
        made.append(replace(reading, source=source, conditions=conditions))
    return made


def told(*passes: Bytes, size: int | None = 1024) -> Assay:
    """Assay the passes; one alone is read twice."""
    several = passes if len(passes) > 1 else (*passes, *passes)
    return assay(readings(*several), Options(size=size))


def first(result: Assay, kind: str) -> Finding:
    """Return the finding of a kind; it is an error if there is none."""
    return next(finding for finding in result.findings if finding.kind == kind)


def swapped_data(order: tuple[int, ...]) -> Change:
    """Let the specimen's line `order[i]` arrive on bus line i."""

    def change(value: Bytes) -> Bytes:
        out = np.zeros_like(value)
        for bus, line in enumerate(order):
            out |= ((value >> line & 1) << bus).astype(np.uint8)
        return out

    return change


def swapped_address(order: tuple[int, ...]) -> Move:
    """Let bus line `order[i]` reach the specimen's address line i."""

    def move(address: Index) -> Index:
        out: npt.NDArray[np.int64] = address & ~((1 << len(order)) - 1)
        for line, bus in enumerate(order):
            out |= (address >> bus & 1) << line
        return out

    return move
