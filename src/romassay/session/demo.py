"""The demo as a use case: the logs of an invented specimen, and the command that assays them."""

from __future__ import annotations

import hashlib
from collections.abc import Collection
from importlib.resources import files
from pathlib import Path

from romassay.catalogue import rig_of
from romassay.docket.manifest import MANIFEST_FILE, Manifest, decode
from romassay.errors import BadInput
from romassay.session.rehearse import Rehearsal, commands, put
from romassay.twin.build import files_named
from romassay.twin.evening import rehearse

_DATA = files("romassay.twin") / "demo"
DOCKET = "fog-signal"


def prepare(docket: Path | None = None) -> Rehearsal:
    """Write the demo's logs: into the current folder, or into one beside the docket where that is named.

    The logs come from the twin with fixed seeds and are the same each time. BadInput where a file would be lost.
    """
    found = rig_of((_DATA / "rig.toml").read_text("utf-8"), "rig.toml")
    contents = {name: (_DATA / name).read_bytes() for name in files_named(found.rig)}
    evening = rehearse(found.rig, found.part, contents)
    _see_that_none_is_spoilt(docket or Path(DOCKET), {hashlib.sha256(log.data).hexdigest() for log in evening.logs})
    folder = Path() if docket is None else docket.parent / f"{docket.name}-logs"
    put(folder, {log.name: log.data for log in evening.logs})
    return Rehearsal(
        title=found.rig.title,
        written=tuple(folder / log.name for log in evening.logs),
        truth=None,
        commands=commands(found, evening.logs, folder, docket or Path(DOCKET)),
    )


def _see_that_none_is_spoilt(docket: Path, digests: Collection[str]) -> None:
    """Raise BadInput where the docket holds readings of another specimen: the demo's would be added to them."""
    place = docket / MANIFEST_FILE
    kept = decode(place.read_bytes(), str(place)) if place.is_file() else Manifest()
    others = [entry.file for entry in kept.readings if entry.sha256 not in digests]
    if others:
        raise BadInput(
            f"is the docket of another specimen ({others[0]})", place=str(docket), advice="give -o another folder"
        )


def example_rig() -> str:
    """Return a rig file to start from, with everything that may be said in it."""
    return (_DATA / "example.toml").read_text("utf-8")
