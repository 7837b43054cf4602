"""The faults: each makes a case from a bench, with the finding that is right.

`CASES` maps a name to a function `(rng, draws) -> Case`. The same generator state gives the same case.
"""

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np
from benchmarks.blind.world import Bus

from .bench import Answer, Bench, Bytes, Wiring
from .draws import Draws


@dataclass
class Case:
    """Readings, options of the call, what is right, fault by fault, and the true image (None where there is none)."""

    readings: list[tuple[Bytes, Bytes]]
    options: list[str]
    answers: tuple[Answer, ...]
    rom: Bytes | None
    note: dict[str, object] = field(default_factory=dict)


def _taken(
    rng: np.random.Generator, bench: Bench, options: list[str], note: dict, *answers: Answer, least: int = 1
) -> Case:
    count = max(least, int(rng.integers(1, 5)))
    address = bench.addresses()
    readings = [(address, bench.read(rng)) for _ in range(count)]
    return Case(readings, options, answers, bench.rom, note)


def faultless(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    return _taken(rng, bench, options, note)


HELD = 1 / 3
"""So often is a line that stands where the bus floats held there, against once that its wire is broken: nothing in a
log tells the two apart. Common practice, no source."""


def data_stuck(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    whole = rng.random() < 0.5
    while True:
        line, level = int(rng.integers(0, 8)), int(rng.integers(0, 2))
        may_float = _floats_at(bench.floating, line) == level and not (whole and bench.floating.kind in ("high", "low"))
        if not may_float or rng.random() < HELD:
            break
    mask = np.uint8(1 << line)

    def stuck(value: Bytes, *_: object) -> Bytes:
        return value | mask if level else value & ~mask

    bench.wiring = Wiring(bus=stuck) if whole else Wiring(data=stuck)
    kinds = ("data-line-stuck", "data-line-open") if may_float else ("data-line-stuck",)
    return _taken(rng, bench, options, {**note, "line": line, "level": level, "whole": whole}, Answer(kinds, _d(line)))


def _floats_at(bus: Bus, line: int) -> int | None:
    """The level at which a data line floats, or None where it is not one level."""
    if bus.kind in ("ff", "00"):
        return int(bus.kind == "ff")
    if bus.kind == "opcode":
        return bus.opcode >> line & 1
    if bus.kind == "operand":
        return bus.operand >> line & 1
    if bus.kind == "mixture" and bus.lines[line] in ("ff", "00", "opcode"):
        return {"ff": 1, "00": 0, "opcode": bus.opcode >> line & 1}[bus.lines[line]]
    return None


def _d(*lines: int) -> frozenset[str]:
    return frozenset(f"D{n}" for n in lines)


def _a(*lines: int) -> frozenset[str]:
    return frozenset(f"A{n}" for n in lines)


def data_open(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    if bench.floating.kind == "previous":
        bench.floating = Bus("ff")
    if rng.random() < 0.25:
        bench.floating = replace(bench.floating, noise=0.2)
    lines = sorted(int(n) for n in rng.choice(8, int(rng.choice([1, 1, 1, 2])), replace=False))
    mask = np.uint8(sum(1 << n for n in lines))
    noisy = bench.floating.noise

    def opened(value: Bytes, floating: Bytes, _: object) -> Bytes:
        return (value & ~mask) | (floating & mask)

    bench.wiring = Wiring(data=opened)
    kinds: tuple[str, ...] = ("data-line-open",)
    if not noisy and all(_floats_at(bench.floating, n) is not None for n in lines):
        kinds += ("data-line-stuck",)
    note = {**note, "lines": lines, "noise": noisy}
    return _taken(rng, bench, options, note, Answer(kinds, _d(*lines)), least=2 if noisy else 1)


def data_bridged(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    a, b = sorted(int(n) for n in rng.choice(8, 2, replace=False))
    low = rng.random() < 0.6
    both = np.uint8(1 << a | 1 << b)

    def bridged(value: Bytes, *_: object) -> Bytes:
        one, other = value >> a & 1, value >> b & 1
        wins = one & other if low else one | other
        return (value & ~both) | wins * both

    bench.wiring = Wiring(bus=bridged) if rng.random() < 0.5 else Wiring(data=bridged)
    return _taken(rng, bench, options, {**note, "lines": (a, b), "low": low}, Answer(("data-lines-bridged",), _d(a, b)))


def permuted(value: Bytes, order: list[int]) -> Bytes:
    """Return bytes in which line `order[i]` of the specimen arrives on data line i."""
    out = np.zeros_like(value)
    for to, source in enumerate(order):
        out |= ((value >> source & 1) << to).astype(value.dtype)
    return out


def _shuffle(rng: np.random.Generator, count: int) -> list[int]:
    """A pair exchanged, or the whole order reversed, or any order."""
    how = rng.random()
    order = list(range(count))
    if how < 0.45:
        a, b = rng.choice(count, 2, replace=False)
        order[a], order[b] = order[b], order[a]
    elif how < 0.6:
        order.reverse()
    else:
        while order == list(range(count)):
            order = [int(n) for n in rng.permutation(count)]
    return order


def data_swapped(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    order = _shuffle(rng, 8)
    bench.wiring = Wiring(data=lambda value, *_: permuted(value, order))
    moved = {f"D{to}": f"D{source}" for to, source in enumerate(order) if to != source}
    answer = Answer(("data-lines-swapped",), frozenset(moved), moved)
    return _taken(rng, bench, options, {**note, "order": order}, answer)


def data_inverted(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)

    def inverted(value: Bytes, *_: object) -> Bytes:
        return ~value

    bench.wiring = Wiring(bus=inverted) if rng.random() < 0.5 else Wiring(data=inverted)
    return _taken(rng, bench, options, note, Answer(("data-inverted",)))


def address_stuck(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    line, level = int(rng.integers(0, bench.own)), int(rng.integers(0, 2))

    def stuck(address: Bytes, *_: object) -> Bytes:
        return address | 1 << line if level else address & ~(1 << line)

    bench.wiring = Wiring(address=stuck)
    kinds = ("address-line-stuck", "address-line-open") + (("half-image",) if line == bench.own - 1 else ())
    if line == bench.own - 1 and not options:
        options = ["--size", str(len(bench.rom))]
    return _taken(rng, bench, options, {**note, "line": line, "level": level}, Answer(kinds, _a(line)))


def address_open(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    line = int(rng.integers(0, bench.own))
    share = float(rng.uniform(0.2, 0.8))

    def floats(address: Bytes, rng: np.random.Generator) -> Bytes:
        level = (rng.random(len(address)) < share).astype(np.int64)
        return (address & ~(1 << line)) | level << line

    bench.wiring = Wiring(address=floats)
    if not options:
        options = ["--size", str(len(bench.rom))]
    return _taken(rng, bench, options, {**note, "line": line}, Answer(("address-line-open",), _a(line)), least=2)


def address_bridged(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    a, b = sorted(int(n) for n in rng.choice(bench.own, 2, replace=False))
    low = rng.random() < 0.6

    def bridged(address: Bytes, *_: object) -> Bytes:
        one, other = address >> a & 1, address >> b & 1
        wins = one & other if low else one | other
        return (address & ~(1 << a | 1 << b)) | wins * (1 << a | 1 << b)

    bench.wiring = Wiring(address=bridged)
    answer = Answer(("address-lines-bridged",), _a(a, b))
    return _taken(rng, bench, options, {**note, "lines": (a, b), "low": low}, answer)


def address_swapped(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    order = _shuffle(rng, bench.own)

    def swapped(address: Bytes, *_: object) -> Bytes:
        out = address & ~((1 << bench.own) - 1)
        for to, source in enumerate(order):
            out = out | (address >> source & 1) << to
        return out

    bench.wiring = Wiring(address=swapped)
    moved = {f"A{source}": f"A{to}" for to, source in enumerate(order) if to != source}
    answer = Answer(("address-lines-swapped",), frozenset(moved), moved)
    return _taken(rng, bench, options, {**note, "order": order}, answer)


def both_swapped(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    first, second = _shuffle(rng, 8), _shuffle(rng, bench.own)

    def swapped(address: Bytes, *_: object) -> Bytes:
        out = address & ~((1 << bench.own) - 1)
        for to, source in enumerate(second):
            out = out | (address >> source & 1) << to
        return out

    bench.wiring = Wiring(address=swapped, data=lambda value, *_: permuted(value, first))
    kinds = ("data-lines-swapped", "address-lines-swapped")
    return _taken(rng, bench, options, {**note, "data": first, "address": second}, Answer(kinds))


def half(rng: np.random.Generator, draws: Draws) -> Case:
    bench, _, note = draws.drawn(rng, int(rng.choice([1024, 2048])))
    bench.ram = bench.registers = None
    size = len(bench.rom) * 2
    options = ["--part", "2332"] if size == 4096 and rng.random() < 0.5 else ["--size", str(size)]
    bench.selects.pop(bench.own, None)
    kinds = ("half-image",)
    case = _taken(rng, bench, options, note, Answer(kinds))
    case.rom = np.concatenate([bench.rom, bench.rom])
    return case


def wrong_part(rng: np.random.Generator, draws: Draws) -> Case:
    size = int(rng.choice([2048, 4096]))
    bench, _, note = draws.drawn(rng, size)
    bench.ram = bench.registers = None
    declared = "6530" if rng.random() < 0.5 else {4096: "2316", 2048: "6530"}[size]
    return _taken(rng, bench, ["--part", declared], {**note, "declared": declared}, Answer(("wrong-part",)))


def select_tied(rng: np.random.Generator, draws: Draws) -> Case:
    bench, _, note = draws.drawn(rng, 1024)
    bench.ram = bench.registers = None
    bench.selects = {n: level for n, level in bench.selects.items() if n >= bench.window[1].bit_length() - 1}
    return _taken(rng, bench, ["--part", "6530"], note, Answer(("select-tied",)))


def latched(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    while int(bench.rom[0]) in (0x00, 0xFF, bench.floating.opcode):  # else it reads like a blank or an empty socket
        bench, options, note = draws.drawn(rng)
    bench.latched = True
    if rng.random() < 0.3:
        bench.selects = {}
        bench.ram = bench.registers = None
    if bench.floating.kind == "previous":
        bench.floating = Bus("ff")
    return _taken(rng, bench, options, {**note, "selects": bench.selects}, Answer(("latched-enable",)))


def contention(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    address = bench.addresses()
    here = np.ones(len(address), bool)
    for line, level in bench.selects.items():
        here &= (address >> line & 1) == level
    starts = address[here & (address & (len(bench.rom) - 1) == 0)]
    first = int(rng.choice(starts))
    size = int(rng.choice([len(bench.rom), max(256, len(bench.rom) // 2)]))
    body, _ = draws.image(rng, 1024)
    content = np.resize(body, size)
    bench.host = (first, content)
    note = {**note, "first": first, "bytes": size, "copies": len(starts)}
    return _taken(rng, bench, options, note, Answer(("contention",)))


def slow(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    bench.slow = float(rng.choice([0.005, 0.02, 0.06]))
    return _taken(rng, bench, options, {**note, "rate": bench.slow}, Answer(("marginal-timing",)), least=3)


def sag(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    bench.sag = float(rng.choice([0.005, 0.02, 0.06]))
    return _taken(rng, bench, options, {**note, "rate": bench.sag}, Answer(("supply-sag",)), least=3)


def mixed(rng: np.random.Generator, draws: Draws) -> Case:
    bench, options, note = draws.drawn(rng)
    if rng.random() < 0.5:
        kind, other = "other", bench.rom
        while np.count_nonzero(other != bench.rom) < 100:
            other, _ = draws.image(rng, len(bench.rom))
    else:
        other = bench.rom.copy()
        while np.count_nonzero(other != bench.rom) < 20:  # not in the filling
            start = int(rng.integers(0, len(other) - 200))
            other[start : start + 150] = np.roll(other[start : start + 150], 3)
        kind = "revision"
    second = replace(bench, rom=other)
    address = bench.addresses()
    counts = [(1, 1), (2, 1), (2, 2), (1, 2)][int(rng.integers(0, 4))]
    readings = [(address, b.read(rng)) for b, n in zip((bench, second), counts, strict=True) for _ in range(n)]
    note = {**note, "kind": kind, "counts": counts}
    return Case(readings, options, (Answer(("mixed-specimens",)),), bench.rom, note)


def ram(rng: np.random.Generator, draws: Draws) -> Case:
    size = int(rng.choice([128, 256, 1024, 2048]))
    bench, _, note = draws.drawn(rng, 1024)
    style = str(rng.choice(["random", "stripes", "mostly"]))
    if style == "random":
        content = rng.integers(0, 256, size)
    elif style == "stripes":
        content = np.where(np.arange(size) >> int(rng.integers(1, 4)) & 1, 0xFF, 0) ^ (rng.random(size) < 0.1) * 16
    else:
        content = np.where(rng.random(size) < 0.7, 0xFF, 0) ^ rng.integers(0, 256, size) * (rng.random(size) < 0.3)
    bench = draws.bench(rng, content.astype(np.uint8), combination=False)
    return _taken(rng, bench, [], {**note, "style": style, "size": size}, Answer(("ram-or-rom",)), least=2)


@dataclass(frozen=True)
class Given(Draws):
    """Draws that give one bench ever again, so that another fault is put into it."""

    given: tuple[Bench, list[str], dict] = (None, [], {})

    def drawn(self, *_: object) -> tuple[Bench, list[str], dict]:
        """Return the bench."""
        return self.given


PAIRS = (
    (data_stuck, address_swapped),
    (data_stuck, address_stuck),
    (data_open, address_stuck),
    (data_bridged, address_bridged),
    (data_inverted, address_swapped),
    (data_swapped, address_stuck),
    (data_swapped, data_stuck),
    (data_swapped, data_bridged),
    (data_inverted, data_swapped),
)
"""Two faults of the wires at once; of two on one side, the one nearer to the specimen first."""


def several(rng: np.random.Generator, draws: Draws) -> Case:
    """Two faults of the wires at once, each of which is to be named.

    Where another fault hides bits, which line of a wrong order is which does not always show: there the kind is enough.
    """
    bench, options, note = draws.drawn(rng)
    first, second = PAIRS[int(rng.integers(0, len(PAIRS)))]
    cases, wirings = [], []
    for make in (first, second):
        cases.append(make(rng, Given(draws.programs, (bench, options, note))))
        wirings.append(bench.wiring)
        bench.wiring = Wiring()
    bench.wiring = _both(*wirings)
    answers = [Answer(a.kinds) if "swapped" in a.kinds[0] else a for case in cases for a in case.answers]
    options = next((case.options for case in cases if case.options), [])
    note = {**cases[0].note, **cases[1].note, "faults": (first.__name__, second.__name__)}
    return _taken(rng, bench, options, note, *answers, least=2)


def _both(near: Wiring, far: Wiring) -> Wiring:
    """Join two wirings; on the data side the first is nearer to the specimen."""

    def data(value: Bytes, floating: Bytes, rng: np.random.Generator) -> Bytes:
        for one in (near, far):
            value = one.data(value, floating, rng) if one.data else value
        return value

    def bus(value: Bytes, rng: np.random.Generator) -> Bytes:
        for one in (near, far):
            value = one.bus(value, rng) if one.bus else value
        return value

    return Wiring(
        near.address or far.address, data if near.data or far.data else None, bus if near.bus or far.bus else None
    )


CASES: dict[str, Callable[[np.random.Generator, Draws], Case]] = {
    "faultless": faultless,
    "data-stuck": data_stuck,
    "data-open": data_open,
    "data-bridged": data_bridged,
    "data-swapped": data_swapped,
    "data-inverted": data_inverted,
    "address-stuck": address_stuck,
    "address-open": address_open,
    "address-bridged": address_bridged,
    "address-swapped": address_swapped,
    "both-swapped": both_swapped,
    "half": half,
    "wrong-part": wrong_part,
    "select-tied": select_tied,
    "latched": latched,
    "contention": contention,
    "slow": slow,
    "sag": sag,
    "mixed": mixed,
    "ram": ram,
    "several": several,
}
