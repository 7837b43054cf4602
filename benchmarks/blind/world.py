"""The bench as it really is: a specimen's functions, the host's memory, the bus, and what a read of each address gives.

Plain numpy over whole address lists. `World.read` is the only way to bytes; the expected answer is worked out from the
same values in `truth.py`, never from a log.
"""

from dataclasses import dataclass, field, replace

import numpy as np

BUS_KINDS = ("ff", "00", "high", "low", "opcode", "operand", "previous", "mixture", "decay")


@dataclass(frozen=True)
class Chip:
    """One function: `own` address bits, `fixed` {line: level} on the lines above, all others do not matter."""

    kind: str
    own: int
    fixed: dict[int, int]
    content: np.ndarray
    mask: int = 0xFF
    weak: tuple[tuple[int, int, int, float], ...] = ()  # offset, bit, level it fails to, probability

    def selected(self, address: np.ndarray) -> np.ndarray:
        hit = np.ones(len(address), bool)
        for line, level in self.fixed.items():
            hit &= ((address >> line) & 1) == level
        return hit


@dataclass(frozen=True)
class Bus:
    """What an address says when nobody drives it."""

    kind: str
    opcode: int = 0xB1
    operand: int = 0x40
    lines: tuple[str, ...] = ()
    tau: float = 4.0
    noise: float = 0.0

    def floating(
        self, rng: np.random.Generator, address: np.ndarray, driven: np.ndarray, value: np.ndarray
    ) -> np.ndarray:
        """Values for all addresses in reading order; only those not driven matter."""
        high = ((address >> 8) & 0xFF).astype(np.uint8)
        low = (address & 0xFF).astype(np.uint8)
        count = len(address)
        order = np.arange(count)
        last = np.maximum.accumulate(np.where(driven, order, -1))
        held = np.where(last >= 0, value[np.maximum(last, 0)], self.opcode).astype(np.uint8)
        sources = {"ff": np.full(count, 0xFF, np.uint8), "00": np.zeros(count, np.uint8), "high": high, "low": low}
        sources["opcode"] = np.full(count, self.opcode, np.uint8)
        sources["operand"] = np.full(count, self.operand, np.uint8)
        sources["previous"] = held
        if self.kind == "mixture":
            out = np.zeros(count, np.uint8)
            for bit, name in enumerate(self.lines):
                out |= sources[name] & np.uint8(1 << bit)
        elif self.kind == "decay":
            age = order - last
            out = held.copy()
            gone = 1 - np.exp(-age / self.tau)
            for bit in range(8):
                out |= np.where(rng.random(count) < gone, 1 << bit, 0).astype(np.uint8)
        else:
            out = sources[self.kind].copy()
        if self.noise:
            for bit in range(8):
                out ^= np.where(rng.random(count) < self.noise, 1 << bit, 0).astype(np.uint8)
        return out


@dataclass(frozen=True)
class HostMemory:
    """Host's own memory: it answers before the specimen. `busy` bytes change from read to read."""

    first: int
    content: np.ndarray
    busy: np.ndarray | None = None

    @property
    def last(self) -> int:
        return self.first + len(self.content) - 1


@dataclass(frozen=True)
class World:
    bits: int
    bus: Bus
    chips: tuple[Chip, ...] = ()
    host: tuple[HostMemory, ...] = ()
    flips: dict[int, int] = field(default_factory=dict, compare=False)  # offset -> times a weak bit failed, chip 0

    def without_chips(self) -> "World":
        return replace(self, chips=())

    def owner(self, address: np.ndarray) -> np.ndarray:
        """Per address: -1 floating, -2 host memory, else the number of the chip function."""
        who = np.full(len(address), -1)
        for number, chip in enumerate(self.chips):
            who[chip.selected(address)] = number
        for memory in self.host:
            who[(address >= memory.first) & (address <= memory.last)] = -2
        return who

    def read(self, rng: np.random.Generator, address: np.ndarray) -> np.ndarray:
        """One pass over the addresses in the order given."""
        who = self.owner(address)
        value = np.zeros(len(address), np.uint8)
        for number, chip in enumerate(self.chips):
            rows = np.flatnonzero(who == number)
            if len(rows):
                value[rows] = self._chip(rng, number, chip, address[rows])
        for memory in self.host:
            rows = np.flatnonzero((address >= memory.first) & (address <= memory.last))
            if len(rows):
                at = address[rows] - memory.first
                value[rows] = memory.content[at]
                if memory.busy is not None:
                    moving = memory.busy[at]
                    value[rows[moving]] = rng.integers(0, 256, int(moving.sum()))
        floating = self.bus.floating(rng, address, who != -1, value)
        value = np.where(who == -1, floating, value)
        for number, chip in enumerate(self.chips):
            if chip.mask != 0xFF:
                rows = who == number
                value[rows] = (value[rows] & chip.mask) | (floating[rows] & (0xFF ^ chip.mask))
        return value

    def _chip(self, rng: np.random.Generator, number: int, chip: Chip, address: np.ndarray) -> np.ndarray:
        offset = address & ((1 << chip.own) - 1)
        value = chip.content[offset].copy()
        if chip.kind == "registers":
            timer = (int(rng.integers(0, 256)) - 3 * np.arange(len(address))) & 0xFF
            value = np.where((offset & 4) == 4, timer, value).astype(np.uint8)
        for at, bit, level, chance in chip.weak:
            rows = np.flatnonzero(offset == at)
            if ((int(chip.content[at]) >> bit) & 1) == level:
                continue
            fails = rows[rng.random(len(rows)) < chance]
            value[fails] ^= np.uint8(1 << bit)
            if len(fails) and number == 0:
                self.flips[at] = self.flips.get(at, 0) + len(fails)
        return value


def random_bus(rng: np.random.Generator, kind: str | None = None, *, noise: bool = False) -> Bus:
    """A bus of the kind, or of any."""
    kind = kind or str(rng.choice(BUS_KINDS))
    names = ["ff", "00", "high", "low", "opcode"]
    lines = tuple(str(name) for name in rng.choice(names, 8))
    opcode = int(rng.choice([0xB1, 0xBD, 0xAD, 0x7E, 0x1A, 0xA5, 0xEC]))
    level = float(rng.choice([0.002, 0.01, 0.05])) if noise or kind == "decay" else 0.0
    return Bus(kind, opcode, int(rng.integers(0, 256)), lines, float(rng.uniform(0.7, 30)), level)
