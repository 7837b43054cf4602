"""The words of a plan: what to expect in the window, short where options are alike, and never one less."""

from __future__ import annotations

import re
from itertools import product

import pytest

from romassay.plan.model import Expected, Setting
from romassay.report.plan import expected_words


def expected(pins: tuple[str, ...]) -> Expected:
    """Return every option of pins that may each be high, low or left out; what is left out doubles the places."""
    settings = tuple(
        Setting(tuple(zip(pins, levels, strict=True)), 1 << levels.count("ignored"), 0)
        for levels in product(("high", "low", "ignored"), repeat=len(pins))
    )
    return Expected("rom", "rom", 1024, settings)


def test_options_that_are_alike_are_said_in_one() -> None:
    assert list(expected_words(expected(("CS1", "CS2")))) == [
        "ROM (1 KiB): in 1 place where CS1 and CS2 are each 1 or 0 (4 options)",
        "ROM (1 KiB): in 2 places where CS1=1 CS2=x; CS1=0 CS2=x; CS1=x CS2=1; CS1=x CS2=0",
        "ROM (1 KiB): in 4 places where CS1=x CS2=x",
    ]


@pytest.mark.parametrize("count", [1, 2, 3])
def test_no_option_is_lost(count: int) -> None:
    made = expected(tuple(f"CS{i}" for i in range(count)))
    lines = list(expected_words(made))
    folded = sum(int(number) for line in lines for number in re.findall(r"\((\d+) options\)", line))
    single = sum(len([part for part in line.split(" where ")[1].split("; ") if "=" in part]) for line in lines)
    assert folded + single == len(made.settings)


def test_an_option_that_is_missing_is_not_said_to_be_there() -> None:
    made = expected(("CS1", "CS2"))
    some = Expected("rom", "rom", 1024, made.settings[1:])
    assert next(expected_words(some)) == ("ROM (1 KiB): in 1 place where CS1=1 CS2=0; CS1=0 CS2=1; CS1=0 CS2=0")
