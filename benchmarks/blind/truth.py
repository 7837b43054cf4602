"""The right answers, worked out from the world and from which characters arrived whole.

An `Answer` is one explanation that is right: image, own bits, and for each bus line the set of words that count as
right. Where the readings themselves can't tell, several answers are right; the first is the specimen as built.
"""

from dataclasses import dataclass, field

import numpy as np

from .sheet import Log
from .world import Chip, World


@dataclass
class Answer:
    own: int
    image: np.ndarray
    decode: dict[int, set[str]]
    mask: int = 0xFF
    solid: np.ndarray | None = None  # per offset: every byte that must be right
    note: str = "as built"


@dataclass
class Seen:
    """What the readings offer, over all of them together."""

    address: np.ndarray  # addresses that were read and arrived at least once, sorted
    value: np.ndarray  # what a perfect line would have said at the first reading
    owner: np.ndarray  # as World.owner, with host memory -2 and excluded -3
    busy: set[int] = field(default_factory=set)


def seen_by(world: World, logs: list[Log], excluded: list[tuple[int, int]]) -> Seen:
    good = np.concatenate([log.address[log.good] for log in logs])
    value = np.concatenate([log.value[log.good] for log in logs])
    address, first = np.unique(good, return_index=True)
    owner = world.owner(address)
    for low, high in excluded:
        owner[(address >= low) & (address <= high)] = -3
    return Seen(address, value[first], owner)


def solid(
    chip: Chip, own: int, logs: list[Log], world: World, number: int, excluded: list[tuple[int, int]]
) -> np.ndarray:
    """Offsets whose value the observations give by a clear majority."""
    size = 1 << own
    right = np.zeros(size, np.int64)
    wrong = np.zeros((size, 256), np.int64)
    for log in logs:
        mine = world.owner(log.address) == number
        for low, high in excluded:
            mine &= ~((log.address >= low) & (log.address <= high))
        offset = log.address & (size - 1)
        nominal = chip.content[log.address & ((1 << chip.own) - 1)].astype(np.int64)
        mask = chip.mask
        hit = mine & log.good & ((log.heard & mask) == (nominal & mask))
        np.add.at(right, offset[hit], 1)
        miss = mine & (log.heard >= 0) & ((log.heard & mask) != (nominal & mask))
        np.add.at(wrong, (offset[miss], log.heard[miss]), 1)
    clear = right >= 2 * wrong.sum(1) + 1
    for at, *_ in chip.weak:
        clear[at] = right[at] > wrong[at].sum()  # a cell that fails to one side: its nominal value, if most say so
    return clear


def expected(
    seen: Seen, own: int, fixed: dict[int, int], image: np.ndarray, bits: int, *, host_known: bool, mask: int = 0xFF
) -> dict[int, set[str]]:
    """For each line above `own`, the words that count as right."""
    block = seen.address >> own
    numbers, where = np.unique(block, return_inverse=True)
    open_rows = seen.owner >= -1
    same = (image[seen.address & ((1 << own) - 1)] & mask) == (seen.value & mask)
    known = np.bincount(where, open_rows, len(numbers))
    differs = np.bincount(where, open_rows & ~same, len(numbers))
    hosted = np.bincount(where, seen.owner == -2, len(numbers))
    is_copy = np.ones(len(numbers), bool)
    for line, level in fixed.items():
        is_copy &= ((numbers >> (line - own)) & 1) == level
    commonest = np.bincount(seen.value, minlength=256).argmax()
    plain = np.bincount(where, open_rows & (seen.value != commonest), len(numbers))
    size = 1 << own
    enough = max(8, size // 4)
    state = {}
    for number, copy, k, d, h, p in zip(numbers, is_copy, known, differs, hosted, plain, strict=True):
        if copy:
            level = "yes" if k >= enough and p >= 4 else "maybe" if k else "host" if h else "no"
        else:
            level = "yes" if k >= enough and d >= max(4, 0.02 * k) else "maybe" if k and d else "host" if h else "no"
            if k and not d:
                level = "maybe"
        state[int(number)] = (bool(copy), level)
    out = {}
    for line in range(own, bits):
        out[line] = _line(state, 1 << (line - own), line, fixed, host_known=host_known)
    return out


def _line(
    state: dict[int, tuple[bool, str]], step: int, line: int, fixed: dict[int, int], *, host_known: bool
) -> set[str]:
    truth = str(fixed[line]) if line in fixed else "any"
    sure = maybe = under_host = False
    apparent = set()
    for number, (copy, level) in state.items():
        other = state.get(number ^ step)
        if not copy or other is None:
            continue
        levels = {level, other[1]}
        if levels == {"yes"}:
            sure = True
        elif "no" in levels:
            continue
        elif "host" in levels:
            under_host = True
            if level == "yes":
                apparent.add(str(number // step & 1))
        else:
            maybe = True
    if sure:
        return {truth}
    if maybe:
        return {truth, "unknown"}
    if under_host and not host_known:
        return {truth, "unknown", *apparent}
    return {"unknown"}


def answers(
    world: World, number: int, logs: list[Log], excluded: list[tuple[int, int]], *, size_given: bool, host_known: bool
) -> list[Answer]:
    """The specimen as built, then what else the readings allow; a declared size leaves the first alone."""
    chip = world.chips[number]
    seen = seen_by(world, logs, excluded)
    out = [_answer(world, number, seen, logs, excluded, chip.own, chip.fixed, chip.content, "as built", host_known)]
    if size_given:
        return out
    own, fixed, image = chip.own, dict(chip.fixed), chip.content
    while own > 4:
        own -= 1
        low, high = image[: 1 << own], image[1 << own :]
        if np.array_equal(low & chip.mask, high & chip.mask):
            image, note = low, "half of a repeat"
        elif _is_bus(world, high):
            image, fixed, note = low, {**fixed, own: 0}, "without a blank half"
        elif _is_bus(world, low):
            image, fixed, note = high, {**fixed, own: 1}, "without a blank half"
        else:
            half = _half_seen(seen, number, own)
            if half is None:
                break
            image, fixed, note = (low, high)[half], {**fixed, own: half}, "the half that was read"
        out.append(_answer(world, number, seen, logs, excluded, own, fixed, image, note, host_known))
    out.extend(_larger(world, number, seen, logs, host_known))
    return out


def _is_bus(world: World, part: np.ndarray) -> bool:
    """A blank half that a constant bus would say too."""
    if len(np.unique(part)) != 1:
        return False
    value = int(part[0])
    constant = {"ff": 0xFF, "00": 0x00, "opcode": world.bus.opcode, "operand": world.bus.operand}
    return constant.get(world.bus.kind) == value or (world.bus.kind in ("previous", "decay", "mixture", "high"))


def _half_seen(seen: Seen, number: int, own: int) -> int | None:
    """The only half of the image that any reading shows."""
    mine = seen.address[seen.owner == number]
    halves = np.unique(mine >> own & 1)
    return int(halves[0]) if len(halves) == 1 else None


def _answer(
    world: World,
    number: int,
    seen: Seen,
    logs: list[Log],
    excluded: list[tuple[int, int]],
    own: int,
    fixed: dict[int, int],
    image: np.ndarray,
    note: str,
    host_known: bool,
) -> Answer:
    chip = world.chips[number]
    good = solid(chip, chip.own, logs, world, number, excluded)
    part = good
    while len(part) > len(image):
        low, high = part[: len(part) // 2], part[len(part) // 2 :]
        top = fixed.get(len(low).bit_length() - 1) if len(low) >= len(image) else None
        part = low | high if top is None else (high if top else low)
    decode = expected(seen, own, fixed, image, world.bits, host_known=host_known, mask=chip.mask)
    return Answer(own, image, decode, chip.mask, part, note)


def _larger(world: World, number: int, seen: Seen, logs: list[Log], host_known: bool) -> list[Answer]:
    """Several ROMs that together behave like one larger one."""
    roms = [n for n, chip in enumerate(world.chips) if chip.kind == "rom"]
    out: list[Answer] = []
    if len(roms) < 2:
        return out
    driven = np.isin(seen.owner, roms)
    open_rows = seen.owner >= -1
    for own in range(world.chips[number].own + 1, max(world.chips[n].own for n in roms) + 3):
        size = 1 << own
        mine = seen.address[driven]
        table = np.full(size, -1)
        table[mine & (size - 1)] = seen.value[driven]
        if (table < 0).any() or (table[mine & (size - 1)] != seen.value[driven]).any():
            continue
        fixed = {
            line: int(mine[0] >> line & 1) for line in range(own, world.bits) if len(np.unique(mine >> line & 1)) == 1
        }
        inside = np.ones(len(seen.address), bool)
        for line, level in fixed.items():
            inside &= (seen.address >> line & 1) == level
        if (inside[open_rows] != driven[open_rows]).any():
            continue
        image = table.astype(np.uint8)
        decode = expected(seen, own, fixed, image, world.bits, host_known=host_known)
        arrived = np.zeros(size, bool)
        arrived[np.concatenate([log.address[log.good] for log in logs]) & (size - 1)] = True
        out.append(Answer(own, image, decode, 0xFF, arrived, "two as one larger"))
    return out


def doubled(world: World, logs: list[Log], own: int) -> Answer:
    """A ROM whose top address pin sees one level, as the declared size shows it: the visible half, twice."""
    chip = world.chips[0]
    image = np.concatenate([chip.content, chip.content])
    fixed = {line: level for line, level in chip.fixed.items() if line >= own}
    decode = expected(seen_by(world, logs, []), own, fixed, image, world.bits, host_known=False)
    half = solid(chip, chip.own, logs, world, 0, [])
    return Answer(own, image, decode, chip.mask, np.concatenate([half, half]), "the visible half, twice")
