"""The decode in the specimen's own pins, where a rig says which pin is on which line. Pure."""

from __future__ import annotations

from dataclasses import replace

from romassay.part import Function as PartFunction
from romassay.part import Part
from romassay.rig import Rig
from romassay.survey.model import Function, Level, Survey

_LEVELS: dict[str, Level] = {"0": "0", "1": "1", "any": "any"}


def in_pins(found: Survey, rig: Rig | None, part: Part | None) -> Survey:
    """Return the survey with each function's decode said in pins; unchanged without a rig and its part."""
    if rig is None or part is None:
        return found
    functions = tuple(_said(function, _meant(function, part), rig, part) for function in found.functions)
    return replace(found, functions=functions)


def _meant(function: Function, part: Part) -> PartFunction | None:
    """Return the part's function that was found: of its name, or of its kind and size."""
    alike = [item for item in part.functions if item.kind == function.kind]
    named = [item for item in alike if item.name == function.name and item.size == function.size]
    return next(iter(named or [item for item in alike if item.size == function.size] or alike), None)


def _said(function: Function, meant: PartFunction | None, rig: Rig, part: Part) -> Function:
    if meant is None:
        return function
    levels = rig.pin_levels(part, meant.name, function.decode)
    return replace(function, pins=tuple((pin, _LEVELS.get(level, "unknown")) for pin, level in levels))
