"""The examination papers: each category draws a world, reads it, prints logs, harms them, and writes down the answer.

`make(category, seed, index)` returns a Case; the same three give the same case.
"""

import zlib
from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from . import contents, rubbish
from .layouts import Layout, draw, encode, lost_to_cuts, render
from .records import FORMATS, render_records
from .sheet import Log, damage
from .truth import Answer, answers, doubled
from .world import BUS_KINDS, Bus, Chip, HostMemory, World, random_bus


@dataclass
class Case:
    category: str
    index: int
    files: dict[str, bytes]
    steps: list[list[str]]  # command lines after `assay`, run in the folder of the files
    expect: str = "found"  # found, nothing, bad-input, survive
    roms: list[list[Answer]] = field(default_factory=list)
    ram: list[np.ndarray] = field(default_factory=list)
    may_confirm: bool = True
    should_confirm: bool = False
    size_given: bool = False
    flips: dict[int, int] = field(default_factory=dict)
    note: dict[str, object] = field(default_factory=dict)
    blamed: str = ""  # bad input: the file that must be named
    logs: list[Log] = field(default_factory=list)
    word_order: bool = False  # printed as words without a text column: either order is right


@dataclass
class Plan:
    """What a category asks for; everything else is drawn."""

    bits: int = 16
    own: int | None = None
    content: str | None = None
    bus: str | None = None
    bus_noise: bool = False
    combo: bool = False
    two: bool = False
    once: bool = False
    host: str = ""  # excluded, empty-socket, undeclared
    controls: tuple[str, ...] = ()
    windows: str = "one"  # one, loose, several, wrap, sparse
    mask: int = 0xFF
    visible: str = ""  # tied, cut
    weak: int = 0
    noise: float = 0.0
    style: str = "mixed"
    readings: int | None = None
    declare: str = "any"  # any, none, size, part
    plain: bool = False
    records: bool = False
    passes: bool = False
    same_layout: bool | None = None
    shape: Callable[[np.random.Generator, Layout], None] | None = None
    resend: bool = False
    twice: bool = False
    sessions: bool = False
    canonical: bool = False  # one plain layout for all: the inference alone is looked at
    free: int = 14  # window of at most 2**free bytes


PARTS = {11: "2316", 12: "2332", 13: "2364, 24 pins"}


def rng_for(category: str, seed: int, index: int) -> np.random.Generator:
    return np.random.default_rng([seed, zlib.crc32(category.encode()), index])


def _own_bits(rng: np.random.Generator, plan: Plan) -> int:
    if plan.own is not None:
        return plan.own
    if plan.two:
        return int(rng.choice([8, 9, 10, 11, 12]))
    own = int(rng.choice([8, 8, 9, 9, 10, 10, 10, 11, 11, 11, 12, 12, 13, 7, 6, 5]))
    return min(own, plan.bits - 1)


def _window(rng: np.random.Generator, plan: Plan, own: int) -> tuple[int, int]:
    """First address and number of bits of the aligned window that holds what is to be found."""
    room = min(plan.bits, plan.free)
    width = int(rng.integers(min(own + 1, room), max(own + 2, min(room, own + 5)) + 1)) if own < room else own
    width = max(own, min(width, plan.bits))
    base = int(rng.integers(0, 1 << (plan.bits - width))) << width
    return base, width


def _cube(rng: np.random.Generator, plan: Plan, own: int, base: int, width: int) -> dict[int, int]:
    """Levels of the select lines: those inside the window drawn, those above as the window has them, or any."""
    inside = list(range(own, width))
    fixed = {}
    if plan.once:
        fixed = {line: int(rng.integers(0, 2)) for line in inside}
    elif inside:
        count = min(len(inside), int(rng.integers(0 if rng.random() < 0.2 else 1, 5)))
        if count == len(inside) and len(inside) > 1 and plan.host:
            count -= 1
        for line in rng.choice(inside, count, replace=False):
            fixed[int(line)] = int(rng.integers(0, 2))
    for line in range(width, plan.bits):
        if rng.random() < 0.5:
            fixed[line] = base >> line & 1
    return fixed


def _addresses(rng: np.random.Generator, plan: Plan, base: int, width: int, world: World, own: int) -> list[np.ndarray]:
    """The windows of one pass, in reading order; at least one whole copy is inside."""
    span = 1 << width
    whole = np.arange(base, base + span)
    if plan.windows == "one":
        return [whole]
    copies = _copy_starts(whole, world, own)
    pick = int(rng.choice(copies)) if len(copies) else base
    size = 1 << own
    top = (1 << plan.bits) - 1
    if plan.windows == "loose":
        first = max(0, pick - int(rng.integers(0, span)))
        last = min(top, pick + size - 1 + int(rng.integers(0, span)))
        if rng.random() < 0.5:
            first, last = first & ~15, last | 15
        return [np.arange(first & ~1, (last | 1) + 1)]
    if plan.windows == "wrap":
        return [np.arange((1 << plan.bits) - span, 1 << plan.bits), np.arange(0, span)]
    out = [np.arange(pick, pick + size)]
    for _ in range(int(rng.integers(1, 5))):
        near = rng.random() < 0.6
        start = base + int(rng.integers(0, span)) if near else int(rng.integers(0, top))
        length = int(rng.integers(16, 2 * size + 17))
        start &= ~15
        out.append(np.arange(start, min(top + 1, start + (length & ~15) + 16)))
    if plan.windows == "sparse":
        for line in rng.choice(range(own, plan.bits), 4):
            start = pick ^ (1 << int(line))
            out.append(np.arange(start, start + min(size, 256)))
    taken: list[np.ndarray] = []
    for part in sorted(out, key=lambda a: int(a[0])):
        if taken and part[0] <= taken[-1][-1] + 1:
            if part[-1] > taken[-1][-1]:
                taken[-1] = np.arange(taken[-1][0], part[-1] + 1)
        else:
            taken.append(part)
    return taken


def _copy_starts(whole: np.ndarray, world: World, own: int) -> np.ndarray:
    owner = world.owner(whole)
    size = 1 << own
    starts = whole[::size][: len(whole) // size]
    full = (owner.reshape(-1, size) == 0).all(1) if len(whole) >= size else np.zeros(0, bool)
    return starts[full]


def _chips(rng: np.random.Generator, plan: Plan, base: int, width: int, own: int) -> list[Chip]:
    image, _kind = contents.make(rng, 1 << own, plan.content)
    fixed = _cube(rng, plan, own, base, width)
    weak = []
    for offset in rng.choice(1 << own, min(plan.weak, 1 << own), replace=False):
        bit = int(rng.integers(0, 8))
        level = 1 - (int(image[offset]) >> bit & 1)
        weak.append((int(offset), bit, level, float(rng.uniform(0.05, 0.5))))
    chips = [Chip("rom", own, fixed, image, plan.mask, tuple(weak))]
    if plan.visible == "tied":
        chips[0] = replace(chips[0], own=own - 1, content=image[: 1 << (own - 1)])
    if plan.two:
        split = [line for line in range(own, width) if line in fixed] or [int(rng.integers(own, width))]
        line = int(rng.choice(split))
        fixed.setdefault(line, int(rng.integers(0, 2)))
        chips[0] = replace(chips[0], fixed=dict(fixed))
        other_own = int(rng.integers(max(8, own - 2), line + 1))
        other = {k: v for k, v in fixed.items() if k >= width}
        for extra in range(other_own, width):
            if rng.random() < 0.35:
                other[extra] = int(rng.integers(0, 2))
        other[line] = 1 - fixed[line]
        other = {k: v for k, v in other.items() if k >= other_own}
        chips.append(
            Chip(
                "rom",
                other_own,
                other,
                contents.make(rng, 1 << other_own, str(rng.choice(["code", "random", "text"])))[0],
            )
        )
    if plan.combo:
        chips += _combo(rng, fixed, own, width)
    return chips


def _combo(rng: np.random.Generator, fixed: dict[int, int], own: int, width: int) -> list[Chip]:
    """64 bytes of RAM and 16 registers where the ROM is not: one of the ROM's selects the other way."""
    split = [line for line in range(own, width) if line in fixed]
    if not split:
        raise LookupError
    line = int(rng.choice(split))
    common = {k: v for k, v in fixed.items() if k >= width or rng.random() < 0.6}
    common[line] = 1 - fixed[line]
    middle = list(range(6, min(own, 10)))
    ram_lines = {bit: int(rng.integers(0, 2)) for bit in middle if rng.random() < 0.7}
    split_bit = int(rng.choice(middle))
    ram_lines[split_bit] = int(rng.integers(0, 2))
    io_lines = {bit: int(rng.integers(0, 2)) for bit in middle if rng.random() < 0.7}
    io_lines[split_bit] = 1 - ram_lines[split_bit]
    ram = Chip("ram", 6, {**common, **ram_lines}, rng.integers(0, 256, 64).astype(np.uint8))
    registers = rng.choice(np.array([0x00, 0xFF, 0x7F, 0x80, 0x3C], np.uint8), 16)
    return [ram, Chip("registers", 4, {**common, **io_lines}, registers)]


def _host_memory(rng: np.random.Generator, base: int, width: int, own: int, chip: Chip, bits: int) -> list[HostMemory]:
    """Memory of the host inside the window that leaves at least two whole copies, where there are two."""
    span = 1 << width
    whole = np.arange(base, base + span)
    world = World(bits, Bus("ff"), (chip,))
    starts = _copy_starts(whole, world, own)
    keep = {int(s) for s in rng.choice(starts, min(2, len(starts)), replace=False)}
    for _ in range(30):
        size = int(rng.choice([256, 512, 1024, 2048, span // 4, span // 8]))
        size = max(16, min(size, span // 3))
        first = base + (int(rng.integers(0, span - size + 1)) & ~15)
        if all(first + size <= start or first >= start + (1 << own) for start in keep):
            body = contents.make(rng, size, str(rng.choice(["code", "text", "random"])))[0]
            busy = None
            if rng.random() < 0.3:
                busy = rng.random(size) < 0.03
            return [HostMemory(first, body, busy)]
    return []


def _declare(rng: np.random.Generator, plan: Plan, own: int) -> tuple[list[str], bool]:
    how = plan.declare
    if how == "any":
        how = str(rng.choice(["none", "size", "part"]))
    if how == "none":
        return [], False
    size = 1 << own
    if plan.combo:
        return (["--part", "6530"] if own == 10 and (how == "part") else ["--size", str(size)]), True
    if how == "part" and own in PARTS and plan.mask == 0xFF:
        return ["--part", PARTS[own]], True
    spelt = str(rng.choice([str(size), f"0x{size:X}", f"${size:X}"]))
    return ["--size", spelt], True


def _range(rng: np.random.Generator, first: int, last: int) -> str:
    forms = [f"0x{first:04X}-0x{last:04X}", f"${first:04X}-${last:04X}", f"{first:05X}h-{last:05X}h"]
    forms += [f"0x{first:X}+0x{last - first + 1:X}", f"{first}-{last}"]
    return str(rng.choice(forms))


def build(rng: np.random.Generator, category: str, index: int, plan: Plan) -> Case:
    """Draw the world, take the readings, print them, and answer."""
    own = 10 if plan.combo else _own_bits(rng, plan)
    base, width = _window(rng, plan, own)
    if plan.two or plan.combo or plan.host or plan.once:
        width = max(width, min(plan.bits, own + (3 if plan.host else 2)))
        base = base >> width << width
    bus = random_bus(rng, plan.bus, noise=plan.bus_noise)
    chips = _chips(rng, plan, base, width, own)
    host = _host_memory(rng, base, width, own, chips[0], plan.bits) if plan.host else []
    world = World(plan.bits, bus, tuple(chips), tuple(host))
    windows = _addresses(rng, plan, base, width, world, chips[0].own)
    address = np.concatenate(windows)
    if plan.visible == "cut":
        size = 1 << own
        start = int(_copy_starts(np.arange(base, base + (1 << width)), world, own)[0])
        address = np.arange(start, start + size // 2)
    return _print(rng, category, index, plan, world, address, own, host)


def _print(
    rng: np.random.Generator,
    category: str,
    index: int,
    plan: Plan,
    world: World,
    address: np.ndarray,
    own: int,
    host: list[HostMemory],
) -> Case:
    count = plan.readings or int(rng.choice([1, 2, 2, 2, 3, 4]))
    values = [world.read(rng, address) for _ in range(count)]
    excluded = [(m.first, m.last) for m in host] if plan.host == "excluded" else []
    case = Case(category, index, {}, [])
    case.note = {
        "bits": plan.bits, "bus": world.bus.kind, "bus_noise": world.bus.noise, "readings": count, "noise": plan.noise,
        "style": plan.style, "window": [int(address[0]), int(address[-1]), len(address)], "host": plan.host,
        "host_at": [[m.first, m.last] for m in host],
        "chips": [[c.kind, 1 << c.own, {f"A{k}": v for k, v in sorted(c.fixed.items())}] for c in world.chips],
    }  # fmt: skip
    layout = _layout(rng, plan, len(address), int(address[0]), address)
    names = _write(rng, case, plan, layout, address, values)
    order = ["--session", "first"] if plan.sessions else []
    if plan.two and world.chips[0].own != world.chips[1].own:
        plan = replace(plan, declare="none")  # one size can't be said of both
    declared, given = _declare(rng, plan, own)
    options = list(declared)
    for low, high in excluded:
        options += ["--exclude", _range(rng, low, high)]
    controls = list(plan.controls)
    if plan.host == "empty-socket":
        controls.append("empty-socket")
    for role in controls:
        options += [f"--{role}", _control(rng, case, plan, layout, world, address, role)]
    if plan.twice:
        names = [*names, names[-1]]
    case.steps = [[*names, *options, *order]]
    if plan.sessions and len(names) > 1:
        case.steps = [[names[0], *options, *order], [*names[1:], *options, "--session", "second"]]
    case.size_given = given
    roms = [n for n, chip in enumerate(world.chips) if chip.kind == "rom"]
    data = case.logs
    case.roms = [
        answers(world, n, data, excluded, size_given=given and n == 0 and not plan.visible, host_known=bool(excluded))
        for n in roms
    ]
    if given and plan.visible == "tied":
        case.roms[0].insert(1, doubled(world, data, own))
    case.ram = [chip.content for chip in world.chips if chip.kind == "ram"]
    case.flips = dict(world.flips)
    distinct = len({case.files[name] for name in names})
    passes = count if plan.passes else distinct
    covered = all(group[0].solid is not None and group[0].solid.all() for group in case.roms)
    case.may_confirm = passes >= 2 and not (plan.visible == "cut" and given)
    case.should_confirm = case.may_confirm and covered and not plan.weak and given and distinct == len(names)
    case.note["layout"] = layout.name
    case.note["solid"] = [int(group[0].solid.sum()) if group[0].solid is not None else None for group in case.roms]
    return case


def _layout(rng: np.random.Generator, plan: Plan, count: int, first: int, address: np.ndarray) -> Layout:
    layout = draw(rng, plan.bits, plain=plan.plain, span=count)
    if plan.canonical:
        layout = Layout(digits=max(4, -(-plan.bits // 4)))
    while plan.noise and (layout.unit in ("oword",) or layout.page_address or layout.cut_start):
        layout = draw(rng, plan.bits, plain=plan.plain, span=count)
    if layout.unit in ("word-be", "word-le", "oword"):
        edges = np.flatnonzero(np.diff(address) != 1)
        odd = (address[edges] & 1 == 0).any() or (address[edges + 1] & 1).any() or first & 1 or address[-1] & 1 == 0
        if odd:
            layout.unit, layout.base, layout.digits = "byte", "hex", max(layout.digits, 4)
    if layout.sparse:
        layout.chunk = layout.page = 0
    if plan.resend:
        layout.resend = 4
    if plan.shape:
        plan.shape(rng, layout)
    return layout


def _write(
    rng: np.random.Generator,
    case: Case,
    plan: Plan,
    layout: Layout,
    address: np.ndarray,
    values: list[np.ndarray],
) -> list[str]:
    """One file a reading, or all passes in one; fills case.logs."""
    same = plan.same_layout if plan.same_layout is not None else bool(rng.random() < 0.75)
    groups = [[v] for v in values]
    if plan.passes:
        groups = [values] if rng.random() < 0.6 or len(values) < 3 else [values[:2], values[2:]]
    names = []
    for number, group in enumerate(groups):
        if not same and number:
            layout = _layout(rng, plan, len(address), int(address[0]), address)
        layout = replace(layout, banner=(*layout.banner, f"pass {number + 1} at 10:{number * 7 + 3:02d}"))
        if plan.records:
            form = str(rng.choice(FORMATS[:3] if plan.noise else FORMATS))
            if int(address.max()) > 0xFFFF:
                form = str(rng.choice(["intel-hex", "s-record"]))
            layout.name = form
            plain = Layout(eol=str(rng.choice(["\r\n", "\n"])))
            layout = replace(layout, cut_start=0, cut_end=0, encoding="ascii")
            log = render_records(rng, form, address, group[0], plain).log()
        else:
            log = render(rng, layout, [(address, v) for v in group]).log()
        log = damage(rng, log, plan.noise, plan.style, summed=bool(layout.sums) or plan.records)
        log = lost_to_cuts(log, layout)
        name = f"pass-{number + 1}.{rng.choice(['log', 'txt', 'cap', 'dat'])}"
        case.files[name] = encode(log, layout)
        case.logs.append(log)
        names.append(name)
        if (layout.unit.startswith("word") and not layout.gutter) or layout.unit == "oword":
            case.word_order = True
    return names


def _control(
    rng: np.random.Generator, case: Case, plan: Plan, layout: Layout, world: World, address: np.ndarray, role: str
) -> str:
    bus = world.bus
    if role == "empty-socket":
        bare = world.without_chips()
    else:
        bus = Bus("ff" if role == "pulled-up" else "00", noise=0.0)
        bare = replace(world, bus=bus)
    log = render(rng, replace(layout, cut_start=0, cut_end=0), [(address, bare.read(rng, address))]).log()
    log = damage(rng, log, plan.noise, plan.style, summed=bool(layout.sums))
    name = f"{role}.log"
    case.files[name] = encode(log, replace(layout, cut_start=0, cut_end=0))
    return name


def _nothing(rng: np.random.Generator, category: str, index: int, plan: Plan) -> Case:
    bits = int(rng.choice([10, 12, 16, 16, 16, 20]))
    width = min(bits, int(rng.integers(8, 15)))
    base = int(rng.integers(0, 1 << (bits - width))) << width
    bus = random_bus(rng, plan.bus, noise=plan.bus_noise)
    host: list[HostMemory] = []
    span = 1 << width
    if plan.host:
        size = max(32, span // int(rng.choice([2, 4, 8])))
        first = base + (int(rng.integers(0, span - size + 1)) & ~15)
        host = [HostMemory(first, contents.make(rng, size, "code")[0])]
    world = World(bits, bus, (), tuple(host))
    address = np.arange(base, base + span)
    plan = replace(plan, bits=bits)
    count = plan.readings or int(rng.integers(1, 4))
    case = Case(category, index, {}, [], expect="nothing", may_confirm=False)
    case.note = {"bits": bits, "bus": bus.kind, "bus_noise": bus.noise, "noise": plan.noise, "readings": count,
                 "lines": bus.lines, "host_at": [[m.first, m.last] for m in host]}  # fmt: skip
    layout = _layout(rng, plan, len(address), int(address[0]), address)
    names = _write(rng, case, plan, layout, address, [world.read(rng, address) for _ in range(count)])
    options = _declare(rng, plan, int(rng.choice([10, 11, 12])))[0]
    if plan.host == "excluded":
        for memory in host:
            options += ["--exclude", _range(rng, memory.first, memory.last)]
    controls = list(plan.controls) + (["empty-socket"] if plan.host == "empty-socket" else [])
    for role in controls:
        options += [f"--{role}", _control(rng, case, plan, layout, world, address, role)]
    case.steps = [[*names, *options]]
    case.note["layout"] = layout.name
    return case


def _exotic(rng: np.random.Generator, layout: Layout) -> None:
    how = str(rng.choice(["star", "stamp", "segment"]))
    layout.row_start = ""
    layout.chunk = layout.page = layout.blank = 0
    if how == "star":
        layout.star, layout.align, layout.resend, layout.sparse = True, True, 0, 0
    elif how == "stamp":
        layout.stamp = True
    else:
        layout.base, layout.before, layout.after, layout.digits = "hex", f"{int(rng.integers(0, 1)):04X}:", "  ", 4
    layout.name = f"{how} {layout.name}"


def _wide(rng: np.random.Generator, plan: Plan) -> Plan:
    bits = int(rng.choice([18, 20, 22, 24, 24]))
    return replace(plan, bits=bits, windows=str(rng.choice(["sparse", "several", "loose", "one"])))


def _plan(rng: np.random.Generator, category: str) -> Plan:
    """The plan of a found-category."""
    noisy = float(rng.choice([0.0005, 0.002, 0.005, 0.01]))
    style = str(rng.choice(["printable", "bitflip", "drop", "burst", "mixed"]))
    plans = {
        "clean-layouts": Plan(),
        "clean-combo": Plan(combo=True, content="code", own=10),
        "clean-two": Plan(two=True, content=str(rng.choice(["code", "random", "text"]))),
        "clean-once": Plan(once=True, windows=str(rng.choice(["one", "loose"]))),
        "clean-exclude": Plan(host="excluded"),
        "clean-socket": Plan(host="empty-socket"),
        "clean-hidden-host": Plan(host="undeclared", content=str(rng.choice(["code", "random", "code-tail"]))),
        "clean-controls": Plan(controls=(str(rng.choice(["empty-socket", "pulled-up", "pulled-down"])),)),
        "clean-pulls": Plan(controls=("pulled-up", "pulled-down")),
        "clean-windows": Plan(windows=str(rng.choice(["loose", "several", "wrap"]))),
        "clean-wide": _wide(rng, Plan()),
        "clean-narrow": Plan(bits=int(rng.integers(8, 13)), own=int(rng.integers(5, 8))),
        "clean-small": Plan(own=int(rng.integers(5, 8)), free=12),
        "clean-large": Plan(own=int(rng.integers(13, 17)), free=16, readings=2),
        "clean-contents": Plan(content=str(rng.choice(["sparse", "repeat", "near-repeat", "code-tail"]))),
        "clean-4bit": Plan(mask=0x0F, declare="size", content="random"),
        "clean-tied": Plan(visible="tied", own=int(rng.integers(9, 13))),
        "clean-cut": Plan(visible="cut", own=int(rng.integers(9, 13))),
        "clean-records": Plan(records=True),
        "clean-passes": Plan(passes=True, readings=int(rng.integers(2, 5))),
        "clean-mixed-layouts": Plan(same_layout=False, readings=int(rng.integers(2, 5))),
        "clean-plain": Plan(plain=True),
        "clean-busnoise": Plan(bus_noise=True),
        "exotic-layouts": Plan(plain=True, shape=_exotic),
        "noise-0.05%": Plan(noise=0.0005, style=style, readings=int(rng.integers(2, 6))),
        "noise-0.2%": Plan(noise=0.002, style=style, readings=int(rng.integers(2, 6))),
        "noise-0.5%": Plan(noise=0.005, style=style, readings=int(rng.integers(2, 6))),
        "noise-1%": Plan(noise=0.01, style=style, readings=int(rng.integers(2, 6))),
        "noise-one-reading": Plan(noise=noisy, style=style, readings=1),
        "noise-many": Plan(noise=noisy, style=style, readings=int(rng.integers(6, 10)), free=12),
        "noise-records": Plan(noise=noisy, style=style, records=True, readings=int(rng.integers(2, 6))),
        "noise-combo": Plan(noise=noisy, style=style, combo=True, content="code", readings=int(rng.integers(2, 6))),
        "noise-once": Plan(noise=noisy, style=style, once=True, content="code", readings=int(rng.integers(2, 6))),
        "noise-two": Plan(noise=noisy, style=style, two=True, content="code", readings=int(rng.integers(2, 6))),
        "noise-socket": Plan(noise=noisy, style=style, host="empty-socket", readings=int(rng.integers(2, 6))),
        "noise-exclude": Plan(noise=noisy, style=style, host="excluded", readings=int(rng.integers(2, 6))),
        "noise-contents": Plan(
            noise=noisy,
            style=style,
            content=str(rng.choice(["sparse", "repeat", "near-repeat", "code-tail"])),
            readings=int(rng.integers(2, 6)),
        ),
        "noise-passes": Plan(noise=noisy, style=style, passes=True, readings=int(rng.integers(2, 6))),
        "weak": Plan(weak=int(rng.integers(1, 7)), readings=int(rng.integers(3, 10)), plain=True, free=13),
        "weak-once": Plan(
            weak=int(rng.integers(1, 7)), readings=int(rng.integers(3, 10)), once=True, plain=True, free=12
        ),
        "weak-noise": Plan(
            weak=int(rng.integers(1, 7)), readings=int(rng.integers(3, 10)), noise=0.0005, style=style, free=13
        ),
        "verdict-single": Plan(readings=1, resend=bool(rng.random() < 0.5), plain=True),
        "verdict-same-file": Plan(readings=1, twice=True, plain=True),
        "verdict-sessions": Plan(readings=2, sessions=True, plain=True, declare="size"),
        "blank": Plan(content="blank", readings=2, plain=True),
    }
    return plans[category]


NOTHING = {
    "nothing": Plan(),
    "nothing-busnoise": Plan(bus_noise=True),
    "nothing-noise": Plan(noise=0.005),
    "nothing-excluded": Plan(host="excluded"),
    "nothing-socket": Plan(host="empty-socket"),
    "nothing-controls": Plan(controls=("pulled-up", "pulled-down")),
}
FOUND = [
    "clean-plain",
    "clean-layouts",
    "clean-mixed-layouts",
    "clean-passes",
    "clean-records",
    "exotic-layouts",
    "clean-combo",
    "clean-two",
    "clean-once",
    "clean-exclude",
    "clean-socket",
    "clean-hidden-host",
    "clean-controls",
    "clean-pulls",
    "clean-windows",
    "clean-wide",
    "clean-narrow",
    "clean-small",
    "clean-large",
    "clean-contents",
    "clean-4bit",
    "clean-tied",
    "clean-cut",
    "clean-busnoise",
    "noise-0.05%",
    "noise-0.2%",
    "noise-0.5%",
    "noise-1%",
    "noise-one-reading",
    "noise-many",
    "noise-records",
    "noise-combo",
    "noise-once",
    "noise-two",
    "noise-socket",
    "noise-exclude",
    "noise-contents",
    "noise-passes",
    "weak",
    "weak-once",
    "weak-noise",
    "verdict-single",
    "verdict-same-file",
    "verdict-sessions",
    "blank",
]
CATEGORIES = (*FOUND, *NOTHING, "bad-input", "damage")


def make(category: str, seed: int, index: int, *, canonical: bool = False) -> Case:
    """The case of that number; worlds that can't be built as drawn are drawn again."""
    rng = rng_for(category, seed, index)
    if category == "bad-input":
        name, files, blamed, args = rubbish.bad_input(rng, index)
        return Case(category, index, files, [args], expect="bad-input", note={"what": name}, blamed=blamed)
    if category == "damage":
        name, files, args = rubbish.damaged(rng, index)
        return Case(category, index, files, [args], expect="survive", note={"what": name}, may_confirm=True)
    for _ in range(100):
        try:
            if category in NOTHING:
                return _nothing(rng, category, index, replace(NOTHING[category], canonical=canonical))
            plan = replace(_plan(rng, category), canonical=canonical)
            if plan.content == "blank":
                return _make_blank(rng, category, index, plan)
            case = build(rng, category, index, plan)
        except LookupError:
            continue
        if _fair(case, plan):
            return case
    raise RuntimeError(f"no fair case of {category} {index}")


def _make_blank(rng: np.random.Generator, category: str, index: int, plan: Plan) -> Case:
    case = build(rng, category, index, replace(plan, content="all"))
    case.expect = "blank"
    case.may_confirm = False
    return case


LEAST_TELLING = 16
"""Bytes, neither all ones nor all zeros, by which a single reading tells a ROM from a bus that makes noise itself."""


def _fair(case: Case, plan: Plan) -> bool:
    """Every ROM shows one whole copy at least, and enough of it differs from the bus to be told from it."""
    if plan.visible == "cut":
        return True
    for group in case.roms:
        first = group[0]
        if not plan.noise and first.solid is not None and not first.solid.all() and not plan.weak:
            lost = any(log.good is not None and not log.good.all() for log in case.logs)
            if not lost:
                return False
        if len(np.unique(first.image & first.mask)) < 4:
            return False
        telling = ~np.isin(first.image & first.mask, (0x00, first.mask))
        if case.note.get("bus_noise") and case.note.get("readings") == 1 and np.count_nonzero(telling) < LEAST_TELLING:
            return False
    return True


__all__ = ["BUS_KINDS", "CATEGORIES", "Case", "make"]
