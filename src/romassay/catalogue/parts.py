"""Part files: what is in the catalogue, loaded and checked against itself."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from pathlib import Path

from romassay.catalogue.strict import Step, blame, meant, parse, read_text
from romassay.errors import BadCatalogue
from romassay.part import Part, source_ids

_PACKAGE = re.compile(r"[A-Z]+-(\d+)")
_SUFFIX = ".toml"


def part_types() -> tuple[str, ...]:
    """Return the type numbers in the catalogue, sorted."""
    folder = files("romassay.catalogue") / "parts"
    return tuple(sorted(item.name.removesuffix(_SUFFIX) for item in folder.iterdir() if item.name.endswith(_SUFFIX)))


def load_part(name_or_path: str | Path) -> Part:
    """Return a part of the catalogue by its type number (case does not matter), or one from a file of one's own.

    Raises:
        BadCatalogue: for a type that is not there, with those that are, or a file that breaks the rules.
    """
    name = str(name_or_path)
    known = {item.lower(): item for item in part_types()}
    if name.lower() in known:
        return _catalogued(known[name.lower()])
    if name.endswith(_SUFFIX) or "/" in name or Path(name).is_file():
        return part_of(read_text(Path(name), "part"), name)
    raise BadCatalogue(
        f"'{name}' is not in the catalogue", advice=f"{meant(name, part_types())}, or a part file of your own"
    )


@cache
def _catalogued(name: str) -> Part:
    file = files("romassay.catalogue") / "parts" / f"{name}{_SUFFIX}"
    return part_of(file.read_text("utf-8"), f"{name}{_SUFFIX}")


def part_of(text: str, place: str) -> Part:
    """Return the part that a TOML text describes; BadCatalogue names `place`, the line, the key and what is allowed."""
    part = parse(text, Part, place)
    for slip in _slips(part):
        raise blame(text, place, slip.steps, slip.problem, slip.advice)
    return part


@dataclass(frozen=True, slots=True)
class _Slip:
    steps: tuple[Step, ...]
    problem: str
    advice: str | None = None


def _slips(part: Part) -> Iterator[_Slip]:
    yield from _pin_slips(part)
    yield from _function_slips(part)
    yield from _select_slips(part)
    yield from _rail_slips(part)
    yield from _source_slips(part)


def _pin_slips(part: Part) -> Iterator[_Slip]:
    match = _PACKAGE.fullmatch(part.package)
    if not match:
        yield _Slip(("package",), f"'{part.package}' names no number of pins", "write it like DIP-24")
        return
    count = int(match[1])
    numbers = Counter(pin.n for pin in part.pins)
    names = Counter(name for pin in part.pins for name in (pin.name, pin.also) if name)
    for index, pin in enumerate(part.pins):
        if not 1 <= pin.n <= count:
            yield _Slip(("pins", index, "n"), f"pin {pin.n} of a {part.package}", f"allowed: 1 to {count}")
        if numbers[pin.n] > 1:
            yield _Slip(("pins", index, "n"), f"pin {pin.n} is there {numbers[pin.n]} times", "give each number once")
        if names[pin.name] > 1 and pin.kind not in ("no-connect", "power", "ground"):
            yield _Slip(("pins", index, "name"), f"two pins are called {pin.name}", "give each pin a name of its own")
    missing = [str(n) for n in range(1, count + 1) if n not in numbers]
    if missing:
        yield _Slip(("pins",), f"pin {', '.join(missing)} of the {part.package} is missing", "list every pin")


def _function_slips(part: Part) -> Iterator[_Slip]:
    names = {name for pin in part.pins for name in (pin.name, pin.also) if name}
    covered = {(item.name, function) for item in part.selects for function in item.functions}
    calls = Counter(function.name for function in part.functions)
    data = sum(pin.kind == "data" for pin in part.pins)
    for index, function in enumerate(part.functions):
        if calls[function.name] > 1:
            yield _Slip(
                ("functions", index, "name"), f"two functions are called {function.name}", "give each its own name"
            )
        for key, pins in (("own", function.own), ("selects", function.selects)):
            for name in pins:
                if name not in names:
                    yield _Slip(("functions", index, key), f"there is no pin '{name}'", meant(name, sorted(names)))
        for name in set(function.own) & set(function.selects):
            yield _Slip(("functions", index, "selects"), f"{name} is among the function's own pins too", "name it once")
        if function.size != 1 << len(function.own):
            advice = f"write {1 << len(function.own)}, or correct 'own'"
            problem = f"{function.size} bytes, but {len(function.own)} own pins"
            yield _Slip(("functions", index, "size"), problem, advice)
        if not 1 <= function.width <= data:
            yield _Slip(
                ("functions", index, "width"), f"{function.width} bits on {data} data pins", f"allowed: 1 to {data}"
            )
        for name in function.selects:
            if (name, function.name) not in covered:
                advice = f"add a [[selects]] for {name} with '{function.name}' among its functions"
                yield _Slip(("functions", index, "selects"), f"nothing says how {name} selects it", advice)


def _select_slips(part: Part) -> Iterator[_Slip]:
    functions = {function.name: function for function in part.functions}
    pairs = Counter((item.name, function) for item in part.selects for function in item.functions)
    names = sorted(name for pin in part.pins for name in (pin.name, pin.also) if name)
    for index, item in enumerate(part.selects):
        if item.name not in names:
            yield _Slip(("selects", index, "name"), f"there is no pin '{item.name}'", meant(item.name, names))
        for name in item.functions:
            if name not in functions:
                yield _Slip(("selects", index, "functions"), f"there is no function '{name}'", meant(name, functions))
            elif item.name not in functions[name].selects:
                advice = f"add it to the selects of '{name}', or take '{name}' away here"
                yield _Slip(("selects", index, "functions"), f"'{name}' does not name {item.name}", advice)
            if pairs[item.name, name] > 1:
                yield _Slip(("selects", index, "functions"), f"{item.name} and '{name}' are there twice", "keep one")
        if not item.options or len(set(item.options)) != len(item.options):
            yield _Slip(
                ("selects", index, "options"), "each option once, and one at least", "allowed: high, low, ignored"
            )
        if item.masked != (len(item.options) > 1):
            advice = "a fixed select has one option, a masked one two or three"
            yield _Slip(("selects", index, "masked"), f"{len(item.options)} options do not fit it", advice)


def _rail_slips(part: Part) -> Iterator[_Slip]:
    supply = {pin.n: pin.name for pin in part.pins if pin.kind in ("power", "ground")}
    for index, rail in enumerate(part.rails):
        if rail.pin not in supply:
            advice = f"allowed: {', '.join(str(n) for n in sorted(supply))}"
            yield _Slip(("rails", index, "pin"), f"pin {rail.pin} is no supply or ground pin", advice)
        if rail.minimum is not None and rail.maximum is not None and not rail.minimum <= rail.nominal <= rail.maximum:
            yield _Slip(
                ("rails", index, "nominal"), f"{rail.nominal} V lies outside its own limits", "correct the limits"
            )


def _source_slips(part: Part) -> Iterator[_Slip]:
    ids = [source.id for source in part.sources]
    counts: Counter[str] = Counter()
    for section, name, src in part.cited():
        index = counts[section]
        counts[section] += 1
        named = source_ids(src)
        if not named:
            yield _Slip((section, index, "src"), f"'{name}' has no source", meant("", ids))
        for item in named:
            if item not in ids:
                yield _Slip((section, index, "src"), f"'{item}' is none of the sources", meant(item, ids))
