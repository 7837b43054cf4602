"""A specimen on the bench with one fault in it: what a read of each address gives, and which finding is right.

A `Bench` holds one ROM of one size in a window with mirrors, RAM, registers and a floating bus, as a combination chip
has them, or a plain ROM. `read` gives one pass; the fault acts where it acts on the bench: on the lines between the
specimen and the bus, or on the bus.
"""

from dataclasses import dataclass, field, replace

import numpy as np
from benchmarks.blind.world import Bus, random_bus

Bytes = np.ndarray


@dataclass(frozen=True)
class Answer:
    """What a right finding says: one of the kinds, and these lines, mapping or places; None where they don't matter.

    The first kind is the fault itself; the others are what would read the same.
    """

    kinds: tuple[str, ...]
    lines: frozenset[str] | None = None
    mapping: dict[str, str] | None = None


@dataclass
class Wiring:
    """Faults by place; each is None, or what the lines do.

    Attributes:
        address: specimen address from bus address, given a generator.
        data: what the specimen's byte becomes on the bus, given the byte that floats there.
        bus: what every byte of the window becomes on its way to the host.
    """

    address: object = None
    data: object = None
    bus: object = None


@dataclass
class Bench:
    """A specimen, its bus and its window.

    Attributes:
        rom: its bytes.
        own: log2 of them.
        selects: levels of bus lines at which it answers; others do not matter.
        window: first address, and how many.
        ram: level of lines and 64 bytes, or None.
        registers: level of lines and 16 bytes, or None.
    """

    rom: Bytes
    own: int
    selects: dict[int, int]
    window: tuple[int, int]
    floating: Bus
    ram: tuple[dict[int, int], Bytes] | None = None
    registers: tuple[dict[int, int], Bytes] | None = None
    host: tuple[int, Bytes] | None = None
    wiring: Wiring = field(default_factory=Wiring)
    slow: float = 0.0
    sag: float = 0.0
    latched: bool = False

    def addresses(self) -> Bytes:
        return np.arange(self.window[0], self.window[0] + self.window[1])

    def read(self, rng: np.random.Generator) -> Bytes:
        address = self.addresses()
        seen = self.wiring.address(address, rng) if self.wiring.address else address
        value = np.zeros(len(address), np.uint8)
        driven = np.zeros(len(address), bool)
        at = seen
        here = _selected(at, self.selects)
        if self.latched:
            starts = here & ~np.r_[False, here[:-1]]
            held = np.maximum.accumulate(np.where(starts, np.arange(len(at)), 0))
            value = np.where(here, self.rom[at[held] & (len(self.rom) - 1)], value)
        else:
            value = np.where(here, self.rom[at & (len(self.rom) - 1)], value)
        driven |= here
        if self.ram:
            hit = _selected(at, self.ram[0])
            value, driven = np.where(hit, self.ram[1][at & 63], value), driven | hit
        if self.registers:
            hit = _selected(at, self.registers[0])
            timer = (int(rng.integers(0, 256)) - np.arange(len(at)) // 3) & 0xFF
            content = np.where(at & 4, timer, self.registers[1][at & 15])
            value, driven = np.where(hit, content, value), driven | hit
        value = value.astype(np.uint8)
        if self.slow:
            value = _slow(rng, value, driven, self.slow)
        if self.sag:
            value = _sag(rng, value, driven, self.sag)
        floating = self.floating.floating(rng, address, driven, value)
        if self.wiring.data:
            value = self.wiring.data(value, floating, rng)
            floating = self.floating.floating(rng, address, driven, value)  # a bus keeps what was on the bus
        value = np.where(driven, value, floating).astype(np.uint8)
        if self.wiring.bus:
            value = self.wiring.bus(value, rng)
        if self.host:
            first, content = self.host
            hit = (address >= first) & (address < first + len(content))
            theirs = content[np.clip(address - first, 0, len(content) - 1)]
            value = np.where(hit, np.where(driven, value & theirs, theirs), value).astype(np.uint8)
        return value


def _selected(address: Bytes, levels: dict[int, int]) -> Bytes:
    hit = np.ones(len(address), bool)
    for line, level in levels.items():
        hit &= (address >> line & 1) == level
    return hit


def _slow(rng: np.random.Generator, value: Bytes, driven: Bytes, rate: float) -> Bytes:
    """Bits that must change from the byte before come too late, now and then; the worse the more bits change."""
    before = np.r_[value[:1], value[:-1]]
    changes = np.bitwise_count(value ^ before)
    late = driven & (rng.random(len(value)) < rate * changes / 4)
    mask = rng.integers(0, 256, len(value)).astype(np.uint8)
    return np.where(late, value ^ ((value ^ before) & mask), value).astype(np.uint8)


def _sag(rng: np.random.Generator, value: Bytes, driven: Bytes, rate: float) -> Bytes:
    """Bytes with many ones lose some of them, now and then."""
    ones = np.bitwise_count(value).astype(float)
    fails = driven & (rng.random(len(value)) < rate * (ones / 8) ** 4 * 4)
    mask = (rng.integers(0, 256, len(value)) | rng.integers(0, 256, len(value))).astype(np.uint8)
    return np.where(fails, value & mask, value).astype(np.uint8)


def bench_of(rng: np.random.Generator, rom: Bytes, *, combination: bool) -> Bench:
    """Lay a ROM out in a window of four to eight times its size."""
    own = len(rom).bit_length() - 1
    width = own + int(rng.integers(2, 4)) if own > 10 else own + int(rng.integers(2, 5))
    base = int(rng.integers(0, 1 << (16 - width))) << width if width < 16 else 0
    inside = list(range(own, width))
    count = int(rng.integers(1, len(inside)))
    selects = {int(line): int(rng.integers(0, 2)) for line in rng.choice(inside, count, replace=False)}
    for line in range(width, 16):
        if rng.random() < 0.5:
            selects[line] = base >> line & 1
    bus = random_bus(rng, str(rng.choice(["ff", "ff", "ff", "high", "low", "opcode", "00", "previous", "mixture"])))
    bench = Bench(rom, own, selects, (base, 1 << width), bus)
    if combination:
        line = int(rng.choice([n for n in inside if n in selects]))
        common = {n: level for n, level in selects.items() if n >= width} | {line: 1 - selects[line]}
        split = int(rng.integers(6, 10))
        levels = {6: 1, 7: 1, split: 0}
        ram = {**common, **{n: int(rng.integers(0, 2)) for n in (6, 7, 8, 9)}, split: 1}
        io = {**common, **levels}
        bench = replace(
            bench,
            ram=(ram, rng.integers(0, 256, 64).astype(np.uint8)),
            registers=(io, rng.choice(np.array([0x00, 0xFF, 0x7F, 0x3C], np.uint8), 16)),
        )
    return bench
