"""What the bytes of an image say about themselves: `read_code` gives the CPU, the origin, the entries and the checks.

A stage of the chain, after the faults and before the verdict; pure, from the settled bytes to a `Code`.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

import numpy as np
import numpy.typing as npt

from romassay.code.checks import own_checks
from romassay.code.evidence import SAMPLE, Evidence, weigh
from romassay.code.identify import candidates
from romassay.code.model import NO_VECTOR, Code
from romassay.code.origin import origins
from romassay.code.structure import structure
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.columns import CALL, ILLEGAL, JUMP
from romassay.cpus.likeness import Segmented, segment
from romassay.cpus.model import Cpu
from romassay.finding import Finding
from romassay.settle.model import Image

__all__ = ["Code", "about_code", "read_code"]

SURE = 0.4
"""Probability from which on an origin is given."""

NOT_CODE = 0.9
"""Probability from which on a finding says that the bytes are no code."""

_NIBBLE = 4
"""Bits of a narrow memory, such as a lookup table: nobody expects code there."""

_SPACE = 0x10000
_JUMPS = (JUMP, CALL)


def read_code(images: Sequence[Image]) -> tuple[Code, ...]:
    """Return what each image says about itself, in the order of the images."""
    return tuple(code_of(image.value) for image in images)


def code_of(data: npt.NDArray[np.uint8]) -> Code:
    """Return what bytes say about themselves.

    Args:
        data: uint8[n], the image.
    """
    evidence = weigh(data)
    ranked = candidates(data, evidence)
    name = ranked[0][0]
    if name is None:
        return Code(None, ranked, checks=own_checks(data))
    cpu = cpu_of(name)
    division = _division(cpu, data, evidence)
    places = origins(cpu, data, division)
    if not places.references:
        division = structure(cpu, data)[1]
        places = origins(cpu, data, division)
    origin = places.ranked[0][0] if places.references and places.ranked[0][1] >= SURE else None
    entries = () if origin is None else tuple(_entries(cpu, data, division, origin))
    vectors = _SPACE - min((address for _, address in cpu.vectors), default=_SPACE)
    return Code(
        cpu=name,
        candidates=ranked,
        origin=origin,
        origins=places.ranked if places.references else (),
        entries=entries,
        checks=own_checks(data, vectors=vectors, order="big" if cpu.big_endian else "little"),
        references=places.references,
    )


def _division(cpu: Cpu, data: npt.NDArray[np.uint8], evidence: Sequence[Evidence]) -> Segmented:
    if len(data) <= SAMPLE:
        for item in evidence:
            if item.wide == cpu.name:
                return item.division
    return segment(cpu, data)


def entries_at(cpu: Cpu, data: npt.NDArray[np.uint8], origin: int) -> tuple[tuple[str, int], ...]:
    """Return (name, address) at which the program begins and interrupts go, for an image of a known CPU and origin."""
    return tuple(_entries(cpu, data, segment(cpu, data, origin), origin))


def _entries(cpu: Cpu, data: npt.NDArray[np.uint8], division: Segmented, origin: int) -> Iterator[tuple[str, int]]:
    starts = set(division.starts.tolist())
    pointed = [item for item in _by_vectors(cpu, data, origin) if item[1] - origin in starts]
    known = [*pointed, *_by_place(cpu, division, origin, starts)]
    order = {"reset": 0}
    yield from sorted(dict.fromkeys(known), key=lambda item: order.get(item[0], 1))
    if not known and (0 in starts or _jumps_inside(division, origin, starts)):
        yield NO_VECTOR, origin


def _jumps_inside(division: Segmented, origin: int, starts: set[int]) -> bool:
    """Tell whether the first bytes are a jump to an instruction."""
    columns = division.columns
    jumps = len(columns.flow) > 0 and columns.ident[0] != ILLEGAL and int(columns.flow[0]) == JUMP
    return jumps and (int(columns.absolute[0]) - origin in starts or int(columns.near[0]) in starts)


def _by_vectors(cpu: Cpu, data: npt.NDArray[np.uint8], origin: int) -> Iterator[tuple[str, int]]:
    """Yield what the vectors at the top of memory hold, where the image reaches there or its end answers there too."""
    for name, address in cpu.vectors:
        at = len(data) - (_SPACE - address)
        if at >= 0:
            word = int.from_bytes(data[at : at + 2].tobytes(), "big" if cpu.big_endian else "little")
            if 0 <= word - origin < len(data):
                yield name, word


def _by_place(cpu: Cpu, division: Segmented, origin: int, starts: set[int]) -> Iterator[tuple[str, int]]:
    """Yield the fixed entries that hold code: the reset any, the others a jump, or what is called or begins a piece."""
    flow, ident = division.columns.flow, division.columns.ident
    called = set(division.columns.absolute[division.starts].tolist())
    for name, address in cpu.entries:
        at = address - origin
        if not 0 <= at < len(flow) or ident[at] == ILLEGAL:
            continue
        begins = at in starts and (at == 0 or not division.code[at - 1] or address in called)
        if name == "reset" or int(flow[at]) in _JUMPS or begins:
            yield name, address


def _moving_bits(data: npt.NDArray[np.uint8]) -> int:
    """Return how many of the eight bits are not the same in every byte."""
    return int(np.bitwise_or.reduce(data, initial=0) ^ np.bitwise_and.reduce(data, initial=0xFF)).bit_count()


def about_code(codes: Sequence[Code], images: Sequence[Image]) -> Iterator[Finding]:
    """Yield a finding for each image that looks like no code; it keeps nothing from being confirmed."""
    for code, image in zip(codes, images, strict=True):
        if code.cpu is None and code.no_code >= NOT_CODE and _moving_bits(image.value) > _NIBBLE:
            yield Finding(
                "not-code",
                blocks=False,
                function=image.function,
                probability=round(code.no_code, 3),
                evidence="the bytes are not like code of any CPU that is known here; they may be tables, text, a "
                "character generator, code of another CPU, or code behind swapped lines",
                advice="where code is expected, check the order of the data and address lines",
            )
