"""Hypothesis strategies over the twin: specimens, decodes, floating buses, windows, layouts, noise and weak cells.

`scenes()` puts them together: a bench, a window and a truth. `readings_of` turns what the twin saw into readings
without a log, for tests of the stages that see values only.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from hypothesis import strategies as st

from romassay.reading import Hole, Reading, Source, reading_of
from romassay.twin import (
    HIGH,
    LAYOUTS,
    LOW,
    Bench,
    Floating,
    Function,
    FunctionTruth,
    Layout,
    LineNoise,
    Memory,
    Specimen,
    Terminal,
    Weak,
    Window,
    exercised,
    take,
    truth,
)
from romassay.twin.chance import octets

seeds = st.integers(0, 2**32 - 1)


@st.composite
def rom_contents(draw: st.DrawFn, size: int) -> bytes:
    """Bytes that a ROM may hold: code-like noise, text, tails of FF or 00, contents that repeat themselves."""
    seed = draw(seeds)
    data = octets(seed, np.arange(size, dtype=np.int64)).tobytes()
    shape = draw(st.sampled_from(["noise", "noise", "skewed", "tail", "text"]))
    if shape == "skewed":
        common = bytes([0x20, 0xA9, 0x85, 0x00, 0xFF, 0xD0, 0xA5, 0x4C])
        data = bytes(common[b & 7] if b < 144 else b for b in data)
    elif shape == "tail":
        tail = draw(st.integers(1, size // 2))
        data = data[: size - tail] + draw(st.sampled_from([b"\xff", b"\x00"])) * tail
    elif shape == "text":
        start = draw(st.integers(0, size - size // 4))
        text = bytes(0x20 + b % 0x5F for b in data[: size // 4])
        data = data[:start] + text + data[start + len(text) :]
    return data


def repeating_contents(size: int) -> st.SearchStrategy[bytes]:
    """Contents whose two halves are the same: nothing on the bus tells them from a ROM of half the size."""
    return rom_contents(size // 2).map(lambda half: half + half)


@st.composite
def decodes(draw: st.DrawFn, bits: int, own: int, *, least: int = 0) -> tuple[tuple[int, int], ...]:
    """Selects of a function over the lines above its own: (line, level) where decoded, at least so many of them."""
    upper = list(range(own, bits))
    count = draw(st.integers(min(least, len(upper)), len(upper)))
    lines = draw(st.permutations(upper))[:count]
    return tuple((line, draw(st.integers(0, 1))) for line in sorted(lines))


def floatings() -> st.SearchStrategy[tuple[Floating, ...]]:
    """What an undriven bus says: each kind for all lines, and mixtures of two kinds."""
    octet = st.integers(0, 255)
    one = st.one_of(
        st.just(Floating("pulled", 0xFF)),
        st.just(Floating("pulled", 0x00)),
        st.builds(Floating, st.just("constant"), octet),
        st.just(Floating("address-low")),
        st.just(Floating("address-high")),
        st.builds(Floating, st.just("previous"), octet),
        st.builds(Floating, st.just("decay"), st.sampled_from([0xFF, 0x00]), st.floats(1.0, 40.0)),
    )

    def mixed(pair: tuple[Floating, Floating], mask: int) -> tuple[Floating, ...]:
        return (replace(pair[0], lines=mask), replace(pair[1], lines=0xFF & ~mask))

    return st.one_of(
        one.map(lambda item: (item,)),
        one.map(lambda item: (item,)),
        st.builds(mixed, st.tuples(one, one), st.integers(1, 254)),
    )


@st.composite
def windows(draw: st.DrawFn, bits: int, around: int, size: int) -> Window:
    """One range that holds the address `around` and at least `size` bytes: the whole bus, or a part of it."""
    whole = 1 << bits
    if whole <= 1 << 16 and draw(st.booleans()):
        return ((0, whole - 1),)
    span = 1 << draw(st.integers(min(bits, size.bit_length()), min(bits, 16)))
    first = around & ~(span - 1)
    return ((first, first + span - 1),)


@st.composite
def weak_cells(draw: st.DrawFn, data: bytes, most: int = 4) -> tuple[Weak, ...]:
    """Cells that fail to the side that shows."""
    places = draw(st.lists(st.integers(0, len(data) * 8 - 1), min_size=1, max_size=most, unique=True))
    return tuple(
        Weak(
            offset=place >> 3,
            line=place & 7,
            to=1 - (data[place >> 3] >> (place & 7) & 1),
            chance=draw(st.floats(0.05, 0.5)),
            toss=draw(st.sampled_from(["read", "reading"])),
        )
        for place in places
    )


def line_noise(most: float = 0.01) -> st.SearchStrategy[LineNoise]:
    """Character noise up to a rate."""
    rate = st.floats(0.0, most)
    return st.one_of(
        st.builds(lambda r: LineNoise(substitute=r), rate),
        st.builds(lambda r: LineNoise(digit=r), rate),
        st.builds(lambda r: LineNoise(flip=r), rate),
        st.builds(lambda r: LineNoise(substitute=r / 2, drop=r / 2), rate),
        st.builds(lambda r: LineNoise(burst=r / 12), rate),
    )


@st.composite
def layouts(draw: st.DrawFn) -> Layout:
    """A layout of a dump that nobody has named: any address form, columns, sums, gutters and dialogue."""
    base = draw(st.sampled_from([16, 16, 16, 8, 10]))
    word = draw(st.sampled_from([1, 1, 1, 2]))
    cell_base = draw(st.sampled_from([16, 16, 16, 8, 10])) if word == 1 else 16
    before, after = draw(
        st.sampled_from(
            [("", " "), ("", ": "), ("", "  "), ("$", " "), ("0x", ": "), ("", "- "), ("", "h  "), ("", ":")]
        )
        if base == 16
        else st.sampled_from([("", " "), ("", ": "), (" ", "  ")])
    )
    padded = cell_base != 10 or draw(st.booleans())
    return Layout(
        name="drawn",
        base=base,
        digits=0 if base == 10 else {16: 4, 8: 6}[base],
        before=before,
        after=after,
        per_line=draw(st.sampled_from([4, 8, 10, 16, 24, 32])) if word == 1 else draw(st.sampled_from([8, 16, 32])),
        word=word,
        low_first=draw(st.booleans()),
        cell_base=cell_base,
        padded=padded,
        between=draw(st.sampled_from([" ", "  ", ","])),
        sum=draw(st.sampled_from([None, None, "sum-8", "sum-16", "twos-complement", "xor"]))
        if cell_base == 16
        else None,
        sum_before=draw(st.sampled_from(["  =", " *", " :"])),
        gutter=draw(st.sampled_from([None, None, "  ", "  |"])) if padded else None,
        upper=draw(st.booleans()),
        prompt=draw(st.sampled_from(["", ">", "* ", "."])),
        command=draw(st.sampled_from(["D {first},{last}", "M{first}.{last}", "{first} {last}", "DUMP {first} {last}"])),
        blank=draw(st.sampled_from([0, 0, 16])),
        page=draw(st.sampled_from([0, 0, 0, 40])),
    )


def terminals() -> st.SearchStrategy[Terminal]:
    """What lies between host and file."""
    return st.builds(
        Terminal,
        newline=st.sampled_from(["\r\n", "\n", "\r"]),
        nuls=st.sampled_from([0, 0, 2]),
        parity=st.sampled_from(["none", "none", "even", "mark"]),
        colour=st.booleans(),
        typos=st.booleans(),
    )


@dataclass(frozen=True)
class Scene:
    """A bench, what is read of it, and what is true of it."""

    bench: Bench
    window: Window
    truths: tuple[FunctionTruth, ...]

    @property
    def roms(self) -> tuple[FunctionTruth, ...]:
        """The ROMs, in the order of the specimens."""
        return tuple(t for t in self.truths if t.kind == "rom")

    @property
    def rom(self) -> FunctionTruth:
        """The first ROM."""
        return self.roms[0]

    def exercised(self, item: FunctionTruth) -> dict[int, bool]:
        """Which lines of a function's decode the window can show."""
        return exercised(self.bench, item, self.window)


@st.composite
def scenes(
    draw: st.DrawFn,
    *,
    bits: st.SearchStrategy[int] | None = None,
    floating: st.SearchStrategy[tuple[Floating, ...]] | None = None,
    least_decoded: int = 2,
    whole_window: bool = False,
    combination: bool | None = None,
    weak: bool = False,
    unrest: float = 0.0,
) -> Scene:
    """A specimen with one ROM, alone or with RAM and registers, on a bus with one kind of floating and some host RAM.

    Args:
        bits: lines of the bus; 10 to 16 unless given.
        floating: what the undriven bus says; any kind unless given.
        least_decoded: lines that the ROM decodes at least.
        whole_window: the whole bus is read.
        combination: True for a chip with RAM and registers beside the ROM, None for either.
        weak: the ROM has weak cells.
        unrest: probability that an undriven bit reads inverted.
    """
    lines = draw(bits if bits is not None else st.integers(10, 16))
    own = draw(st.integers(6, min(11, lines - 1)))
    data = draw(rom_contents(1 << own))
    selects = draw(decodes(lines, own, least=least_decoded))
    functions = [
        Function("rom", tuple(range(own)), selects, data, weak=draw(weak_cells(data)) if weak else (), name="rom")
    ]
    several = draw(st.booleans()) if combination is None else combination
    if several and selects and own >= 9:
        line, wanted = selects[-1]
        elsewhere = (*selects[:-1], (line, 1 - wanted))
        ram = (*((i, draw(st.integers(0, 1))) for i in range(6, own - 1)), (own - 1, 0), *elsewhere)
        ports = (*((i, draw(st.integers(0, 1))) for i in range(6, own - 1)), (own - 1, 1), *elsewhere)
        functions.append(Function("ram", tuple(range(6)), ram, name="ram"))
        functions.append(Function("registers", tuple(range(4)), ports, name="io-timer"))
    bench = Bench(
        address_bits=lines,
        specimens=(Specimen(tuple(functions)),),
        floating=draw(floating if floating is not None else floatings()),
        unrest=unrest,
        seed=draw(seeds),
    )
    truths = truth(bench)
    window: Window = ((0, (1 << lines) - 1),)
    if not whole_window:
        window = draw(windows(lines, draw(st.sampled_from(truths[0].copies)), 1 << own))
    return Scene(bench, window, truths)


@st.composite
def hosted_scenes(draw: st.DrawFn) -> Scene:
    """A scene in which the host's own memory answers in an eighth of the bus, whoever else does."""
    scene = draw(scenes())
    memory = draw(host_memory(scene.bench.address_bits))
    return Scene(replace(scene.bench, memory=(memory,)), scene.window, scene.truths)


@st.composite
def narrow_scenes(draw: st.DrawFn) -> Scene:
    """A ROM of 1 to 7 data bits; the bus has the other lines."""
    scene = draw(scenes(combination=False))
    driven = (1 << draw(st.integers(1, 7))) - 1
    return _with_rom(scene, driven=driven)


@st.composite
def hidden_scenes(draw: st.DrawFn) -> Scene:
    """A ROM twice as large as what is seen of it: one of its address pins is held."""
    scene = draw(scenes(combination=False))
    rom = scene.bench.specimens[0].functions[0]
    pin = draw(st.integers(0, len(rom.own)))
    own = (*rom.own[:pin], draw(st.sampled_from([HIGH, LOW])), *rom.own[pin:])
    return _with_rom(scene, own=own, data=draw(rom_contents(2 * rom.size)))


@st.composite
def paired_scenes(draw: st.DrawFn, *, apart: bool = True) -> Scene:
    """Two specimens with a ROM each: at addresses of their own (one line tells them apart), or anywhere."""
    scene = draw(scenes(combination=False, whole_window=True))
    rom = scene.bench.specimens[0].functions[0]
    bits = scene.bench.address_bits
    own = draw(st.integers(6, min(11, bits - 1)))
    data = draw(rom_contents(1 << own))
    selects = draw(decodes(bits, own, least=2))
    if apart:
        line, wanted = draw(st.sampled_from([item for item in rom.selects if item[0] >= own] or [rom.selects[-1]]))
        own = min(own, line)
        data = data[: 1 << own]
        selects = (*(item for item in selects if item[0] != line), (line, 1 - wanted))
    other = Specimen((Function("rom", tuple(range(own)), selects, data, name="rom"),))
    bench = replace(scene.bench, specimens=(*scene.bench.specimens, other))
    return Scene(bench, scene.window, truth(bench))


def _with_rom(scene: Scene, **changes: object) -> Scene:
    """Return the scene with its one ROM changed."""
    rom = replace(scene.bench.specimens[0].functions[0], **changes)
    bench = replace(scene.bench, specimens=(Specimen((rom,)),))
    return Scene(bench, scene.window, truth(bench))


def host_memory(bits: int) -> st.SearchStrategy[Memory]:
    """RAM or ROM of the host over an aligned eighth of the bus."""
    size = 1 << (bits - 3)
    return st.builds(
        lambda n, kind: Memory(n * size, (n + 1) * size - 1, kind), st.integers(0, 7), st.sampled_from(["ram", "rom"])
    )


def readings_of(
    scene: Scene, count: int, *, sessions: int = 1, error: float = 0.0, role: str = "specimen"
) -> tuple[Reading, ...]:
    """Read a scene so many times and return the readings without the detour through logs.

    With `error`, each hex digit of the dump is another one with that probability. Each reading has its own digest, as
    files that differ would; sessions are named '1', '2' ….
    """
    result = []
    for number in range(1, count + 1):
        session = 1 + (number - 1) * sessions // count
        pieces = take(scene.bench, scene.window, session=session, reading=number, role=role)
        if error:
            pieces = tuple((first, with_digit_errors(data, error, scene.bench.seed, number)) for first, data in pieces)
        reading = reading_of(pieces, address_bits=scene.bench.address_bits, unit="hex-digit")
        conditions = replace(reading.conditions, session=str(session))
        source = Source(name=f"pass-{number}.log", sha256=f"{scene.bench.seed:032x}{role[:8]:>8}{number:024x}"[:64])
        result.append(replace(reading, role=role, conditions=conditions, source=source))
    return tuple(result)


def with_digit_errors(data: bytes, rate: float, seed: int, number: int) -> bytes:
    """Return bytes in which each hex digit is another one with a probability."""
    generator = np.random.default_rng([seed, number])
    value = np.frombuffer(data, np.uint8).copy()
    for shift in (0, 4):
        hit = generator.random(len(value)) < rate
        change = generator.integers(1, 16, len(value)).astype(np.uint8)
        value[hit] ^= (change << np.uint8(shift))[hit]
    return value.tobytes()


def lossy(reading: Reading, error: float, seed: int) -> Reading:
    """Return a reading as a noisy line leaves it: wrong digits, and lines of sixteen bytes that are holes.

    One line in twenty is lost for each hundredth of `error`: as many characters of it spoil the line as a whole.
    """
    generator = np.random.default_rng([seed, 77])
    data = dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))
    starts = sorted({address & ~15 for address in data})
    pieces, holes = [], []
    for start in starts:
        line = [(address, data[address]) for address in range(start, start + 16) if address in data]
        if generator.random() < 5 * error:
            holes.append(Hole(line[0][0], line[-1][0], 1, "a character that is no digit"))
        else:
            pieces.append((line[0][0], with_digit_errors(bytes(v for _, v in line), error, seed, start)))
    made = reading_of(pieces, address_bits=reading.address_bits, unit="hex-digit")
    return replace(made, holes=tuple(holes), role=reading.role, conditions=reading.conditions, source=reading.source)


named_layouts = st.sampled_from(sorted(LAYOUTS)).map(LAYOUTS.__getitem__)
