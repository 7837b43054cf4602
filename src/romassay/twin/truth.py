"""What is true of a bench, found by trying every address and every line: the measure for what a survey says.

Nothing here reasons about selects. A line counts as decoded when changing it alone stops the function from answering,
as the function's own when it changes which byte answers, and as ignored when it changes nothing.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from typing import Literal

import numpy as np
import numpy.typing as npt

from romassay.twin.model import Bench, Function, Kind, Specimen
from romassay.twin.observe import Truths, offsets, on_bus, reaches, selected

Decode = Literal["0", "1", "any"]


@dataclass(frozen=True, slots=True)
class FunctionTruth:
    """One function of one specimen, over the whole bus.

    Attributes:
        specimen: index into the bench's specimens.
        kind: rom, ram or registers.
        name: the part's name for it.
        size: bytes that can be told apart on this bus: held address pins halve it.
        width: data bits that it drives.
        driven: host data lines that it drives, as a bit mask.
        own: bus lines that count inside the function, lowest first.
        decode: the level of every other bus line.
        image: bytes of a ROM as the host's data lines show them, in the order of the bus lines in `own`; lines that it
            does not drive hold 1; empty for the others.
        copies: the first address of every copy, lowest first.
    """

    specimen: int
    kind: Kind
    name: str
    size: int
    width: int
    driven: int
    own: tuple[int, ...]
    decode: dict[int, Decode]
    image: bytes
    copies: tuple[int, ...]


def _everything(bits: int) -> npt.NDArray[np.int64]:
    return np.arange(1 << bits, dtype=np.int64)


def _halves(column: npt.NDArray[np.generic], line: int) -> tuple[npt.NDArray[np.generic], npt.NDArray[np.generic]]:
    """Return the column at the addresses with the line low, and at the same ones with it high."""
    pairs = column.reshape(-1, 2, 1 << line)
    return pairs[:, 0, :], pairs[:, 1, :]


def _function_truth(bench: Bench, number: int, specimen: Specimen, function: Function) -> FunctionTruth:
    everything = _everything(bench.address_bits)
    chosen = selected(function, everything)
    place = offsets(function, everything)
    own: list[int] = []
    decode: dict[int, Decode] = {}
    for line in range(bench.address_bits):
        low, high = _halves(chosen, line)
        if np.array_equal(low, high):
            place_low, place_high = _halves(place, line)
            if np.array_equal(place_low[low], place_high[high]):
                decode[line] = "any"
            else:
                own.append(line)
        else:
            decode[line] = "1" if high.any() else "0"
    own_mask = sum(1 << line for line in own)
    copies = everything[chosen & reaches(specimen, everything) & (everything & own_mask == 0)]
    inside = np.zeros(1 << len(own), np.int64)
    for position, line in enumerate(own):
        inside |= (np.arange(len(inside)) >> position & 1) << line
    driven = specimen.on_bus(function.driven)
    image = b""
    if function.kind == "rom" and len(copies):
        cells = np.frombuffer(function.data, np.uint8)[offsets(function, copies[0] + inside)]
        image = (on_bus(specimen, cells) | np.uint8(0xFF & ~driven)).tobytes()
    return FunctionTruth(
        specimen=number,
        kind=function.kind,
        name=function.name or function.kind,
        size=1 << len(own),
        width=driven.bit_count(),
        driven=driven,
        own=tuple(own),
        decode=decode,
        image=image,
        copies=tuple(int(c) for c in copies),
    )


def truth(bench: Bench) -> tuple[FunctionTruth, ...]:
    """Return the truth about every function that answers anywhere, in the order of the specimens."""
    return tuple(
        found
        for number, specimen in enumerate(bench.specimens)
        for function in specimen.functions
        if (found := _function_truth(bench, number, specimen, function)).copies
    )


def answering(bench: Bench, item: FunctionTruth, addresses: npt.NDArray[np.int64]) -> Truths:
    """Tell for each address whether the function answers there, whoever else may drive the bus."""
    result = np.ones(len(addresses), np.bool_)
    for line, wanted in item.decode.items():
        if wanted != "any":
            result &= addresses >> line & 1 == int(wanted)
    return result & (addresses < 1 << bench.address_bits)


def exercised(bench: Bench, item: FunctionTruth, ranges: Iterable[tuple[int, int]]) -> dict[int, bool]:
    """Tell for each decoded or ignored line whether the ranges show what it does.

    A line is exercised when two addresses outside the host's memory differ in it alone, both were read, and the
    function answers at one of them at least.

    Args:
        bench: what is on the bus.
        item: one of its functions.
        ranges: (first, last) addresses that were read, both included.
    """
    everything = _everything(bench.address_bits)
    seen = np.zeros(len(everything), np.bool_)
    for first, last in ranges:
        seen[first : last + 1] = True
    seen &= reaches(bench.specimens[item.specimen], everything)
    for memory in bench.memory:
        seen[memory.first : memory.last + 1] = False
    answers = answering(bench, item, everything)
    result: dict[int, bool] = {}
    for line in item.decode:
        seen_low, seen_high = _halves(seen, line)
        low, high = _halves(answers, line)
        both = seen_low.astype(np.bool_) & seen_high.astype(np.bool_)
        result[line] = bool((both & (low.astype(np.bool_) | high.astype(np.bool_))).any())
    return result
