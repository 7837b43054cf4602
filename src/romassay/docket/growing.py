"""A file that grows in a docket while a capture runs, and the note that lets a capture be taken up again.

What comes in is appended and handed to the system at once, so that a killed program loses nothing; it is flushed to the
disk every second and at the end, so that a power cut loses a second at most. Readings that the manifest does not name
yet are left alone by everything else.
"""

from __future__ import annotations

import os
import re
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec

from romassay.dialogue import Dialogue
from romassay.docket.files import one_line_errors, sync_folder, write_atomically
from romassay.docket.folder import commit, reading_path
from romassay.docket.manifest import MANIFEST_FILE, READINGS_FOLDER, Manifest, Settings, Span, safe_name
from romassay.errors import BadInput
from romassay.reading import Role
from romassay.rig import Serial

CAPTURE_FILE = "capture.json"
_SYNC_S = 1.0


class Plan(msgspec.Struct, frozen=True, forbid_unknown_fields=True, kw_only=True):
    """What a capture was told, and the files that it has filled so far.

    Attributes:
        host: name of the host, for people.
        port: the line.
        dialogue: with the host.
        serial: settings of the line.
        window: ranges to read.
        passes: over all of them.
        session: name of the power-up, or None.
        role: what is in the socket.
        settings: of the docket that were said when the capture began, by name, as `Settings` has them.
        part_folders: directories of part files of one's own.
        files: of the readings, in the order of time.
        done: True once all of it was read and assayed.
    """

    host: str
    port: str
    dialogue: Dialogue
    serial: Serial
    window: tuple[Span, ...]
    passes: int
    session: str | None = None
    role: Role = "specimen"
    settings: dict[str, Any] = {}
    part_folders: tuple[str, ...] = ()
    files: tuple[str, ...] = ()
    done: bool = False

    def __post_init__(self) -> None:
        if any(safe_name(name) != name for name in self.files):
            raise ValueError("a file of the capture has no safe name")
        msgspec.convert(self.settings, Settings)


def read_plan(folder: Path) -> Plan | None:
    """Return the docket's capture, or None where there is none; BadInput where the note is damaged."""
    path = folder / CAPTURE_FILE
    try:
        return msgspec.json.decode(path.read_bytes(), type=Plan)
    except FileNotFoundError:
        return None
    except (OSError, msgspec.DecodeError, UnicodeDecodeError, RecursionError) as e:
        raise BadInput(
            f"the note of the capture cannot be used ({e})", place=str(path), advice="move it away, and capture anew"
        ) from e


def write_plan(folder: Path, plan: Plan) -> None:
    """Write the note, whole or not at all."""
    data = msgspec.json.format(msgspec.json.encode(plan), indent=2) + b"\n"
    write_atomically(folder / CAPTURE_FILE, data, follow=False)


def make_ready(folder: Path) -> None:
    """Make a held folder a docket that readings can be put into."""
    if not (folder / MANIFEST_FILE).exists():
        commit(folder, Manifest(), (), ())
    with one_line_errors(folder / READINGS_FOLDER):
        (folder / READINGS_FOLDER).mkdir(exist_ok=True)


def new_name(folder: Path, stem: str, suffix: str) -> str:
    """Return a name that no reading in the folder has: 'capture-1.transcript', or the next number."""
    taken = re.compile(rf"{re.escape(stem)}-(\d+)\..*")
    numbers = [int(found[1]) for path in (folder / READINGS_FOLDER).iterdir() if (found := taken.fullmatch(path.name))]
    return f"{stem}-{max(numbers, default=0) + 1}{suffix}"


class GrowingFile:
    """A new reading that is appended to.

    Raises:
        BadInput: it cannot be made or written; what was written stays.
    """

    def __init__(self, folder: Path, name: str, clock: Callable[[], float]) -> None:
        self.path = reading_path(folder, name)
        self._clock = clock
        with one_line_errors(self.path):
            self._handle = os.open(self.path, os.O_WRONLY | os.O_CREAT | os.O_EXCL | os.O_APPEND, 0o666)
        sync_folder(self.path.parent)
        self._synced = clock()

    def append(self, data: bytes) -> None:
        """Append bytes: they are the system's at once, and on the disk within a second of the next ones."""
        left = memoryview(data)
        with one_line_errors(self.path):
            while left:
                left = left[os.write(self._handle, left) :]
            if self._clock() - self._synced >= _SYNC_S:
                self.sync()

    def sync(self) -> None:
        """Flush to the disk."""
        with one_line_errors(self.path):
            os.fsync(self._handle)
        self._synced = self._clock()

    def close(self) -> None:
        """Flush and close."""
        try:
            self.sync()
        finally:
            os.close(self._handle)
