"""What was taken from each file and what was left, for a person who checks what was learnt. Pure text."""

from __future__ import annotations

from collections.abc import Sequence

from romassay.formats.model import Loaded
from romassay.reading import Reading
from romassay.report.text import Line, Segment, paragraph
from romassay.report.words import digits, plural, some

_SHOWN = 20


def taken(files: Sequence[Loaded], *, width: int = 80) -> list[Line]:
    """Return, for each file, its format and layout, its readings, and the lines that were left with the reason."""
    lines: list[Line] = []
    for file in files:
        if lines:
            lines.append(())
        lines += _file(file, width)
    return lines


def _file(file: Loaded, width: int) -> list[Line]:
    lines: list[Line] = [(Segment(file.name, "strong"),), (Segment(f"  format   {file.format}"),)]
    if file.layout:
        lines.append((Segment(f"  layout   {file.layout}"),))
    for reading in file.readings:
        lines += paragraph(_reading(reading), width=width, first=f"  pass {reading.source.pass_number:<3} ")
    for text in file.notes:
        lines += paragraph(text, width=width, first="  note     ")
    if not file.left_total:
        return [*lines, (Segment("  left     nothing"),)]
    damaged = sum(item.damage for item in file.left)
    least = "at least " if damaged and len(file.left) < file.left_total else ""
    left = f"{plural(file.left_total, 'line')}, {least}{damaged or 'none'} of them damaged"
    lines.append((Segment(f"  left     {left}"),))
    for item in sorted(file.left, key=lambda item: not item.damage)[:_SHOWN]:
        mark = "!" if item.damage else " "
        lines.append(
            (Segment(f"  {mark} {item.line:>6}  {item.text[: width - 12]}", "care" if item.damage else "plain"),)
        )
        lines += paragraph(item.reason, width=width, first=" " * 12, style="faint")
    more = file.left_total - _SHOWN
    return [*lines, (Segment(f"            and {more} more"),)] if more > 0 else lines


def _reading(reading: Reading) -> str:
    wide = digits(reading.address_bits)
    spans = some([f"{span.first:0{wide}X}-{span.last:0{wide}X}" for span in reading.spans()], 4) or "no address"
    first, last = reading.source.lines
    parts = [f"{spans}: {plural(len(reading), 'byte')}"]
    parts += [f"lines {first} to {last}"] if last else []
    parts += [f"{plural(len(reading.holes), 'hole')}"] if reading.holes else []
    parts += [f"{plural(len(reading.resent), 'line')} sent again"] if len(reading.resent) else []
    return ", ".join(parts)
