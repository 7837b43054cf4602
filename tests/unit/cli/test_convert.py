"""`romassay convert` as a shell sees it."""

from __future__ import annotations

import random
import subprocess
import sys
from pathlib import Path

import pytest

from romassay.formats import FORMATS
from romassay.formats.model import Piece, WriteOptions

ROM = random.Random(6830).randbytes(1024)


@pytest.fixture
def here(tmp_path: Path) -> Path:
    write = FORMATS["intel-hex"].write
    assert write is not None
    (tmp_path / "rom.hex").write_bytes(write([Piece(0xFC00, ROM)], WriteOptions()))
    (tmp_path / "rom.raw").write_bytes(ROM)
    return tmp_path


def convert(folder: Path, *arguments: str, stdin: bytes = b"") -> subprocess.CompletedProcess[bytes]:
    return subprocess.run(
        [sys.executable, "-m", "romassay", "convert", *arguments],
        cwd=folder,
        input=stdin,
        capture_output=True,
        timeout=60,
        check=False,
    )


def test_the_ending_chooses_and_the_summary_goes_to_stderr(here: Path) -> None:
    done = convert(here, "rom.hex", "rom.bin")
    assert (done.returncode, done.stdout) == (0, b"")
    assert (here / "rom.bin").read_bytes() == ROM
    lines = done.stderr.decode().splitlines()
    assert lines[0] == "rom.bin: raw-binary, 1024 bytes at FC00-FFFF"
    assert lines[1].startswith(f"  sum of bytes {sum(ROM) & 0xFFFF:04X}, CRC-32 ")
    assert lines[2].startswith("  SHA-256 ")


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        (["x.bin", "--record", "32"], "--record: raw-binary has no place for it; leave it out; these have: "),
        (["x.bin", "--start", "0xFC00"], "--start: raw-binary has no place for it; "),
        (["x.hex", "--header", "HDR"], "--header: intel-hex has no place for it; leave it out; these have: s-record"),
        (["x.s19", "--word", "2"], "--word: s-record has no place for it; leave it out; these have: verilog-memory"),
        (["x.s19", "--header", "Klötze"], "--header: 'Klötze' does not go into a header; write 64 ASCII characters at"),
        (["x.s19", "--header", "A" * 65], f"--header: '{'A' * 65}' does not go into a header; "),
        (["x.bin", "--fill", "1FF"], "--fill: '1FF' is no byte; "),
        (["x.ptp", "--start", "0"], "--start: paper-tape has no place for it; "),
        (["x.bin", "--base", "0xC000"], "--base: is of no use for rom.hex, whose addresses stand in it; leave it out"),
    ],
)
def test_an_option_that_would_be_passed_over_is_refused(here: Path, arguments: list[str], words: str) -> None:
    done = convert(here, "rom.hex", *arguments)
    assert done.returncode == 2
    assert done.stderr.decode().startswith(f"romassay: {words}")
    assert done.stderr.count(b"\n") == 1
    assert not (here / arguments[0]).exists()


@pytest.mark.parametrize("name", [name for name, item in FORMATS.items() if item.write])
def test_a_format_says_of_itself_just_the_options_that_its_writer_follows(name: str) -> None:
    """Another record length, start, header or word changes what is written, or is refused by name; nothing else."""
    given = {"record": 12, "start": 0x1234, "header": "OTHER", "word": 2}
    write = FORMATS[name].write
    assert write is not None
    usual = write([Piece(0x1000, ROM[:64])], WriteOptions())
    followed = {
        option for option, value in given.items()
        if write([Piece(0x1000, ROM[:64])], WriteOptions(**{option: value})) != usual  # type: ignore[arg-type]
    }  # fmt: skip
    assert followed == set(FORMATS[name].follows)


def test_all_options_together(here: Path) -> None:
    done = convert(
        here, "rom.raw", "out.s19", "--from", "raw-binary", "--base", "$C000", "--range", "C010h+0x10",
        "--at", "0x2000", "--repeat", "2", "--size", "48", "--fill", "0", "--record", "32", "--start", "8192",
        "--header", "HDR",
    )  # fmt: skip
    assert done.returncode == 0, done.stderr
    write = FORMATS["s-record"].write
    assert write is not None
    options = WriteOptions(record=32, start=0x2000, header="HDR")
    assert (here / "out.s19").read_bytes() == write([Piece(0x2000, ROM[16:32] * 2 + bytes(16))], options)


def test_from_standard_input_to_standard_output(here: Path) -> None:
    done = convert(here, "-", "-", "--to", "raw-binary", stdin=(here / "rom.hex").read_bytes())
    assert (done.returncode, done.stdout) == (0, ROM)
    assert done.stderr.startswith(b"standard output: raw-binary, 1024 bytes")


def test_repeat_without_a_number_fills_the_size(here: Path) -> None:
    assert convert(here, "rom.hex", "big.bin", "--repeat", "--size", "4K").returncode == 0
    assert (here / "big.bin").read_bytes() == ROM * 4


def test_split_names_its_files(here: Path) -> None:
    assert convert(here, "rom.hex", "rom.bin", "--split", "even,odd").returncode == 0
    assert (here / "rom.even.bin").read_bytes() == ROM[::2]
    assert (here / "rom.odd.bin").read_bytes() == ROM[1::2]
    assert not (here / "rom.bin").exists()


def test_a_file_onto_itself(here: Path) -> None:
    assert convert(here, "rom.hex", "rom.hex", "--at", "0").returncode == 0
    assert (here / "rom.hex").read_bytes().startswith(b":10000000")


def test_help_names_every_step(here: Path) -> None:
    done = convert(here, "--help")
    assert done.returncode == 0
    for word in (b"--range", b"--at", b"--fill", b"--repeat", b"--split", b"image.even.bin"):
        assert word in done.stdout


@pytest.mark.parametrize(
    ("arguments", "message"),
    [
        (["none.hex", "o.bin"], "none.hex: there is no such file; "),
        ([".", "o.bin"], ".: this is a folder; "),
        (["empty", "o.bin"], "empty: the file is empty; "),
        (["prose", "o.bin"], "prose: this holds no dump in any format that is known here; "),
        (["junk", "o.bin"], "junk: this holds no dump in any format that is known here; "),
        (["rom.hex", "o.what"], "o.what: its ending '.what' is that of no format to write; give --to with one of "),
        (["rom.hex", "-"], "standard output has no ending that tells a format; give --to FORMAT"),
        (["rom.hex", "-", "--to", "bnpf", "--split", "even,odd"], "--split writes several files; "),
        (["rom.hex", "no/o.bin"], "no/o.bin: cannot be written (no such file or directory); "),
        (["rom.hex", "o.bin", "--to", "morse"], "'morse' is no format to write; choose one of intel-hex, "),
        (["rom.hex", "o.bin", "--from", "morse"], "there is no format 'morse'; "),
        (["rom.hex", "o.bin", "--fill", "256"], "--fill: '256' is no byte; write it as 0xFF, $FF, FFh or 255"),
        (["rom.hex", "o.bin", "--fill", "XY"], "--fill: 'XY' is no byte; "),
        (["rom.hex", "o.bin", "--size", "0"], "--size: 0 bytes cannot be meant; "),
        (["rom.hex", "o.bin", "--size", "4M"], "--size: '4M' is no number of bytes; "),
        (["rom.hex", "o.bin", "--range", "0xE000"], "--range: '0xE000' is no range; "),
        (["rom.hex", "o.bin", "--range", "0xE000-0xE0FF"], "rom.hex: holds nothing in E000-E0FF; it holds FC00-FFFF"),
        (["rom.hex", "o.bin", "--repeat", "x"], "'x' is no number of copies; "),
        (["rom.hex", "o.bin", "--pass", "3"], "rom.hex: there is no pass 3; the file holds 1 pass"),
        (["torn.hex", "o.bin"], "torn.hex:1: no record is whole: wrong checksum; read the chip again"),
    ],
)
def test_every_mistake_is_one_line_and_status_2(here: Path, arguments: list[str], message: str) -> None:
    (here / "empty").write_bytes(b"")
    (here / "prose").write_text("dear colleague,\nat noon the face faded at 12:30.\n")
    (here / "junk").write_bytes(random.Random(7).randbytes(5000))
    (here / "torn.hex").write_text(":0300300002337A1F\n")
    done = convert(here, *arguments)
    assert done.returncode == 2
    assert done.stdout == b""
    assert done.stderr.decode().startswith(f"romassay: {message}")
    assert done.stderr.count(b"\n") == 1
    assert not (here / "o.bin").exists()


def test_ff_is_a_byte_as_the_trade_writes_it(here: Path) -> None:
    for text in ("FF", "ff", "0xFF", "$FF", "FFh", "255"):
        assert convert(here, "rom.hex", "o.bin", "--size", "1025", "--fill", text).returncode == 0
        assert (here / "o.bin").read_bytes() == ROM + b"\xff"
