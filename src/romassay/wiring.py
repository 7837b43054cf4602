"""What a rig leaves out: a host line or a level for each pin that is neither wired nor held. Pure.

Data and address pins go straight to the lines of their place; selects to free address lines above the function's own,
so that every mask option can be tried; clock, reset and strobes to the host's lines of that kind. What a pin is held at
for reading is the part's to say.
"""

from __future__ import annotations

from dataclasses import dataclass

import msgspec

from romassay.part import Function, Part, Pin
from romassay.rig import HeldAt, Rig, line_number

LEVELS: dict[str, HeldAt] = {"high": "high", "low": "low"}


@dataclass(frozen=True, slots=True)
class Completed:
    """A rig with everything that it leaves out.

    Attributes:
        rig: complete, as far as the host has lines.
        proposed: pins that the rig itself says nothing of.
        loose: inputs for which nothing was found.
    """

    rig: Rig
    proposed: frozenset[str]
    loose: tuple[str, ...]


class _Board:
    """What is wired and held so far, and which lines are taken."""

    def __init__(self, rig: Rig) -> None:
        self.rig = rig
        self.wiring = dict(rig.wiring)
        self.held: dict[str, HeldAt] = dict(rig.held)
        self.proposed: list[str] = []
        self.loose: list[str] = []

    def tied(self, pin: str) -> bool:
        return pin in self.wiring or pin in self.held or pin in self.loose

    def taken(self, line: str) -> bool:
        number = line_number(line, "A")
        if number is None:
            return line in self.wiring.values()
        return any(line_number(used, "A") == number for used in self.wiring.values())

    def wire(self, pin: str, line: str) -> None:
        self.wiring[pin] = line
        self.proposed.append(pin)

    def hold(self, pin: str, level: HeldAt) -> None:
        self.held[pin] = level
        self.proposed.append(pin)

    def wire_or_lose(self, pin: str, line: str) -> None:
        if line:
            self.wire(pin, line)
        else:
            self.loose.append(pin)

    def free_line(self, above: int) -> str:
        """Return the lowest free address line from `above` on, else the lowest of all; '' where none is left."""
        bits = self.rig.address_bits
        free = [n for n in (*range(above, bits), *range(min(above, bits))) if not self.taken(f"A{n}")]
        return f"A{free[0]}" if free else ""


def completed(rig: Rig, part: Part | None) -> Completed:
    """Return the rig with a line or a level for every pin of the part that needs one."""
    if part is None or not part.pins:
        return Completed(rig, frozenset(), ())
    board = _Board(rig)
    _data(board, part)
    _addresses(board, part)
    _selects(board, part)
    rails = {item.pin for item in part.rails}
    for pin in part.pins:
        if not board.tied(pin.name) and pin.n not in rails:
            _other(board, part, pin)
    done = msgspec.structs.replace(rig, wiring=board.wiring, held=board.held)
    return Completed(done, frozenset(board.proposed), tuple(board.loose))


def main_function(part: Part) -> Function:
    """Return the function that a part is read for: its largest ROM, or its largest function."""
    return max(part.functions, key=lambda item: (item.kind == "rom", item.size))


def own_pins(part: Part) -> tuple[str, ...]:
    """Return the pins that count inside any function, those of the main function first and lowest first."""
    every = (main_function(part), *part.functions)
    return tuple(dict.fromkeys(part.pin(name).name for function in every for name in function.own))


def select_pins(part: Part) -> tuple[str, ...]:
    """Return the pins that choose a function and are inside none, in the order of the functions."""
    inside = own_pins(part)
    names = (part.pin(name).name for function in part.functions for name in function.selects)
    return tuple(name for name in dict.fromkeys(names) if name not in inside)


def fixed_level(part: Part, select: str) -> HeldAt | None:
    """Return the one level at which a select chooses every function that it concerns; None where it may have others."""
    options = {option for item in part.selects if part.pin(item.name).name == select for option in item.options}
    return LEVELS.get(options.pop()) if len(options) == 1 else None


def _data(board: _Board, part: Part) -> None:
    pins = part.data_pins
    if any(board.tied(pin.name) for pin in pins):
        return
    for place, pin in enumerate(pins[:8]):
        if pin.kind == "address-data":
            board.wire_or_lose(pin.name, f"AD{place}" if place < board.rig.host.multiplexed else "")
        else:
            board.wire(pin.name, f"D{place}")


def _addresses(board: _Board, part: Part) -> None:
    names = own_pins(part)
    for place, name in enumerate(names):
        if not board.tied(name) and place < board.rig.address_bits and not board.taken(f"A{place}"):
            board.wire(name, f"A{place}")
    for name in names:
        if not board.tied(name):
            board.wire_or_lose(name, board.free_line(0))


def _selects(board: _Board, part: Part) -> None:
    above = len(main_function(part).own)
    strobe = board.rig.host.signals.read
    waiting = [name for name in select_pins(part) if not board.tied(name)]
    for name in waiting:
        if fixed_level(part, name) is None:
            board.wire_or_lose(name, board.free_line(above))
    enables = [name for name in waiting if fixed_level(part, name) == "low"]
    for name in waiting:
        level = fixed_level(part, name)
        if level is None:
            continue
        if strobe and enables and name == enables[-1] and not board.taken(strobe) and not _latched(part, name):
            board.wire(name, strobe)
        else:
            board.hold(name, level)


def _latched(part: Part, name: str) -> bool:
    return any(name in latch.takes for latch in part.latches)


def _other(board: _Board, part: Part, pin: Pin) -> None:
    """Find a line or a level for a pin that addresses nothing: what the part says, by the host's lines."""
    signals = board.rig.host.signals
    if pin.hold == "clock":
        board.wire_or_lose(pin.name, signals.clock if not board.taken(signals.clock) else signals.clock_inverse)
    elif pin.hold == "strobe":
        board.wire_or_lose(pin.name, _strobe(board, part, pin))
    elif (level := reading_level(part, pin)) is not None:
        line = _line_for(board, pin)
        if line:
            board.wire(pin.name, line)
        else:
            board.hold(pin.name, level)


def reading_level(part: Part, pin: Pin) -> HeldAt | None:
    """Return the level at which a part wants a pin held for reading; None where it wants none."""
    if pin.hold in LEVELS:
        return LEVELS[pin.hold]
    rail = next((item for item in part.rails if item.name == pin.hold), None)
    return None if rail is None else "high" if rail.nominal > 0 else "low"


def _strobe(board: _Board, part: Part, pin: Pin) -> str:
    signals = board.rig.host.signals
    edges = {latch.edge for latch in part.latches if latch.pin == pin.name}
    if "fall" in edges:
        return signals.latch
    return signals.latch_rise if edges else signals.read


def _line_for(board: _Board, pin: Pin) -> str:
    """Return the host's line for a pin that is high while it is read, where a machine that writes has one."""
    signals = board.rig.host.signals
    if pin.name == "R/W" and board.rig.host.writes:
        return signals.read_write or signals.write
    return signals.reset if pin.name in ("/RES", "/RESET") else ""
