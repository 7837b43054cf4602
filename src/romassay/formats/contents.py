"""A file's content, within bounds: nothing larger than a dump can be, and nothing for the gaps of a sparse file."""

from __future__ import annotations

import errno
import hashlib
import os
import stat
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from romassay.errors import BadInput, reason_of

LARGEST = 256 << 20
"""Bytes of content at most. A bus of 24 lines has 16 MiB; printed as text, several passes of it fit."""

MOST_WORDS = 8 << 20
"""Bytes up to which a text's wording is compared with that of another."""

_LONGEST = 16 << 30
"""Bytes of a sparse file at most, gaps included: its digest takes them all."""

_CHUNK = 1 << 20

_SMALL = bytes((byte & 0x7F) | 0x20 if chr(byte & 0x7F).isalpha() else byte & 0x7F for byte in range(256))
_MARKS = bytes([*range(0x21), 0x7F, *range(0x80, 0xA1), 0xBB, 0xBF, 0xEF, 0xFE, 0xFF])
"""Control characters and the blank, with and without bit 7, and what marks begin a text with."""


@dataclass(frozen=True, slots=True)
class Content:
    """What a file holds.

    Attributes:
        data: its bytes, without the gaps of a sparse file that is larger than `LARGEST`.
        sha256: of the whole file, gaps included, lower-case hex.
        gaps: True where gaps were left out, so that places in `data` are not places in the file.
    """

    data: bytes
    sha256: str
    gaps: bool = False


def wording_of(data: bytes) -> str:
    """Return a digest of a text that its blanks, line ends, capitals and encoding do not change; of a long one none."""
    if len(data) > MOST_WORDS:
        return ""
    return hashlib.sha256(data.translate(_SMALL, _MARKS)).hexdigest()


@contextmanager
def opened(path: Path) -> Iterator[BinaryIO]:
    """Open a file, pipe or device to read.

    Raises:
        BadInput: it is missing, a folder, or unreadable.
    """
    try:
        with path.open("rb") as file:
            yield file
    except FileNotFoundError as e:
        raise BadInput("there is no such file", place=str(path), advice="check the name") from e
    except IsADirectoryError as e:
        raise BadInput("this is a folder", place=str(path), advice="name the files in it one by one") from e
    except OSError as e:
        reason = reason_of(e)
        raise BadInput(f"the file can't be read ({reason})", place=str(path), advice="check its permissions") from e


def content_of(path: Path) -> Content:
    """Read a file, pipe or device.

    Raises:
        BadInput: it is missing, a folder, unreadable, or holds more than `LARGEST` bytes.
    """
    with opened(path) as file:
        return content_in(file, str(path))


def content_in(file: BinaryIO, name: str) -> Content:
    """Read an open file, pipe or device; BadInput where it holds more than `LARGEST` bytes."""
    found = os.fstat(file.fileno())
    if stat.S_ISREG(found.st_mode) and found.st_size > LARGEST:
        return _of_sparse(file, found.st_size, name)
    data = read_bounded(file, name)
    return Content(data, hashlib.sha256(data).hexdigest())


def head_of(file: BinaryIO, size: int) -> bytes:
    """Return the first bytes of an open file, which stays at its start; nothing where it can't be read twice."""
    found = os.fstat(file.fileno())
    if not stat.S_ISREG(found.st_mode) or found.st_size > LARGEST:
        return b""
    head = file.read(size)
    file.seek(0)
    return head


def digest_of(file: BinaryIO) -> str:
    """Return the SHA-256 of an open file, lower-case hex; the file is at its start before and after."""
    digest = hashlib.sha256()
    while piece := file.read(_CHUNK):
        digest.update(piece)
    file.seek(0)
    return digest.hexdigest()


def read_bounded(file: BinaryIO, name: str) -> bytes:
    """Read all of an open file, pipe or device; BadInput where that is more than `LARGEST` bytes."""
    data = file.read(LARGEST + 1)
    if len(data) > LARGEST:
        raise _too_large(name)
    return data


def _too_large(name: str) -> BadInput:
    return BadInput(
        f"the file holds more than {LARGEST >> 20} MiB, which no dump of a bus does",
        place=name,
        advice="cut out the part that holds the dump",
    )


def _of_sparse(file: BinaryIO, size: int, name: str) -> Content:
    """Read the written stretches of a file; where a file system knows no gaps, all of it is one stretch."""
    if size > _LONGEST:
        raise _too_large(name)
    digest = hashlib.sha256()
    data = bytearray()
    place, gaps = 0, False
    while place < size:
        first = _seek(file, place, "SEEK_DATA", size)
        end = _seek(file, first, "SEEK_HOLE", size) if first < size else size
        gaps = gaps or first > place
        if len(data) + end - first > LARGEST:
            raise _too_large(name)
        _digest_gap(digest, first - place)
        file.seek(first)
        stretch = file.read(end - first)
        digest.update(stretch)
        data += stretch
        place = end
    return Content(bytes(data), digest.hexdigest(), gaps)


def _seek(file: BinaryIO, place: int, what: str, size: int) -> int:
    """Return where the next data or the next gap begins, from a place on; the end where there is none."""
    whence = getattr(os, what, None)
    if whence is None:
        return place if what == "SEEK_DATA" else size
    try:
        return os.lseek(file.fileno(), place, whence)
    except OSError as e:
        if e.errno == errno.ENXIO:
            return size
        raise


def _digest_gap(digest: hashlib._Hash, size: int) -> None:
    nothing = bytes(min(size, _CHUNK))
    for first in range(0, size, _CHUNK):
        digest.update(nothing[: size - first])
