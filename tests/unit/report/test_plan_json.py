"""A plan as JSON: everything that the plan says, in few lines."""

from __future__ import annotations

import json
from itertools import product
from typing import Any

import pytest

from romassay.catalogue import rig_of
from romassay.plan import Names, Plan, make_plan
from romassay.report.plan_json import plan_json

LEVELS = {"1": "high", "0": "low", "x": "ignored"}


def plan_of(text: str) -> Plan:
    found = rig_of(text, "rig.toml", strict=False)
    assert found.part is not None
    return make_plan(found.said, found.part, Names("rig.toml", ()))


def unfolded(item: dict[str, Any]) -> list[tuple[tuple[tuple[str, str], ...], int, int]]:
    """Return every option by itself: its levels by pin, its copies, its clashes."""
    return [
        (tuple(zip(item["selects"], (LEVELS[sign] for sign in signs), strict=True)), row["copies"], row["clashes"])
        for row in item["options"]
        for word in row["levels"]
        for signs in product(*("10" if sign == "*" else sign for sign in word))
    ]


@pytest.mark.parametrize("part", ["6530", "6532", "2316", "2332", "82S126"])
@pytest.mark.parametrize("host", ["monitor-300-baud", "reader-5v"])
def test_every_option_of_the_plan_can_be_read_back(part: str, host: str) -> None:
    plan = plan_of(f'part = "{part}"\nhost = "{host}"\n')
    assert plan.coverage is not None
    told = json.loads(plan_json(plan))["coverage"]["expected"]
    for item, said in zip(plan.coverage.expected, told, strict=True):
        assert sorted(unfolded(said)) == sorted((s.levels, s.copies, s.clashes) for s in item.settings)


def test_a_part_with_thousands_of_options_takes_hundreds_of_lines() -> None:
    plan = plan_of('part = "6530"\nhost = "monitor-300-baud"\n')
    assert plan.coverage is not None
    assert sum(len(item.settings) for item in plan.coverage.expected) > 4000
    assert plan_json(plan).count("\n") < 1000
    assert plan_json(plan).isascii()
