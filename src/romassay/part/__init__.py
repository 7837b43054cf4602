"""Parts: what a chip type is, pin by pin and function by function. Frozen values; no disk.

A part file is these values as TOML, key for key.
"""

from romassay.part.chip import Part, Remark
from romassay.part.figures import (
    Clock,
    Current,
    CurrentState,
    Edge,
    Figure,
    Latch,
    Level,
    LevelKind,
    Load,
    LoadKind,
    Output,
    OutputKind,
    Rail,
    Rating,
    RatingKind,
    Stoppable,
    Timing,
    TimingKind,
    of_pins,
)
from romassay.part.pins import HOLDS, Cell, Function, FunctionKind, Option, Pin, PinRole, Register, Select
from romassay.part.sources import MEMORY, PRACTICE, Citation, Cited, is_unchecked, source_ids

__all__ = [
    "HOLDS",
    "MEMORY",
    "PRACTICE",
    "Cell",
    "Citation",
    "Cited",
    "Clock",
    "Current",
    "CurrentState",
    "Edge",
    "Figure",
    "Function",
    "FunctionKind",
    "Latch",
    "Level",
    "LevelKind",
    "Load",
    "LoadKind",
    "Option",
    "Output",
    "OutputKind",
    "Part",
    "Pin",
    "PinRole",
    "Rail",
    "Rating",
    "RatingKind",
    "Register",
    "Remark",
    "Select",
    "Stoppable",
    "Timing",
    "TimingKind",
    "is_unchecked",
    "of_pins",
    "source_ids",
]
