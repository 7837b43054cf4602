"""The address map in characters: as wide as there is room, and every region in it."""

from __future__ import annotations

import dataclasses

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


@pytest.mark.parametrize("room", [49, 69, 89])
@pytest.mark.parametrize("bits", [16, 20])
def test_a_strip_fits_the_room_and_shows_as_much_in_each(room: int, bits: int) -> None:
    survey = dataclasses.replace(examples.confirmed().survey, address_bits=bits, regions=tuple(crowded(bits)))
    lines = address_map(survey, room)
    assert max(map(width_of, lines)) <= room
    rows = ["".join(s.text for s in line) for line in lines[1:-1]]
    assert sum(row.count("R") for row in rows) == sum(row.count("R") for row in _rows(survey, 200))
    assert len(rows) <= (8 if room >= 76 else 16)


def _rows(survey: object, room: int) -> list[str]:
    return ["".join(s.text for s in line) for line in address_map(survey, room)[1:-1]]  # type: ignore[arg-type]
