"""The whole way: a rig of the catalogue, planned, rehearsed through logs, and assayed back to its own setting."""

from __future__ import annotations

import msgspec
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romassay.catalogue import RigFile, rig_of
from romassay.chain import Assay, Options, assay, gather
from romassay.errors import BadValue
from romassay.formats import read
from romassay.formats.model import Hints
from romassay.part import Option
from romassay.plan import planned
from romassay.rig import Evening, Rehearsal, Rig
from romassay.twin.evening import Rehearsed, rehearse
from romassay.wiring import main_function
from strategies_rigs import legal_rigs

SAID = {"high": "1", "low": "0", "ignored": "any"}


def held(found: RigFile, seed: int, mask: dict[str, dict[str, Option]]) -> tuple[Rig, Rehearsed]:
    assert found.part is not None
    evening = Evening(readings=2)
    rig = msgspec.structs.replace(
        planned(found.said, found.part), twin=Rehearsal(evening=evening, seed=seed, mask=mask)
    )
    return rig, rehearse(rig, found.part, {})


def assayed(found: RigFile, rig: Rig, evening: Rehearsed) -> Assay:
    logs = [read(log.data, log.name, Hints(address_bits=rig.address_bits)) for log in evening.logs]
    readings = gather(logs, exclude=rig.unread, address_bits=rig.address_bits)
    return assay(readings, Options(part=found.part, rig=rig))


@settings(max_examples=8, deadline=None, suppress_health_check=[HealthCheck.too_slow, HealthCheck.filter_too_much])
@given(found=legal_rigs(), seed=st.integers(0, 2**32), data=st.data())
def test_every_rig_gives_its_own_setting_back(found: RigFile, seed: int, data: st.DataObject) -> None:
    assert found.part is not None
    rom = main_function(found.part)
    levels: dict[str, Option] = {
        pin: data.draw(st.sampled_from(found.part.options(rom.name, pin)), label=pin)
        for pin in rom.selects
        if found.rig.steady(pin) is None
    }
    try:
        rig, evening = held(found, seed, {rom.name: levels})
    except BadValue:
        return  # a ROM that ignores every line leaves no place for the part's other functions
    result = assayed(found, rig, evening)
    truth = next(item for item in evening.truth["functions"] if item["name"] == rom.name)
    assert result.image is not None
    assert bytes(result.image).hex() == truth["image"]
    pins = dict(result.survey.functions[result.image.function].pins or ())
    assert pins == {pin: SAID[levels[pin]] if pin in levels else "unknown" for pin in rom.selects}


ONE_CHIP = {
    "rom": {"CS2": "ignored", "CS1": "high", "RS0": "high"},
    "ram": {"CS2": "ignored", "CS1": "low", "RS0": "low", "A9": "low", "A8": "ignored", "A7": "high", "A6": "high"},
    "io-timer": {"CS2": "ignored", "CS1": "low", "RS0": "low", "A9": "high", "A8": "high", "A7": "high", "A6": "high"},
}
"""MCS6500 Hardware Manual, second edition, figure 1.36 (p. 81)."""

SEVEN_CHIPS = [("low", "low", "high"), ("low", "high", "low"), ("low", "high", "high"), ("high", "low", "low"),
               ("high", "low", "high"), ("high", "high", "low"), ("high", "high", "high")]  # fmt: skip
"""The same, figure 1.37: levels of CS2, CS1 and RS0 for the ROMs of chips 1 to 7; RAM and I/O at 0, 0, 0."""


def seven(chip: int) -> dict[str, dict[str, str]]:
    word = {True: "high", False: "low"}
    block = {pin: word[bool(chip >> bit & 1)] for pin, bit in (("A8", 2), ("A7", 1), ("A6", 0))}
    low = {"CS2": "low", "CS1": "low", "RS0": "low"}
    return {
        "rom": dict(zip(("CS2", "CS1", "RS0"), SEVEN_CHIPS[chip], strict=True)),
        "ram": {**low, "A9": "low", **block},
        "io-timer": {**low, "A9": "high", **block},
    }


@pytest.mark.parametrize("mask", [ONE_CHIP, *(seven(chip) for chip in range(7))], ids=["one", *"1234567"])
def test_the_manuals_chips_are_found_by_every_function(mask: dict[str, dict[str, Option]]) -> None:
    """The wiring is the proposed one, which is the manual's with A10 to A12 in the order of the part's selects."""
    found = rig_of('part = "6530"\nhost = "monitor-300-baud"\n', "rig.toml")
    rig, evening = held(found, 6530, mask)
    assert {pin: rig.wiring[pin] for pin in ("RS0", "CS1", "CS2")} == {"RS0": "A10", "CS1": "A11", "CS2": "A12"}
    result = assayed(found, rig, evening)
    kinds = {"rom": "rom", "ram": "ram", "io-timer": "registers"}
    for name, levels in mask.items():
        [function] = [item for item in result.survey.functions if item.kind == kinds[name]]
        assert dict(function.pins or ()) == {pin: SAID[level] for pin, level in levels.items()}
