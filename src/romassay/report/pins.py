"""The words and signs for pins, and the two sides of a package: what the printed and the drawn pin-out share."""

from __future__ import annotations

from dataclasses import dataclass

from romassay.part import Part, Pin, PinRole, is_unchecked

ROLES: dict[PinRole, str] = {
    "address": "address",
    "data": "data",
    "address-data": "address/data",
    "select": "select",
    "control": "control",
    "clock": "clock",
    "io": "port",
    "power": "supply",
    "program": "programming",
    "ground": "ground",
    "no-connect": "not connected",
}
"""The role of a pin, for people."""

ROLES_TOLD: dict[PinRole, str] = {
    "address": "address: the reader drives it",
    "data": "data: the chip drives it",
    "address-data": "takes an address, then gives data",
    "select": "select: chooses a function, or enables the chip",
    "control": "control",
    "clock": "clock",
    "io": "port: may be an output",
    "power": "supply",
    "program": "supply for programming: never raised for reading",
    "ground": "ground",
    "no-connect": "not connected",
}
"""The same at more length, for a legend."""


@dataclass(frozen=True, slots=True)
class Place:
    """A pin as a pin-out shows it: its role and how it is held, in words; `unsure` where its place has no source.

    A voltage or a level without a source has a question mark in `role`.
    """

    pin: Pin
    role: str
    unsure: bool


def sides(part: Part) -> tuple[tuple[Place, ...], tuple[Place, ...]]:
    """Return the pins of the left side, downward, and of the right side, downward too: pin 1 is top left."""
    places = [_place(part, pin) for pin in sorted(part.pins, key=lambda pin: pin.n)]
    half = len(places) // 2
    return tuple(places[:half]), tuple(reversed(places[half:]))


def _place(part: Part, pin: Pin) -> Place:
    role, unsure = ", ".join((ROLES[pin.kind], *_besides(part, pin))), is_unchecked(pin.src)
    return Place(pin, role.replace(" ?", "") if unsure else role, unsure)


def _besides(part: Part, pin: Pin) -> list[str]:
    """Return what matters of a pin beside its role: volts, first and last bit, level that selects, another role."""
    words = []
    rail = next((item for item in part.rails if item.pin == pin.n), None)
    if rail is not None and pin.kind != "ground":
        words.append(_doubted(f"{rail.nominal:+g} V", rail.src))
    data = [item.n for item in part.data_pins]
    if len(data) > 1 and pin.n in (data[0], data[-1]):
        words.append(f"bit {0 if pin.n == data[0] else len(data) - 1}")
    if pin.kind in ("select", "control"):
        words += _choice(part, pin)
    if pin.kind == "io" and any(not set(item.own).isdisjoint(pin.names) for item in part.functions):
        words.append("address")
    if pin.also_kind and pin.also_kind != "program":
        words.append(f"or {ROLES[pin.also_kind]}")
    if pin.hold and rail is None:
        words.append(_doubted(HELD.get(pin.hold, f"to {pin.hold}"), pin.hold_src or pin.src))
    return words


def _choice(part: Part, pin: Pin) -> list[str]:
    """Return the level at which a select chooses, that the mask decides it, or nothing where functions differ in it."""
    mine = [item for item in part.selects if item.name in pin.names]
    levels = {option for item in mine for option in item.options}
    if any(item.masked for item in mine):
        return [_doubted("by mask", ", ".join(item.src for item in mine))]
    return [_doubted(levels.pop(), mine[0].src)] if len(levels) == 1 else []


def _doubted(word: str, src: str) -> str:
    return f"{word} ?" if is_unchecked(src) else word


HELD: dict[str, str] = {
    "high": "high",
    "low": "low",
    "open": "open",
    "clock": "running",
    "strobe": "in step",
    "raised": "raised",
}
"""How a pin is held for reading, in a word; the name of a rail stands for itself."""


def name_of(pin: Pin) -> str:
    """Return both names of a pin: 'CS1 (PB6)'."""
    return f"{pin.name} ({pin.also})" if pin.also else pin.name
