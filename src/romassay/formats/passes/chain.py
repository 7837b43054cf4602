"""Rows of a dump to readings: which addresses are certain, where a pass ends and another begins, what is missing.

An address counts only where something else bears it out: the line before or after it goes on from it, or a sum over the
line covers it. A line whose address is out of step with its neighbours is a hole, whatever its bytes say.
"""

from __future__ import annotations

import numpy as np

from romassay.formats.layout import Layout
from romassay.formats.lines.rows import Rows
from romassay.formats.lines.text_beside import held_against_text
from romassay.formats.passes.odd_rows import unsqueezed, without_commands, without_end, without_fill, without_headings
from romassay.formats.passes.places import Placed, placed_rows
from romassay.formats.passes.reading import bits_of_addresses, reading_of_part
from romassay.formats.passes.splitting import Part, split_at_repeats
from romassay.formats.passes.units import units_of
from romassay.formats.passes.verdicts import judged
from romassay.reading import Reading


def readings_of(rows: Rows, layout: Layout, base: int | None, address_bits: int | None) -> tuple[Reading, ...]:
    """Return a reading for each pass.

    Args:
        rows: in the order of lines.
        layout: that they were read with.
        base: address of the first byte, for dumps without addresses.
        address_bits: lines of the bus, or None to tell from the addresses.
    """
    rows = held_against_text(rows)
    lines = without_end(rows, layout)
    if _is_one_run(lines, layout):
        placed = Placed(np.arange(len(lines)), lines.address, np.zeros(len(lines), np.bool_), [])
        whole = Part(0, len(lines), set())
        return (reading_of_part(whole, placed, lines, layout, address_bits or bits_of_addresses(placed, layout), 1),)
    rows = without_headings(without_commands(rows, layout), layout)
    rows = without_fill(unsqueezed(rows, layout), layout)
    units = units_of(rows, layout, base)
    verdicts = judged(units, rows, layout)
    placed = placed_rows(units, verdicts, rows, layout)
    parts = split_at_repeats(placed, rows, layout)
    bits = address_bits or bits_of_addresses(placed, layout)
    return tuple(reading_of_part(part, placed, rows, layout, bits, number) for number, part in enumerate(parts, 1))


def _is_one_run(rows: Rows, layout: Layout) -> bool:
    """Tell whether all lines are clean and each goes on from the one before: then there is nothing to judge."""
    if layout.where != "line" or len(rows) < 2 or rows.address[0] < 0:
        return False
    if rows.state.any() or not rows.count.all():
        return False
    return bool((rows.address[1:] == rows.address[:-1] + rows.count[:-1]).all())
