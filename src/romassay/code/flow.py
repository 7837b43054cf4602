"""Follow the flow of a program: from its entries along jumps, branches and calls to every instruction reached."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field

from romassay.cpus.decode import decode
from romassay.cpus.model import ENDS, Cpu, Instruction


@dataclass(frozen=True, slots=True)
class Followed:
    """What was reached.

    Attributes:
        instructions: by offset; none overlaps another.
        targets: offsets that something goes on at, with the offsets of what does.
        broken: offsets at which the flow ran into bytes that are no instruction, or into the middle of one.
        leaving: addresses outside of the bytes at which it goes on.
    """

    instructions: Mapping[int, Instruction]
    targets: Mapping[int, tuple[int, ...]]
    broken: tuple[int, ...]
    leaving: Mapping[int, tuple[int, ...]] = field(default_factory=dict)


def follow(cpu: Cpu, data: bytes, origin: int, entries: Iterable[int]) -> Followed:
    """Follow the flow.

    Args:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: addresses at which to begin; those outside of the bytes are left out.
    """
    found: dict[int, Instruction] = {}
    covered = bytearray(len(data))
    targets: dict[int, list[int]] = {}
    leaving: dict[int, list[int]] = {}
    broken: list[int] = []
    open_ones = [entry - origin for entry in reversed(list(entries)) if 0 <= entry - origin < len(data)]
    while open_ones:
        at = open_ones.pop()
        while at not in found:
            if not 0 <= at < len(data):
                break
            instruction = decode(cpu, data, at, origin + at)
            if instruction is None or any(covered[at : at + instruction.size]):
                broken.append(at)
                break
            found[at] = instruction
            covered[at : at + instruction.size] = b"\1" * instruction.size
            _note(instruction, at, origin, len(data), targets, leaving, open_ones)
            if instruction.flow in ENDS:
                break
            at += instruction.size
    return Followed(
        instructions=dict(sorted(found.items())),
        targets={at: tuple(by) for at, by in sorted(targets.items())},
        broken=tuple(sorted(set(broken))),
        leaving={at: tuple(by) for at, by in sorted(leaving.items())},
    )


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
