"""The command as a shell sees it: exit status, what goes to which stream, one line for every mistake."""

from __future__ import annotations

import json
import os
import random
import signal
import subprocess
import sys
import time
from collections.abc import Sequence
from importlib.resources import files
from pathlib import Path

import pytest

from romassay.version import VERSION

ROM = (files("romassay.twin") / "demo" / "fog_signal.bin").read_bytes()
"""Code of the invented fog signal: bytes that are no code might be RAM, where nothing was power-cycled."""
WINDOW = b"".join(b"\xff" * 1024 + ROM for _ in range(4))


def dump(banner: str, window: bytes = WINDOW, first: int = 0x8000) -> str:
    lines = (f"{first + i:04X}: {window[i : i + 16].hex(' ').upper()}\n" for i in range(0, len(window), 16))
    return f"{banner}\n{''.join(lines)}"


@pytest.fixture
def here(tmp_path: Path) -> Path:
    for name in ("a", "b", "c"):
        (tmp_path / f"{name}.log").write_text(dump(name))
    (tmp_path / "blank.log").write_text(dump("blank", b"\xff" * 0x2000))
    return tmp_path


def romassay(
    folder: Path, *arguments: str, stdin: bytes = b"", env: dict[str, str] | None = None
) -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "romassay", *arguments],
        cwd=folder,
        input=stdin,
        capture_output=True,
        check=False,
        env={**os.environ, **(env or {})},
        timeout=60,
    )


def complaint(run: subprocess.CompletedProcess[bytes]) -> str:
    """Return the one line that a mistake gives."""
    assert run.returncode == 2, run.stderr.decode()
    text = run.stderr.decode()
    assert text.startswith("romassay: ")
    assert text.count("\n") == 1
    assert text.endswith("\n")
    assert run.stdout == b""
    return text


@pytest.mark.parametrize(
    ("files", "status", "word"),
    [
        (("a.log", "b.log"), 0, b"CONFIRMED"),
        (("a.log",), 3, b"PROVISIONAL"),
        (("a.log", "a.log"), 3, b"PROVISIONAL"),
        (("blank.log",), 4, b"NOT FOUND"),
    ],
)
def test_the_exit_status_is_the_verdict(here: Path, files: Sequence[str], status: int, word: bytes) -> None:
    run = romassay(here, "assay", *files)
    assert run.returncode == status
    assert run.stdout.startswith(word)
    assert b"\x1b" not in run.stdout


def test_json_prints_the_record_and_nothing_else(here: Path) -> None:
    run = romassay(here, "assay", "a.log", "b.log", "--json", "-o", "box")
    assert json.loads(run.stdout)["verdict"] == "confirmed"
    assert run.stdout == (here / "box/assay.json").read_bytes()
    assert run.stderr == b""


def test_the_docket_keeps_the_command_as_it_was_typed(here: Path) -> None:
    assert romassay(here, "assay", "a.log", "b.log", "-o", "my box").returncode == 0
    history = json.loads((here / "my box/docket.json").read_bytes())["history"]
    assert history[0]["command"] == "romassay assay a.log b.log -o 'my box'"
    assert history[0]["version"] == VERSION


def test_the_same_file_again_is_told_on_stderr(here: Path) -> None:
    romassay(here, "assay", "a.log", "-o", "box")
    run = romassay(here, "assay", "a.log", "-o", "box")
    assert run.stderr == b"romassay: a.log: in the docket already; it adds nothing\n"


def test_options_reach_the_record(here: Path) -> None:
    run = romassay(
        here,
        *"assay a.log b.log --size 1K --exclude 0x9000-0x97FF --exclude $9800+2048 --target 0.5".split(),
        *"--address-bits 20 --session one --session two=b.log --empty-socket blank.log --json".split(),
    )
    record = json.loads(run.stdout)
    assert record["options"] == {
        "part": None,
        "rig": None,
        "size": 1024,
        "target": 0.5,
        "address_bits": 20,
        "exclude": [{"first": 0x9000, "last": 0x97FF}, {"first": 0x9800, "last": 0x9FFF}],
        "apply_findings": False,
    }
    assert [(r["source"], r["session"], r["role"]) for r in record["readings"]] == [
        ("a.log", "one", "specimen"),
        ("b.log", "two", "specimen"),
        ("blank.log", "one", "empty-socket"),
    ]


def test_none_takes_a_setting_back(here: Path) -> None:
    romassay(here, *"assay a.log b.log --size 1024 --exclude 0x9000-0x9FFF -o box".split())
    run = romassay(here, *"assay --size none --exclude none -o box --json".split())
    options = json.loads(run.stdout)["options"]
    assert (options["size"], options["exclude"]) == (None, [])


def test_a_raw_file_with_a_base(here: Path) -> None:
    (here / "image.bin").write_bytes(WINDOW)
    run = romassay(here, *"assay image.bin --format raw-binary --base D000h --json".split())
    reading = json.loads(run.stdout)["readings"][0]
    assert (reading["first"], reading["last"]) == (0xD000, 0xEFFF)


def test_a_docket_may_begin_with_a_control_reading_alone(here: Path) -> None:
    first = romassay(here, "assay", "-o", "box", "--empty-socket", "blank.log")
    assert first.returncode == 4
    assert first.stdout == b""
    assert first.stderr.decode().splitlines() == [
        "romassay: box: kept; no reading of the specimen is there yet",
        "romassay: next, read the specimen into the same docket; switch off before you put it in",
    ]
    assert sorted(path.name for path in (here / "box").iterdir()) == ["docket.json", "readings"]
    assert "no reading of the specimen" in complaint(romassay(here, "assay", "-o", "box"))
    romassay(here, "assay", "-o", "box", "a.log", "b.log")
    record = json.loads((here / "box/assay.json").read_bytes())
    assert [item["role"] for item in record["readings"]] == ["empty-socket", "specimen", "specimen"]
    assert "no-control-reading" not in record["limits"]


def test_a_control_reading_alone_is_kept_only_where_a_docket_is_named(here: Path) -> None:
    assert "or keep this with -o DIR" in complaint(romassay(here, "assay", "--empty-socket", "blank.log"))


def test_standard_input_is_a_file_too(here: Path) -> None:
    run = romassay(here, "assay", "-", "b.log", "-o", "box", stdin=(here / "a.log").read_bytes())
    assert run.returncode == 0
    assert (here / "box/readings/stdin").read_bytes() == (here / "a.log").read_bytes()
    assert "once only" in complaint(romassay(here, "assay", "-", "-"))


def test_layout_show_tells_what_was_learnt_and_keeps_nothing(here: Path) -> None:
    run = romassay(here, "assay", "a.log", "--layout", "show", "-o", "box")
    assert run.returncode == 0
    text = run.stdout.decode()
    assert text.startswith("a.log\n  format   text-dump\n  layout   ")
    assert "  pass 1   8000-9FFF: 8192 bytes, lines 2 to 513\n" in text
    assert not (here / "box").exists()


def test_the_layout_shown_can_be_given_back(here: Path) -> None:
    shown = romassay(here, "assay", "a.log", "--layout", "show").stdout.decode()
    layout = next(line.split(maxsplit=1)[1] for line in shown.splitlines() if line.startswith("  layout "))
    assert romassay(here, "assay", "a.log", "b.log", "--layout", layout).returncode == 0


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        ("assay", "no file is named"),
        ("assay nope.log", "nope.log: "),
        ("assay a.log nope.log", "nope.log: "),
        ("assay folder", "folder: "),
        ("assay empty.log", "empty.log: "),
        ("assay a.log --empty-socket nope.log", "nope.log: "),
        ("assay a.log --session", "--session: its value is missing; see --help"),
        ("assay a.log --size many", "--size: 'many' is no number of bytes"),
        ("assay a.log --size 0", "--size: 0 bytes cannot be meant"),
        ("assay a.log --base 12X4", "--base: "),
        ("assay a.log --exclude 9000", "--exclude: "),
        ("assay a.log --exclude 0x9000-0x8000", "--exclude: "),
        ("assay a.log --exclude 0x100000000+1", "--exclude: "),
        ("assay a.log --part 9999", "'9999' is not in the catalogue"),
        ("assay a.log --part 6530 --size 1024", "--part or --size, not both"),
        ("assay a.log --address-bits 12", "--address-bits: no address of the readings fits a bus of 12 lines"),
        ("assay a.log --address-bits 40", "--address-bits"),
        ("assay a.log --target 0", "--target"),
        ("assay a.log --format no-such-format", "no-such-format"),
        ("assay a.log --session =a.log", "names no session"),
        ("assay a.log --session one=b.log", "none of the files"),
        ("assay a.log --frob", "--frob"),
        ("assay a.log -o folder", "folder: the folder is not empty and no docket"),
        ("assay a.log -o a.log", "a.log: is a file, not a folder"),
        ("assay a.log -o a.log/under", "a.log"),
        ("assay -o new", "new: there is no such folder"),
        ("assya a.log", "did you mean 'assay'?"),
        ("frobnicate", "the verbs are"),
    ],
)
def test_every_mistake_is_one_line(here: Path, arguments: str, message: str) -> None:
    (here / "folder").mkdir()
    (here / "folder/letter.txt").write_text("dear")
    (here / "empty.log").write_bytes(b"")
    assert message in complaint(romassay(here, *arguments.split()))
    assert not (here / "new").exists()


def test_an_unreadable_file_is_named(here: Path) -> None:
    (here / "loop.log").symlink_to("loop.log")
    assert "loop.log" in complaint(romassay(here, "assay", "loop.log"))


def test_a_name_that_could_steer_the_terminal_is_shown_as_escapes(here: Path) -> None:
    text = complaint(romassay(here, "assay", "\x1b[2J\x1b]0;owned\x07.log"))
    assert "\\x1b[2J\\x1b]0;owned\\x07.log" in text
    assert "\x1b" not in text


def test_a_name_with_a_line_feed_stays_one_line(here: Path) -> None:
    complaint(romassay(here, "assay", "no\nsuch\r\nfile"))


def test_a_name_that_is_no_text_is_named_all_the_same(here: Path) -> None:
    run = subprocess.run(
        [os.fsencode(sys.executable), b"-m", b"romassay", b"assay", b"caf\xe9.log"],
        cwd=here,
        capture_output=True,
        check=False,
    )
    assert run.returncode == 2
    assert b"caf" in run.stderr
    assert run.stderr.count(b"\n") == 1
    (here / os.fsdecode(b"caf\xe9.log")).write_text(dump("x"))
    run = romassay(here, "assay", os.fsdecode(b"caf\xe9.log"), "-o", "box")
    assert run.returncode == 3
    assert (here / "box/readings/caf_.log").exists()


def test_a_damaged_docket_is_named(here: Path) -> None:
    romassay(here, "assay", "a.log", "b.log", "-o", "box")
    manifest = (here / "box/docket.json").read_bytes()
    (here / "box/docket.json").write_bytes(manifest[:-20])
    assert "box/docket.json: " in complaint(romassay(here, "assay", "-o", "box"))
    (here / "box/docket.json").write_bytes(manifest)
    (here / "box/readings/a.log").write_bytes(b"8000: 00 00\n")
    assert "box/readings/a.log: " in complaint(romassay(here, "assay", "c.log", "-o", "box"))


def test_a_reader_that_leaves_is_no_error(here: Path) -> None:
    """`romassay assay … | head -1`."""
    child = subprocess.Popen(
        [sys.executable, "-m", "romassay", "assay", "a.log", "--json"],
        cwd=here,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdout is not None
    assert child.stderr is not None
    child.stdout.close()
    assert child.wait(30) == 141
    assert child.stderr.read() == b""
    child.stderr.close()


def test_an_interrupt_ends_with_130(here: Path) -> None:
    child = subprocess.Popen(
        [sys.executable, "-m", "romassay", "assay", "-"],
        cwd=here,
        stdin=subprocess.PIPE,
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
    )
    assert child.stdin is not None
    child.stdin.write(b"4000: 00\n" * (1 << 17))  # more than a pipe holds: when it is written, the program reads
    child.stdin.flush()
    child.send_signal(signal.SIGINT)
    _, stderr = child.communicate(timeout=30)
    assert child.returncode == 130
    assert stderr == b"romassay: interrupted\n"


@pytest.mark.parametrize("seed", range(8))
def test_a_kill_at_any_time_leaves_a_docket_that_opens(here: Path, seed: int) -> None:
    romassay(here, "assay", "a.log", "-o", "box")
    child = subprocess.Popen(
        [sys.executable, "-m", "romassay", "assay", "b.log", "c.log", "-o", "box"],
        cwd=here,
        stdout=subprocess.DEVNULL,
    )
    time.sleep(random.Random(seed).uniform(0.05, 0.4))
    child.kill()
    child.wait(30)
    run = romassay(here, "assay", "-o", "box", "--json")
    record = json.loads(run.stdout)
    assert run.returncode == (3 if len(record["readings"]) == 1 else 0)
    assert [r["source"] for r in record["readings"]] in (["a.log"], ["a.log", "b.log", "c.log"])
    assert romassay(here, "assay", "b.log", "c.log", "-o", "box").returncode == 0
    assert (here / "box/image.bin").read_bytes() == ROM
    assert not [path for path in (here / "box").rglob("*") if path.name.startswith(".")]


def test_colour_needs_a_terminal_and_nobody_against_it(here: Path) -> None:
    import pty

    def on_a_terminal(env: dict[str, str]) -> bytes:
        main, side = pty.openpty()
        child = subprocess.Popen(
            [sys.executable, "-m", "romassay", "assay", "a.log"],
            cwd=here,
            stdout=side,
            env={**os.environ, "TERM": "xterm", **env},
        )
        os.close(side)
        seen = b""
        while True:
            try:
                piece = os.read(main, 4096)
            except OSError:
                break
            if not piece:
                break
            seen += piece
        os.close(main)
        assert child.wait(30) == 3
        return seen

    assert b"\x1b[" in on_a_terminal({"NO_COLOR": ""})
    assert b"\x1b[" not in on_a_terminal({"NO_COLOR": "1"})
    assert b"\x1b[" not in on_a_terminal({"TERM": "dumb", "NO_COLOR": ""})


@pytest.mark.parametrize("encoding", ["ascii", "latin-1", "utf-8"])
def test_every_terminal_encoding_will_do(here: Path, encoding: str) -> None:
    (here / "größe-日本.log").write_text(dump("x"))
    run = romassay(here, "assay", "größe-日本.log", "a.log", env={"PYTHONIOENCODING": encoding})
    assert run.returncode == 0
    assert run.stderr == b""


def test_a_docket_named_as_a_file_is_told_from_a_folder(here: Path) -> None:
    assert romassay(here, "assay", "a.log", "b.log", "-o", "bag").returncode == 0
    done = romassay(here, "assay", "bag")
    assert done.returncode == 2
    assert done.stderr == b"romassay: bag: this is a docket, not a file; open it with -o: romassay assay -o bag\n"
    done = romassay(here, "convert", "bag", "out.hex")
    assert done.stderr == b"romassay: bag: this is a docket, not a file; name an image in it: bag/image.bin\n"


def test_a_range_taken_as_decimal_is_named(here: Path) -> None:
    done = romassay(here, "assay", "a.log", "b.log", "--exclude", "8000-9000")
    assert done.stderr == (
        b"romassay: --exclude 8000-9000: that is decimal, 1F40-2328 in hex; if hex is meant, write 0x8000-0x9000\n"
    )
    assert romassay(here, "assay", "a.log", "b.log", "--exclude", "32768-33791").stderr == b""


def test_a_size_that_no_rom_has_is_refused(here: Path) -> None:
    done = romassay(here, "assay", "a.log", "--size", "1000")
    assert done.returncode == 2
    assert done.stderr == (
        b"romassay: --size: a ROM of 1000 bytes has no whole number of lines; give 1024, 2K, 4K and so on\n"
    )


def test_files_of_two_sessions_are_not_of_both(here: Path) -> None:
    done = romassay(here, "assay", "a.log", "--session", "1", "--session", "2")
    assert done.returncode == 2
    assert b"cannot be of '1' and of '2'" in done.stderr


def test_a_part_without_a_rom_is_said_to_have_none(here: Path) -> None:
    done = romassay(here, "assay", "a.log", "--part", "6532")
    assert done.returncode == 4
    assert b"\nThe declared part, 6532, holds no ROM.\n" in done.stdout
