"""Rehearsals as a use case: a rig file to a folder of logs, the truth about them, and the commands to type next."""

from __future__ import annotations

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from itertools import groupby
from pathlib import Path

import msgspec

from romassay.catalogue import RigFile, load_rig
from romassay.errors import BadInput, BadValue, reason_of
from romassay.plan import planned
from romassay.rig import ANY_SPECIMEN, Rig
from romassay.session.files import write_atomically
from romassay.twin import layout_named
from romassay.twin.build import files_named
from romassay.twin.evening import Log, rehearse

TRUTH = "truth.json"

Command = tuple[str, ...]
"""What to type, word by word, from 'romassay' on."""


@dataclass(frozen=True, slots=True)
class Rehearsal:
    """What a rehearsal left.

    Attributes:
        title: the rig's.
        written: the logs, in the order in which they were taken.
        truth: the file that says what is true, or None where none was written.
        commands: what to type next, one for each power-up.
        alike: names of passes that came out equal to an earlier one, byte for byte: an assay counts them once.
    """

    title: str
    written: tuple[Path, ...]
    truth: Path | None
    commands: tuple[Command, ...]
    alike: tuple[str, ...] = ()


def rehearse_rig(path: Path, folder: Path, part_folders: Sequence[Path] = (), *, seed: int | None = None) -> Rehearsal:
    """Hold the evening that a rig file describes and leave its logs and `truth.json` in a folder.

    Files that are there already are left as they are where they hold the same.

    Raises:
        BadCatalogue: for a slip in the rig file.
        BadInput: for a file that it names and that cannot be read, or one in the folder that holds something else.
        BadValue: for a rig without a rehearsal.
    """
    found = load_rig(path, part_folders)
    if seed is not None:
        twin = msgspec.structs.replace(found.rig.twin or ANY_SPECIMEN, seed=seed)
        found = replace(found, rig=msgspec.structs.replace(found.rig, twin=twin))
    if found.part is not None and not (found.rig.twin and found.rig.twin.evening.window):
        found = replace(found, rig=planned(found.rig, found.part))
    try:
        files = {name: _content(found.folder / name) for name in files_named(found.rig)}
        evening = rehearse(found.rig, found.part, files)
    except BadValue as e:
        raise BadInput(e.problem, place=str(path), advice=e.advice) from e
    truth = (json.dumps(evening.truth, indent=1) + "\n").encode()
    put(folder, {**{log.name: log.data for log in evening.logs}, TRUTH: truth})
    return Rehearsal(
        title=found.rig.title,
        written=tuple(folder / log.name for log in evening.logs),
        truth=folder / TRUTH,
        commands=commands(found, evening.logs, folder, folder / "docket", _rig_words(path, part_folders)),
        alike=_alike(evening.logs),
    )


def _alike(logs: Sequence[Log]) -> tuple[str, ...]:
    """Return the names of the specimen's logs that hold what an earlier one holds."""
    passes = [log for log in logs if log.role == "specimen"]
    return tuple(log.name for number, log in enumerate(passes) if any(log.data == one.data for one in passes[:number]))


def _content(path: Path) -> bytes:
    try:
        return path.read_bytes()
    except OSError as e:
        raise BadInput(f"cannot be read ({reason_of(e)})", place=str(path), advice="the rig file names it") from e


def put(folder: Path, files: Mapping[str, bytes]) -> None:
    """Write files into a folder, making it where needed; BadInput, and nothing written, where one would be lost."""
    for name, data in files.items():
        path = folder / name
        if path.exists() and not (path.is_file() and path.read_bytes() == data):
            raise BadInput(
                "there is something else of this name, which is left alone",
                place=str(path),
                advice="move it away, or choose another folder with -o",
            )
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        advice = "choose another folder with -o"
        raise BadInput(f"cannot be made ({reason_of(e)})", place=str(folder), advice=advice) from e
    for name, data in files.items():
        if not (folder / name).exists():
            write_atomically(folder / name, data)


def commands(
    found: RigFile, logs: Sequence[Log], folder: Path, docket: Path, rig: Sequence[str] = ()
) -> tuple[Command, ...]:
    """Return the assays to type for the logs of an evening: one a power-up, the control readings in the first.

    With `rig`, the options that name its file, the first takes everything from it where it has a part.
    """
    specimen = [log for log in logs if log.role == "specimen"]
    several = len({log.session for log in specimen}) > 1
    result: list[Command] = []
    for session, group in groupby(specimen, key=lambda log: log.session):
        words = ["romassay", "assay", *(str(folder / log.name) for log in group)]
        if not result:
            for log in logs:
                if log.role != "specimen":
                    words += [f"--{log.role}", str(folder / log.name)]
            words += rig if rig and found.rig.part else _settings(found)
        if several:
            words += ["--session", str(session)]
        result.append((*words, "-o", str(docket)))
    return tuple(result)


def _rig_words(path: Path, part_folders: Sequence[Path]) -> list[str]:
    return ["--rig", str(path), *(word for folder in part_folders for word in ("--parts", str(folder)))]


def _settings(found: RigFile) -> list[str]:
    words = []
    if found.rig.part:
        words += ["--part", str(found.part_file or found.rig.part)]
    if not _logs_show_bus(found.rig):
        words += ["--address-bits", str(found.rig.address_bits)]
    window = found.rig.twin.evening.ranges if found.rig.twin else ()
    for item in found.rig.host_memory:
        if any(item.intersect(other) for other in window):
            words += ["--exclude", f"0x{item.first:04X}-0x{item.last:04X}"]
    return words


def _logs_show_bus(rig: Rig) -> bool:
    """Tell whether the logs' addresses have just the digits of the bus."""
    if rig.twin is None:
        return False
    layout = layout_named(rig.twin.evening.layout)
    return rig.address_bits == 16 and layout.style == "dump" and layout.base == 16 and layout.digits == 4
