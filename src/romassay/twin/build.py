"""From a rig and its part to a bench: which bus line each pin is on, and what the mask made of each select."""

from __future__ import annotations

from collections.abc import Mapping

import numpy as np

from romassay.errors import BadValue
from romassay.part import Function as PartFunction
from romassay.part import Part
from romassay.rig import ANY_SPECIMEN, Contents, FreeFunction, Rehearsal, Rig, data_mask, line_number
from romassay.twin.chance import octets
from romassay.twin.layout import Terminal
from romassay.twin.mask import with_mask
from romassay.twin.model import (
    HIGH,
    LOW,
    OPEN,
    Bench,
    Floating,
    Function,
    Memory,
    Specimen,
    Weak,
    function_from_pattern,
)
from romassay.twin.noise import LineNoise

_NEWLINES = {"crlf": "\r\n", "lf": "\n", "cr": "\r"}


def bench_of(rig: Rig, part: Part | None, files: Mapping[str, bytes]) -> Bench:
    """Return the bench that a rig's rehearsal describes.

    Args:
        rig: checked against its part.
        part: of the specimen, or None where the rehearsal has free functions only.
        files: contents of the files that it names.

    Raises:
        BadValue: for a file that does not fit its ROM, and a rig without a rehearsal.
    """
    twin = rehearsal_of(rig)
    specimens = []
    if part is not None:
        specimens.append(_specimen(rig, part, with_mask(twin, rig, part), files))
    if twin.functions:
        specimens.append(Specimen(tuple(_free(item, n, twin.seed, files) for n, item in enumerate(twin.functions))))
    return Bench(
        address_bits=rig.address_bits,
        specimens=tuple(specimens),
        memory=tuple(
            Memory(item.where.first, item.where.last, item.kind, bytes.fromhex(item.pattern), item.busy)
            for item in rig.host.memory
        ),
        floating=tuple(Floating(f.kind, f.value, f.rate, data_mask(f.lines)) for f in twin.floating) or (Floating(),),
        unrest=twin.unrest,
        contention=twin.contention,
        cycles=twin.cycles,
        seed=twin.seed,
    )


def rehearsal_of(rig: Rig) -> Rehearsal:
    """Return what a rig says of a specimen to rehearse with; any of its part where it says nothing."""
    if rig.twin is None and not rig.part:
        raise BadValue("the rig has no [twin] table", advice="add one: it says what specimen to rehearse with")
    return rig.twin or ANY_SPECIMEN


def noise_of(twin: Rehearsal) -> LineNoise:
    """Return the line noise of a rehearsal."""
    item = twin.noise
    return LineNoise(item.substitute, item.digit, item.flip, item.drop, item.burst, item.burst_length)


def terminal_of(twin: Rehearsal) -> Terminal:
    """Return what lies between the host of a rehearsal and its files."""
    item = twin.line
    return Terminal(_NEWLINES[item.newline], item.nuls, item.parity, item.encoding, item.colour, item.typos)


def files_named(rig: Rig) -> tuple[str, ...]:
    """Return the names of the files that a rehearsal takes its ROMs from."""
    twin = rehearsal_of(rig)
    contents = [*twin.contents.values(), *(item.contents for item in twin.functions)]
    return tuple(dict.fromkeys(item.file for item in contents if item.file))


def _specimen(rig: Rig, part: Part, twin: Rehearsal, files: Mapping[str, bytes]) -> Specimen:
    functions = tuple(_function(rig, part, twin, number, item, files) for number, item in enumerate(part.functions))
    lines = tuple(_data_line(rig, pin.name) for pin in part.data_pins)
    if rig.held.get("/RES") == "low":  # the bus drivers are off while /RES is low: MCS6500 Hardware Manual, section 1.6
        return Specimen((), data_lines=lines)
    within = rig.buffer.where if rig.buffer and rig.buffer.fitted else ()
    return Specimen(functions, data_lines=lines, within=tuple((item.first, item.last) for item in within))


def _data_line(rig: Rig, pin: str) -> int:
    number = line_number(rig.wiring.get(pin, ""), "D")
    return OPEN if number is None else number


def _line(rig: Rig, pin: str) -> int:
    number = rig.address_line(pin)
    if number is not None:
        return number
    return HIGH if rig.steady(pin) else LOW


def _function(
    rig: Rig, part: Part, twin: Rehearsal, number: int, item: PartFunction, files: Mapping[str, bytes]
) -> Function:
    mask = {part.pin(pin).name: option for pin, option in twin.mask.get(item.name, {}).items()}
    levels = {pin: mask.get(pin, part.options(item.name, pin)[0]) for pin in item.selects}
    contents = twin.contents.get(item.name, Contents())
    return Function(
        kind=item.kind,
        own=tuple(_line(rig, pin) for pin in item.own),
        selects=tuple((_line(rig, pin), int(level == "high")) for pin, level in levels.items() if level != "ignored"),
        data=_data(contents, item.size, twin.seed, number, files) if item.kind == "rom" else b"",
        driven=(1 << item.width) - 1,
        weak=tuple(Weak(w.offset, w.line, w.to, w.chance, w.toss) for w in twin.weak if w.function == item.name),
        name=item.name,
    )


def _free(item: FreeFunction, number: int, seed: int, files: Mapping[str, bytes]) -> Function:
    size = 1 << item.pattern.lower().count("a")
    data = _data(item.contents, size, seed, 256 + number, files) if item.kind == "rom" else b""
    return function_from_pattern(item.kind, item.pattern, data, driven=data_mask(item.lines), name=item.name)


def _data(contents: Contents, size: int, seed: int, number: int, files: Mapping[str, bytes]) -> bytes:
    """Return what a ROM holds: a file, or bytes invented from a seed."""
    if contents.file:
        data = files[contents.file]
        if len(data) != size:
            raise BadValue(
                f"'{contents.file}' holds {len(data)} bytes, the ROM {size}", advice="give a file of the ROM's size"
            )
        return data
    own_seed = seed if contents.seed is None else contents.seed
    return octets("contents", own_seed, number, np.arange(size, dtype=np.int64)).tobytes()
