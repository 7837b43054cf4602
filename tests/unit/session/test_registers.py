"""The registers of parts as places on the bus."""

from __future__ import annotations

from romassay.catalogue import load_part
from romassay.session.registers import part_registers


def test_the_levels_of_address_lines_say_where_a_register_is() -> None:
    # 6532 memory map, as in the catalogue: A2 low for the ports; A2 and A4 high to write the timer
    found = part_registers(load_part("6532"), 0x280)
    assert found[0x281].note == found[0x289].note == "read: DDRA; write: DDRA"
    assert found[0x296].name == "r6532_16"
    assert found[0x296].note.startswith("read: timer; A3 = 1 enables /IRQ")
    assert "write: timer; A1,A0 = /1, /8, /64, /1024" in found[0x296].note
    assert "write: edge detect control" in found[0x284].note
    assert len(found) == 32


def test_offsets_that_are_counted_up_share_their_words() -> None:
    found = part_registers(load_part("6530"), 0x1700)
    assert sorted(found) == [0x1700 + at for at in range(16) if at not in (8, 9, 10, 11)]
    assert found[0x1704].note == found[0x1706].note
    assert part_registers(load_part("6846"), 0)[4].note == "read: composite status; write: -"
