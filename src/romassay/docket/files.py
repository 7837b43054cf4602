"""Files on disk, written so that a power cut or a kill leaves the old content or the new, whole."""

from __future__ import annotations

import contextlib
import errno
import hashlib
import os
import tempfile
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import BinaryIO

from romassay.errors import BadInput, reason_of

LEFTOVER = ".part"
"""Ending of a temporary file, whose name begins with a full stop. One that is found was left by a kill."""

_CHUNK = 1 << 20


def write_atomically(path: Path, data: bytes, *, follow: bool = True) -> None:
    """Write a file so that it is, at any moment, either the old content or the new, whole, also after a power cut.

    The data goes to a temporary file in the same folder, is flushed to the disk and renamed over `path`. The mode of a
    file that was there is kept. Something that is no plain file (a device, a pipe) is written to directly.

    Args:
        path: where to.
        data: the whole content.
        follow: write through a symbolic link; otherwise the link itself is replaced.

    Raises:
        BadInput: where the folder is missing, or the file cannot be written.
    """
    with one_line_errors(path):
        if follow and path.exists() and not path.is_file() and not path.is_dir():
            path.write_bytes(data)
        else:
            _replace(path.resolve() if follow else path, lambda file: file.write(data))


def copy_atomically(source: Path, target: Path) -> str:
    """Copy a file's content as it is, in pieces, as `write_atomically` does; return its SHA-256."""
    digest = hashlib.sha256()

    def copy(file: BinaryIO) -> None:
        with source.open("rb") as original:
            while piece := original.read(_CHUNK):
                digest.update(piece)
                _write_sparsely(file, piece)
        file.truncate()

    with one_line_errors(target):
        _replace(target, copy)
    return digest.hexdigest()


def _write_sparsely(file: BinaryIO, piece: bytes) -> None:
    """Leave out blocks of nothing but zero bytes: a sparse file stays one."""
    if piece.count(0) == len(piece):
        file.seek(len(piece), os.SEEK_CUR)
    else:
        file.write(piece)


_FULL = (errno.ENOSPC, errno.EDQUOT, errno.EFBIG)


@contextlib.contextmanager
def one_line_errors(path: Path) -> Iterator[None]:
    """Turn the system's errors about a file into ours."""
    try:
        yield
    except OSError as e:
        reason = reason_of(e)
        advice = "make room, and go on" if e.errno in _FULL else "check the folder and its permissions"
        raise BadInput(f"cannot be written ({reason})", place=str(path), advice=advice) from e


def _replace(path: Path, fill: Callable[[BinaryIO], object]) -> None:
    mode = path.stat().st_mode & 0o777 if path.exists() else 0o666 & ~_umask()
    handle, name = tempfile.mkstemp(prefix=f".{path.name[:100]}.", suffix=LEFTOVER, dir=path.parent)
    try:
        with os.fdopen(handle, "wb") as file:
            fill(file)
            file.flush()
            os.fsync(file.fileno())
        Path(name).chmod(mode)
        Path(name).replace(path)
    except BaseException:
        Path(name).unlink(missing_ok=True)
        raise
    sync_folder(path.parent)


def _umask() -> int:
    mask = os.umask(0)
    os.umask(mask)
    return mask


def sync_folder(folder: Path) -> None:
    """Make a renaming or removal in the folder last; not every system lets a folder be opened."""
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def is_leftover(name: str) -> bool:
    """Tell whether a file of this name was left by a write that was killed."""
    return name.startswith(".") and name.endswith(LEFTOVER)
