"""Where on the specimen to put the probe: the pins of a part that lines of a finding are wired to."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import replace

from romassay.finding import Finding
from romassay.part import Part, Pin
from romassay.rig import Rig

_LINE = re.compile(r"([AD])(\d+)")
_NUMBER = re.compile(r"\D+(\d+)")
_KINDS = {"A": "address", "D": "data"}


def at_pins(finding: Finding, part: Part | None, rig: Rig | None) -> Finding:
    """Return a finding whose advice names the specimen's pins, where a part says them.

    With a rig they are those that it wires to the lines; without one, those of the same number.
    """
    if part is None:
        return finding
    named = [f"{line} is {_words(pin, line)}" for line in finding.lines for pin in _pins(line, part, rig)]
    if not named:
        return finding
    return replace(finding, advice=f"{finding.advice}; on the {part.type} {', '.join(named[:8])}")


def _words(pin: Pin, line: str) -> str:
    return f"pin {pin.n}" if pin.name == line else f"{pin.name}, pin {pin.n}"


def _pins(line: str, part: Part, rig: Rig | None) -> Iterator[Pin]:
    if rig is not None:
        yield from (pin for pin in part.pins if line in (pin.name, rig.wiring.get(pin.name)))
        return
    match = _LINE.fullmatch(line)
    for pin in part.pins:
        number = _NUMBER.fullmatch(pin.name)
        wired = match and number and pin.kind == _KINDS[match[1]] and number[1] == match[2]
        if wired or pin.name == line:
            yield pin
