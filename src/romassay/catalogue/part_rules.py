"""The rules of a part: what a part file must agree on within itself, so that no slip of the pen gets to the iron."""

from __future__ import annotations

import math
import re
from collections import Counter
from collections.abc import Iterator

from romassay.catalogue.strict import Slip, meant
from romassay.part import HOLDS, Level, Load, Part, Rating, source_ids

_PACKAGE = re.compile(r"[A-Z]+-([0-9]{1,3})")
_TYPE = re.compile(r"[A-Za-z0-9][A-Za-z0-9.+/-]{0,15}")
_NAME = re.compile(r"[!-~]{1,16}")
_ROWS = (0.2, 0.9)
_TOO_MUCH = 60
"""Volts from which on no pin of such a chip is fed."""

_DECIDED_ELSEWHERE = ("address", "data", "address-data", "select", "power", "ground")
"""The roles of pins whose level is not held: a function, a select or a rail says what they get."""


def part_slips(part: Part) -> Iterator[Slip]:
    """Yield all that is wrong with a part that is well-formed, in the order in which one would mend it."""
    if part.pins:
        yield from _pin_slips(part)
        yield from _hold_slips(part)
    else:
        yield from _package_slips(part)
    yield from _function_slips(part)
    yield from _select_slips(part)
    yield from _rail_slips(part)
    yield from _named_pin_slips(part)
    yield from _figure_slips(part)
    yield from _source_slips(part)


def _package_slips(part: Part) -> Iterator[Slip]:
    match = _PACKAGE.fullmatch(part.package)
    if not match or not 4 <= int(match[1]) <= 128:
        yield Slip(("package",), f"'{part.package}' names no number of pins", "write it like DIP-24")
    elif int(match[1]) % 2:
        yield Slip(("package",), f"'{part.package}' has no two rows alike", "write an even number, like DIP-24")
    if not _TYPE.fullmatch(part.type):
        yield Slip(("type",), f"'{part.type}' is no type number", "write it like 2716")


def _pin_slips(part: Part) -> Iterator[Slip]:
    for slip in _package_slips(part):
        yield slip
        return
    count = part.pin_count
    numbers = Counter(pin.n for pin in part.pins)
    names = Counter(name for pin in part.pins for name in pin.names)
    for index, pin in enumerate(part.pins):
        if not 1 <= pin.n <= count:
            yield Slip(("pins", index, "n"), f"pin {pin.n} of a {part.package}", f"allowed: 1 to {count}")
        if numbers[pin.n] > 1:
            yield Slip(("pins", index, "n"), f"pin {pin.n} is there {numbers[pin.n]} times", "give each number once")
        for key, name in (("name", pin.name), ("also", pin.also)):
            if (name or key == "name") and not _NAME.fullmatch(name):
                yield Slip(("pins", index, key), f"'{name}' is no pin name", "1 to 16 letters, digits and signs")
            if name and names[name] > 1 and pin.kind not in ("no-connect", "power", "ground"):
                yield Slip(("pins", index, key), f"two pins are called {name}", "give each pin a name of its own")
        if pin.also_kind and not pin.also:
            yield Slip(("pins", index, "also_kind"), "there is no other name", "add 'also', or take it away")
    missing = [str(n) for n in range(1, count + 1) if n not in numbers]
    if missing:
        yield Slip(("pins",), f"pin {', '.join(missing)} of the {part.package} is missing", "list every pin")


def _hold_slips(part: Part) -> Iterator[Slip]:
    """Yield pins that nobody would know how to hold: control, program and clock pins that nothing else decides."""
    allowed = (*HOLDS, *(rail.name for rail in part.rails))
    selects = {item.name for item in part.selects}
    for index, pin in enumerate(part.pins):
        if pin.hold and pin.hold not in allowed:
            yield Slip(("pins", index, "hold"), f"'{pin.hold}' is not allowed", meant(pin.hold, allowed))
        if pin.hold and pin.kind in _DECIDED_ELSEWHERE:
            advice = "take it away: its function, its select or its rail says what it gets"
            yield Slip(("pins", index, "hold"), f"the {pin.kind} pin {pin.name} is not held", advice)
        if not pin.hold and pin.kind in ("control", "clock", "program") and selects.isdisjoint(pin.names):
            yield Slip(("pins", index), f"nothing says how {pin.name} is held for reading", "add 'hold'")
        if pin.hold_volts is not None and not abs(pin.hold_volts) < _TOO_MUCH:
            problem = f"{pin.hold_volts:g} V"
            yield Slip(("pins", index, "hold_volts"), problem, f"allowed: less than {_TOO_MUCH} V")
        if pin.hold_volts is not None and pin.hold != "raised":
            yield Slip(("pins", index, "hold_volts"), f"{pin.name} is not raised", "take it away, or hold it 'raised'")


def _function_slips(part: Part) -> Iterator[Slip]:
    names = {name for pin in part.pins for name in pin.names}
    covered = {(item.name, function) for item in part.selects for function in item.functions}
    calls = Counter(function.name for function in part.functions)
    data = len(part.data_pins) if part.pins else 8
    for index, function in enumerate(part.functions):
        if calls[function.name] > 1:
            yield Slip(
                ("functions", index, "name"), f"two functions are called {function.name}", "give each its own name"
            )
        for key, pins in (("own", function.own), ("selects", function.selects)) if part.pins else ():
            for name in pins:
                if name not in names:
                    yield Slip(("functions", index, key), f"there is no pin '{name}'", meant(name, sorted(names)))
        for key, pins in (("own", function.own), ("selects", function.selects)):
            for name, times in Counter(pins).items():
                if times > 1:
                    yield Slip(("functions", index, key), f"{name} is there {times} times", "name it once")
        for name in sorted(set(function.own) & set(function.selects)):
            yield Slip(("functions", index, "selects"), f"{name} is among the function's own pins too", "name it once")
        if function.size != 1 << len(function.own):
            advice = f"write {1 << len(function.own)}, or correct 'own'"
            problem = f"{function.size} bytes, but {len(function.own)} own pins"
            yield Slip(("functions", index, "size"), problem, advice)
        if not 1 <= function.width <= data:
            yield Slip(
                ("functions", index, "width"), f"{function.width} bits on {data} data pins", f"allowed: 1 to {data}"
            )
        for name in function.selects:
            if (name, function.name) not in covered:
                advice = f"add a [[selects]] for {name} with '{function.name}' among its functions"
                yield Slip(("functions", index, "selects"), f"nothing says how {name} selects it", advice)


def _select_slips(part: Part) -> Iterator[Slip]:
    functions = {function.name: function for function in part.functions}
    pairs = Counter((item.name, function) for item in part.selects for function in item.functions)
    names = sorted(name for pin in part.pins for name in pin.names)
    for index, item in enumerate(part.selects):
        if part.pins and item.name not in names:
            yield Slip(("selects", index, "name"), f"there is no pin '{item.name}'", meant(item.name, names))
        for name in item.functions:
            if name not in functions:
                yield Slip(("selects", index, "functions"), f"there is no function '{name}'", meant(name, functions))
            elif item.name not in functions[name].selects:
                advice = f"add it to the selects of '{name}', or take '{name}' away here"
                yield Slip(("selects", index, "functions"), f"'{name}' does not name {item.name}", advice)
            if pairs[item.name, name] > 1:
                yield Slip(("selects", index, "functions"), f"{item.name} and '{name}' are there twice", "keep one")
        if not item.options or len(set(item.options)) != len(item.options):
            yield Slip(
                ("selects", index, "options"), "each option once, and one at least", "allowed: high, low, ignored"
            )
        if item.masked != (len(item.options) > 1):
            advice = "a fixed select has one option, a masked one two or three"
            yield Slip(("selects", index, "masked"), f"{len(item.options)} options do not fit it", advice)


def _rail_slips(part: Part) -> Iterator[Slip]:
    supply = {pin.n: pin for pin in part.pins if pin.kind in ("power", "ground", "program")}
    times = Counter(rail.pin for rail in part.rails)
    for index, rail in enumerate(part.rails):
        pin = supply.get(rail.pin)
        if pin is None and part.pins:
            advice = f"allowed: {', '.join(str(n) for n in sorted(supply))}"
            yield Slip(("rails", index, "pin"), f"pin {rail.pin} is no supply or ground pin", advice)
        if pin and rail.name not in pin.names:
            yield Slip(("rails", index, "name"), f"pin {rail.pin} is called {pin.name}", f"write {pin.name}")
        if pin and pin.kind == "ground" and rail.nominal != 0:
            yield Slip(("rails", index, "nominal"), f"{rail.nominal} V on a ground pin", "write 0.0")
        if times[rail.pin] > 1:
            yield Slip(("rails", index, "pin"), f"pin {rail.pin} has {times[rail.pin]} rails", "keep one")
        low = rail.nominal if rail.minimum is None else rail.minimum
        high = rail.nominal if rail.maximum is None else rail.maximum
        if not low <= rail.nominal <= high:
            yield Slip(
                ("rails", index, "nominal"), f"{rail.nominal} V lies outside its own limits", "correct the limits"
            )
        if rail.order < 0:
            yield Slip(("rails", index, "order"), f"{rail.order} is no order", "1 for the first rail on, 2 …, or 0")
    if part.rails and not part.pins:
        yield Slip(
            ("rails",), "there are no pins, so no rail has one", "list the pins, or say the supply in [[remarks]]"
        )
    for n in sorted(supply.keys() - times.keys()):
        place = next(index for index, pin in enumerate(part.pins) if pin.n == n)
        yield Slip(("pins", place), f"no rail says what the {supply[n].kind} pin {n} gets", "add one to [[rails]]")


def _named_pin_slips(part: Part) -> Iterator[Slip]:
    """Yield names of pins and rails, anywhere but in functions and selects, that the part does not have."""
    pins = sorted(name for pin in part.pins for name in pin.names)
    of_pins: dict[str, tuple[Rating | Level | Load, ...]] = {
        "ratings": part.ratings,
        "levels": part.levels,
        "loads": part.loads,
    }
    for section, items in of_pins.items():
        for index, item in enumerate(items):
            for name in item.pins:
                if part.pins and name not in pins:
                    yield Slip((section, index, "pins"), f"there is no pin '{name}'", meant(name, pins))
    for index, latch in enumerate(part.latches):
        for key, names in (("pin", (latch.pin,)), ("takes", latch.takes)):
            for name in names:
                if name not in pins:
                    yield Slip(("latches", index, key), f"there is no pin '{name}'", meant(name, pins))
    clocks = [pin.name for pin in part.pins if pin.kind == "clock"]
    if part.clock and part.pins and part.clock.pin not in clocks:
        yield Slip(("clock", "pin"), f"there is no clock pin '{part.clock.pin}'", meant(part.clock.pin, clocks))
    rails = [rail.name for rail in part.rails]
    for index, rating in enumerate(part.ratings):
        if rating.against and rating.against not in rails:
            problem = f"there is no rail '{rating.against}'"
            yield Slip(("ratings", index, "against"), problem, meant(rating.against, rails))
    for index, current in enumerate(part.current):
        if current.rail not in rails:
            yield Slip(("current", index, "rail"), f"there is no rail '{current.rail}'", meant(current.rail, rails))


def _figure_slips(part: Part) -> Iterator[Slip]:
    if part.row is not None and not _ROWS[0] <= part.row <= _ROWS[1]:
        yield Slip(("row",), f"{part.row:g} inch", f"allowed: {_ROWS[0]} to {_ROWS[1]}, mostly 0.3 or 0.6")
    for index, rail in enumerate(part.rails):
        for key in ("nominal", "minimum", "maximum", "programming"):
            value = getattr(rail, key)
            if value is not None and not abs(value) < _TOO_MUCH:
                yield Slip(("rails", index, key), f"{value:g} V", f"allowed: less than {_TOO_MUCH} V")
    for section in ("ratings", "levels", "loads", "timing", "current"):
        for index, item in enumerate(getattr(part, section)):
            given = [n for n in (item.minimum, item.typical, item.maximum) if n is not None]
            if not given:
                yield Slip((section, index), "there is no number", "give a minimum, a typical or a maximum")
            if not all(map(math.isfinite, given)):
                yield Slip((section, index), "a limit is no number", "correct the limits")
            elif given != sorted(given):
                yield Slip((section, index), f"{', '.join(f'{n:g}' for n in given)} do not rise", "correct the limits")
            elif section in ("timing", "current") and given and given[0] < 0:
                yield Slip((section, index), f"{given[0]:g} is below nothing", "correct the limits")


def _source_slips(part: Part) -> Iterator[Slip]:
    ids = [source.id for source in part.sources]
    if part.row is not None and not part.row_src:
        yield Slip(("row",), "it has no source", "add 'row_src'")
    for cited in part.cited():
        table = () if cited.section == "row" else (cited.section,)
        steps = (*table, *(() if cited.index is None else (cited.index,)), cited.key)
        named = source_ids(cited.src)
        if not named:
            yield Slip(steps, f"'{cited.name}' has no source", meant("", ids))
        for item in named:
            if item not in ids:
                yield Slip(steps, f"'{item}' is none of the sources", meant(item, ids))
