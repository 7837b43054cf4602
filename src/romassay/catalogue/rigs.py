"""Rig files: loaded, and checked against the part that they wire up."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import chain
from pathlib import Path

import msgspec

from romassay.catalogue.hosts import host_slips, load_host
from romassay.catalogue.parts import FoundPart, find_part
from romassay.catalogue.rehearsal_rules import twin_slips
from romassay.catalogue.rig_rules import bench_slips, loose_pins, mask_slips, wiring_slips
from romassay.catalogue.strict import Step, Table, blame, meant, parse, read_text
from romassay.errors import BadCatalogue, BadValue
from romassay.part import Part
from romassay.rig import Rig, spread
from romassay.wiring import completed


@dataclass(frozen=True, slots=True)
class RigFile:
    """A rig file, loaded.

    Attributes:
        rig: complete: what the file leaves out is proposed.
        part: of it, or None where it has none.
        folder: that its file names start from.
        part_file: file of the part, where it is one's own.
        said: the rig as the file has it.
        loose: inputs for which nothing is said and nothing could be proposed.
    """

    rig: Rig
    part: Part | None
    folder: Path
    said: Rig
    part_file: Path | None = None
    loose: tuple[str, ...] = ()


def load_rig(path: str | Path, part_folders: Sequence[Path] = (), *, strict: bool = True) -> RigFile:
    """Return the rig in a TOML file, with its part.

    Args:
        path: of the file.
        part_folders: directories of part files of one's own.
        strict: False to load a wiring that cannot be, for a plan to say what is wrong with it.

    Raises:
        BadCatalogue: with file, line and key of whatever does not fit.
    """
    file = Path(path)
    return rig_of(read_text(file, "rig"), str(path), file.parent, part_folders, strict=strict)


def rig_of(
    text: str, place: str, folder: Path = Path(), part_folders: Sequence[Path] = (), *, strict: bool = True
) -> RigFile:
    """Return the rig that a TOML text describes; a part file is looked for from `folder`. See `load_rig`."""
    raw = parse(text, Rig, place, lambda table: _with_host(table, text, place, folder))
    found = _part(raw, text, place, folder, part_folders)
    part = found.part if found else None
    for slip in host_slips(raw.host, ("host",)):
        raise slip.blamed(text, place)
    said = msgspec.structs.replace(
        raw, wiring=_spread_wiring(raw, part, text, place), held=_spread_held(raw, part, text, place)
    )
    for slip in chain(bench_slips(said, part), mask_slips("known", said.known, part), twin_slips(said, part)):
        raise slip.blamed(text, place)
    whole = completed(said, part)
    if strict:
        for slip in chain(wiring_slips(whole.rig, part), loose_pins(whole, part)):
            raise slip.blamed(text, place)
    return RigFile(whole.rig, part, folder, said, found.file if found else None, whole.loose)


def _with_host(table: Table, text: str, place: str, folder: Path) -> Table:
    """Put in the host that a rig only names: host = 'NAME', or [host] with like = 'NAME' and what differs from it."""
    said = table.get("host")
    own = {"like": said} if isinstance(said, str) else said
    name = own.get("like") if isinstance(own, dict) else None
    if not isinstance(own, dict) or not isinstance(name, str):
        return table
    own_file = folder / name
    try:
        known = load_host(own_file if name.endswith(".toml") else name)
    except BadCatalogue as e:
        if own_file.is_file():
            raise
        steps = ("host",) if isinstance(said, str) else ("host", "like")
        raise blame(text, place, steps, e.problem, e.advice) from e
    rest = {key: value for key, value in own.items() if key != "like"}
    return {**table, "host": _over(msgspec.to_builtins(known), rest)}


def _over(known: Table, said: Table) -> Table:
    """Return a table with what is said in another one put over it, table by table; lists are replaced."""
    result = dict(known)
    for key, value in said.items():
        former = result.get(key)
        result[key] = _over(former, value) if isinstance(former, dict) and isinstance(value, dict) else value
    return result


def _part(rig: Rig, text: str, place: str, folder: Path, part_folders: Sequence[Path]) -> FoundPart | None:
    if not rig.part:
        return None
    own_file = folder / rig.part
    try:
        found = find_part(own_file if rig.part.endswith(".toml") else rig.part, part_folders)
    except BadCatalogue as e:
        if own_file.is_file():
            raise
        raise blame(text, place, ("part",), e.problem, e.advice) from e
    if not found.part.pins:
        problem = f"no pin table of the {found.part.name} was found, so it can't be wired"
        raise blame(text, place, ("part",), problem, "give a part file of your own with its pins")
    return found


def _spread_wiring(rig: Rig, part: Part | None, text: str, place: str) -> dict[str, str]:
    wiring: dict[str, str] = {}
    for key, value in rig.wiring.items():
        try:
            pins, lines = spread(key), spread(value)
        except BadValue as e:
            raise blame(text, place, ("wiring", key), e.problem, e.advice) from e
        if len(pins) != len(lines):
            problem = f"{len(pins)} pins on {len(lines)} lines"
            raise blame(text, place, ("wiring", key), problem, "write as many of each, like A0-A9 = 'A0-A9'")
        for pin, line in zip(pins, lines, strict=True):
            name = _pin_name(part, pin, ("wiring", key), text, place)
            if name in wiring:
                raise blame(text, place, ("wiring", key), f"{name} is wired twice", "keep one")
            wiring[name] = line
    return wiring


def _spread_held(rig: Rig, part: Part | None, text: str, place: str) -> dict[str, str]:
    held: dict[str, str] = {}
    for key, level in rig.held.items():
        try:
            pins = spread(key)
        except BadValue as e:
            raise blame(text, place, ("held", key), e.problem, e.advice) from e
        for pin in pins:
            held[_pin_name(part, pin, ("held", key), text, place)] = level
    return held


def _pin_name(part: Part | None, pin: str, steps: tuple[Step, ...], text: str, place: str) -> str:
    if part is None:
        raise blame(text, place, steps, "there is no part to wire", "name the part, or take the wiring away")
    try:
        return part.pin(pin).name
    except KeyError:
        names = sorted(name for item in part.pins for name in (item.name, item.also) if name)
        raise blame(text, place, steps, f"the {part.type} has no pin '{pin}'", meant(pin, names)) from None
