"""What readings, images and programs show of themselves: the questions that several doubts turn on."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from romassay.address import merge_ranges
from romassay.code.model import Check, Code
from romassay.code.sums import WIDTHS
from romassay.cpus.model import Name
from romassay.reading import Bytes, ReadingSet
from romassay.settle.model import Image
from romassay.survey.model import Function

ENOUGH = 2
"""Independent readings of every byte that a confirmed image needs."""

RAM_SIZES = (64, 128)
"""Bytes of the RAM in combination chips (6530, 6532: data sheets)."""

DOUBTED = 0.7
"""Chance that a memory which nothing tells apart is not the specimen's ROM. Common practice, no source."""

BLANKS = (0xFF, 0x00)
"""What unused bytes of a ROM hold. Common practice, no source."""

SELDOM = 0.003
"""Chance hits up to which an image's own check tells that it is a whole program."""

LEFT_OUT = 16
"""Bytes at the beginning or end of an image that its own check may leave out. Common practice, no source."""

PLACELESS = ("raw-binary", "bnpf")
"""Formats without addresses."""

SHOWN = 0.9
"""Share of the bytes of a function that a reading of the empty socket must show to tell of it: a few may be lost."""

VECTORED: tuple[Name, ...] = ("6502", "65C02", "6800", "6801", "6809")
"""CPUs whose vectors end the address space (handbooks of the instruction sets)."""


def is_settled(image: Image) -> bool:
    """Tell whether every byte was seen in two readings, and none is in doubt or decided by a person."""
    often = int(image.readings.min(initial=ENOUGH)) >= ENOUGH
    return often and len(image) > 0 and not image.doubtful and not image.decided


def host_known(readings: ReadingSet) -> bool:
    """Tell whether the person said where the host's memory is, or showed it with an empty socket."""
    return bool(readings.excluded) or any(r.role == "empty-socket" for r in readings.readings)


def socket_shows(readings: ReadingSet, function: Function) -> bool:
    """Tell whether the empty socket was read where a function answers: else what it says there is not known."""
    hollow = readings.with_role("empty-socket")
    seen = merge_ranges(span for reading in hollow for span in reading.spans())
    places = [function.place(copy.first) for copy in function.copies]
    shared = sum(both.size for a in seen for b in places if (both := a.intersect(b)))
    return shared >= SHOWN * function.size * len(places)


def shows_places(readings: ReadingSet) -> bool:
    """Tell whether any reading of the specimen has addresses of its own, as far as is known."""
    sources = [reading.source for reading in readings.with_role("specimen")]
    return not sources or not all(s.format in PLACELESS or "address=none" in s.layout.split() for s in sources)


def told_apart(readings: ReadingSet, images: Sequence[Image]) -> bool:
    """Tell whether a second power-up or a control reading tells ROM from RAM, and the specimen from the host."""
    controlled = any(r.role == "empty-socket" for r in readings.readings)
    return controlled and (images[0].confidence.sessions >= ENOUGH or len(images[0]) not in RAM_SIZES)


def tells_of_itself(codes: Sequence[Code], images: Sequence[Image]) -> bool:
    """Tell whether one image, and one alone, makes a check of itself that comes out right: that is a whole program.

    The check must be of all of it, but for a header, the vectors and padding: half of a ROM whose blocks each have a
    check, or that has one of a part, has them too.
    """
    if not codes or any(code.checks for code in codes[1:]):
        return False
    return any(check.chance_hits <= SELDOM and _is_of_all(check, images[0].value) for check in codes[0].checks)


def _is_of_all(check: Check, value: Bytes) -> bool:
    """Tell whether a check leaves out no more of an image than a header, the vectors and padding."""
    left = np.ones(len(value), np.bool_)
    left[check.first : check.last + 1] = False
    if check.stored_at is not None:
        left[check.stored_at : check.stored_at + WIDTHS[check.kind] // 8] = False
    behind = value[check.last + 1 : -LEFT_OUT][left[check.last + 1 : -LEFT_OUT]]
    return int(np.count_nonzero(left[: check.first])) <= LEFT_OUT and len(np.unique(behind)) <= 1


def reads_as_code(codes: Sequence[Code]) -> bool:
    """Tell whether the first image reads as code: neither RAM nor, mostly, tables of a host."""
    return bool(codes) and codes[0].cpu is not None


def ends_in_vectors(codes: Sequence[Code]) -> bool:
    """Tell whether the first image is a program whose vectors end it: no blank bytes follow them."""
    return bool(codes) and codes[0].cpu in VECTORED and any(name == "reset" for name, _ in codes[0].entries)


def bytes_in_words(count: int) -> str:
    """Return a count of bytes as a person says it."""
    return "1 byte" if count == 1 else f"{count} bytes"
