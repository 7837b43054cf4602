"""`romassay report`: a docket in, one page out; the docket stays as it was."""

from __future__ import annotations

import hashlib
import shutil
import subprocess
import sys
from pathlib import Path

import pytest


def romassay(folder: Path, *arguments: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "romassay", *arguments],
        cwd=folder,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder in which the demo left its docket, `fog`."""
    folder = tmp_path_factory.mktemp("report")
    assert romassay(folder, "demo", "-o", "fog").returncode == 0
    return folder


def tree(folder: Path) -> dict[str, str]:
    return {
        str(p.relative_to(folder)): hashlib.sha256(p.read_bytes()).hexdigest() for p in folder.rglob("*") if p.is_file()
    }


def test_a_docket_becomes_a_page_and_stays_as_it_was(folder: Path) -> None:
    before = tree(folder / "fog")
    done = romassay(folder, "report", "fog")
    assert (done.returncode, done.stderr) == (0, "")
    assert "CONFIRMED: 1 KiB of ROM" in (folder / "fog.html").read_text("utf-8")
    assert tree(folder / "fog") == before


def test_photographs_go_in_and_other_files_are_named(folder: Path) -> None:
    photos = folder / "fog" / "photos"
    photos.mkdir()
    (photos / "specimen.png").write_bytes(b"\x89PNG\r\n\x1a\n")
    (photos / "notes.txt").write_text("x")
    done = romassay(folder, "report", "fog", "-o", "r.html")
    assert done.returncode == 0
    assert 'alt="specimen.png"' in (folder / "r.html").read_text("utf-8")
    assert done.stderr == "romassay: photos/notes.txt: no kind of picture that a page can show; it is not in the page\n"


@pytest.mark.parametrize("kind", ["missing", "empty", "file"])
def test_what_is_no_docket_is_refused_in_one_line(kind: str, tmp_path: Path) -> None:
    place = tmp_path / "place"
    if kind == "empty":
        place.mkdir()
    elif kind == "file":
        place.write_text("x")
    done = romassay(tmp_path, "report", "place", "-o", "r.html")
    assert done.returncode == 2
    assert done.stderr.startswith("romassay: place: ")
    assert done.stderr.count("\n") == 1
    assert not (tmp_path / "r.html").exists()
    assert place.is_dir() == (kind == "empty")


def test_a_page_has_the_name_of_a_page(folder: Path) -> None:
    done = romassay(folder, "report", "fog", "-o", "fog.pdf")
    assert (done.returncode, done.stdout) == (2, "")
    assert done.stderr == (
        "romassay: -o: 'fog.pdf' is no name for what is written here; end its name in .html or .htm; "
        "a browser prints it, to PDF too\n"
    )
    assert not (folder / "fog.pdf").exists()


def test_an_image_that_is_not_what_the_readings_give_is_named(folder: Path, tmp_path: Path) -> None:
    """Whoever is handed a docket has to learn it before they use the image."""
    docket = tmp_path / "given"
    shutil.copytree(folder / "fog", docket)
    image = bytearray((docket / "image.bin").read_bytes())
    image[5] ^= 1
    (docket / "image.bin").write_bytes(image)
    done = romassay(tmp_path, "report", "given")
    assert done.returncode == 0
    assert done.stderr.startswith("romassay: given: image.bin there is not what its readings give;")
    assert (docket / "image.bin").read_bytes() == image


def test_a_docket_without_its_manifest_is_told_from_a_folder(folder: Path, tmp_path: Path) -> None:
    docket = tmp_path / "given"
    shutil.copytree(folder / "fog", docket)
    (docket / "docket.json").unlink()
    for verb in (("report", "given"), ("assay", "-o", "given")):
        done = romassay(tmp_path, *verb)
        assert done.returncode == 2
        assert done.stderr == (
            "romassay: given: this was a docket, and its docket.json is missing; put it back from a copy, or make a "
            "new docket of the files in given/readings\n"
        )
