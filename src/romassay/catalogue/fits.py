"""Which part a chip with a house mark may be: what is known of its pins against the catalogue; what to measure next.

Only checks with the power off are proposed, on the chip alone and on the board it came from. They are common practice;
no source was found for them.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from itertools import combinations
from typing import Literal, get_args

from romassay.catalogue.strict import meant
from romassay.errors import BadValue
from romassay.part import Part, Pin, PinRole

Wanted = Literal["supply", "ground", "clock", "address", "data", "select", "control", "io", "no-connect"]
"""What may be known of a pin without knowing its name."""

_KINDS: dict[Wanted, tuple[PinRole, ...]] = {
    "supply": ("power", "program"),
    "ground": ("ground",),
    "clock": ("clock",),
    "address": ("address", "address-data"),
    "data": ("data", "address-data"),
    "select": ("select",),
    "control": ("control",),
    "io": ("io",),
    "no-connect": ("no-connect",),
}
_SYNONYMS: dict[str, Wanted] = {
    "power": "supply",
    "gnd": "ground",
    "vss": "ground",
    "0v": "ground",
    "port": "io",
    "enable": "select",
    "nc": "no-connect",
    "not-connected": "no-connect",
}
_VOLTS = re.compile(r"([+-]?[0-9]{1,3}(?:\.[0-9]{1,3})?)V?")
_NUMBERED = re.compile(r"[A-Z]+([0-9]{1,3})")

Where = Literal["chip", "board"]


@dataclass(frozen=True, slots=True)
class Known:
    """What is known of one pin: what it is, or what it is called.

    Attributes:
        pin: its number.
        said: as the person said it, for messages.
        wanted: what it is, or None where only a name is known.
        name: its name, or empty.
        volts: of a supply, or None.
    """

    pin: int
    said: str
    wanted: Wanted | None = None
    name: str = ""
    volts: float | None = None


@dataclass(frozen=True, slots=True)
class Clues:
    """What is known of a chip: number of pins, inches between its rows, bytes of its ROM, and single pins."""

    pins: int | None = None
    row: float | None = None
    size: int | None = None
    known: tuple[Known, ...] = ()


@dataclass(frozen=True, slots=True)
class Check:
    """A measurement with the power off, and what each candidate makes of it.

    Attributes:
        pin: the pin to measure.
        where: on the chip alone, or on the board it came from.
        outcomes: (what is seen, the candidates that it speaks for), one for each way in which it may end.
    """

    pin: int
    where: Where
    outcomes: tuple[tuple[str, tuple[str, ...]], ...]


@dataclass(frozen=True, slots=True)
class Fits:
    """What came of a look through the catalogue.

    Attributes:
        candidates: the parts that nothing speaks against, in the order given.
        near: parts of that many pins against which one thing speaks, with that thing.
        checks: what to measure, on the chip alone and then on the board; together they tell as much as pins can.
        alike: groups of candidates that no pin tells apart.
        unlisted: parts that can't be judged, since no pin table was found for them.
    """

    candidates: tuple[Part, ...]
    near: tuple[tuple[Part, str], ...] = ()
    checks: tuple[Check, ...] = ()
    alike: tuple[tuple[str, ...], ...] = ()
    unlisted: tuple[str, ...] = field(default=())


def known_pin(number: str, what: str, place: str) -> Known:
    """Return what a person says of a pin, as 'clock', 'D0', '+5V' or 'GND'.

    Raises:
        BadValue: for what is no pin number, or says nothing.
    """
    if not re.fullmatch(r"[0-9]{1,3}", number) or not int(number):
        raise BadValue(f"'{number}' is no pin number", place=place, advice="pins count from 1")
    word = what.strip()
    folded = word.casefold().replace("_", "-")
    if not word:
        raise BadValue(f"nothing is said of pin {number}", place=place, advice=meant("", get_args(Wanted)))
    wanted = next((item for item in _KINDS if item == _SYNONYMS.get(folded, folded)), None)
    if wanted is not None:
        return Known(int(number), word, wanted)
    volts = _VOLTS.fullmatch(word.upper())
    if volts:
        return Known(int(number), word, "supply", volts=float(volts[1]))
    return Known(int(number), word, name=word)


def fits(parts: Iterable[Part], clues: Clues) -> Fits:
    """Return the parts that agree with what is known of a chip, and how to tell them apart.

    Raises:
        BadValue: for a pin that a package of that size does not have, or one called as no part calls any.
    """
    for item in clues.known:
        if clues.pins is not None and item.pin > clues.pins:
            raise BadValue(f"there is no pin {item.pin}", advice=f"the chip was said to have {clues.pins} pins")
    every = tuple(parts)
    wired = [part for part in every if part.pins]
    for item in clues.known:
        if item.name and not any(_named(part, pin, item.name) for part in wired for pin in part.pins):
            raise BadValue(
                f"no part has a pin called '{item.said}'",
                advice=meant(item.said, [*_KINDS, *_SYNONYMS]) + ", or a pin's name",
            )
    against = [(part, tuple(_objections(part, clues))) for part in wired]
    candidates = tuple(part for part, problems in against if not problems)
    near = tuple(
        (part, problems[0])
        for part, problems in against
        if len(problems) == 1 and clues.known and clues.pins in (None, part.pin_count)
    )
    checks, alike = _told_apart(candidates)
    unlisted = tuple(part.name for part in every if not part.pins and clues.pins in (None, part.pin_count))
    return Fits(candidates, near, checks, alike, unlisted)


def _objections(part: Part, clues: Clues) -> Iterable[str]:
    if clues.pins is not None and part.pin_count != clues.pins:
        yield f"it has {part.pin_count} pins"
        return
    if clues.row is not None and part.row is not None and part.row != clues.row:
        yield f"its rows are {part.row:g} inch apart"
    if clues.size is not None and all(rom.size != clues.size for rom in part.of_kind("rom")):
        sizes = " and ".join(str(rom.size) for rom in part.of_kind("rom")) or "none"
        yield f"its ROM has {sizes} bytes" if sizes != "none" else "it has no ROM"
    at = {pin.n: pin for pin in part.pins}
    for item in clues.known:
        pin = at.get(item.pin)
        if pin is None:
            yield f"it has no pin {item.pin}"
        elif not _agrees(part, pin, item):
            yield f"pin {item.pin} is {pin.name} ({pin.kind}), not {item.said}"


def _agrees(part: Part, pin: Pin, known: Known) -> bool:
    if known.wanted and not {pin.kind, pin.also_kind}.isdisjoint(_KINDS[known.wanted]):
        return known.volts is None or any(
            rail.nominal == known.volts for rail in part.rails if rail.pin == pin.n and pin.kind in _KINDS["supply"]
        )
    return bool(known.name) and _named(part, pin, known.name)


def _named(part: Part, pin: Pin, name: str) -> bool:
    """Whether a pin may be called that: its own names, or D3 and A3 for the data and address pins by their order."""
    folded = _folded(name)
    if folded in {_folded(item) for item in pin.names}:
        return True
    number = _NUMBERED.fullmatch(folded)
    if number is None:
        return False
    index = int(number[1])
    data = [item.n for item in part.data_pins]
    if folded[0] == "D" and not folded.startswith("DB"):
        return index < len(data) and data[index] == pin.n
    if folded[0] == "A" and folded == f"A{index}":
        longest = max((item.own for item in part.functions), key=len, default=())
        return index < len(longest) and part.pin(longest[index]).n == pin.n
    return False


def _folded(name: str) -> str:
    return re.sub(r"[^A-Z0-9]", "", name.upper())


def _told_apart(parts: Sequence[Part]) -> tuple[tuple[Check, ...], tuple[tuple[str, ...], ...]]:
    """Return the checks that tell parts apart, and who stays alike.

    First those on the chip alone, then those on the board, each set as telling as it can be by itself, so that one
    confirms the other; within a set the most telling of what is left comes first. Parts with another number of pins
    need no check.
    """
    pairs = [(one, other) for one, other in combinations(parts, 2) if one.pin_count == other.pin_count]
    alike = {frozenset((one.name, other.name)) for one, other in pairs}
    chosen: list[Check] = []
    for where in get_args(Where):
        chosen += _most_telling(parts, where, frozenset((frozenset((one.name, other.name)) for one, other in pairs)))
    for check in chosen:
        alike -= _separated(check)
    return tuple(chosen), _groups(parts, alike)


def _most_telling(parts: Sequence[Part], where: Where, pairs: frozenset[frozenset[str]]) -> list[Check]:
    last = max((part.pin_count for part in parts), default=0)
    offered = [check for n in range(1, last + 1) if (check := _check(parts, n, where))]
    left, chosen = set(pairs), []
    while left and offered:
        best = max(offered, key=lambda check: len(left & _separated(check)))
        told = left & _separated(best)
        if not told:
            break
        chosen.append(best)
        left -= told
    return chosen


def _separated(check: Check) -> set[frozenset[str]]:
    groups = [set(names) for _, names in check.outcomes]
    return {frozenset((a, b)) for one, other in combinations(groups, 2) for a in one for b in other}


def _groups(parts: Sequence[Part], alike: set[frozenset[str]]) -> tuple[tuple[str, ...], ...]:
    groups: list[set[str]] = []
    for part in parts:
        group = next((g for g in groups if all(frozenset((part.name, other)) in alike for other in g)), None)
        if group is None:
            groups.append({part.name})
        else:
            group.add(part.name)
    return tuple(tuple(sorted(group)) for group in groups if len(group) > 1)


def _check(parts: Sequence[Part], n: int, where: Where) -> Check | None:
    """Return what a pin tells, or None where it tells nothing: all see the same, or a mask decides where it leads.

    Packages without such a pin are left out.
    """
    seen: dict[str, list[Part]] = {}
    for part in parts:
        pin = next((pin for pin in part.pins if pin.n == n), None)
        if pin is None:
            continue
        if where == "board" and pin.also_kind == "io":
            return None
        seen.setdefault(_on_chip(part, pin) if where == "chip" else _on_board(part, pin), []).append(part)
    if len(seen) < 2:
        return None
    outcomes = ((_in_words(what, group), tuple(part.name for part in group)) for what, group in seen.items())
    return Check(n, where, tuple(outcomes))


_OPEN = "open to every other pin, both ways round"
_COMMON = "red lead on it: about 0.5 to 0.8 V to every connected pin"
_SIGNAL = "red lead on pin {common}, black on it: about 0.5 to 0.8 V; the other way round not"


def _common(part: Part) -> int:
    """Return the pin at which the diodes of all others meet: the substrate's bias where there is one, else ground."""
    bias = [rail.pin for rail in part.rails if rail.nominal < 0]
    return bias[0] if bias else next(pin.n for pin in part.pins if pin.kind == "ground")


def _on_chip(part: Part, pin: Pin) -> str:
    """Return what a diode test shows at a pin of the chip alone."""
    if pin.kind == "no-connect":
        return _OPEN
    return _COMMON if pin.n == _common(part) else _SIGNAL


def _in_words(what: str, group: Sequence[Part]) -> str:
    return what.replace("{common}", " or ".join(str(n) for n in sorted({_common(part) for part in group})))


def _on_board(part: Part, pin: Pin) -> str:
    """Return where a pin leads on the board, by its continuity."""
    rail = next((item for item in part.rails if item.pin == pin.n), None)
    if pin.kind == "ground":
        return "to ground"
    if rail is not None:
        return f"to the {rail.nominal:+g} V supply"
    if pin.kind in ("data", "address-data"):
        index = [item.n for item in part.data_pins].index(pin.n)
        both = " and its address latch" if pin.kind == "address-data" else ""
        return f"to data line D{index} of the processor{both}"
    longest = max((item.own for item in part.functions), key=len, default=())
    own = [part.pin(name).n for name in longest]
    if pin.n in own:
        return f"to address line A{own.index(pin.n)} of the processor"
    return _LEADS[pin.kind]


_DECIDING = "to a decoder, a control line or a fixed level"
_LEADS: dict[PinRole, str] = {
    "select": _DECIDING,
    "control": _DECIDING,
    "clock": "to the clock of the processor",
    "io": "to a connector, a key, a lamp or another chip, not to the bus",
    "no-connect": "nowhere, as a rule",
}
