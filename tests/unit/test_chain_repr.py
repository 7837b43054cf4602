"""What a notebook shows of an assay: one short line."""

from __future__ import annotations

import examples


def test_an_assay_shows_itself_in_one_line() -> None:
    assert repr(examples.confirmed()) == "<Assay confirmed: ROM of 1024 bytes at 8400, 4 copies, CRC-32 5f12e6b1>"
    assert repr(examples.not_found()) == "<Assay not-found: no ROM in 1 reading(s)>"
