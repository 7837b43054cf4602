"""Files on disk: the old content or the new, whole; and one line where neither is possible."""

from __future__ import annotations

import os
from pathlib import Path

import pytest

from romassay.errors import BadInput
from romassay.session.files import write_atomically


def test_a_new_file_and_an_old_one(tmp_path: Path) -> None:
    path = tmp_path / "image.bin"
    write_atomically(path, b"one")
    path.chmod(0o640)
    write_atomically(path, b"two")
    assert path.read_bytes() == b"two"
    assert path.stat().st_mode & 0o777 == 0o640
    assert list(tmp_path.iterdir()) == [path]


def test_a_new_file_has_the_usual_mode(tmp_path: Path) -> None:
    write_atomically(tmp_path / "a", b"")
    (tmp_path / "b").write_bytes(b"")
    assert (tmp_path / "a").stat().st_mode == (tmp_path / "b").stat().st_mode


def test_a_link_stays_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "link").symlink_to("real")
    write_atomically(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"


def test_a_device_is_written_to() -> None:
    write_atomically(Path(os.devnull), b"gone")
    assert not Path(os.devnull).is_file()


@pytest.mark.parametrize("name", ["missing/image.bin", "."])
def test_what_cannot_be_written_is_told_in_one_line(tmp_path: Path, name: str) -> None:
    with pytest.raises(BadInput, match=r"cannot be written \(.+\); check the folder and its permissions$"):
        write_atomically(tmp_path / name, b"x")


def test_the_old_content_survives_a_failure(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    path = tmp_path / "image.bin"
    path.write_bytes(b"old")

    def full(_handle: int) -> None:
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(os, "fsync", full)
    with pytest.raises(BadInput, match="no space left on device"):
        write_atomically(path, b"new")
    assert path.read_bytes() == b"old"
    assert list(tmp_path.iterdir()) == [path]
