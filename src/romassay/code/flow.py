"""Follow the flow of a program: from its entries along jumps, branches and calls to every instruction reached."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from romassay.code.inline import Inline, always_calls, words_behind
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
        inline: offsets of addresses that stand behind a call, with the offset at which it goes on.
        behind: (first, end) of everything else that stands behind a call and is no instruction.
        likely: offsets of those instructions to which nothing is seen to lead.
    """

    instructions: Mapping[int, Instruction]
    targets: Mapping[int, tuple[int, ...]]
    broken: tuple[int, ...]
    leaving: Mapping[int, tuple[int, ...]] = field(default_factory=dict)
    inline: Mapping[int, int] = field(default_factory=dict)
    behind: Mapping[int, int] = field(default_factory=dict)
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


@dataclass(frozen=True, slots=True)
class Behind:
    """What routines take from behind their calls, by their address, and what is known to begin at an offset."""

    routines: Mapping[int, Inline] = field(default_factory=dict)
    begins: Callable[[int], bool] = lambda _: False


def follow(
    cpu: Cpu,
    data: bytes,
    origin: int,
    entries: Iterable[int],
    likely: Iterable[int] = (),
    decoder: Decoder | None = None,
    behind: Behind | None = None,
    apart: Iterable[tuple[int, int]] = (),
) -> Followed:
    """Follow the flow.

    Args:
        cpu: the instruction set.
        data: the bytes.
        origin: address of the first.
        entries: addresses at which to begin; those outside of the bytes are left out.
        likely: offsets of instructions that are taken besides, where the flow left room for them; where they branch to
            is followed only as far as it runs into a known instruction, or is itself called and ends.
        decoder: of these bytes, where they are followed more than once.
        behind: what stands behind calls.
        apart: (first, end) of what only the flow from the entries may enter, such as texts.
    """
    walk = _Walk(decoder or Decoder(cpu, data, origin), behind or Behind())
    walk.reach([entry - origin for entry in reversed(list(entries)) if 0 <= entry - origin < len(data)])
    return walk.result(walk.add(likely, apart))


_TAKEN, _APART = b"\1", b"\2"
"""Bytes that something covers, and those that only the flow from the entries and calls may enter."""


class _Walk:
    """The state of following the flow through one image."""

    def __init__(self, decoder: Decoder, behind: Behind) -> None:
        self.decoder, self.behind = decoder, behind
        self.data, self.origin = decoder.data, decoder.origin
        self.by_register = calls_by_register(decoder.cpu, self.data, self.origin)
        self.found: dict[int, Instruction] = {}
        self.covered = bytearray(len(self.data))
        for blank in _BLANK.finditer(self.data):
            self._cover(blank.start(), blank.end())
        self.targets: dict[int, list[int]] = {}
        self.leaving: dict[int, list[int]] = {}
        self.broken: set[int] = set()
        self.inline: dict[int, int] = {}
        self.inline_data: dict[int, int] = {}

    def reach(self, open_ones: list[int]) -> None:
        """Take every instruction that is reached from some offsets."""
        while open_ones:
            at: int | None = open_ones.pop()
            while at is not None and at not in self.found and 0 <= at < len(self.data):
                instruction = self._free(at)
                if instruction is None:
                    self.broken.add(at)
                    break
                at = self._take(at, instruction, open_ones)

    def add(self, likely: Iterable[int], apart: Iterable[tuple[int, int]]) -> set[int]:
        """Take likely instructions where there is room, and what leads on from them; return all that were taken."""
        for first, end in apart:
            free = self.covered[first:end].replace(b"\0", _APART)
            self.covered[first:end] = free
        besides: set[int] = set()
        led: list[int] = []
        for at in likely:
            instruction = None if at in self.found else self._free(at)
            if instruction is not None:
                besides.add(at)
                self._take(at, instruction, led)
        while led:
            for at, instruction in self._joining(led.pop()):
                besides.add(at)
                self._take(at, instruction, led)
        return besides

    def result(self, besides: set[int]) -> Followed:
        """Return all that was found."""
        return Followed(
            instructions=dict(sorted(self.found.items())),
            targets={at: tuple(by) for at, by in sorted(self.targets.items())},
            broken=tuple(sorted(self.broken)),
            leaving={at: tuple(by) for at, by in sorted(self.leaving.items())},
            inline=dict(sorted(self.inline.items())),
            behind=dict(sorted(self.inline_data.items())),
            likely=frozenset(besides),
        )

    def _cover(self, first: int, end: int) -> None:
        self.covered[first:end] = _TAKEN * (end - first)

    def _free(self, at: int) -> Instruction | None:
        """Return the instruction at an offset, where there is one and nothing else covers its bytes."""
        instruction = self.decoder.at(at)
        if instruction is None or self.covered.count(0, at, at + instruction.size) < instruction.size:
            return None
        return instruction

    def _take(self, at: int, instruction: Instruction, open_ones: list[int]) -> int | None:
        """Enter an instruction; return the offset at which it goes on behind itself, if it does."""
        self.found[at] = instruction
        following = at + instruction.size
        self._cover(at, following)
        self._note(at, instruction, open_ones)
        if self.by_register and instruction.form.code[0] == SEP_R5:
            return None
        if instruction.flow in ENDS:
            self._table_of_jumps(at, instruction, open_ones)
            return None
        if self.by_register and instruction.form.code[0] == SEP_R4:
            return self._behind_word(following, open_ones)
        if instruction.target is not None and always_calls(instruction):
            return self._behind_call(following, instruction.target, at, open_ones)
        return following

    def _note(self, at: int, instruction: Instruction, open_ones: list[int]) -> None:
        """Enter where an instruction goes on besides behind itself."""
        if instruction.flow == "skip":
            open_ones.append(at + instruction.size + instruction.form.skips)
        if instruction.target is None:
            return
        goal = instruction.target - self.origin
        if 0 <= goal < len(self.data):
            self.targets.setdefault(goal, []).append(at)
            open_ones.append(goal)
        else:
            self.leaving.setdefault(instruction.target, []).append(at)

    def _joining(self, at: int) -> list[tuple[int, Instruction]]:
        """Return the instructions from an offset up to one that is known, or up to the end of a routine."""
        path: list[tuple[int, Instruction]] = []
        called = any(self.found[by].flow == "call" for by in self.targets.get(at, ()) if by in self.found)
        while at not in self.found:
            instruction = self._free(at) if at < len(self.data) else None
            if instruction is None:
                return []
            path.append((at, instruction))
            if instruction.flow in ENDS:
                return path if called and len(path) >= _LEAST_ROUTINE else []
            at += instruction.size
        return path

    def _behind_word(self, at: int, open_ones: list[int]) -> int | None:
        """Enter the address that stands behind a call of the 1802, and return the offset behind it."""
        if at + 1 >= len(self.data) or any(self.covered[at : at + 2]):
            return at
        target = int.from_bytes(self.data[at : at + 2], "big")
        goal = target - self.origin
        self._cover(at, at + 2)
        if 0 <= goal < len(self.data):
            self._lead(at, goal, at - 1, open_ones)
        return self._behind_call(at + 2, target, at - 1, open_ones)

    def _lead(self, at: int, goal: int, by: int, open_ones: list[int]) -> None:
        """Enter an address that stands at an offset, and where it leads."""
        self.inline[at] = goal
        self.targets.setdefault(goal, []).append(by)
        open_ones.append(goal)

    def _behind_call(self, at: int, target: int, by: int, open_ones: list[int]) -> int | None:
        """Enter what a routine takes from behind its call; return the offset at which the flow goes on, if it does."""
        inline = self.behind.routines.get(target)
        if inline is None:
            return at
        if inline.kind == "words":
            goals = words_behind(self.decoder, at, self.behind.begins)
            if not goals or _TAKEN in self.covered[at : at + 2 * len(goals)]:
                return at
            for number, goal in enumerate(goals):
                self._lead(at + 2 * number, goal, by, open_ones)
            self._cover(at, at + 2 * len(goals))
            return None
        end = inline.end(self.data, at)
        if end is None or _TAKEN in self.covered[at:end]:
            return at
        self.inline_data[at] = end
        self._cover(at, end)
        return end

    def _table_of_jumps(self, at: int, instruction: Instruction, open_ones: list[int]) -> None:
        """Enter the jumps of a table of them that a JMP @A+DPTR goes to (8051)."""
        if instruction.form.text != "jmp @a+dptr":
            return
        for before in range(at - 1, max(-1, at - _BEFORE), -1):
            setter = self.found.get(before)
            if setter is not None and setter.form.text == "mov dptr,#{}":
                goal = setter.values[0].number - self.origin
                first = self.decoder.at(goal) if 0 <= goal < len(self.data) else None
                jump = first
                while jump is not None and first is not None and jump.flow == "jump" and jump.size == first.size:
                    self.targets.setdefault(goal, []).append(at)
                    open_ones.append(goal)
                    goal += jump.size
                    jump = self.decoder.at(goal) if goal < len(self.data) else None
                return


_LEAST_ROUTINE = 3
"""Instructions of a routine that only likely code calls."""

_BEFORE = 16
"""Bytes before a jump within which the base of its table is loaded."""
