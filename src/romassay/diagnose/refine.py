"""An order of lines improved, and made no less simple than what it explains asks for.

Pairs of lines are exchanged as long as the bytes read better; then lines are put back as long as the simpler order is
likelier.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations

from romassay.cpus.model import Name
from romassay.diagnose.as_read import Read
from romassay.diagnose.order import Order, choices, exchanged, straight
from romassay.diagnose.reads import Sense
from romassay.diagnose.usual import PRIOR

WORTH = 4
"""Exchanges of two lines that are read as instructions, of all that are weighed."""

TEMPER = 0.35
"""The score counts neighbouring bytes as independent, which they are not: so much of it counts as evidence."""


def refined(read: Read, order: Order, name: Name) -> tuple[Order, Sense]:
    """Improve an order by exchanging pairs of lines as long as the bytes read better."""
    best = order, read.sense(order, name)
    improved = True
    while improved:
        improved = False
        for other in _neighbours(read, *best):
            tried = read.sense(other, name)
            if tried.score > best[1].score:
                best, improved = (other, tried), True
                break
    return best


def _neighbours(read: Read, order: Order, own: Sense) -> list[Order]:
    """Return the most promising exchanges of two lines, by neighbouring bytes and by jumps that would arrive."""
    weighed: list[tuple[float, Order]] = []
    for a, b in combinations(range(len(order.address)), 2):
        other = Order(order.data, order.inverted, exchanged(order.address, a, b))
        gain = own.jumps.gain_exchanged(a, b) - own.gain
        weighed.append((read.adjacent(other, own.cpu) + gain, other))
    for a, b in combinations(range(8), 2):
        other = Order(exchanged(order.data, a, b), order.inverted, order.address)
        weighed.append((read.adjacent(other, own.cpu), other))
    weighed.sort(key=lambda item: -item[0])
    return [other for _, other in weighed[:WORTH]]


def simplest(read: Read, order: Order, own: Sense, better: Sense) -> tuple[Order, Sense]:
    """Put lines back in place as long as what the bytes then lose is less than the simpler order is likelier."""
    lines = len(order.address)
    best = order, better
    improved = True
    while improved:
        improved = False
        for other in _simpler(best[0]):
            tried = read.sense(other, best[1].cpu)
            if odds_of(other, own, tried, lines) > odds_of(best[0], own, best[1], lines):
                best, improved = (other, tried), True
                break
    return best


def _simpler(order: Order) -> Iterator[Order]:
    """Yield the orders with all data lines in place, all address lines, those that changed places, or one line more."""
    same = straight(len(order.address))
    for simple in (replace(order, data=same.data), replace(order, address=same.address)):
        if simple != order:
            yield simple
    for cycle in _cycles(order.address):
        yield replace(order, address=tuple(n if n in cycle else bus for n, bus in enumerate(order.address)))
    for cycle in _cycles(order.data):
        yield replace(order, data=tuple(n if n in cycle else line for n, line in enumerate(order.data)))
    for line, bus in enumerate(order.address):
        if bus != line:
            yield replace(order, address=exchanged(order.address, line, order.address.index(line)))
    for bus, line in enumerate(order.data):
        if bus != line:
            yield replace(order, data=exchanged(order.data, bus, order.data.index(bus)))


def _cycles(order: tuple[int, ...]) -> list[frozenset[int]]:
    """Return the sets of more than two lines that changed places among themselves."""
    cycles = set()
    for line in range(len(order)):
        cycle = [line]
        while order[cycle[-1]] != line:
            cycle.append(order[cycle[-1]])
        cycles.add(frozenset(cycle))
    return sorted((cycle for cycle in cycles if len(cycle) > 2), key=sorted)


def odds_of(order: Order, own: Sense, better: Sense, lines: int) -> float:
    """Return the logarithm of the odds that the lines are so, against their being right."""
    return PRIOR + TEMPER * (better.score - own.score) - choices(order, lines)
