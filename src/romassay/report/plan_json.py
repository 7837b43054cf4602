"""A plan as JSON, for programs: the values of `romassay.plan.model`, short enough to be read by a person too. Pure.

A part with many selects has thousands of mask options. Those that show in as many places stand together, as words with
a sign for each select: a plan has some hundred lines then, where one option after the other takes a hundred thousand.
"""

from __future__ import annotations

import json
import re
from collections import Counter
from collections.abc import Iterable
from itertools import groupby
from textwrap import wrap
from typing import Any

import msgspec

from romassay.plan.model import Expected, Plan, Setting
from romassay.report.plan import LEVELS
from romassay.version import VERSION

SCHEMA = "romassay/plan/1"
_WIDTH = 120
_EITHER = "*"
_LEVEL = re.compile("[01]")


def plan_json(plan: Plan) -> str:
    """Return a plan as JSON in ASCII, ended with a line feed."""
    told: dict[str, Any] = {"schema": SCHEMA, "version": VERSION, **msgspec.to_builtins(plan)}
    if plan.coverage:
        told["coverage"]["expected"] = [_expected(item) for item in plan.coverage.expected]
    return _written(told) + "\n"


def _expected(item: Expected) -> dict[str, Any]:
    """Return a function with its options, those together that show in as many places."""
    counts = sorted(item.settings, key=_seen)
    return {
        "function": item.function,
        "kind": item.kind,
        "size": item.size,
        "selects": [pin for pin, _ in item.settings[0].levels] if item.settings else [],
        "options": [
            {"copies": copies, "clashes": clashes, "levels": _words(alike)}
            for (copies, clashes), alike in groupby(counts, key=_seen)
        ],
    }


def _seen(setting: Setting) -> tuple[int, int]:
    return setting.copies, setting.clashes


def _words(settings: Iterable[Setting]) -> list[str]:
    """Return options as words; where each of some selects is tried at both levels, one word stands for all of them."""
    words = ["".join(LEVELS[level] for _, level in setting.levels) for setting in settings]
    shapes = Counter(_LEVEL.sub(_EITHER, word) for word in words)
    whole = {shape for shape, count in shapes.items() if count == 1 << shape.count(_EITHER)}
    return list(dict.fromkeys(shape if (shape := _LEVEL.sub(_EITHER, word)) in whole else word for word in words))


def _written(value: Any, indent: int = 0) -> str:
    """Return a value as JSON: on one line where it fits, scalars of a list side by side."""
    whole = json.dumps(value)
    if len(whole) + indent <= _WIDTH or not isinstance(value, (dict, list, tuple)):
        return whole
    deeper = indent + 2
    if isinstance(value, dict):
        return _block("{}", [f"{json.dumps(key)}: {_written(item, deeper)}" for key, item in value.items()], indent)
    if all(isinstance(item, str) and " " not in item for item in value):
        return _block("[]", wrap(", ".join(map(json.dumps, value)), _WIDTH - deeper), indent, join="")
    return _block("[]", [_written(item, deeper) for item in value], indent)


def _block(brackets: str, lines: list[str], indent: int, join: str = ",") -> str:
    margin = "\n" + " " * (indent + 2)
    return f"{brackets[0]}{margin}{(join + margin).join(lines)}\n{' ' * indent}{brackets[1]}"
