"""Files on disk: read whole with one-line errors, written atomically. The use cases share it."""

from __future__ import annotations

import contextlib
import os
import tempfile
from pathlib import Path

from romassay.errors import BadInput


def write_atomically(path: Path, data: bytes) -> None:
    """Write a file so that it is, at any moment, either the old content or the new, whole, also after a power cut.

    The data goes to a temporary file in the same folder, is flushed to the disk and renamed over `path`. The mode of a
    file that was there is kept. A symbolic link is followed. Something that is no plain file (a device, a pipe) is
    written to directly.

    Raises:
        BadInput: where the folder is missing, or the file cannot be written.
    """
    try:
        if path.exists() and not path.is_file() and not path.is_dir():
            path.write_bytes(data)
        else:
            _replace(path.resolve(), data)
    except OSError as e:
        reason = e.strerror or str(e)
        raise BadInput(
            f"cannot be written ({reason})", place=str(path), advice="check the folder and its permissions"
        ) from e


def _replace(path: Path, data: bytes) -> None:
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
    handle, name = tempfile.mkstemp(prefix=f".{path.name}.", dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            file.write(data)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(mode)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    _sync_folder(path.parent)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def _sync_folder(folder: Path) -> None:
    """Make the renaming itself last; not every system lets a folder be opened."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)
