"""Rigs: which pin of the specimen is on which host line, or held at which level. Frozen values; no disk.

A rig file describes a wiring, the host's bus, and (in its `twin` table) a specimen to rehearse with. These are the
values that it is loaded into; the schema of the file is the same, key for key.
"""

from romassay.rig.host import BusLevels, Dump, Host, HostMemory, Parity, ReadCycle, Serial, SerialKind, Signals
from romassay.rig.lines import data_mask, line_number, outside, spread
from romassay.rig.rehearsal import (
    ANY_SPECIMEN,
    Contents,
    Control,
    Encoding,
    Evening,
    FloatingBus,
    FloatKind,
    FreeFunction,
    Line,
    Newline,
    Noise,
    Rehearsal,
    Toss,
    WeakCell,
)
from romassay.rig.wired import Buffer, BufferFamily, HeldAt, Regulator, Rig, Supply

__all__ = [
    "ANY_SPECIMEN",
    "Buffer",
    "BufferFamily",
    "BusLevels",
    "Contents",
    "Control",
    "Dump",
    "Encoding",
    "Evening",
    "FloatKind",
    "FloatingBus",
    "FreeFunction",
    "HeldAt",
    "Host",
    "HostMemory",
    "Line",
    "Newline",
    "Noise",
    "Parity",
    "ReadCycle",
    "Regulator",
    "Rehearsal",
    "Rig",
    "Serial",
    "SerialKind",
    "Signals",
    "Supply",
    "Toss",
    "WeakCell",
    "data_mask",
    "line_number",
    "outside",
    "spread",
]
