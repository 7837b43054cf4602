"""What the mask of an invented specimen made of its selects, where nobody says it: drawn from the seed.

Two functions of one chip never answer at once, or the chip would be of no use; a mask that makes them do so is drawn
again. A select that the rig holds at a level is drawn so that the specimen can be read at all.
"""

from __future__ import annotations

from collections.abc import Mapping
from itertools import combinations

import msgspec

from romassay.errors import BadValue
from romassay.part import Function, Option, Part
from romassay.rig import Rehearsal, Rig
from romassay.twin.chance import draw

Mask = dict[str, dict[str, Option]]

_DRAWS = 4096


def with_mask(twin: Rehearsal, rig: Rig, part: Part) -> Rehearsal:
    """Return the rehearsal with an option for every select of the part; BadValue where none fits what is said."""
    said = {
        function.name: {
            part.pin(pin).name: option
            for table in (rig.known, twin.mask)
            for pin, option in table.get(function.name, {}).items()
        }
        for function in part.functions
    }
    for number in range(_DRAWS):
        mask = _drawn(said, rig, part, twin.seed, number)
        if _sound(mask, part):
            return msgspec.structs.replace(twin, mask=mask)
        if all(len(said[item.name]) == len(item.selects) for item in part.functions):
            return msgspec.structs.replace(twin, mask=mask)
    raise BadValue("no mask fits what is said of the selects", advice="say less under [twin.mask]")


def _drawn(said: Mapping[str, Mapping[str, Option]], rig: Rig, part: Part, seed: int, number: int) -> Mask:
    result: Mask = {}
    for place, function in enumerate(part.functions):
        result[function.name] = {
            pin: said[function.name].get(pin) or _option(rig, part, function, pin, (seed, number, place, index))
            for index, pin in enumerate(function.selects)
        }
    return result


def _option(rig: Rig, part: Part, function: Function, pin: str, key: tuple[int, ...]) -> Option:
    options = part.options(function.name, pin)
    level = rig.steady(part.pin(pin).name)
    if level is not None:
        wrong = "low" if level else "high"
        options = tuple(option for option in options if option != wrong) or options
    return options[int(draw("mask", *key)[0] % len(options))]


def _sound(mask: Mask, part: Part) -> bool:
    """Tell whether any two functions differ in the level of a pin that selects them both."""
    return all(
        any({mask[one.name].get(pin), mask[other.name].get(pin)} == {"high", "low"} for pin in one.selects)
        for one, other in combinations(part.functions, 2)
    )
