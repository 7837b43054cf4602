"""The twin: a simulated specimen, host and rig, faults included. It speaks through logs, like any host."""

from romassay.twin.layout import LAYOUTS, Layout, Terminal, layout_named
from romassay.twin.model import (
    HIGH,
    LOW,
    Bench,
    Floating,
    Function,
    Memory,
    Specimen,
    Weak,
    function_from_pattern,
)
from romassay.twin.noise import LineNoise, disturb
from romassay.twin.observe import observe
from romassay.twin.printer import Pass, print_log
from romassay.twin.record import Window, record, take
from romassay.twin.truth import FunctionTruth, answering, exercised, truth

__all__ = [
    "HIGH",
    "LAYOUTS",
    "LOW",
    "Bench",
    "Floating",
    "Function",
    "FunctionTruth",
    "Layout",
    "LineNoise",
    "Memory",
    "Pass",
    "Specimen",
    "Terminal",
    "Weak",
    "Window",
    "answering",
    "disturb",
    "exercised",
    "function_from_pattern",
    "layout_named",
    "observe",
    "print_log",
    "record",
    "take",
    "truth",
]
