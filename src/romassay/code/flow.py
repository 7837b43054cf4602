"""Follow the flow of a program: from its entries along jumps, branches and calls to every instruction reached."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from romassay.cpus.decode import Decoder
from romassay.cpus.model import ENDS, Cpu, Instruction


@dataclass(frozen=True, slots=True)
class Followed:
    """What was reached.

    Attributes:
        instructions: by offset; none overlaps another.
        targets: offsets that something goes on at, with the offsets of what does.
        broken: offsets at which the flow ran into bytes that are no instruction, or into the middle of one.
        leaving: addresses outside of the bytes at which it goes on.
        inline: offsets of addresses that stand behind a call, with the offset at which the call goes on.
        likely: offsets of those instructions to which nothing is seen to lead.
    """

    instructions: Mapping[int, Instruction]
    targets: Mapping[int, tuple[int, ...]]
    broken: tuple[int, ...]
    leaving: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    inline: Mapping[int, int] = field(default_factory=dict)
    likely: frozenset[int] = frozenset()


SEP_R4 = 0xD4
"""How a program of the 1802 calls by the standard technique; the address stands behind it."""

SEP_R5 = 0xD5
"""How it returns."""

LEAST_CALLS = 4
"""Such calls, below which nothing is made of them."""


def calls_by_register(cpu: Cpu, data: bytes, origin: int) -> bool:
    """Tell whether a program of the 1802 calls with SEP R4, the address behind it: most such addresses lead inside.

    Source: MPM-201, user manual for the CDP1802 (1976), standard call and return technique; from memory.
    """
    if cpu.name != "1802" or len(data) > 1 << (cpu.address_bits - 1):
        return False
    words = [int.from_bytes(data[at + 1 : at + 3], "big") for at in range(len(data) - 2) if data[at] == SEP_R4]
    inside = sum(origin <= word < origin + len(data) for word in words)
    return inside >= LEAST_CALLS and 2 * inside >= len(words)


_BLANK = re.compile(rb"\xff{8,}|(.)\1{31,}", re.DOTALL)
"""Equal bytes that are padding, though they may be legal instructions: of the usual FF a few are enough."""


def follow(
    cpu: Cpu,
    data: bytes,
    origin: int,
    entries: Iterable[int],
    likely: Iterable[int] = (),
    decoder: Decoder | None = None,
) -> Followed:
    """Follow the flow.

    Args:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: addresses at which to begin; those outside of the bytes are left out.
        likely: offsets of instructions that are taken besides, where the flow left room for them; where they branch to
            is followed only as far as it runs into a known instruction.
        decoder: of these bytes, where they are followed more than once.
    """
    decoder = decoder or Decoder(cpu, data, origin)
    found: dict[int, Instruction] = {}
    covered = bytearray(len(data))
    for blank in _BLANK.finditer(data):
        covered[blank.start() : blank.end()] = b"\1" * len(blank[0])
    targets: dict[int, list[int]] = {}
    leaving: dict[int, list[int]] = {}
    broken: list[int] = []
    inline: dict[int, int] = {}
    by_register = calls_by_register(cpu, data, origin)
    open_ones = [entry - origin for entry in reversed(list(entries)) if 0 <= entry - origin < len(data)]
    while open_ones:
        at = open_ones.pop()
        while at not in found:
            if not 0 <= at < len(data):
                break
            instruction = decoder.at(at)
            if instruction is None or any(covered[at : at + instruction.size]):
                broken.append(at)
                break
            found[at] = instruction
            covered[at : at + instruction.size] = b"\1" * instruction.size
            _note(instruction, at, origin, len(data), targets, leaving, open_ones)
            if instruction.flow in ENDS or (by_register and instruction.form.code[0] == SEP_R5):
                break
            at += instruction.size
            if by_register and instruction.form.code[0] == SEP_R4:
                at = _behind_word(data, at, origin, covered, targets, inline, open_ones)
    besides: set[int] = set()
    led: list[int] = []

    def take(at: int, instruction: Instruction) -> None:
        besides.add(at)
        found[at] = instruction
        covered[at : at + instruction.size] = b"\1" * instruction.size
        _note(instruction, at, origin, len(data), targets, leaving, led)
        if by_register and instruction.form.code[0] == SEP_R4:
            _behind_word(data, at + 1, origin, covered, targets, inline, [])

    for at in likely:
        instruction = None if at in found else decoder.at(at)
        if instruction is not None and not any(covered[at : at + instruction.size]):
            take(at, instruction)
    while led:
        for at, instruction in _joining(decoder, led.pop(), found, covered):
            take(at, instruction)
    return Followed(
        instructions=dict(sorted(found.items())),
        targets={at: tuple(by) for at, by in sorted(targets.items())},
        broken=tuple(sorted(set(broken))),
        leaving={at: tuple(by) for at, by in sorted(leaving.items())},
        inline=dict(sorted(inline.items())),
        likely=frozenset(besides),
    )


def _joining(
    decoder: Decoder, at: int, found: Mapping[int, Instruction], covered: bytearray
) -> list[tuple[int, Instruction]]:
    """Return the instructions from an offset up to one that is known; none where they do not run into it."""
    path: list[tuple[int, Instruction]] = []
    while at not in found:
        instruction = decoder.at(at) if at < len(covered) else None
        if instruction is None or instruction.flow in ENDS or any(covered[at : at + instruction.size]):
            return []
        path.append((at, instruction))
        at += instruction.size
    return path


def _behind_word(
    data: bytes,
    at: int,
    origin: int,
    covered: bytearray,
    targets: dict[int, list[int]],
    inline: dict[int, int],
    open_ones: list[int],
) -> int:
    """Enter the address that stands behind a call, and return the offset behind it."""
    if at + 1 >= len(data) or any(covered[at : at + 2]):
        return at
    goal = int.from_bytes(data[at : at + 2], "big") - origin
    if 0 <= goal < len(data):
        inline[at] = goal
        targets.setdefault(goal, []).append(at - 1)
        open_ones.append(goal)
    covered[at : at + 2] = b"\1\1"
    return at + 2


def _note(
    instruction: Instruction,
    at: int,
    origin: int,
    size: int,
    targets: dict[int, list[int]],
    leaving: dict[int, list[int]],
    open_ones: list[int],
) -> None:
    """Enter where an instruction goes on besides behind itself."""
    if instruction.flow == "skip":
        open_ones.append(at + instruction.size + instruction.form.skips)
    if instruction.target is None:
        return
    goal = instruction.target - origin
    if 0 <= goal < size:
        targets.setdefault(goal, []).append(at)
        open_ones.append(goal)
    else:
        leaving.setdefault(instruction.target, []).append(at)
