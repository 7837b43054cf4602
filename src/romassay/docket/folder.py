"""The docket on disk: a folder with the readings verbatim, a manifest, the record and the images.

A docket is opened with `hold`, which lets one process in at a time, and changed with `commit`, in steps of which each
leaves a docket that opens:

1. a folder that is no docket yet gets an empty manifest;
2. new readings, and a part file of one's own, are written (the manifest does not name them yet);
3. the manifest is replaced: from here on the readings belong, and it has the digests of the results to come;
4. the results are replaced, the record last;
5. images of a former result are removed.

Killed between 3 and 5, the results are those of before, which `is_current` tells from the digests; deriving them anew
puts it right.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from romassay.docket.files import copy_atomically, is_leftover, one_line_errors, sync_folder, write_atomically
from romassay.docket.manifest import MANIFEST_FILE, READINGS_FOLDER, Manifest, decode, encode
from romassay.docket.record import RECORD_FILE, File
from romassay.errors import BadInput, reason_of

_OURS = re.compile(r"image(-[2-9]|-[1-9][0-9]+)?\.(bin|hex)")


@dataclass(frozen=True, slots=True)
class Addition:
    """A new file: its place in the docket, its digest, and where its content is (a file, or the bytes themselves)."""

    place: str
    sha256: str
    content: Path | bytes


@contextlib.contextmanager
def hold(folder: Path) -> Iterator[Manifest | None]:
    """Keep other processes out of a docket; gives its manifest, or None where the folder is still to become one.

    A folder that is missing is made, and taken away again if nothing was put into it.

    Raises:
        BadInput: where the folder is no docket and not empty, its manifest is damaged, or another process holds it.
    """
    made = _make(folder)
    try:
        with _locked(folder):
            yield _manifest(folder)
    finally:
        for path in made:
            with contextlib.suppress(OSError):
                path.rmdir()


def find(folder: Path) -> None:
    """See that a folder is a docket; BadInput where it is none."""
    if not (folder / MANIFEST_FILE).is_file():
        if (folder / READINGS_FOLDER).is_dir():
            raise _headless(folder)
        problem = "this is no docket" if folder.exists() else "there is no such folder"
        raise BadInput(problem, place=str(folder), advice="name a docket, the folder that 'assay -o' makes")


def _headless(folder: Path) -> BadInput:
    """Return the error for a docket that lost its manifest; its readings are still there."""
    return BadInput(
        f"this was a docket, and its {MANIFEST_FILE} is missing",
        place=str(folder),
        advice=f"put it back from a copy, or make a new docket of the files in {folder / READINGS_FOLDER}",
    )


def _make(folder: Path) -> list[Path]:
    """Make the folder and those above it; return what was made, the innermost first."""
    missing = [path for path in (folder, *folder.parents) if not path.exists()]
    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as e:
        reason = "is a file, not a folder" if folder.exists() else f"cannot be made ({reason_of(e)})"
        raise BadInput(reason, place=str(folder), advice="give -o another folder") from e
    for path in missing:
        sync_folder(path.parent)
    return missing


@contextlib.contextmanager
def _locked(folder: Path) -> Iterator[None]:
    try:
        import fcntl
    except ImportError:  # a system without such locks
        yield
        return
    with one_line_errors(folder):
        handle = os.open(folder, os.O_RDONLY)
    try:
        try:
            fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB)
        except BlockingIOError as e:
            raise BadInput(
                "another romassay is at work on this docket", place=str(folder), advice="wait until it is done"
            ) from e
        except OSError:  # a file system without such locks
            pass
        yield
    finally:
        os.close(handle)


def _manifest(folder: Path) -> Manifest | None:
    path = folder / MANIFEST_FILE
    try:
        return decode(path.read_bytes(), str(path))
    except FileNotFoundError:
        pass
    except OSError as e:
        raise BadInput(f"cannot be read ({reason_of(e)})", place=str(path)) from e
    if (folder / READINGS_FOLDER).is_dir():
        raise _headless(folder)
    if not all(is_leftover(path.name) for path in folder.iterdir()):
        raise BadInput(
            "the folder is not empty and no docket", place=str(folder), advice="give -o a new folder, or a docket"
        )
    return None


def commit(folder: Path, manifest: Manifest, additions: Sequence[Addition], results: Sequence[File]) -> None:
    """Bring a held docket to a new state. Killed at any moment, it leaves a docket that opens.

    Raises:
        BadInput: where a file cannot be written, or a reading has changed since it was loaded.
    """
    readings = folder / READINGS_FOLDER
    if not (folder / MANIFEST_FILE).exists():
        write_atomically(folder / MANIFEST_FILE, encode(Manifest()), follow=False)
    with one_line_errors(readings):
        readings.mkdir(exist_ok=True)
        _sweep(folder)
        _sweep(readings)
    for addition in additions:
        _add(folder / addition.place, addition)
    write_atomically(folder / MANIFEST_FILE, encode(manifest), follow=False)
    for file in sorted(results, key=lambda item: item.name == RECORD_FILE):
        _renew(folder / file.name, file)
    _remove_stale(folder, {file.name for file in results})


def _add(target: Path, addition: Addition) -> None:
    if isinstance(addition.content, bytes):
        write_atomically(target, addition.content, follow=False)
    elif copy_atomically(addition.content, target) != addition.sha256:
        target.unlink()
        raise BadInput(
            "the file changed while it was read", place=str(addition.content), advice="run it again when it is complete"
        )


def _renew(path: Path, file: File) -> None:
    """Write a result unless it stands there already."""
    if path.is_symlink() or not path.is_file() or path.read_bytes() != file.data:
        write_atomically(path, file.data, follow=False)


def _remove_stale(folder: Path, current: set[str]) -> None:
    stale = [path for path in folder.iterdir() if _OURS.fullmatch(path.name) and path.name not in current]
    with one_line_errors(folder):
        for path in stale:
            path.unlink()
    if stale:
        sync_folder(folder)


def _sweep(folder: Path) -> None:
    for path in folder.iterdir():
        if is_leftover(path.name):
            path.unlink()


def reading_place(file: str) -> str:
    """Return where a docket keeps a reading, within its folder."""
    return f"{READINGS_FOLDER}/{file}"


def reading_path(folder: Path, file: str) -> Path:
    """Return where a docket keeps a reading."""
    return folder / READINGS_FOLDER / file


def strangers(folder: Path, manifest: Manifest) -> frozenset[str]:
    """Return the names in the folder of readings that the manifest does not know: none of them is written over."""
    readings = folder / READINGS_FOLDER
    known = {entry.file for entry in manifest.readings}
    return frozenset(p.name for p in readings.iterdir() if p.name not in known) if readings.is_dir() else frozenset()


def altered(path: Path) -> BadInput:
    """Return the error for a reading that is not as it was filed."""
    return BadInput(
        "the reading is not as it was filed (its SHA-256 differs)",
        place=str(path),
        advice="put it back from a copy of the docket; readings are never changed",
    )


def is_current(folder: Path, manifest: Manifest) -> bool:
    """Tell whether the results at the top are those that the manifest's readings gave."""
    return bool(manifest.results) and all(
        (folder / r.file).is_file() and hashlib.sha256((folder / r.file).read_bytes()).hexdigest() == r.sha256
        for r in manifest.results
    )
