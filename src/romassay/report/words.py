"""The trade's words for what an assay says: kinds, levels, sizes. One table for each, nothing decided here."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from romassay.finding import Kind, Limit
from romassay.part import FunctionKind
from romassay.survey.model import Level, RegionKind

FUNCTIONS: dict[FunctionKind, str] = {"rom": "ROM", "ram": "RAM", "registers": "I/O and timer"}

REGIONS: dict[RegionKind, str] = {
    "rom": "ROM",
    "ram": "RAM",
    "registers": "I/O and timer",
    "open-bus": "floating bus",
    "host": "host memory (left out)",
    "contended": "bus conflict",
    "unknown": "not clear",
}

SIGNS: dict[Level, str] = {"1": "1", "0": "0", "any": "x", "unknown": "?"}
"""One character for what a line must be; '.' stands for a line inside the function."""

LEVELS: dict[Level, str] = {"1": "1", "0": "0", "any": "don't care", "unknown": "not exercised"}
"""What a line must be, in words."""

FINDINGS: dict[Kind, str] = {
    "single-reading": "one reading only",
    "duplicate-reading": "the same file twice",
    "link-corruption": "characters corrupted on the line",
    "link-dropout": "characters lost on the line",
    "weak-bits": "weak bits",
    "undriven-bits": "data lines not driven",
    "short-window": "window too short for some lines",
    "size-ambiguous": "another size fits as well",
    "byte-order": "order of the bytes in a word not known",
    "place-not-shown": "first byte not known by its address",
    "blank": "blank",
    "not-code": "does not look like code",
    "data-line-stuck": "data line stuck",
    "data-line-open": "data line open",
    "data-lines-bridged": "data lines bridged",
    "data-lines-swapped": "data lines swapped",
    "data-inverted": "data inverted",
    "address-line-stuck": "address line stuck",
    "address-line-open": "address line open",
    "address-lines-bridged": "address lines bridged",
    "address-lines-swapped": "address lines swapped",
    "contention": "bus conflict",
    "select-tied": "select line tied",
    "latched-enable": "enable needs an edge",
    "marginal-timing": "timing at its limit",
    "supply-sag": "supply sags",
    "half-image": "half of the image missing",
    "wrong-part": "not the declared part",
    "mixed-specimens": "two specimens in these readings",
    "ram-or-rom": "RAM or ROM, not told apart",
}

LIMITS: dict[Limit, str] = {
    "no-power-cycle": "All readings are of one power-up: RAM that keeps its content would read the same.",
    "no-control-reading": "No reading without the specimen: what the bus says by itself is inferred.",
    "part-not-declared": "No part is declared: the size and the wiring rest on the readings alone.",
    "no-own-check": "No check was found that the firmware makes of itself: wrong lines would not show in it.",
    "place-not-shown": "The files hold no addresses: place and decode are as right as the base that was said.",
}


def size(count: int) -> str:
    """Return a number of bytes in the unit that people use: 1024 is '1 KiB', 64 is '64 bytes'."""
    if count and count % (1 << 20) == 0:
        return f"{count >> 20} MiB"
    if count and count % (1 << 10) == 0:
        return f"{count >> 10} KiB"
    return plural(count, "byte")


def plural(count: int, noun: str, many: str | None = None) -> str:
    """Return the number and its noun: '1 byte', '2 bytes'."""
    return f"{count} {noun if count == 1 else many or noun + 's'}"


def times(count: int) -> str:
    """Return how often: 'once', '2 times'."""
    return "once" if count == 1 else plural(count, "time")


def listed(items: Sequence[str], last: str = "and") -> str:
    """Return 'A', 'A and B' or 'A, B and C'."""
    return ", ".join(items[:-1]) + f" {last} {items[-1]}" if len(items) > 1 else "".join(items)


def some(items: Iterable[str], at_most: int) -> str:
    """Return the first items, and how many more there are; a single one more takes no more room than its number."""
    shown = list(items)
    more = len(shown) - at_most
    return ", ".join(shown[:at_most]) + f" and {more} more" if more > 1 else ", ".join(shown)


def digits(bits: int) -> int:
    """Return how many hex digits an address of a bus takes; four at least."""
    return max(4, (bits + 3) // 4)


def pass_name(name: str, number: int) -> str:
    """Return the name of a file, and which of its passes a reading is where it holds several."""
    return f"{name}, pass {number}" if number > 1 else name or "unnamed"
