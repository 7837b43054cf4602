"""Lists of parts for people: the catalogue, and what a chip with a house mark may be."""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from romassay.catalogue.fits import Check, Clues, Fits
from romassay.catalogue.parts import FoundPart
from romassay.part import Part, is_unchecked
from romassay.report.text import Line, Segment, Style, paragraph
from romassay.report.words import FUNCTIONS, plural, size

_WHERE = {"chip": "on the chip alone, diode test", "board": "on the board, continuity"}


def list_lines(parts: Sequence[FoundPart], *, width: int) -> Iterator[Line]:
    """Yield the parts of the catalogue, one a line: name, pins, what they hold, and how much has no source."""
    name = max((len(found.part.name) for found in parts), default=4)
    yield (Segment(f"{'part'.ljust(name)}  pins  {'holds'.ljust(30)}  no source", "faint"),)
    for found in parts:
        part = found.part
        every = sum(1 for _ in part.cited())
        count = f"{len(part.unchecked):>3} of {every}"
        style: Style = "care" if 2 * len(part.unchecked) > every else "plain"
        pins = part.package.rpartition("-")[2].rjust(4) if part.pins else "none"
        yield (
            Segment(part.name.ljust(name), "strong"),
            Segment(f"  {pins}  {holds(part).ljust(30)}  "),
            Segment(count, style),
            Segment(f"  {found.file}" if found.file else ""),
        )
    yield ()
    told = "'romassay parts TYPE' shows one with its sources; what has none is marked there. 'none' has no pin table."
    yield from paragraph(told, width=width)


def holds(part: Part) -> str:
    """Return what a part holds: '1 KiB ROM, 64 bytes RAM, ports'."""
    words = []
    for item in part.functions:
        narrow = f" x {item.width}" if item.width != 8 else ""
        what = "ports" if item.kind == "registers" else f"{_short(item.size)}{narrow} {_cell(part, item.name)}"
        words.append(what)
    return ", ".join(words)


def _short(count: int) -> str:
    return size(count).replace(" bytes", " B")


def _cell(part: Part, function: str) -> str:
    item = part.function(function)
    return {"uv-eprom": "EPROM", "fuse": "PROM"}.get(item.cell or "", FUNCTIONS[item.kind])


def fits_lines(found: Fits, clues: Clues, *, width: int) -> Iterator[Line]:
    """Yield what a chip may be, the checks that tell the candidates apart, and near misses."""
    if not found.candidates:
        yield (Segment("No part of the catalogue fits what was said.", "care"),)
    else:
        count = plural(len(found.candidates), "part fits", "parts fit")
        yield (Segment(f"{count} what was said:", "good" if len(found.candidates) == 1 else "plain"),)
    name = max((len(part.name) for part in found.candidates), default=0)
    for part in found.candidates:
        doubt = any(is_unchecked(pin.src) for pin in part.pins)
        yield (
            Segment("  "),
            Segment(part.name.ljust(name), "strong"),
            Segment(f"  {part.package}  {holds(part)}"),
            Segment("  ? pins from memory" if doubt else "", "care"),
        )
    yield from _window_lines(found.candidates, width)
    yield from _check_lines(found.checks, width)
    for group in found.alike:
        yield ()
        text = f"No pin tells {_joined(group)} apart with the power off: read the marking, the size or the outputs."
        yield from paragraph(text, width=width)
    yield from _near_lines(found, clues, width)


def _window_lines(parts: Sequence[Part], width: int) -> Iterator[Line]:
    """Yield what a look at the lid tells."""
    window = [part.name for part in parts if any(item.cell == "uv-eprom" for item in part.functions)]
    if window and len(window) < len(parts):
        yield ()
        text = (
            f"A quartz window in the lid speaks for {'; '.join(window)}. Without one it may still be one of them, in "
            "plastic and written once (common practice, no source)."
        )
        yield from paragraph(text, width=width)


def _check_lines(checks: Sequence[Check], width: int) -> Iterator[Line]:
    if not checks:
        return
    yield ()
    yield (Segment("Power off, to tell them apart"), Segment("  (common practice, no source)", "care"))
    for number, check in enumerate(checks, 1):
        yield (Segment(f"  {number}. "), Segment(f"Pin {check.pin}", "strong"), Segment(f", {_WHERE[check.where]}:"))
        for what, names in check.outcomes:
            yield from paragraph(f"{what}: {'; '.join(names)}", width=width, first="     - ", rest="       ")
    yield ()
    for text in CAUTIONS:
        yield from paragraph(text, width=width, first="  ! ", rest="    ", style="care")


CAUTIONS = (
    "Mains plug out, capacitors discharged, the chip out of its socket for the tests on the chip alone.",
    "Static kills: grounded person and bench, the chip in conductive foam until you need it.",
    "Use the diode test of a meter (about 1 mA), no resistance range of unknown voltage. A worn chip may read "
    "otherwise, and a select may be wired straight to an address line: trust two checks that agree.",
)
"""What to mind while measuring."""


def _near_lines(found: Fits, clues: Clues, width: int) -> Iterator[Line]:
    if found.near and clues.known:
        yield ()
        yield (Segment("One thing speaks against these:"),)
        for part, problem in found.near:
            yield from paragraph(f"{part.name}: {problem}", width=width, first="  ", rest="    ")
    if found.unlisted:
        yield ()
        yield from paragraph(f"Not judged, since no pin table was found: {', '.join(found.unlisted)}.", width=width)


def _joined(names: Sequence[str]) -> str:
    return f"{'; '.join(names[:-1])} and {names[-1]}"
