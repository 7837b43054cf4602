from __future__ import annotations

from pathlib import Path

import msgspec
import pytest

from romassay.errors import BadCatalogue, BadInput
from romassay.session.demo import example_rig, prepare
from romassay.session.rehearse import put, rehearse_rig

SMALL = example_rig().replace('["0x4000-0xDFFF"]', '["0x8000-0x80FF"]')


def rig(folder: Path, text: str = SMALL) -> Path:
    path = folder / "rig.toml"
    path.write_text(text, "utf-8")
    return path


def test_a_rehearsal_leaves_logs_the_truth_and_the_commands_to_type(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "evening"
    done = rehearse_rig(rig(tmp_path), folder)
    assert done.title == "My rehearsal"
    assert [path.name for path in done.written] == [
        "empty-socket.log",
        "session-1-pass-1.log",
        "session-1-pass-2.log",
        "session-2-pass-1.log",
        "session-2-pass-2.log",
    ]
    assert done.truth == folder / "truth.json"
    assert msgspec.json.decode(done.truth.read_bytes())["part"] == "2316"
    first, second = done.commands
    assert " ".join(first) == (
        f"romassay assay {folder}/session-1-pass-1.log {folder}/session-1-pass-2.log "
        f"--empty-socket {folder}/empty-socket.log --rig {tmp_path}/rig.toml --session 1 -o {folder}/docket"
    )
    assert " ".join(second) == (
        f"romassay assay {folder}/session-2-pass-1.log {folder}/session-2-pass-2.log --session 2 -o {folder}/docket"
    )


def test_one_power_up_needs_no_session(tmp_path: Path) -> None:
    done = rehearse_rig(rig(tmp_path, SMALL.replace("sessions = 2", "sessions = 1")), tmp_path / "x")
    [command] = done.commands
    assert command[-4:] == ("--rig", str(tmp_path / "rig.toml"), "-o", str(tmp_path / "x" / "docket"))
    assert "--session" not in command


def test_directories_of_ones_own_parts_are_named_too(tmp_path: Path) -> None:
    (tmp_path / "parts").mkdir()
    [first, *_] = rehearse_rig(rig(tmp_path), tmp_path / "x", [tmp_path / "parts"], seed=3).commands
    assert first[first.index("--parts") + 1] == str(tmp_path / "parts")


def test_a_rig_without_a_rehearsal_draws_any_specimen_by_the_seed(tmp_path: Path) -> None:
    path = rig(tmp_path, 'part = "6530"\nhost = "monitor-300-baud"\n')
    masks = []
    for seed in (1, 1, 2):
        folder = tmp_path / f"x{len(masks)}"
        done = rehearse_rig(path, folder, seed=seed)
        assert done.truth is not None
        masks.append(msgspec.json.decode(done.truth.read_bytes())["mask"])
    assert masks[0] == masks[1] != masks[2]
    assert set(masks[0]) == {"rom", "ram", "io-timer"}
    assert set(masks[0]["rom"]) == {"RS0", "CS1", "CS2"}


def test_again_is_the_same_and_nothing_is_lost(tmp_path: Path) -> None:
    folder = tmp_path / "evening"
    done = rehearse_rig(rig(tmp_path), folder)
    stamps = {path: path.stat().st_mtime_ns for path in folder.iterdir()}
    assert rehearse_rig(rig(tmp_path), folder) == done
    assert {path: path.stat().st_mtime_ns for path in folder.iterdir()} == stamps
    done.written[2].write_bytes(b"mine")
    done.written[0].unlink()
    with pytest.raises(BadInput) as caught:
        rehearse_rig(rig(tmp_path), folder)
    assert str(caught.value) == (
        f"{done.written[2]}: there is something else of this name, which is left alone; "
        "move it away, or choose another folder with -o"
    )
    assert done.written[2].read_bytes() == b"mine"
    assert not done.written[0].exists()


def test_a_folder_that_cannot_be_made(tmp_path: Path) -> None:
    (tmp_path / "file").write_text("")
    with pytest.raises(BadInput, match="file/sub: cannot be made"):
        put(tmp_path / "file" / "sub", {})
    (tmp_path / "taken" / "a.log").mkdir(parents=True)
    with pytest.raises(BadInput, match="there is something else of this name"):
        put(tmp_path / "taken", {"a.log": b""})


def test_what_a_rig_names_and_is_not_there(tmp_path: Path) -> None:
    with pytest.raises(BadCatalogue, match=r"absent\.toml: there is no such file"):
        rehearse_rig(tmp_path / "absent.toml", tmp_path / "x")
    text = SMALL.replace("seed = 2316", 'file = "absent.bin"')
    with pytest.raises(BadInput) as caught:
        rehearse_rig(rig(tmp_path, text), tmp_path / "x")
    missing = tmp_path / "absent.bin"
    assert str(caught.value) == f"{missing}: cannot be read (no such file or directory); the rig file names it"
    assert not (tmp_path / "x").exists()


@pytest.mark.parametrize(
    ("old", "new", "expected"),
    [
        ('layout = "plain"', 'layout = "plane"', "'plane' is no layout of the twin; choose from plain, colon-gutter,"),
        ("[twin]", "[[]]", "is no valid TOML"),
        ("seed = 2316", 'file = "rig.toml"', "bytes, the ROM 2048; give a file of the ROM's size"),
    ],
)
def test_what_a_rig_says_and_cannot_be_meant(tmp_path: Path, old: str, new: str, expected: str) -> None:
    path = rig(tmp_path, SMALL.replace(old, new, 1))
    with pytest.raises((BadInput, BadCatalogue)) as caught:
        rehearse_rig(path, tmp_path / "x")
    assert str(caught.value).startswith(str(path))
    assert expected in str(caught.value)


def test_the_demo_writes_into_the_current_folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.chdir(tmp_path)
    done = prepare()
    names = ["fog-empty-socket.log", "fog-pass-1.log", "fog-pass-2.log", "fog-pass-3.log"]
    assert sorted(path.name for path in tmp_path.iterdir()) == names
    [command] = done.commands
    assert " ".join(command) == (
        "romassay assay fog-pass-1.log fog-pass-2.log fog-pass-3.log --empty-socket fog-empty-socket.log "
        "--part 6530 -o fog-signal"
    )
    assert "invented" in done.title
    assert prepare() == done


def test_with_a_docket_the_demo_writes_beside_it(tmp_path: Path) -> None:
    done = prepare(tmp_path / "mine")
    assert {path.parent for path in done.written} == {tmp_path / "mine-logs"}
    assert done.commands[0][-2:] == ("-o", str(tmp_path / "mine"))
