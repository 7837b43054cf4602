"""Whatever is named on the command line: one line or the honest result, within a gigabyte, never a traceback."""

from __future__ import annotations

import gzip
import os
import random
import subprocess
import sys
import uuid
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

GIB = 1 << 30
PATIENCE = 60
"""Seconds after which a run counts as hung. What is asked for is 20; a busy machine gets more."""

NOISE = random.Random(40)
ROM = NOISE.randbytes(1024)
WINDOW = (b"\xff" * 1024 + ROM) * 4


def dump(window: bytes = WINDOW, first: int = 0x8000, end: str = "\n") -> str:
    return "".join(f"{first + i:04X}: {window[i : i + 16].hex(' ').upper()}{end}" for i in range(0, len(window), 16))


def records(window: bytes = WINDOW, first: int = 0x8000, wrong: Callable[[int], bool] = lambda _: False) -> str:
    """Intel HEX by the published rule: the bytes of a record sum to zero."""
    lines = []
    for i in range(0, len(window), 16):
        body = bytes([16, (first + i) >> 8 & 255, (first + i) & 255, 0]) + window[i : i + 16]
        total = -sum(body) & 255
        lines.append(f":{body.hex().upper()}{total ^ 0x55 if wrong(i // 16) else total:02X}\n")
    return "".join(lines) + ":00000001FF\n"


@dataclass
class Ended:
    status: int
    out: bytes
    err: bytes
    peak: int


def run(folder: Path, *arguments: str) -> Ended:
    """Run a command; give its peak memory in bytes as the system measured it."""
    with (folder / ".out").open("wb") as out, (folder / ".err").open("wb") as err:
        child = subprocess.Popen(
            [sys.executable, "-c", _TIMED, str(PATIENCE), *arguments], cwd=folder, stdout=out, stderr=err
        )
        _, status, usage = os.wait4(child.pid, 0)
        child.returncode = os.waitstatus_to_exitcode(status)
    return Ended(
        child.returncode, (folder / ".out").read_bytes(), (folder / ".err").read_bytes(), usage.ru_maxrss * 1024
    )


_TIMED = "import signal, sys; signal.alarm(int(sys.argv.pop(1))); from romassay.__main__ import main; main()"


def dates() -> str:
    return "".join(
        f"2024-{i % 12 + 1:02d}-{i % 28 + 1:02d} {i % 24:02d}:{i % 60:02d}:{i * 7 % 60:02d} lamp {i % 2}\n"
        for i in range(400)
    )


NO_DUMP: dict[str, bytes] = {
    "empty": b"",
    "blanks": b" \r\n\t\n" * 50,
    "prose": b"The keeper trims nothing, since nothing is left to trim. A bad face, a dead cafe, added beef.\n" * 40,
    "junk": NOISE.randbytes(100_000),
    "zeros": bytes(100_000),
    "dates": dates().encode(),
    "packed": gzip.compress(dump().encode()),
    "table": b"".join(b"%d;%d.%02d;%d\n" % (i, i * 3, i % 100, i * i) for i in range(300)),
    "json": b'{"a": [1, 2, 3], "when": "2024-01-01"}\n',
    "uuids": "".join(f"{uuid.UUID(bytes=NOISE.randbytes(16))}\n" for _ in range(50)).encode(),
    "digests": "".join(f"{NOISE.randbytes(32).hex()}  mole-{i}.png\n" for i in range(50)).encode(),
    "picture": b"\x89PNG\r\n\x1a\n" + NOISE.randbytes(5000),
    "long line": b"A lamp is lit. " * (50_000_000 // 15),
    "one line of junk": NOISE.randbytes(50_000_000).replace(b"\n", b" "),
}


@pytest.mark.parametrize("name", NO_DUMP)
def test_what_holds_no_dump_is_one_line_that_names_it(tmp_path: Path, name: str) -> None:
    (tmp_path / "named.log").write_bytes(NO_DUMP[name])
    ended = run(tmp_path, "assay", "named.log", "-o", "box")
    assert ended.status == 2, ended.out[:500]
    assert ended.err.startswith(b"romassay: named.log")
    assert ended.err.count(b"\n") == 1
    assert len(ended.err) < 400
    assert ended.out == b""
    assert ended.peak < GIB
    assert not (tmp_path / "box").exists()


@pytest.mark.parametrize("name", ["missing", "folder", "/dev/null", "/dev/zero", "loop"])
def test_what_is_no_file_is_one_line_that_names_it(tmp_path: Path, name: str) -> None:
    (tmp_path / "folder").mkdir()
    (tmp_path / "loop").symlink_to("loop")
    ended = run(tmp_path, "assay", name)
    assert ended.status == 2
    assert ended.err.startswith(f"romassay: {name}: ".encode())
    assert ended.err.count(b"\n") == 1
    assert ended.peak < GIB


def test_standard_input_without_end_is_one_line(tmp_path: Path) -> None:
    with Path("/dev/zero").open("rb") as endless:
        run = subprocess.run(
            [sys.executable, "-m", "romassay", "assay", "-"],
            cwd=tmp_path,
            stdin=endless,
            capture_output=True,
            check=False,
            timeout=PATIENCE,
        )
    assert run.returncode == 2
    assert run.stderr.startswith(b"romassay: stdin: the file holds more than 256 MiB")
    assert run.stderr.count(b"\n") == 1


def sparse(path: Path) -> None:
    with path.open("wb") as file:
        file.write(dump().encode())
        file.truncate(4 * GIB)


def spread(path: Path) -> None:
    """Records at both ends of 4 GiB."""
    upper = "".join(f":02000004{a:04X}{-(6 + (a >> 8) + (a & 255)) & 255:02X}\n{records()[:-12]}" for a in (0, 0xFFFF))
    path.write_text(upper + ":00000001FF\n")


DAMAGED: dict[str, Callable[[Path], object]] = {
    "every checksum wrong": lambda path: path.write_text(records(wrong=lambda _: True)),
    "every third checksum wrong": lambda path: path.write_text(records(wrong=lambda i: i % 3 == 0)),
    "records cut short": lambda path: path.write_text(records()[:9000]),
    "no end record": lambda path: path.write_text(records().replace(":00000001FF\n", "")),
    "lines that contradict": lambda path: path.write_text(dump() + dump(bytes(b ^ 0xFF for b in WINDOW))),
    "lines shuffled": lambda path: path.write_text(
        "".join(random.Random(1).sample(dump().splitlines(keepends=True), 512))
    ),
    "cut in mid-line": lambda path: path.write_text(dump()[13:-20]),
    "line noise": lambda path: path.write_text(
        "".join(c if NOISE.random() > 0.05 else chr(NOISE.randrange(33, 127)) for c in dump())
    ),
    "a dump and then 50 MB without a line end": lambda path: path.write_text(dump() + "FF " * 17_000_000),
    "a dump without line ends": lambda path: path.write_text(dump(end=" ")),
    "a dump among prose": lambda path: path.write_bytes(NO_DUMP["prose"] + dump().encode() + NO_DUMP["dates"]),
    "a dump among junk": lambda path: path.write_bytes(NO_DUMP["junk"] + b"\n" + dump().encode()),
    "4 GiB sparse": sparse,
    "records over 4 GiB": spread,
    "huge addresses": lambda path: path.write_text("".join(f"{i << 24:08X}: {i:02X} 01 02 03\n" for i in range(256))),
    "the same line for ever": lambda path: path.write_text("8000: 01 02 03 04 05 06 07 08\n" * 100_000),
}


@pytest.mark.parametrize("name", DAMAGED)
def test_damage_gets_the_honest_result(tmp_path: Path, name: str) -> None:
    DAMAGED[name](tmp_path / "named.log")
    ended = run(tmp_path, "assay", "named.log", "--json")
    assert ended.status in (2, 3, 4), ended.err
    assert ended.err == b"" if ended.status != 2 else ended.err.count(b"\n") == 1
    assert b"Traceback" not in ended.err
    assert ended.peak < GIB


@pytest.mark.parametrize("name", ["every third checksum wrong", "cut in mid-line", "a dump among prose"])
def test_damage_to_one_of_two_readings_does_not_hide_the_rom(tmp_path: Path, name: str) -> None:
    DAMAGED[name](tmp_path / "damaged.log")
    (tmp_path / "whole.log").write_text(dump())
    (tmp_path / "again.log").write_text("again\n" + dump())
    ended = run(tmp_path, "assay", "damaged.log", "whole.log", "again.log", "-o", "box")
    assert ended.status in (0, 3)
    assert (tmp_path / "box/image.bin").read_bytes() == ROM
