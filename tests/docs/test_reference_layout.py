"""The page on the layout notation: every key and sum is described, and every example reads its own line."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from romassay.formats import read
from romassay.formats.layout import Layout, parse_layout
from romassay.formats.model import Hints
from romassay.formats.sums import KINDS

PAGE = (Path(__file__).parents[2] / "docs" / "reference-layout.md").read_text(encoding="utf-8")
EXAMPLES = re.findall(r"^```layout\n(.*)\n(.*)\n```$", PAGE, re.MULTILINE)
BYTES = ["40" * 16, b"Here be dragons.".hex(), "40", "4020" * 4, "01020304"]


def keys() -> set[str]:
    """The notation's keys, from the fields of a layout and of its sum."""
    return set(Layout.__dataclass_fields__) - {"gaps"} | {"gap", "gap/8", "gap@3", "sum-before", "sum-place"}


def test_every_key_is_described_and_none_that_is_not_there() -> None:
    rows = re.findall(r"^\| (`.*?) \|", PAGE, re.MULTILINE)
    assert {key for row in rows for key in re.findall(r"`([^`]+)`", row)} == keys()


def test_every_kind_of_sum_is_described() -> None:
    ends = "(-address32|-address|-count|-length)$"
    for name in KINDS:
        assert f"`{re.sub(ends, '', name)}`" in PAGE, name
        for end in re.findall(ends, name):
            assert f"`{end}`" in PAGE


@pytest.mark.parametrize(("layout", "line", "data"), [(*e, d) for e, d in zip(EXAMPLES, BYTES, strict=True)])
def test_every_example_reads_its_line(layout: str, line: str, data: str) -> None:
    assert parse_layout(str(parse_layout(layout))) == parse_layout(layout)
    (reading,) = read(f"{line}\n".encode(), "page", Hints(layout=layout)).readings
    assert reading.value.tobytes().hex() == data
    assert reading.spans()[0].first == 0x4000
    assert not reading.holes
