"""What to read next is said alike wherever it is said."""

from __future__ import annotations

import dataclasses

import examples
from romassay.address import Range
from romassay.report.places import next_to_read
from romassay.rig import Host, Rig
from romassay.survey.model import ReadNext

A14, A15 = ReadNext(Range(0x4000, 0x40FF), ("A14",)), ReadNext(Range(0x8000, 0x80FF), ("A15",))


def test_a_line_on_no_pin_of_the_specimen_is_not_to_be_learnt() -> None:
    function = dataclasses.replace(examples.confirmed().survey.functions[0], read_next=(A14, A15))
    rig = Rig(host=Host(address_bits=16), wiring={"CS1": "A15"})
    assert next_to_read(function, rig) == (A15,)
    assert next_to_read(function, None) == (A14, A15)
