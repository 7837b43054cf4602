"""The rehearsal evening: every log that a rig's twin would leave on the table, and what is true of the specimen."""

from __future__ import annotations

import hashlib
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

import msgspec

from romassay.part import Part
from romassay.rig import Rehearsal, Rig
from romassay.twin.build import bench_of, noise_of, rehearsal_of, terminal_of
from romassay.twin.layout import Layout, layout_named
from romassay.twin.mask import with_mask
from romassay.twin.model import Bench, Role
from romassay.twin.record import Window, record
from romassay.twin.truth import FunctionTruth, exercised, truth

SCHEMA = "romassay/truth/1"


@dataclass(frozen=True, slots=True)
class Log:
    """One file of the evening.

    Attributes:
        name: of the file.
        data: its bytes.
        role: what was in the socket.
        session: the power-up, from 1.
    """

    name: str
    data: bytes
    role: Role
    session: int


@dataclass(frozen=True, slots=True)
class Rehearsed:
    """What an evening leaves: the logs in the order in which they were taken, and the truth as plain values."""

    logs: tuple[Log, ...]
    truth: dict[str, Any]


def rehearse(rig: Rig, part: Part | None, files: Mapping[str, bytes]) -> Rehearsed:
    """Hold the evening that a rig's rehearsal describes. The same rig gives the same logs, byte for byte.

    Args:
        rig: checked against its part.
        part: of the specimen, or None.
        files: contents of the files that the rehearsal names.
    """
    twin = rehearsal_of(rig)
    if part is not None:
        twin = with_mask(twin, rig, part)
        rig = msgspec.structs.replace(rig, twin=twin)
    bench = bench_of(rig, part, files)
    layout = layout_named(twin.evening.layout)
    window = tuple((item.first, item.last) for item in twin.evening.ranges or rig.to_read)
    logs = (*_controls(twin, bench, window, layout), *_sessions(twin, bench, window, layout))
    return Rehearsed(logs, _truth(rig, bench, window))


def _controls(twin: Rehearsal, bench: Bench, window: Window, layout: Layout) -> list[Log]:
    return [
        Log(f"{twin.evening.prefix}{role}.log", _record(twin, bench, window, layout, 0, (0,), role), role, 0)
        for role in dict.fromkeys(twin.evening.controls)
    ]


def _sessions(twin: Rehearsal, bench: Bench, window: Window, layout: Layout) -> list[Log]:
    evening = twin.evening
    logs = []
    for session in range(1, evening.sessions + 1):
        stem = evening.prefix + (f"session-{session}-" if evening.sessions > 1 else "")
        first = (session - 1) * evening.readings + 1
        numbers = tuple(range(first, first + evening.readings))
        groups = [numbers] if evening.together else [(number,) for number in numbers]
        for position, group in enumerate(groups, 1):
            name = f"{stem}passes.log" if evening.together else f"{stem}pass-{position}.log"
            data = _record(twin, bench, window, layout, session, group, "specimen")
            logs.append(Log(name, data, "specimen", session))
    return logs


def _record(
    twin: Rehearsal, bench: Bench, window: Window, layout: Layout, session: int, numbers: tuple[int, ...], role: Role
) -> bytes:
    return record(
        bench,
        window,
        layout,
        session=session,
        readings=numbers,
        role=role,
        noise=noise_of(twin),
        terminal=terminal_of(twin),
    )


def _truth(rig: Rig, bench: Bench, window: Window) -> dict[str, Any]:
    return {
        "schema": SCHEMA,
        "part": rig.part or None,
        "mask": rig.twin.mask if rig.twin else {},
        "address_bits": bench.address_bits,
        "window": [list(item) for item in window],
        "functions": [_function(bench, item, window) for item in truth(bench)],
    }


def _function(bench: Bench, item: FunctionTruth, window: Window) -> dict[str, Any]:
    shown = exercised(bench, item, window)
    function = bench.specimens[item.specimen].functions
    weak = next(f.weak for f in function if (f.name or f.kind) == item.name)
    return {
        "specimen": item.specimen,
        "kind": item.kind,
        "name": item.name,
        "size": item.size,
        "width": item.width,
        "own_lines": [f"A{line}" for line in item.own],
        "decode": {f"A{line}": level for line, level in sorted(item.decode.items())},
        "not_exercised": [f"A{line}" for line, seen in sorted(shown.items()) if not seen],
        "copies": list(item.copies),
        "sha256": hashlib.sha256(item.image).hexdigest() if item.image else None,
        "image": item.image.hex(),
        "weak": [{"offset": w.offset, "line": w.line, "to": w.to, "chance": w.chance, "toss": w.toss} for w in weak],
    }
