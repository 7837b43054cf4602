"""The search for the order of the lines: which of all makes the bytes read as code.

For the orders of the data lines that suit the bytes best, the best of all orders of the address lines is found. The few
best of these are read as instructions, with their jumps, and improved by exchanging pairs of lines.
"""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import replace

import numpy as np

from romassay.cpus.catalogue import NAMES
from romassay.cpus.likeness import byte_scores
from romassay.cpus.model import Name
from romassay.diagnose.address_order import address_order
from romassay.diagnose.as_read import Read
from romassay.diagnose.data_orders import FAMILIES, STRAIGHT, by_histogram, counts_of, data_orders, nearly_straight
from romassay.diagnose.order import Order, every_order, put_right, straight
from romassay.diagnose.reads import Sense, likely_cpus
from romassay.diagnose.refine import refined
from romassay.reading import Bytes

REFINED = 6
"""Candidates that are read as instructions and improved, of all."""

OF_ITS_OWN = 2
"""The same of each CPU's own."""

PIECE = 1024
"""Bytes of the piece of an image that is read in many orders."""

MOST_PIECES = 100
"""Orders of the data lines that suit the histogram best, for each CPU, in which it is."""

READ_PIECES = 4
"""Of these, those that are followed up."""


def search(read: Read, own: Sense) -> tuple[Order, Sense]:
    """Return the order of the lines that makes an image read best, and how well it then reads.

    Args:
        read: the image as it was read.
        own: how well it reads as it is.
    """
    best = straight(read.lines), own
    for candidates in (_likeliest, _by_instructions):
        for order, cpu in candidates(read, own):
            better = refined(read, order, cpu)
            if better[1].score > best[1].score:
                best = better
        if read.halved is not None:
            best = _placed(read, *best)
        if best[1].well:
            break
    return best


def _placed(read: Read, order: Order, known: Sense) -> tuple[Order, Sense]:
    """Improve an order by putting the line that leaves half of the image among the specimen's lines, where it fits."""
    line = read.halved.lines[0] if read.halved else 0
    rest = [bus for bus in order.address if bus != line]
    orders = [replace(order, address=(*rest[:own], line, *rest[own:])) for own in range(read.lines)]
    tried = [(one, read.sense(one, known.cpu)) for one in orders]
    placed = max(tried, key=lambda pair: pair[1].score)
    return max((order, known), refined(read, placed[0], known.cpu), key=lambda pair: pair[1].score)


def nearly_right(read: Read, own: Sense) -> tuple[Order, Sense]:
    """Return the best order with no more than two data lines exchanged, the one as it is among them."""
    same = straight(read.lines)
    tried = [(Order(data, inverted, same.address), name) for data, inverted, name in nearly_straight(read)]
    senses = [(order, read.sense(order, name)) for order, name in tried]
    return max([(same, own), *senses], key=lambda pair: pair[1].score)


def _likeliest(read: Read, own: Sense) -> Iterator[tuple[Order, Name]]:
    """Yield the orders that histogram and neighbouring bytes speak for, the one as it is among them."""
    same = tuple(range(read.lines))
    orders = [*data_orders(read), *((tuple(range(8)), upside, name) for name in FAMILIES for upside in (False, True))]
    pool = _pooled(read, orders)
    for name in dict.fromkeys((own.cpu, *likely_cpus(read.left, 1))):
        pool[straight(read.lines)] = read.adjacent(straight(read.lines), name), name
    yield from ((Order(data, inverted, same), cpu) for data, inverted, cpu in nearly_straight(read))
    yield from ((order, pool[order][1]) for order in _foremost(pool))
    for upside in (False, True):
        counts = counts_of(read.left)[:: -1 if upside else 1]
        for at in np.argsort(-byte_scores(counts))[:STRAIGHT]:
            yield Order(tuple(range(8)), upside, same[::-1]), NAMES[int(at)]


def _by_instructions(read: Read, _: Sense) -> Iterator[tuple[Order, Name]]:
    """Yield the orders of the data lines under which a piece of the image reads best, all address lines in place."""
    piece = Read(_fullest(read.left), read.hidden)
    every = every_order()[0]
    same, inside = tuple(range(read.lines)), tuple(range(piece.lines))
    tried: list[tuple[float, Order, Name]] = []
    for name in FAMILIES:
        flat = by_histogram(counts_of(read.left), name, read.hidden).ravel()
        best = np.argpartition(-flat, MOST_PIECES)[:MOST_PIECES]
        for at in best[np.argsort(-flat[best], kind="stable")].tolist():
            turned, number = divmod(at, len(every))
            order = Order(tuple(every[number].tolist()), bool(turned), inside)
            tried.append((-piece.sense(order, name).score, order, name))
    tried.sort(key=lambda item: item[0])
    yield from ((replace(order, address=same), name) for _, order, name in tried[:READ_PIECES])


def _pooled(read: Read, orders: Iterable[tuple[tuple[int, ...], bool, Name]]) -> dict[Order, tuple[float, Name]]:
    """Return orders of data lines with the address lines in place, and in their best order: scores and CPUs."""
    same = tuple(range(read.lines))
    pool: dict[Order, tuple[float, Name]] = {}
    for data, inverted, cpu in orders:
        turned = Order(data, inverted, same)
        for address in {same, _best_address(read, turned, cpu)}:
            order = Order(data, inverted, address)
            score = read.adjacent(order, cpu)
            if order not in pool or pool[order][0] < score:
                pool[order] = score, cpu
    return pool


def _best_address(read: Read, turned: Order, cpu: Name) -> tuple[int, ...]:
    """Return the order of the address lines that suits neighbouring bytes best, the data lines in a given order."""
    table = put_right(read.left, replace(turned, address=straight(len(read.left).bit_length() - 1).address))
    order = address_order(table, cpu, read.behind(turned))
    if read.halved is None:
        return order
    names = [line for line in range(read.lines) if line != read.halved.lines[0]]
    return (*(names[line] for line in order), read.halved.lines[0])


def _fullest(value: Bytes) -> Bytes:
    """Return the piece of an image with the most different bytes, uint8[PIECE] or less."""
    pieces = value.reshape(-1, min(PIECE, len(value)))
    fullest: Bytes = max(pieces, key=lambda piece: len(np.unique(piece)))
    return fullest


def _foremost(pool: Mapping[Order, tuple[float, Name]]) -> list[Order]:
    """Return the orders whose bytes follow each other best, and for each CPU the best of its own."""
    ordered = sorted(pool, key=lambda order: -pool[order][0])
    own = [[order for order in ordered if pool[order][1] == name][:OF_ITS_OWN] for name in FAMILIES]
    return list(dict.fromkeys([*ordered[:REFINED], *(order for few in own for order in few)]))
