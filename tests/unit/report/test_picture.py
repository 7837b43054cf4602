"""The address map in characters: as wide as there is room, and every region in it."""

from __future__ import annotations

import dataclasses
import re

import pytest

import examples
from romassay.report.picture import address_map
from romassay.report.text import width_of
from romassay.survey.model import Region


def crowded(bits: int = 16) -> list[Region]:
    return [
        Region(i * 0x100, i * 0x100 + 0xFF, "rom" if i % 8 == 3 else "open-bus", function=0 if i % 8 == 3 else None)
        for i in range(1 << (bits - 8))
    ]


@pytest.mark.parametrize("room", [29, 49, 69, 89])
@pytest.mark.parametrize("bits", [16, 20])
def test_a_strip_fits_the_room_and_shows_as_much_in_each(room: int, bits: int) -> None:
    survey = dataclasses.replace(examples.confirmed().survey, address_bits=bits, regions=tuple(crowded(bits)))
    assert max(map(width_of, address_map(survey, room))) <= room
    rows = _rows(survey, room)
    assert sum(row.count("R") for row in rows) == sum(row.count("R") for row in _rows(survey, 200))
    assert len(rows) <= (8 if room >= 76 else 16 if room >= 40 else 32)


def _rows(survey: object, room: int) -> list[str]:
    lines = ["".join(s.text for s in line) for line in address_map(survey, room)]  # type: ignore[arg-type]
    return [line for line in lines if re.match("[0-9A-F]{4,5}  ", line)]
