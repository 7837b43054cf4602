"""The registers of a part as places on the bus: the catalogue's words on its offsets, read."""

from __future__ import annotations

import re

from romassay.code.listing import Place
from romassay.part import Part

_LEVEL = re.compile(r"\bA(\d+)=([01])")
_OFFSET = re.compile(r"\b([0-9A-F])\b")
_ALSO = re.compile(r"\(and ([0-9A-F])\)")
_NOTHING = "-"
_SAME = "same"


def part_registers(part: Part, base: int) -> dict[int, Place]:
    """Return the registers of a part by address, from the address of its first one on.

    A register is called by the part's type number and its offset; beside it stands what it is when it is read and when
    it is written, which may be two things.
    """
    letters = re.sub(r"\W", "", part.type).lower()
    size = max((function.size for function in part.functions if function.kind == "registers"), default=0)
    read: dict[int, str] = {}
    write: dict[int, str] = {}
    for register in part.registers:
        offsets, listed = _offsets(register.offset, size)
        for offset in offsets:
            reads = _one_of(register.read, offset, listed)
            writes = reads if register.write == _SAME else _one_of(register.write, offset, listed)
            for told, text in ((read, reads), (write, writes)):
                if told.get(offset, _NOTHING) == _NOTHING:
                    told[offset] = text
    return {
        base + offset: Place(f"r{letters}_{offset:x}", f"read: {read[offset]}; write: {write[offset]}")
        for offset in sorted(read)
    }


def _offsets(text: str, size: int) -> tuple[list[int], list[int]]:
    """Return the offsets that a line of the catalogue means, and those that it counts up, as '0,1,2,3'.

    It counts them up, or says the level of some address lines, or both: then those of the lower lines are counted up.
    """
    said = text.partition("(")[0]
    levels = [(int(line), int(level)) for line, level in _LEVEL.findall(said)]
    listed = [int(digit, 16) for digit in _OFFSET.findall(_LEVEL.sub("", said)) + _ALSO.findall(text)]
    if not levels:
        return listed, listed
    below = (1 << min(line for line, _ in levels)) - 1
    match = [at for at in range(size) if all(at >> line & 1 == level for line, level in levels)]
    return [at for at in match if not listed or at & below in listed], listed


def _one_of(text: str, offset: int, listed: list[int]) -> str:
    """Return the word that belongs to an offset, where there is one for each of those that are counted up."""
    words = text.split(", ")
    return words[offset % len(listed)] if len(listed) > 1 and len(words) == len(listed) else text
