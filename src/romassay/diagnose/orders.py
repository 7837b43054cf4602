"""Lines in the wrong order, and inverted data: found by which order of the lines makes the bytes read as code.

First a cheap question: do the bytes read as code as they are, and do their jumps arrive? Nearly every healthy log stops
there. Else all orders are searched, and the best is named if it is likely.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from itertools import combinations
from math import exp, log1p

import numpy as np

from romassay.diagnose.as_read import Read, Shown, in_runs
from romassay.diagnose.evidence import Evidence
from romassay.diagnose.halved import Halved
from romassay.diagnose.hidden import Hidden
from romassay.diagnose.memory import senseless
from romassay.diagnose.order import Order, exchanged, put_right, straight
from romassay.diagnose.pictures import is_picture
from romassay.diagnose.reads import TEXTUAL, Sense, best_sense
from romassay.diagnose.refine import TEMPER, odds_of, refined, simplest
from romassay.diagnose.search import nearly_right, search
from romassay.diagnose.usual import LARGEST, PRIOR
from romassay.finding import Finding
from romassay.reading import Bytes, Index

LEAST_BYTES = 256
"""Bytes below which no order is searched for."""

SEEN = 0.95
"""Share of the bytes that must have been read whole."""

BETTER = 4.0
"""Nats by which more jumps must arrive before an exchange of address lines is looked into."""

LOOKED_AT = -8.0
"""Nats of jumps from which an exchange of two address lines is read as instructions: it may be as good an order."""

AS_WELL = -2.0
"""Nats by which code reads worse, at most, with two address lines exchanged for that order not to be excluded. Of 150
pieces of 1 to 4 KiB of programs of eleven CPUs in their right order four read so: whole pages, which no jump tells."""

LEAST_HALVED, MOST_HALVED = 1024, 4096
"""Bytes of an image that is no program as a whole, and of which each half is asked: in smaller halves little shows, and
larger ones take long."""

SURE_OF_HALF = 0.6
"""Probability from which the order of a half is believed: in few bytes that are no program some order finds jumps."""

CERTAIN, BY_NATS, BY_JUMPS = -3.9, 5.3, 0.55
"""How likely it is that an order found is the right one: logistic in nats a byte, and in the logarithm of what its
jumps say. Fitted on 113 orders found in code of eleven CPUs and in data that is none, of other seeds than those tested;
`training/fit_orders.py` does the same on other programs, with fewer wrong ones among them."""

HIDES = 1.5
"""So much likelier is an order found under a hidden data line, which makes code read worse than it is."""

MOST_NATS = 1.0
"""Nats a byte from which more say nothing new."""

DOUBTED = 0.15
"""Probability from which an order is named: it keeps the image from being confirmed."""

UNEXPLAINED, NO_SENSE = 35.0, 0.15
"""Natural logarithm of the odds from which an order is named though it is hardly the right one, and nats a byte up to
which bytes are no code as they are: that so much of a program shows in another order says that some order is wrong."""

PLAINLY = 0.4
"""Nats a byte from which code is asked no more; what reads worse may be another CPU's, with two lines exchanged."""

PLAINER = 100.0
"""Nats by which such an exchange must read better."""

MOST = 0.99
"""The highest probability that is given."""

LEAST_ODDS = 0.0
"""Natural logarithm of the odds from which an order is named."""


def orders(
    evidence: Evidence, shown: Shown, halved: Halved | None = None, hidden: Hidden | None = None
) -> Iterator[Finding]:
    """Return the findings of lines in the wrong order, or of inverted data, in one image.

    Args:
        evidence: readings, survey and images.
        shown: the image.
        halved: address lines that leave half of it.
        hidden: data lines of it that do not say what the specimen says.
    """
    value = shown.value
    lost = sum(1 << line for line in hidden.lines) if hidden else 0
    read = Read(value if hidden is None else hidden.whole(value), hidden, halved)
    if len(read.left) < LEAST_BYTES or read.lines > LARGEST:
        return
    if np.count_nonzero(shown.seen | lost == 0xFF) < SEEN * len(value):
        return
    own = _as_it_is(evidence, read)
    found = list(_likelier(evidence, shown, read, own))
    yield from found
    if found or hidden is not None or halved is not None:
        return
    partly = own.nats >= NO_SENSE and own.gain > 0
    found = list(_not_excluded(shown, read, own)) if own.well or partly else []
    yield from found
    if not found and not own.well and LEAST_HALVED <= len(value) <= MOST_HALVED:
        yield from _by_halves(evidence, shown)


def _by_halves(evidence: Evidence, shown: Shown) -> Iterator[Finding]:
    """Yield the order under which one half of an image, though not all of it, is a program."""
    for half, seen in zip(np.split(shown.value, 2), np.split(shown.seen, 2), strict=True):
        read = Read(half)
        own = _as_it_is(evidence, read)
        found = [] if own.well else list(_likelier(evidence, Shown(half, seen, shown.function), read, own))
        if any(finding.probability >= SURE_OF_HALF for finding in found):
            yield from found
            return


def _likelier(evidence: Evidence, shown: Shown, read: Read, own: Sense) -> Iterator[Finding]:
    """Yield the findings of the order that is likelier than the one as it is, if there is one.

    Args:
        evidence: readings, survey and images.
        shown: the image.
        read: what of it is put in order.
        own: how well it reads as it is.
    """
    value = read.left if read.hidden is None else replace(read, value=shown.value).left
    same = straight(read.lines)
    if own.well and not _pages_out_of_order(own, read.lines):
        order, better = nearly_right(read, own) if own.nats < PLAINLY else (same, own)
        if better.score - own.score < PLAINER or better.nats < own.nats:
            return
    elif own.well:
        order, better = refined(read, same, own.cpu)
    elif hopeless(value):
        order, better = _nearest(read, own)
        if better.nats < NO_SENSE:
            return
    else:
        order, better = search(read, own)
    order, better = simplest(read, order, own, better)
    odds = odds_of(order, own, better, read.lines)
    if order == same or odds < LEAST_ODDS:
        return
    put = better if read.hidden or read.halved else best_sense(put_right(value, order))
    likely = min(_likely(put, hidden=read.hidden is not None), 1 / (1 + exp(-odds)))
    unexplained = odds >= UNEXPLAINED and own.nats < NO_SENSE and senseless(evidence, value)
    if put.told >= LEAST_BYTES and (likely >= DOUBTED or unexplained):
        yield from _findings(shown, read, order, (own, put), round(min(MOST, likely), 3))


def _nearest(read: Read, own: Sense) -> tuple[Order, Sense]:
    """Return the best order that a few exchanges of two lines lead to: part of what is no program may be one."""
    order, better = nearly_right(read, own)
    return refined(read, order, better.cpu)


def _not_excluded(shown: Shown, read: Read, own: Sense) -> Iterator[Finding]:
    """Yield the exchange of two address lines under which a program reads about as well as it is."""
    tried = [(read.sense(order, own.cpu), order) for order in _as_good(read, own)]
    if not tried:
        return
    other, order = max(tried, key=lambda pair: pair[0].score)
    gain = other.score - own.score
    if gain < AS_WELL:
        return
    a, b = (f"A{line}" for line, bus in enumerate(order.address) if bus != line)
    yield Finding(
        "address-lines-swapped",
        blocks=True,
        function=shown.function,
        probability=round(1 / (1 + exp(-(PRIOR + TEMPER * gain))), 3),
        lines=(a, b),
        mapping=((a, b), (b, a)),
        evidence=f"with {a} and {b} exchanged the bytes are code of the {other.cpu} as well ({other.arrived} of "
        f"{other.tried} jumps arrive where an instruction begins, {own.arrived} of {own.tried} as they are): which of "
        "the two orders is right, they do not tell",
        advice=f"check the wires of {a} and {b} against the pin-out, power off: another reading of the same wiring "
        "tells no more",
    )


def _as_good(read: Read, own: Sense) -> Iterator[Order]:
    """Yield the exchanges of two address lines under which the jumps say about the same, and the bytes move."""
    same = straight(read.lines)
    for a, b in combinations(range(read.lines), 2):
        order = replace(same, address=exchanged(same.address, a, b))
        if (
            own.jumps.gain_exchanged(a, b) - own.gain >= LOOKED_AT
            and (put_right(read.value, order) != read.value).any()
        ):
            yield order


def _as_it_is(evidence: Evidence, read: Read) -> Sense:
    """Return how well an image reads with every line in place, its filling counted for standing together."""
    if read.hidden is not None or read.halved is not None:
        return read.as_it_is()
    own = evidence.senses.of(read.value)
    return replace(own, score=own.score + in_runs(read.value))


def _likely(read: Sense, *, hidden: bool) -> float:
    """Return how likely it is that bytes put in order are code in its right order."""
    jumps = log1p(read.gain) if read.gain > 0 else -log1p(-read.gain)
    code = BY_NATS * min(read.nats, MOST_NATS) + BY_JUMPS * jumps
    return 1 / (1 + exp(-(CERTAIN + HIDES * hidden + code)))


def _pages_out_of_order(own: Sense, lines: int) -> bool:
    """Tell whether more jumps would arrive if two address lines were exchanged."""
    return any(own.jumps.gain_exchanged(a, b) > own.gain + BETTER for a, b in combinations(range(lines), 2))


def hopeless(value: Bytes) -> bool:
    """Tell whether no order can help: blank, plain text, a picture, or as even as random bytes are."""
    counts = np.bincount(value, minlength=256)
    if np.count_nonzero(counts) < 24:
        return True
    if float(counts[TEXTUAL].sum()) >= 0.95 * len(value) or _marked_text(counts) or is_picture(value):
        return True
    expected = len(value) / 256
    misfit = float(((counts - expected) ** 2 / expected).sum())
    return bool(misfit < 255 + 6 * (2 * 255) ** 0.5)


def _marked_text(counts: Index) -> bool:
    """Tell whether bytes, by how often each occurs, are text in which some characters have D7 high as a mark."""
    low, high = counts[:128], counts[128:]
    plain = float((low + high)[TEXTUAL[:128]].sum())
    return bool(plain >= 0.95 * counts.sum() and low.sum() >= high.sum() > 0)


def _findings(
    shown: Shown, read: Read, order: Order, senses: tuple[Sense, Sense], probability: float
) -> Iterator[Finding]:
    own, better = senses
    data = tuple((f"D{bus}", f"D{line}") for bus, line in enumerate(order.data) if bus != line)
    address = tuple((f"A{bus}", f"A{line}") for line, bus in enumerate(order.address) if bus != line)
    reads = (
        f"so read, the bytes are code of the {better.cpu} ({better.arrived} of {better.tried} jumps arrive where an "
        f"instruction begins); as they are, they are not ({own.arrived} of {own.tried}){_told_by(read)}"
    )
    again = "read again" if read.halved or read.hidden else "read again; or put the image right with --apply-findings"
    if order.inverted:
        yield Finding(
            "data-inverted",
            blocks=True,
            function=shown.function,
            probability=probability,
            lines=tuple(f"D{bit}" for bit in range(8)),
            evidence=f"every bit is inverted: {reads}",
            advice=f"look for an inverting buffer on the data lines, and {again}",
        )
    for kind, mapping, bus, way in (
        ("data-lines-swapped", data, "data", "comes from"),
        ("address-lines-swapped", tuple(sorted(address, key=lambda pair: int(pair[0][1:]))), "address", "goes to"),
    ):
        if mapping:
            (line, meant), *others = mapping
            rest = "".join(f", {line} {way.split()[1]} {meant}" for line, meant in others)
            yield Finding(
                kind,  # type: ignore[arg-type]
                blocks=True,
                function=shown.function,
                probability=probability,
                lines=tuple(line for line, _ in mapping),
                mapping=mapping,
                evidence=f"{line} of the bus {way} {meant} of the specimen{rest}: {reads}",
                advice=f"check these {bus} wires against the pin-out, power off, and {again}",
            )


def _told_by(read: Read) -> str:
    """Say which of the bytes and bits an order was told by, where it was not by all."""
    parts = []
    if read.halved is not None:
        leave = "leaves" if len(read.halved.lines) == 1 else "leave"
        parts.append(f"the half of the bytes that {' and '.join(f'A{n}' for n in read.halved.lines)} {leave}")
    if read.hidden is not None:
        parts.append(f"all data lines but {' and '.join(f'D{n}' for n in read.hidden.lines)}")
    return f"; told by {' and '.join(parts)}" if parts else ""
