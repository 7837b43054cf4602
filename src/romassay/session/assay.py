"""The main job as a use case: named files, and a docket where one is wanted, to an assay and what is to be kept of it.

With a docket, everything is derived before anything is written: a run that fails leaves the docket as it was.
"""

from __future__ import annotations

import contextlib
import dataclasses
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import Any

import msgspec

from romassay.chain import Assay, Options, assay, gather
from romassay.docket.folder import commit, find, hold, is_current, reading_path, strangers
from romassay.docket.growing import read_plan
from romassay.docket.manifest import Decided, Event, Manifest, Result, Settings
from romassay.docket.record import File, crc32, result_files
from romassay.errors import BadValue
from romassay.formats.model import Loaded
from romassay.reading import ReadingSet
from romassay.session.declared import Declared, as_kept, declare, on_bus
from romassay.session.entering import Entered, enter
from romassay.session.loading import Input, in_company, load_together
from romassay.version import VERSION


@dataclass(frozen=True, slots=True)
class Request:
    """What is to be assayed.

    Attributes:
        inputs: files, in the order given; may be empty where a docket holds readings.
        settings: the fields of `Settings` that were said in this call; the others stay as the docket has them.
        docket: the folder to keep everything in, or None to keep nothing.
        command: what was typed, for the docket's history.
        part_folders: directories of part files of one's own.
    """

    inputs: tuple[Input, ...]
    settings: Mapping[str, Any] = dataclasses.field(default_factory=dict)
    docket: Path | None = None
    command: str = ""
    part_folders: tuple[Path, ...] = ()


@dataclass(frozen=True, slots=True, eq=False)
class Outcome:
    """What came of a request.

    Attributes:
        assay: the result.
        loaded: every file that went into it, with what was taken and what was left.
        files: the record and the images, as written to the docket, or as they would be.
        notices: sentences about the files, such as that one adds nothing.
        docket: the folder in which all of it is kept, or None.
    """

    assay: Assay
    loaded: tuple[Loaded, ...]
    files: tuple[File, ...]
    notices: tuple[str, ...]
    docket: Path | None


def assay_files(request: Request, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> Outcome:
    """Assay the files named, together with those that the docket holds, and keep everything in the docket.

    Raises:
        BadInput: a file that cannot be read or holds no dump, a folder that is no docket, a docket that is damaged.
        BadValue: an unknown part, or nothing to assay.
    """
    if request.docket and not request.inputs:
        find(request.docket)
    with hold(request.docket) if request.docket else contextlib.nullcontext() as former:
        declared = _declared(request, _settings((former or Manifest()).settings, request.settings))
        entered = _entered(request, former or Manifest(), declared)
        result = _derive(entered, declared, request.docket)
        files = result_files(result)
        notices = entered.notices
        if request.docket:
            notices = (*notices, *_taken_back((former or Manifest()).settings, request.settings))
            if former and former.results and not is_current(request.docket, former):
                notices = (*notices, f"{request.docket}: its results were not those of its readings; they are now")
            event = Event(
                when=_stamp(now),
                version=VERSION,
                command=request.command,
                did=_did(entered, result),
            )
            manifest = msgspec.structs.replace(
                entered.manifest,
                settings=as_kept(entered.manifest.settings, declared),
                results=tuple(Result(file.name, file.sha256) for file in files),
                history=(*entered.manifest.history, event),
            )
            commit(request.docket, manifest, (*entered.additions, *declared.files), files)
            notices = (*notices, *not_filed(request.docket, manifest))
    return Outcome(result, entered.loaded, files, notices, request.docket)


def assay_or_keep(request: Request, *, now: Callable[[], datetime] = lambda: datetime.now(UTC)) -> Outcome | None:
    """Assay as `assay_files` does; of a docket without a reading of the specimen, keep its control readings.

    Returns:
        What came of it; None where the docket keeps control readings alone, so that there is nothing to assay yet.

    Raises:
        BadInput, BadValue: as `assay_files`.
    """
    if request.docket is None or not request.inputs:
        return assay_files(request, now=now)
    with hold(request.docket) as former:
        before = former or Manifest()
        roles = {*(item.role for item in request.inputs), *(entry.role for entry in before.readings)}
        if "specimen" not in roles:
            _keep(request, request.docket, before, now)
            return None
    return assay_files(request, now=now)


def _keep(request: Request, docket: Path, before: Manifest, now: Callable[[], datetime]) -> None:
    """Enter the files of a request into a held docket that has no result, and give it none."""
    declared = _declared(request, _settings(before.settings, request.settings))
    entered = _entered(request, before, declared)
    event = Event(_stamp(now), VERSION, request.command, f"{_added(entered)}; no reading of the specimen yet")
    manifest = msgspec.structs.replace(
        entered.manifest,
        settings=as_kept(entered.manifest.settings, declared),
        history=(*entered.manifest.history, event),
    )
    commit(docket, manifest, (*entered.additions, *declared.files), ())


def not_filed(docket: Path, manifest: Manifest) -> tuple[str, ...]:
    """Return a notice where files lie among the readings that the manifest does not name, but for a capture's own."""
    plan = read_plan(docket)
    names = sorted(strangers(docket, manifest).difference(plan.files if plan else ()))
    if not names:
        return ()
    first, more = reading_path(docket, names[0]), len(names) - 1
    return (f"{first}{f' and {more} more' if more else ''}: no reading of the docket, and used for nothing",)


def look(request: Request) -> tuple[Loaded, ...]:
    """Load the files named, or else those of the docket, and tell what was taken and what was left. Nothing is kept."""
    if request.inputs or not request.docket:
        settings = _settings(Settings(), request.settings)
        settings = on_bus(settings, _declared(request, settings))
        named = load_together(request.inputs, settings)
        return in_company([(item, item.said, found) for item, found in named], settings)
    with hold(request.docket) as former:
        manifest = former or Manifest()
        declared = _declared(request, _settings(manifest.settings, request.settings))
        return _entered(request, manifest, declared).loaded


@dataclass(frozen=True, slots=True, eq=False)
class Derived:
    """What a docket says, derived anew.

    Attributes:
        assay: the result.
        loaded: every file that went into it.
        manifest: what the docket holds and what was done.
    """

    assay: Assay
    loaded: tuple[Loaded, ...]
    manifest: Manifest


def derive(docket: Path) -> Derived:
    """Derive a docket's assay anew from its readings. Nothing is kept.

    Raises:
        BadInput: a folder that is no docket, or a docket that is damaged.
    """
    find(docket)
    with hold(docket) as former:
        return _derived(docket, former or Manifest())


def _derived(docket: Path, manifest: Manifest) -> Derived:
    request = Request(inputs=(), docket=docket)
    declared = _declared(request, manifest.settings)
    entered = _entered(request, manifest, declared)
    return Derived(_derive(entered, declared, docket), entered.loaded, manifest)


def decide(
    docket: Path, choice: Decided, *, back: bool = False, now: Callable[[], datetime] = lambda: datetime.now(UTC)
) -> Derived:
    """Keep a person's decision on a byte, with its reason, and derive the docket anew; the readings stay as they are.

    Args:
        docket: the folder.
        choice: the decision; it takes the place of a former one on the same byte.
        back: take the decision on that byte back; its value and reason do not matter.
        now: a clock.

    Raises:
        BadInput: a folder that is no docket, or a docket that is damaged.
        BadValue: there is no such byte, no reason is given, or there is nothing to take back.
    """
    find(docket)
    with hold(docket) as held:
        former = held or Manifest()
        rest = tuple(d for d in former.decisions if (d.function, d.offset) != (choice.function, choice.offset))
        if back and len(rest) == len(former.decisions):
            raise BadValue(f"no decision stands on offset {choice.offset:04X}", advice="look at the list of decisions")
        if not back and not choice.reason.strip():
            raise BadValue("a decision needs a reason", advice="say in a few words what it rests on")
        manifest = msgspec.structs.replace(former, decisions=rest if back else (*rest, choice))
        found = _derived(docket, manifest)
        if not any(i.function == choice.function for i in found.assay.images):
            raise BadValue(f"function {choice.function} has no image", advice="decide a byte of a ROM's image")
        what = f"took back the decision on offset {choice.offset:04X}"
        if not back:
            what = f"decided that offset {choice.offset:04X} is {choice.value:02X}: {choice.reason}"
        event = Event(_stamp(now), VERSION, "", f"{what}; {found.assay.verdict}")
        files = result_files(found.assay)
        manifest = msgspec.structs.replace(
            manifest,
            results=tuple(Result(file.name, file.sha256) for file in files),
            history=(*manifest.history, event),
        )
        commit(docket, manifest, (), files)
    return dataclasses.replace(found, manifest=manifest)


def _stamp(now: Callable[[], datetime]) -> str:
    return now().astimezone(UTC).strftime("%Y-%m-%dT%H:%M:%SZ")


def _entered(request: Request, former: Manifest, declared: Declared) -> Entered:
    """Enter the files of a request into a manifest, with its settings, and load what the manifest then holds."""
    kept = _settings(former.settings, request.settings)
    manifest = msgspec.structs.replace(former, settings=kept)
    return enter(request.inputs, manifest, request.docket, on_bus(kept, declared))


def _settings(former: Settings, given: Mapping[str, Any]) -> Settings:
    """Return the docket's settings with those of this call."""
    return msgspec.structs.replace(former, **superseding(given))


def superseding(given: Mapping[str, Any]) -> dict[str, Any]:
    """Return settings with what they take back of earlier ones: of rig, part and size the last one said counts."""
    changes = dict(given)
    if changes.get("rig") is not None:
        changes |= {"part": None, "size": None}
    elif changes.get("part") is not None:
        changes.setdefault("size", None)
        changes.setdefault("rig", None)
    elif changes.get("size") is not None:
        changes.setdefault("part", None)
        changes.setdefault("rig", None)
    return changes


def _taken_back(former: Settings, given: Mapping[str, Any]) -> list[str]:
    """Return a notice for what was said in an earlier call and no longer counts, though this call does not name it."""
    now = _settings(former, given)
    return [
        f"the {name} that was said before no longer counts; what is said now takes its place"
        for name in ("rig", "part", "size")
        if name not in given and getattr(former, name) is not None and getattr(now, name) is None
    ]


def _declared(request: Request, settings: Settings) -> Declared:
    return declare(settings, request.docket, newly=request.settings, folders=request.part_folders)


def _derive(entered: Entered, declared: Declared, docket: Path | None) -> Assay:
    settings = on_bus(entered.manifest.settings, declared)
    if not any(entry.role == "specimen" for entry in entered.manifest.readings):
        raise BadValue(
            "there is no reading of the specimen to assay",
            advice="name at least one log of it" if docket else "name at least one log of it, or keep this with -o DIR",
        )
    options = Options(
        part=declared.part,
        rig=declared.rig,
        size=settings.size,
        target=settings.target,
        decisions=entered.manifest.decided,
        apply_findings=settings.apply_findings,
    )
    readings = gather(entered.loaded, exclude=settings.excluded, address_bits=settings.address_bits)
    if settings.address_bits and not any(len(reading) for reading in readings.with_role("specimen")):
        raise BadValue(
            f"no address of the readings fits a bus of {settings.address_bits} lines",
            place="--address-bits",
            advice="give the bus more lines, or leave them to the files",
        )
    return assay(_with_duplicates(readings, entered.manifest), options)


def _with_duplicates(readings: ReadingSet, manifest: Manifest) -> ReadingSet:
    """Name the files that were given and left out because an earlier one is equal to them."""
    names = tuple(name for entry in manifest.readings for name in entry.also)
    return dataclasses.replace(readings, duplicates=(*readings.duplicates, *names))


def _did(entered: Entered, result: Assay) -> str:
    """Return what was done, as a line of the docket's history."""
    what = _added(entered)
    if result.image is None:
        return f"{what}; {result.verdict}"
    put_right = ", ".join(finding.kind for finding in result.applied(result.image))
    what += f", put right: {put_right}" if put_right else ""
    return f"{what}; {result.verdict}, {len(result.image)} bytes, CRC-32 {crc32(bytes(result.image))}"


def _added(entered: Entered) -> str:
    added = [Path(addition.place).name for addition in entered.additions]
    return f"added {', '.join(added)}" if added else "derived anew"
