"""A file's content within bounds; digests held against hashlib over the whole file."""

from __future__ import annotations

import hashlib
import os
import threading
from pathlib import Path

import pytest

from romassay.errors import BadInput
from romassay.formats import contents, load
from romassay.formats.contents import content_of
from romassay.formats.model import Hints

LOG = "".join(f"{0x8000 + i:04X}: {os.urandom(16).hex(' ')}\n" for i in range(0, 1024, 16)).encode()


def sparse(path: Path, size: int) -> bytes:
    """Write a log, a gap, another log and a gap; return the whole content."""
    with path.open("wb") as file:
        file.write(LOG)
        file.seek(size // 2 // 4096 * 4096)
        file.write(LOG)
        file.truncate(size)
    return path.read_bytes()


def test_a_small_file_is_read_as_it_is(tmp_path: Path) -> None:
    whole = sparse(tmp_path / "log", 100_000)
    found = content_of(tmp_path / "log")
    assert (found.data, found.sha256, found.gaps) == (whole, hashlib.sha256(whole).hexdigest(), False)


def test_the_gaps_of_a_large_file_cost_nothing_and_count_in_its_digest(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.setattr(contents, "LARGEST", 100_000)
    whole = sparse(tmp_path / "log", 5_000_000)
    found = content_of(tmp_path / "log")
    if not found.gaps:
        pytest.fail("this file system keeps no gaps")
    assert found.sha256 == hashlib.sha256(whole).hexdigest()
    assert len(found.data) < 100_000
    assert found.data.replace(b"\0", b"") == LOG + LOG


def test_a_large_file_without_gaps_is_refused(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contents, "LARGEST", 1 << 20)
    (tmp_path / "log").write_bytes(LOG * 1000)
    with pytest.raises(BadInput, match="log: the file holds more than 1 MiB"):
        content_of(tmp_path / "log")


def test_where_gaps_are_not_known_all_is_one_stretch(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contents, "LARGEST", 100_000)
    monkeypatch.delattr(os, "SEEK_DATA")
    monkeypatch.delattr(os, "SEEK_HOLE")
    sparse(tmp_path / "log", 5_000_000)
    with pytest.raises(BadInput, match="holds more than"):
        content_of(tmp_path / "log")


def test_a_large_sparse_file_is_no_plain_image(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(contents, "LARGEST", 100_000)
    sparse(tmp_path / "image.bin", 5_000_000)
    with pytest.raises(BadInput, match="too large to be a plain image"):
        load(tmp_path / "image.bin", Hints(format="raw-binary"))
    assert load(tmp_path / "image.bin").format == "text-dump"


def test_a_sparse_file_so_long_that_its_digest_takes_minutes_is_refused(tmp_path: Path) -> None:
    with (tmp_path / "image.bin").open("wb") as file:
        file.truncate(300 << 30)
    with pytest.raises(BadInput, match="which no dump of a bus does"):
        content_of(tmp_path / "image.bin")


def test_a_pipe_is_read_to_its_end(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    writer = threading.Thread(target=(tmp_path / "pipe").write_bytes, args=(LOG,))
    writer.start()
    assert content_of(tmp_path / "pipe").data == LOG
    writer.join()
