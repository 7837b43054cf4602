"""The docket on disk: what it refuses, and that no kill at any step of the writing breaks it."""

from __future__ import annotations

import errno
import hashlib
import os
import sys
import tempfile
from collections.abc import Callable
from pathlib import Path
from typing import Any

import msgspec
import pytest

from romassay.docket import folder as folder_module
from romassay.docket.files import copy_atomically, is_leftover, write_atomically
from romassay.docket.folder import Addition, commit, hold, is_current
from romassay.docket.manifest import Entry, Manifest, Result, encode
from romassay.docket.record import File
from romassay.errors import BadInput

LOG = b"8000: 01 02 03 04\r\n"
LOG_2 = b"8000: 01 02 03 05\r\n"


def digest(data: bytes) -> str:
    return hashlib.sha256(data).hexdigest()


def results(tag: bytes, *, images: int) -> tuple[File, ...]:
    names = ["image", *(f"image-{i}" for i in range(2, images + 1))][:images]
    return (File("assay.json", b'{"of": "%s"}\n' % tag), *(File(f"{name}.bin", tag * 4) for name in names))


def manifest_of(logs: dict[str, bytes], files: tuple[File, ...]) -> Manifest:
    return Manifest(
        readings=tuple(Entry(file=name, sha256=digest(data), bytes=len(data)) for name, data in logs.items()),
        results=tuple(Result(file.name, file.sha256) for file in files),
    )


FIRST_RESULTS = results(b"one", images=2)
FIRST = manifest_of({"a.log": LOG}, FIRST_RESULTS)
SECOND_RESULTS = results(b"two", images=1)
SECOND = manifest_of({"a.log": LOG, "b.log": LOG_2}, SECOND_RESULTS)


def first(folder: Path) -> None:
    with hold(folder):
        commit(folder, FIRST, [Addition("readings/a.log", digest(LOG), LOG)], FIRST_RESULTS)


def second(folder: Path) -> None:
    with hold(folder):
        commit(folder, SECOND, [Addition("readings/b.log", digest(LOG_2), LOG_2)], SECOND_RESULTS)


def files_in(folder: Path) -> set[str]:
    return {path.relative_to(folder).as_posix() for path in folder.rglob("*") if path.is_file()}


def test_a_docket_holds_the_readings_and_the_results(tmp_path: Path) -> None:
    box = tmp_path / "new" / "box"
    first(box)
    assert files_in(box) == {"docket.json", "readings/a.log", "assay.json", "image.bin", "image-2.bin"}
    assert (box / "readings/a.log").read_bytes() == LOG
    with hold(box) as manifest:
        assert manifest == FIRST
    assert is_current(box, FIRST)


def test_images_of_a_former_result_go_and_other_files_stay(tmp_path: Path) -> None:
    first(tmp_path / "box")
    (tmp_path / "box/notes.txt").write_text("mine")
    (tmp_path / "box/image-of-the-board.bin").write_text("mine")
    second(tmp_path / "box")
    assert files_in(tmp_path / "box") == {
        "docket.json",
        "readings/a.log",
        "readings/b.log",
        "assay.json",
        "image.bin",
        "notes.txt",
        "image-of-the-board.bin",
    }
    assert is_current(tmp_path / "box", SECOND)
    assert not is_current(tmp_path / "box", FIRST)


def test_an_empty_folder_becomes_a_docket(tmp_path: Path) -> None:
    with hold(tmp_path) as manifest:
        assert manifest is None
    first(tmp_path)
    with hold(tmp_path) as manifest:
        assert manifest == FIRST


def test_a_folder_of_other_things_is_refused_and_left_alone(tmp_path: Path) -> None:
    (tmp_path / "letter.txt").write_text("dear")
    with pytest.raises(BadInput, match="not empty and no docket"), hold(tmp_path):
        pass
    assert files_in(tmp_path) == {"letter.txt"}


def test_a_file_in_place_of_the_folder_is_refused(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("x")
    for path in (tmp_path / "file", tmp_path / "file" / "under"):
        with pytest.raises(BadInput) as caught, hold(path):
            pass
        assert str(path) in str(caught.value)


def test_a_run_that_fails_leaves_no_folder_behind(tmp_path: Path) -> None:
    with pytest.raises(BadInput), hold(tmp_path / "a" / "b"):
        raise BadInput("no")
    assert not list(tmp_path.iterdir())


def test_a_broken_manifest_is_one_line_that_names_it(tmp_path: Path) -> None:
    first(tmp_path / "box")
    whole = (tmp_path / "box/docket.json").read_bytes()
    for data in (b"", whole[: len(whole) // 2], b"\xff\xfe"):
        (tmp_path / "box/docket.json").write_bytes(data)
        with pytest.raises(BadInput) as caught, hold(tmp_path / "box"):
            pass
        assert str(tmp_path / "box/docket.json") in str(caught.value)
        assert "\n" not in str(caught.value)


def test_a_second_process_waits_outside(tmp_path: Path) -> None:
    first(tmp_path / "box")
    with hold(tmp_path / "box"), pytest.raises(BadInput, match="another romassay"), hold(tmp_path / "box"):
        pass
    with hold(tmp_path / "box"):
        pass


def test_a_link_in_a_docket_is_replaced_not_followed(tmp_path: Path) -> None:
    first(tmp_path / "box")
    target = tmp_path / "precious"
    target.write_text("mine")
    (tmp_path / "box/image.bin").unlink()
    (tmp_path / "box/image.bin").symlink_to(target)
    second(tmp_path / "box")
    assert target.read_text() == "mine"
    assert not (tmp_path / "box/image.bin").is_symlink()


def test_a_file_that_changed_since_it_was_loaded_is_not_taken(tmp_path: Path) -> None:
    (tmp_path / "b.log").write_bytes(LOG_2 + b"more")
    first(tmp_path / "box")
    with pytest.raises(BadInput, match="changed while it was read"), hold(tmp_path / "box"):
        commit(
            tmp_path / "box", SECOND, [Addition("readings/b.log", digest(LOG_2), tmp_path / "b.log")], SECOND_RESULTS
        )
    with hold(tmp_path / "box") as manifest:
        assert manifest == FIRST
    assert "readings/b.log" not in files_in(tmp_path / "box")


def test_a_copy_is_verbatim_and_a_sparse_file_stays_sparse(tmp_path: Path) -> None:
    with (tmp_path / "big").open("wb") as file:
        file.write(LOG)
        file.seek(40 << 20)
        file.write(b"end")
        file.truncate((40 << 20) + 5000)
    found = copy_atomically(tmp_path / "big", tmp_path / "copy")
    data = (tmp_path / "big").read_bytes()
    assert (tmp_path / "copy").read_bytes() == data
    assert found == digest(data)
    assert (tmp_path / "copy").stat().st_blocks * 512 < 8 << 20


def test_writing_keeps_the_mode_and_follows_a_link(tmp_path: Path) -> None:
    (tmp_path / "real").write_bytes(b"old")
    (tmp_path / "real").chmod(0o640)
    (tmp_path / "link").symlink_to(tmp_path / "real")
    write_atomically(tmp_path / "link", b"new")
    assert (tmp_path / "link").is_symlink()
    assert (tmp_path / "real").read_bytes() == b"new"
    assert (tmp_path / "real").stat().st_mode & 0o777 == 0o640


def _count_steps(patch: Callable[[Any, str, Any], None], act: Callable[[int], None]) -> None:
    """Call `act` with the number of the step before each call that changes the disk."""
    number = 0

    def wrap(original: Callable[..., Any]) -> Callable[..., Any]:
        def stepping(*args: Any, **kwargs: Any) -> Any:
            nonlocal number
            number += 1
            act(number)
            return original(*args, **kwargs)

        return stepping

    for name in ("replace", "unlink", "mkdir", "fsync"):
        patch(os, name, wrap(getattr(os, name)))
    patch(tempfile, "mkstemp", wrap(tempfile.mkstemp))


def _steps_of(work: Callable[[Path], None], box: Path) -> int:
    steps = 0

    def note(number: int) -> None:
        nonlocal steps
        steps = number

    with pytest.MonkeyPatch.context() as patch:
        _count_steps(patch.setattr, note)
        work(box)
    return steps


def _killed_at(work: Callable[[Path], None], box: Path, step: int) -> None:
    """Do the work in a child that ends without a word before the numbered step, as a kill ends it."""
    child = os.fork()
    if child == 0:
        try:
            _count_steps(setattr, lambda number: os._exit(9) if number == step else None)
            work(box)
        finally:
            os._exit(0)
    _, status = os.waitpid(child, 0)
    assert os.waitstatus_to_exitcode(status) == 9


def _opens_as(box: Path, *states: Manifest | None) -> Manifest | None:
    with hold(box) as manifest:
        assert manifest in states
        for entry in manifest.readings if manifest else ():
            assert digest((box / "readings" / entry.file).read_bytes()) == entry.sha256
        return manifest


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_a_kill_before_any_step_of_a_new_docket_leaves_one_that_opens(tmp_path: Path) -> None:
    steps = _steps_of(first, tmp_path / "whole")
    assert steps > 15
    for step in range(1, steps + 1):
        box = tmp_path / str(step)
        _killed_at(first, box, step)
        state = _opens_as(box, None, Manifest(), FIRST)
        assert state != FIRST or step > steps // 2
        first(box)
        assert is_current(box, FIRST)
        assert not any(is_leftover(path.name) for path in box.rglob("*"))
        assert files_in(box) == files_in(tmp_path / "whole")


@pytest.mark.skipif(sys.platform == "win32", reason="needs fork")
def test_a_kill_before_any_step_of_a_change_leaves_the_old_or_the_new_docket(tmp_path: Path) -> None:
    first(tmp_path / "whole")
    steps = _steps_of(second, tmp_path / "whole")
    seen = set()
    for step in range(1, steps + 1):
        box = tmp_path / str(step)
        first(box)
        _killed_at(second, box, step)
        state = _opens_as(box, FIRST, SECOND)
        seen.add(state == SECOND)
        assert state is not None
        if is_current(box, state):
            assert {p.name for p in box.glob("image*")} >= {r.file for r in state.results if r.file != "assay.json"}
        second(box)
        assert is_current(box, SECOND)
        assert files_in(box) == files_in(tmp_path / "whole")
    assert seen == {True, False}


@pytest.mark.parametrize("error", [errno.ENOSPC, errno.EIO, errno.EACCES])
def test_a_disk_that_fails_at_any_step_gives_one_line_and_a_docket_that_opens(tmp_path: Path, error: int) -> None:
    first(tmp_path / "whole")
    steps = _steps_of(second, tmp_path / "whole")
    raised = 0
    for step in range(1, steps + 1):
        box = tmp_path / str(step)
        first(box)

        def fail(number: int, step: int = step) -> None:
            if number == step:
                raise OSError(error, os.strerror(error))

        with pytest.MonkeyPatch.context() as patch:
            _count_steps(patch.setattr, fail)
            try:
                second(box)
            except BadInput as e:
                raised += 1
                assert "\n" not in str(e)  # noqa: PT017
        _opens_as(box, FIRST, SECOND)
        second(box)
        assert is_current(box, SECOND)
    assert raised > steps // 3


def test_strangers_among_the_readings_are_known(tmp_path: Path) -> None:
    first(tmp_path / "box")
    (tmp_path / "box/readings/mine.log").write_text("x")
    assert folder_module.strangers(tmp_path / "box", FIRST) == {"mine.log"}
    assert folder_module.strangers(tmp_path / "none", FIRST) == frozenset()


def test_the_manifest_with_a_decision_by_hand_opens(tmp_path: Path) -> None:
    first(tmp_path / "box")
    text = encode(FIRST).decode()
    text = text.replace(
        '"decisions": []', '"decisions": [{"function": 0, "offset": 1, "value": 2, "reason": "seen on the die"}]'
    )
    (tmp_path / "box/docket.json").write_text(text)
    with hold(tmp_path / "box") as manifest:
        assert manifest is not None
        assert manifest.decided[0][1].value == 2
        assert msgspec.structs.replace(manifest, decisions=()) == FIRST
