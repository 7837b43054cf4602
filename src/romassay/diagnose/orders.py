"""Lines in the wrong order, and inverted data: found by which order of the lines makes the bytes read as code.

First a cheap question: do the bytes read as code as they are, and do their jumps arrive? Nearly every healthy log stops
there. Else all 40,320 orders of the data lines, upright and inverted, are weighed by how often each byte value occurs,
which no order of the address lines changes. For the best of them the best of all orders of the address lines is found,
by which byte follows which: the score of a line depends only on the set of lines below it, so that the best order of n
lines is found exactly in 2**n steps. Last, the few best are read as instructions, with their jumps, and improved by
exchanging pairs of lines.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cache
from itertools import combinations, permutations
from math import exp, lgamma, log

import numpy as np
import numpy.typing as npt

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import SCALE, adjacent_weights, byte_weights
from romassay.cpus.model import Name
from romassay.diagnose.evidence import Evidence, filler
from romassay.diagnose.reads import Sense, best_sense, likely_cpus, sense
from romassay.finding import Finding
from romassay.reading import Bytes, Index
from romassay.settle.model import Image

LEAST_BYTES = 256
"""Bytes below which no order is searched for."""

MOST_LINES = 13
"""Address lines of the largest image that is searched: 8 KiB."""

FAMILIES: tuple[Name, ...] = ("65C02", "6801", "6809", "Z80", "8048", "8051", "1802")
"""CPUs whose bytes are weighed; the others share their codes with one of these."""

WEIGHED = 300
"""Orders of the data lines that suit the histogram best and are weighed by pairs of bytes, for each CPU."""

MOST_PAIRS = 512
"""Pairs of bytes across each address line that these are weighed by."""

READ = 16
"""Orders with all address lines in place that are read as instructions."""

STRAIGHT = 2
"""Of these, those that are followed up."""

SIMPLE = 200
"""Table units that no more than one exchange of data lines is given: it is so much likelier than any order."""

KEPT = 4
"""Orders of the data lines that are looked at by the histogram alone, for each CPU."""

FILLING = 12
"""00 or FF, which no order of the data lines changes, is filling where it is more than one byte in so many."""

PADDED = 6
"""It is padding where it is more than one byte in so many."""

FOLLOWED = 12
"""Of either way of weighing, those that are followed up."""

BEAM = 150
"""Sets of address lines of each size that are followed up."""

WORTH = 4
"""Exchanges of two lines that are read as instructions, of all that are weighed."""

REFINED = 10
"""Candidates that are read as instructions and improved."""

TEMPER = 0.35
"""The score counts neighbouring bytes as independent, which they are not: so much of it counts as evidence."""

PRIOR = log(0.02)
"""Natural logarithm of the odds that some line of a rig is in the wrong place, before anything is read."""

BETTER = 4.0
"""Nats by which more jumps must arrive before an exchange of address lines is looked into."""

SENSE = 0.35
"""Nats a byte from which bytes in another order are believed to be code: searched for in data, 0.25 was the most, and
code in its right order has 0.7 and more."""

DENSE = 0.75
"""The same where hardly a jump is inside."""

FEW_JUMPS = 6
"""Jumps that must be inside before their arriving counts."""

ARRIVING = 0.85
"""Share of the jumps that must arrive."""

MANY_JUMPS = 20
"""Jumps from which it is code although some do not arrive."""

SOME = 0.75
"""Share of them that must arrive."""

NEARLY = 0.6
"""Probability that the lines are as found, where some jumps do not arrive: they are out of order, but how is open."""

LEAST_ODDS = 0.0
"""Natural logarithm of the odds from which an order is named."""

Floats = npt.NDArray[np.float64]


@dataclass(frozen=True, slots=True)
class Order:
    """How the lines are to be read.

    Attributes:
        data: `data[i]` is the specimen's data line that arrives on bus line i.
        inverted: True where every bit arrives inverted.
        address: `address[i]` is the bus line that reaches the specimen's address line i.
    """

    data: tuple[int, ...]
    inverted: bool
    address: tuple[int, ...]


def straight(lines: int) -> Order:
    """Return the order in which nothing is wrong."""
    return Order(tuple(range(8)), False, tuple(range(lines)))


def put_right(value: Bytes, order: Order) -> Bytes:
    """Return an image as it stands in the specimen: lines put in order, data turned upright."""
    moved = value[sources(order, len(value))] ^ np.uint8(0xFF if order.inverted else 0)
    right: Bytes = data_table(order.data)[moved]
    return right


def sources(order: Order, size: int) -> Index:
    """Return where in the image as read each byte of the specimen stands, int64[size]."""
    offset = np.arange(size)
    at = np.zeros(size, np.int64)
    for line, bus in enumerate(order.address):
        at |= (offset >> line & 1) << bus
    return at


def data_table(data: Sequence[int]) -> Bytes:
    """Return what each byte on the bus is in the specimen, uint8[256]."""
    every = np.arange(256)
    out = np.zeros(256, np.uint8)
    for bus, own in enumerate(data):
        out |= ((every >> bus & 1) << own).astype(np.uint8)
    return out


def orders(evidence: Evidence, image: Image) -> Iterator[Finding]:
    """Return the findings of lines in the wrong order, or of inverted data, in one image."""
    function = evidence.found.functions[image.function]
    lines = len(image.value).bit_length() - 1
    if function.driven != 0xFF or len(image.value) < LEAST_BYTES or lines > MOST_LINES:
        return
    if np.count_nonzero(image.seen == 0xFF) < 0.98 * len(image.value):
        return
    own = best_sense(image.value)
    if own.well and not _pages_out_of_order(own, lines):
        return
    if own.well:
        order, better = _refined(image.value, straight(lines), own.cpu)
    elif _hopeless(image.value):
        return
    else:
        order, better = search(image.value, own)
    order, better = _simplest(image.value, order, own, better)
    odds = _odds(order, own, better, lines)
    if order == straight(lines) or odds < LEAST_ODDS:
        return
    if _plain(better):
        yield from _findings(image, order, own, better, round(min(0.99, 1 / (1 + exp(-odds))), 3))
    elif _nearly(better, len(image.value)):
        yield from _findings(image, order, own, better, NEARLY)


def _plain(better: Sense) -> bool:
    """Tell whether what was put in order is code beyond doubt: sense that a search finds in anything is little."""
    arrives = better.arrived >= ARRIVING * better.tried if better.tried >= FEW_JUMPS else better.nats >= DENSE
    return better.told >= LEAST_BYTES and better.nats >= SENSE and arrives


def _nearly(better: Sense, size: int) -> bool:
    """Tell whether the bytes are code, though not all jumps arrive: some lines are still in the wrong place."""
    arrives = better.tried >= MANY_JUMPS and better.arrived >= SOME * better.tried
    return better.told * 2 >= size and better.nats >= DENSE and arrives


def _pages_out_of_order(own: Sense, lines: int) -> bool:
    """Tell whether more jumps would arrive if two address lines were exchanged."""
    offset = np.arange(1 << lines)
    for a, b in combinations(range(lines), 2):
        differ = (offset >> a ^ offset >> b) & 1
        gain, _, _ = own.jumps.arriving(offset ^ (differ << a | differ << b))
        if gain > own.gain + BETTER:
            return True
    return False


def _hopeless(value: Bytes) -> bool:
    """Tell whether no order can help: blank, plain text, or as even as random bytes are."""
    counts = np.bincount(value, minlength=256)
    if np.count_nonzero(counts) < 24:
        return True
    if float(counts[0x20:0x7F].sum() + counts[[0x00, 0x0A, 0x0D]].sum()) >= 0.95 * len(value):
        return True
    expected = len(value) / 256
    misfit = float(((counts - expected) ** 2 / expected).sum())
    return bool(misfit < 255 + 6 * (2 * 255) ** 0.5)


def search(value: Bytes, own: Sense) -> tuple[Order, Sense]:
    """Return the order of the lines that makes an image read best, and how well it then reads.

    Args:
        value: the image as it was read.
        own: how well it reads as it is.
    """
    lines = len(value).bit_length() - 1
    pool: dict[Order, tuple[float, Name]] = {}
    same = tuple(range(lines))
    for data, inverted, cpu in _data_orders(value):
        turned = put_right(value, Order(data, inverted, same))
        for address in {same, _address_order(turned, cpu)}:
            order = Order(data, inverted, address)
            score = _adjacent(put_right(value, order), cpu)
            if order not in pool or pool[order][0] < score:
                pool[order] = score, cpu
    for name in dict.fromkeys((own.cpu, *likely_cpus(value, 1))):
        pool[straight(lines)] = _adjacent(value, name), name
    best = straight(lines), own
    near = [(Order(data, inverted, same), cpu) for data, inverted, cpu in _nearly_straight(value)]
    far = [(order, pool[order][1]) for order in sorted(pool, key=lambda order: -pool[order][0])[:REFINED]]
    for order, cpu in (*near, *far):
        refined = _refined(value, order, cpu)
        if refined[1].score > best[1].score:
            best = refined
    return best


@cache
def _pairs(name: Name, padding: int | None = None) -> npt.NDArray[np.int32]:
    """Return what a byte behind another scores, int32[65536]; two of the same say nothing, nor does padding."""
    weights = adjacent_weights(name).astype(np.int32)
    np.fill_diagonal(weights, 0)
    if padding is not None:
        weights[padding] = weights[:, padding] = 0
    return weights.ravel()


def _padding(value: Bytes) -> int | None:
    """Return the filling of an image that is padded with it: it stands beside anything in a wrong order."""
    blank = filler(value)
    return blank if blank is not None and np.count_nonzero(value == blank) * PADDED >= len(value) else None


def _adjacent(value: Bytes, name: Name) -> float:
    wide = value.astype(np.int32)
    return float(_pairs(name, _padding(value))[wide[:-1] << 8 | wide[1:]].sum()) / SCALE


@cache
def _every_order() -> tuple[npt.NDArray[np.uint8], npt.NDArray[np.uint8]]:
    """Return all orders of eight lines, uint8[40320, 8], and what each makes of every byte, uint8[256, 40320]."""
    every = np.array(list(permutations(range(8))), np.uint8)
    out = np.zeros((256, len(every)), np.uint8)
    for byte in range(1, 256):
        lowest = byte & -byte
        out[byte] = out[byte ^ lowest] | (np.uint8(1) << every[:, lowest.bit_length() - 1])
    return every, out


def _data_orders(value: Bytes) -> Iterator[tuple[tuple[int, ...], bool, Name]]:
    """Yield the orders of the data lines that suit the bytes best, for each CPU, and the one as it is.

    All are weighed by the histogram. The best of these are weighed by pairs of bytes: whatever the order of the address
    lines, across one of them stand the bytes that follow each other.
    """
    every, becomes = _every_order()
    counts = np.bincount(value, minlength=256)
    for filling in (0x00, 0xFF):
        counts[filling] *= counts[filling] * FILLING < len(value)
    weights = byte_weights()
    pairs = _line_pairs(value)
    ranked: list[tuple[int, int, int, Name]] = []
    paired: list[tuple[int, int, Name]] = []
    for name in FAMILIES:
        row = weights[NAMES.index(name)].astype(np.int32)
        total = np.zeros((2, len(every)), np.int32)
        for byte in np.flatnonzero(counts + counts[::-1]):
            scores = row[becomes[byte]]
            for inverted in (0, 1):
                total[inverted] += int(counts[byte ^ (0xFF * inverted)]) * scores
        flat = total.ravel()
        best = np.argpartition(-flat, WEIGHED)[:WEIGHED]
        best = best[np.argsort(-flat[best], kind="stable")]
        simple = _simple_orders()
        ranked += [(rank, -int(flat[at]), int(at), name) for rank, at in enumerate(best[:KEPT])]
        for at in {*best.tolist(), *simple}:
            turned, number = divmod(at, len(every))
            table = becomes[:, number].astype(np.int64)
            suits = _best_line(table[::-1] if turned else table, pairs, name)
            paired.append((-suits - SIMPLE * (at in simple), at, name))
    ranked.sort()
    paired.sort()
    chosen = [(at, name) for _, _, at, name in ranked[:FOLLOWED]] + [(at, name) for _, at, name in paired[:FOLLOWED]]
    for at, name in dict.fromkeys(chosen):
        turned, number = divmod(at, len(every))
        yield tuple(int(n) for n in every[number]), bool(turned), name
    yield from ((tuple(range(8)), False, name) for name in likely_cpus(value, 2))


def _nearly_straight(value: Bytes) -> list[tuple[tuple[int, ...], bool, Name]]:
    """Return the best of the orders in which all address lines are right and two data lines are exchanged, at most."""
    every, becomes = _every_order()
    tried: list[tuple[float, int, Name, Bytes]] = []
    for at in sorted(_simple_orders()):
        turned, number = divmod(at, len(every))
        right = becomes[:, number][value ^ np.uint8(0xFF * turned)]
        tried += [(-_adjacent(right, name), at, name, right) for name in FAMILIES]
    tried.sort(key=lambda item: item[:3])
    read = sorted((-sense(right, name).score, at, name) for _, at, name, right in tried[:READ])
    chosen = [(divmod(at, len(every)), name) for _, at, name in read[:STRAIGHT]]
    return [(tuple(int(n) for n in every[number]), bool(turned), name) for (turned, number), name in chosen]


@cache
def _simple_orders() -> frozenset[int]:
    """Return which of all orders, upright and then inverted, have no more than two lines out of place."""
    every, _ = _every_order()
    few = np.flatnonzero((every != np.arange(8)).sum(axis=1) <= 2)
    return frozenset(int(at) for at in (*few, *(few + len(every))))


def _line_pairs(value: Bytes) -> list[tuple[Index, Index]]:
    """Return, for each address line, bytes on its low side and on its high side, as int64."""
    lines = len(value).bit_length() - 1
    step = max(1, len(value) // 2 // MOST_PAIRS)
    low = _low(lines)[:, ::step]
    wide = value.astype(np.int64)
    return [(wide[low[line]], wide[low[line] | 1 << line]) for line in range(lines)]


def _best_line(table: Index, pairs: Sequence[tuple[Index, Index]], name: Name) -> int:
    """Return how well the bytes across that address line follow each other where they do so best."""
    weights = _pairs(name)
    return max(int(weights[table[low] << 8 | table[high]].sum()) for low, high in pairs)


def _address_order(value: Bytes, name: Name) -> tuple[int, ...]:
    """Return the order of the address lines under which neighbouring bytes score best, of all that a wide beam reaches.

    Where the lines below one are known as a set, so are the pairs of bytes across it: from all of them high and it low,
    to all of them low and it high. So the best order of a set is the best order of the set without its highest line.
    """
    lines = len(value).bit_length() - 1
    weights = _pairs(name, _padding(value))
    wide = value.astype(np.int64)
    offset = np.arange(len(value))
    every = (1 << lines) - 1
    sets: dict[int, tuple[int, tuple[int, ...]]] = {0: (0, ())}
    for _ in range(lines):
        grown: dict[int, tuple[int, tuple[int, ...]]] = {}
        for below in sorted(sets, key=lambda known: -sets[known][0])[:BEAM]:
            so_far, order = sets[below]
            free = np.array([line for line in range(lines) if not below >> line & 1])
            rest = offset[offset & below == 0][_low(len(free))]
            pairs = wide[rest | below] << 8 | wide[rest | (1 << free)[:, None]]
            scores = weights[pairs].sum(axis=1)
            for line, score in zip(free, scores, strict=True):
                known = below | 1 << int(line)
                if known not in grown or grown[known][0] < so_far + int(score):
                    grown[known] = so_far + int(score), (*order, int(line))
        sets = grown
    return sets[every][1]


@cache
def _low(count: int) -> Index:
    """Return, for each of so many lines, the numbers over them in which it is low, int64[count, 2**(count - 1)]."""
    number = np.arange(1 << (count - 1))
    lines = np.arange(count)[:, None]
    low: Index = (number >> lines << lines + 1) | (number & ((1 << lines) - 1))
    return low


def _refined(value: Bytes, order: Order, name: Name) -> tuple[Order, Sense]:
    """Improve an order by exchanging pairs of lines as long as the bytes read better."""
    best = order, sense(put_right(value, order), name)
    improved = True
    while improved:
        improved = False
        for other in _neighbours(value, *best):
            tried = sense(put_right(value, other), name)
            if tried.score > best[1].score:
                best, improved = (other, tried), True
                break
    return best


def _simplest(value: Bytes, order: Order, own: Sense, better: Sense) -> tuple[Order, Sense]:
    """Put lines back in place as long as what the bytes then lose is less than the simpler order is likelier."""
    lines = len(order.address)
    best = order, better
    improved = True
    while improved:
        improved = False
        for other in _simpler(best[0]):
            tried = sense(put_right(value, other), best[1].cpu)
            if _odds(other, own, tried, lines) > _odds(best[0], own, best[1], lines):
                best, improved = (other, tried), True
                break
    return best


def _simpler(order: Order) -> Iterator[Order]:
    """Yield the orders with all data lines in place, all address lines, or one line more."""
    same = straight(len(order.address))
    for simple in (replace(order, data=same.data), replace(order, address=same.address)):
        if simple != order:
            yield simple
    for line, bus in enumerate(order.address):
        if bus != line:
            yield replace(order, address=_exchanged(order.address, line, order.address.index(line)))
    for bus, line in enumerate(order.data):
        if bus != line:
            yield replace(order, data=_exchanged(order.data, bus, order.data.index(bus)))


def _neighbours(value: Bytes, order: Order, own: Sense) -> list[Order]:
    """Return the most promising exchanges of two lines, by neighbouring bytes and by jumps that would arrive."""
    offset = np.arange(len(value))
    weighed: list[tuple[float, Order]] = []
    for a, b in combinations(range(len(order.address)), 2):
        other = Order(order.data, order.inverted, _exchanged(order.address, a, b))
        differ = (offset >> a ^ offset >> b) & 1
        gain, _, _ = own.jumps.arriving(offset ^ (differ << a | differ << b))
        weighed.append((_adjacent(put_right(value, other), own.cpu) + gain - own.gain, other))
    for a, b in combinations(range(8), 2):
        other = Order(_exchanged(order.data, a, b), order.inverted, order.address)
        weighed.append((_adjacent(put_right(value, other), own.cpu), other))
    weighed.sort(key=lambda item: -item[0])
    return [other for _, other in weighed[:WORTH]]


def _exchanged(order: tuple[int, ...], a: int, b: int) -> tuple[int, ...]:
    changed = list(order)
    changed[a], changed[b] = changed[b], changed[a]
    return tuple(changed)


def _odds(order: Order, own: Sense, better: Sense, lines: int) -> float:
    """Return the logarithm of the odds that the lines are so, against their being right."""
    return PRIOR + TEMPER * (better.score - own.score) - _choices(order, lines)


def _choices(order: Order, lines: int) -> float:
    """Return the logarithm of how many orders are as simple as this one."""
    moved = sum(bus != own for bus, own in enumerate(order.data))
    far = sum(bus != own for own, bus in enumerate(order.address))
    data = 0.0 if not moved else log(28) if moved == 2 else log(40320)
    address = 0.0 if not far else log(lines * (lines - 1) / 2) if far == 2 else lgamma(lines + 1)
    return data + address


def _findings(image: Image, order: Order, own: Sense, better: Sense, probability: float) -> Iterator[Finding]:
    data = tuple((f"D{bus}", f"D{line}") for bus, line in enumerate(order.data) if bus != line)
    address = tuple((f"A{bus}", f"A{line}") for line, bus in enumerate(order.address) if bus != line)
    cpu = best_sense(put_right(image.value, order)).cpu
    reads = (
        f"so read, the bytes are code of the {cpu} ({better.arrived} of {better.tried} jumps arrive where an "
        f"instruction begins); as they are, they are not ({own.arrived} of {own.tried})"
    )
    if order.inverted:
        yield Finding(
            "data-inverted",
            blocks=True,
            function=image.function,
            probability=probability,
            lines=tuple(f"D{bit}" for bit in range(8)),
            evidence=f"every bit is inverted: {reads}",
            advice="look for an inverting buffer on the data lines; or put the image right with --apply-findings",
        )
    for kind, mapping, bus in (
        ("data-lines-swapped", data, "data"),
        ("address-lines-swapped", tuple(sorted(address, key=lambda pair: int(pair[0][1:]))), "address"),
    ):
        if mapping:
            wired = ", ".join(f"{line} is {meant}" for line, meant in mapping)
            yield Finding(
                kind,  # type: ignore[arg-type]
                blocks=True,
                function=image.function,
                probability=probability,
                lines=tuple(line for line, _ in mapping),
                mapping=mapping,
                evidence=f"{wired}: {reads}",
                advice=f"check these {bus} wires against the pin-out, and read again; or put the image right with "
                "--apply-findings",
            )
