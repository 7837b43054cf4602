"""Captures from real parts: a 6502 in py65 that runs a monitor, sockets, a pseudo-terminal, a server of RFC 2217.

The judges are py65 (the processor), 64tass (the monitor's bytes) and pyserial (the RFC 2217 server).
"""

from __future__ import annotations

import os
import random
import resource
import signal
import socket
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest
from tests.monitors import Monitor, Server
from tests.tools import need

from romassay.address import Range
from romassay.capture.port import Unplugged
from romassay.catalogue import load_host
from romassay.docket.growing import read_plan
from romassay.formats.transcript import received, records
from romassay.session.capture import capture, resume
from romassay.session.order import Order

BOARD = Path(__file__).parent.parent / "board"
HOST = BOARD / "host.toml"
ROM = random.Random(1).randbytes(512)


def memory(address: int) -> int:
    return ROM[address & 0x1FF] if address & 0xFE00 == 0xD000 else address >> 8


@contextmanager
def board(*options: str) -> Iterator[str]:
    """Run the board; give the place of its line."""
    command = [sys.executable, str(BOARD / "board.py"), "--pattern", "1101 000a aaaa aaaa", "--size", "512", *options]
    with subprocess.Popen(command, stdout=subprocess.PIPE, text=True) as process:
        assert process.stdout is not None
        try:
            yield process.stdout.readline().strip()
        finally:
            process.terminate()


def romassay(*words: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run([sys.executable, "-m", "romassay", *words], capture_output=True, text=True, check=False)


def test_the_monitors_bytes_are_those_of_its_source(tmp_path: Path) -> None:
    assembler = need("64tass")
    out = tmp_path / "monitor.bin"
    subprocess.run([assembler, "-q", "--nostart", "--output", str(out), str(BOARD / "monitor.asm")], check=True)
    assert out.read_bytes() == (BOARD / "monitor.bin").read_bytes()


def test_a_board_behind_a_pseudo_terminal_with_a_noisy_line_ends_confirmed(tmp_path: Path) -> None:
    report, docket = tmp_path / "report.json", tmp_path / "docket"
    options = ("--corrupt", "0.005", "--drop", "0.0005", "--line-seed", "3", "--report", str(report))
    with board(*options) as place:
        result = romassay(
            "capture", place, "--host", str(HOST), "--window", "0xCF80-0xD27F", "--size", "512", "-o", str(docket)
        )
    assert result.returncode == 0, result.stdout + result.stderr
    assert (docket / "image.bin").read_bytes() == ROM
    assert '"writes": 0' in report.read_text()


def test_the_empty_socket_is_captured_before_the_specimen(tmp_path: Path) -> None:
    words = ["--host", str(HOST), "--window", "0xCF80-0xD27F", "--size", "512", "-o", str(tmp_path / "docket")]
    with Server(lambda address: address >> 8) as server:
        empty = romassay("capture", server.url, *words, "--empty-socket")
    assert (empty.returncode, empty.stdout) == (0, "")
    assert "kept; no reading of the specimen is there yet" in empty.stderr
    with Server(memory) as server:
        found = romassay("capture", server.url, *words)
    assert found.returncode == 0, found.stdout + found.stderr
    assert "capture-1.transcript  CF80-D27F: empty socket, 768 bytes" in found.stdout
    twice = romassay("capture", "socket://127.0.0.1:1", *words, "--empty-socket", "--pulled-up")
    assert twice.stderr == "romassay: --empty-socket and --pulled-up exclude each other; read one after the other\n"
    late = romassay("capture", "--resume", "-o", str(tmp_path / "docket"), "--pulled-up")
    assert late.stderr.startswith("romassay: --pulled-up: is of no use with --resume")


def test_ctrl_c_in_the_middle_keeps_what_came_and_resume_ends_it(tmp_path: Path) -> None:
    docket = tmp_path / "docket"
    with Server(memory, pause=0.002) as server:
        words = ["capture", server.url, "--host", str(HOST), "--window", "0xCF80-0xD27F", "--size", "512"]
        command = [sys.executable, "-m", "romassay", *words, "-o", str(docket)]
        with subprocess.Popen(command, stderr=subprocess.PIPE, text=True) as process:
            wait_for(lambda: heard_bytes(docket) > 1500)
            process.send_signal(signal.SIGINT)
            _, told = process.communicate(timeout=60)
        assert process.returncode == 130
        assert "interrupted" in told
        server.pause = 0
        result = romassay("capture", "--resume", "--size", "512", "-o", str(docket))
        assert result.returncode == 0, result.stderr
    assert (docket / "image.bin").read_bytes() == ROM


def heard_bytes(docket: Path) -> int:
    files = list((docket / "readings").glob("*.transcript")) if docket.exists() else []
    return sum(file.stat().st_size for file in files)


def wait_for(ready: object, seconds: float = 900) -> None:
    """Wait for what is sure to come; the limit only ends a test that hangs, however crowded the machine is."""
    end = time.monotonic() + seconds
    while not ready():  # type: ignore[operator]
        assert time.monotonic() < end
        time.sleep(0.01)


@pytest.mark.parametrize("number", range(int(os.environ.get("ROMASSAY_KILLS", "3"))))
def test_killed_at_any_moment_it_goes_on_to_the_undisturbed_result(tmp_path: Path, number: int) -> None:
    docket = tmp_path / "docket"
    chance = random.Random(number)
    with Server(memory, pause=0.001) as server:
        words = ["capture", server.url, "--host", str(HOST), "--window", "0xCF80-0xD27F", "--size", "512"]
        command = [sys.executable, "-m", "romassay", *words, "-o", str(docket)]
        with subprocess.Popen(command, stderr=subprocess.DEVNULL, stdout=subprocess.DEVNULL) as process:
            limit = chance.randrange(1, 9000)
            wait_for(lambda: heard_bytes(docket) > limit or process.poll() is not None)
            time.sleep(chance.random() * 0.02)
            process.kill()
        server.pause = 0
        if read_plan(docket) is None:  # killed before the capture was written down
            result = romassay(*words, "-o", str(docket))
        elif read_plan(docket).done:  # type: ignore[union-attr]
            result = romassay("assay", "-o", str(docket))
        else:
            result = romassay("capture", "--resume", "--size", "512", "-o", str(docket))
        assert result.returncode == 0, result.stderr
    assert (docket / "image.bin").read_bytes() == ROM
    assert server.monitor.harm == []


def test_a_line_that_is_cut_is_told_in_one_line_and_gone_on_with(tmp_path: Path) -> None:
    docket = tmp_path / "docket"
    with Server(memory) as server:
        server.hang_up_after = 2500
        words = ["--host", str(HOST), "--window", "0xCF80-0xD27F", "--size", "512", "-o", str(docket)]
        first = romassay("capture", server.url, *words)
        assert first.returncode == 2
        assert first.stderr.splitlines()[-1].endswith("go on with 'romassay capture --resume'")
        assert "Traceback" not in first.stderr
        second = romassay("capture", "--resume", "--size", "512", "-o", str(docket))
        assert second.returncode == 0, second.stderr
    assert (docket / "image.bin").read_bytes() == ROM


def test_a_server_of_rfc_2217_on_the_loopback(tmp_path: Path) -> None:
    """Between romassay and the board stands ser2net, an access server of RFC 2217."""
    server = need("ser2net")
    docket, table = tmp_path / "docket", tmp_path / "ser2net.yaml"
    with socket.create_server(("127.0.0.1", 0)) as free:
        port = free.getsockname()[1]
    with board() as place:
        table.write_text(
            f"connection: &one\n    accepter: telnet(rfc2217),tcp,localhost,{port}\n"
            f"    connector: serialdev,{place},9600n81,local\n"
        )
        with subprocess.Popen([server, "-n", "-c", str(table), "-P", str(tmp_path / "pid")]) as process:
            try:
                wait_for(lambda: listens(port))
                result = romassay(
                    "capture", f"rfc2217://127.0.0.1:{port}", "--host", str(HOST), "--window", "0xCFC0-0xD23F",
                    "--size", "512", "-o", str(docket),
                )  # fmt: skip
            finally:
                process.terminate()
    assert result.returncode == 0, result.stderr
    assert (docket / "image.bin").read_bytes() == ROM


def listens(port: int) -> bool:
    """Tell from the system's table, without a call, whether a server listens on a port of the loopback."""
    wanted = f":{port:04X} "
    lines = Path("/proc/net/tcp").read_text() + Path("/proc/net/tcp6").read_text()
    return any(wanted in line and " 0A " in line for line in lines.splitlines())


def test_listening_keeps_the_bytes_as_they_came_and_splits_the_passes(tmp_path: Path) -> None:
    docket = tmp_path / "docket"
    # A person at the host types two dumps; romassay only hears the line.
    said = Monitor(memory).feed(b"\rD CF80,D27F\rD CF80,D27F\r")
    with socket.create_server(("127.0.0.1", 0)) as tap:

        def speak() -> None:
            caller, _ = tap.accept()
            with caller:
                caller.sendall(said)
                time.sleep(0.3)

        thread = threading.Thread(target=speak, daemon=True)
        thread.start()
        url = f"socket://127.0.0.1:{tap.getsockname()[1]}"
        result = romassay("capture", url, "--listen", "--silence", "5", "--size", "512", "-o", str(docket))
    assert result.returncode == 0, result.stdout + result.stderr
    assert (docket / "readings" / "listen-1.log").read_bytes() == said
    assert (docket / "image.bin").read_bytes() == ROM


@pytest.mark.parametrize("number", range(int(os.environ.get("ROMASSAY_UNPLUG", "4"))))
def test_a_socket_that_closes_at_any_moment_leads_to_the_undisturbed_result(tmp_path: Path, number: int) -> None:
    host = load_host(str(HOST))
    assert host.dialogue is not None
    assert host.serial is not None
    docket = tmp_path / "docket"
    with Server(memory) as server:
        server.hang_up_after = random.Random(number).randrange(1, 9000)
        order = Order(
            port=server.url, host="board", dialogue=host.dialogue, serial=host.serial, passes=2, docket=docket,
            window=(Range(0xCF80, 0xD27F),), settings={"size": 512},
        )  # fmt: skip
        try:
            captured = capture(order)
        except Unplugged:
            kept = received((docket / "readings" / "capture-1.transcript").read_bytes())
            assert len(kept) <= 9000
            captured = resume(lambda _: order, docket)
            assert captured.asked <= captured.needed + 256
    assert captured.outcome.assay.verdict == "confirmed"
    assert captured.missing == 0
    assert (docket / "image.bin").read_bytes() == ROM
    assert server.monitor.harm == []


@pytest.mark.parametrize("room", [3000, 5000, 6000])
def test_a_disk_that_is_full_is_told_in_one_line_and_the_capture_gone_on_with(tmp_path: Path, room: int) -> None:
    """No file may grow beyond a limit of the system's, be it the transcript or a result."""
    docket = tmp_path / "docket"
    with Server(memory) as server:
        words = ["capture", server.url, "--host", str(HOST), "--window", "0xCF80-0xD27F", "--size", "512"]
        first = subprocess.run(
            [sys.executable, "-m", "romassay", *words, "-o", str(docket)],
            capture_output=True, text=True, check=False,
            preexec_fn=lambda: resource.setrlimit(resource.RLIMIT_FSIZE, (room, room)),
        )  # fmt: skip
        assert first.returncode == 2
        assert first.stderr.splitlines()[-1].endswith("cannot be written (file too large); make room, and go on")
        assert "Traceback" not in first.stderr
        result = romassay("capture", "--resume", "--size", "512", "-o", str(docket))
    assert result.returncode == 0, result.stderr
    assert (docket / "image.bin").read_bytes() == ROM


def test_a_host_file_that_does_not_fit_is_mended_and_the_capture_gone_on_with(tmp_path: Path) -> None:
    docket, file = tmp_path / "docket", tmp_path / "my.toml"
    file.write_text(HOST.read_text().replace('prompt = "*"', 'prompt = ">"'))
    with Server(memory) as server:
        words = ["--window", "0xCFC0-0xD23F", "--size", "512", "-o", str(docket)]
        first = romassay("capture", server.url, "--host", str(file), *words)
        assert first.returncode == 2
        assert 'the host never prompted with ">", 8 times asked; it last said "\\r\\n*"' in first.stderr
        result = romassay("capture", "--resume", "--host", str(HOST), "--size", "512", "-o", str(docket))
    assert result.returncode == 0, result.stderr
    assert (docket / "image.bin").read_bytes() == ROM


def test_keyed_bytes_are_taken_twice_and_what_differs_is_shown(tmp_path: Path) -> None:
    docket = tmp_path / "docket"
    rows = [ROM[i : i + 8].hex() for i in range(0, 64, 8)]
    wrong = rows.copy()
    wrong[2] = "ff" + wrong[2][2:]
    typed = "\n".join([*rows[:3], "zz", *rows[3:], *wrong, rows[2]]) + "\n"
    result = subprocess.run(
        [sys.executable, "-m", "romassay", "capture", "--keyed", "--window", "0xD000-0xD03F", "--size", "64",
         "-o", str(docket)],
        input=typed, capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert "this is not all hex digits" in result.stderr
    assert f"D010  {ROM[16]:02X} first, FF second" in result.stderr
    assert (docket / "image.bin").read_bytes() == ROM[:64]
    assert sorted(path.name for path in (docket / "readings").iterdir()) == [
        "keyed-1-again.log", "keyed-1-first.log", "keyed-1-second.log",
    ]  # fmt: skip


def test_an_octal_display_is_keyed_in_as_it_shows(tmp_path: Path) -> None:
    docket = tmp_path / "docket"
    rows = [" ".join(f"{byte:o}" for byte in ROM[i : i + 8]) for i in range(0, 64, 8)]
    words = ["capture", "--keyed", "--window", "0xD000-0xD03F", "--size", "64", "-o", str(docket)]
    command = [sys.executable, "-m", "romassay", *words]
    first = subprocess.run(
        [*command, "--numbers", "octal"],
        input="\n".join([*rows, rows[0]]) + "\n", capture_output=True, text=True, check=False,
    )  # fmt: skip
    assert first.returncode == 3
    assert "150000  " in first.stderr
    # the second call goes on where the first was broken off, in the numbers that it was begun in
    second = subprocess.run(
        command, input="\n".join(rows[1:]) + "\n", capture_output=True, text=True, check=False
    )  # fmt: skip
    assert "the two entries agree in every byte" in second.stderr
    assert (docket / "image.bin").read_bytes() == ROM[:64]


def test_a_rig_names_the_host_and_what_to_read(tmp_path: Path) -> None:
    rig, docket = tmp_path / "rig.toml", tmp_path / "docket"
    rig.write_text(
        f'host = "{HOST}"\npart = "2316"\nwindow = ["0x8000-0x87FF"]\n\n[wiring]\n"A0-A10" = "A0-A10"\n'
        'CS1 = "A11"\nCS2 = "A12"\nCS3 = "A15"\n"D0-D7" = "D0-D7"\n'
    )
    image = random.Random(5).randbytes(2048)
    with Server(lambda address: image[address & 0x7FF] if address & 0xF800 == 0x8000 else 0xFF) as server:
        result = romassay("capture", server.url, "--rig", str(rig), "-o", str(docket))
    assert result.returncode in (0, 3), result.stderr  # a window of one mirror may leave the decode open
    assert (docket / "image.bin").read_bytes() == image


def test_the_boards_host_file_is_a_good_one() -> None:
    host = load_host(HOST)
    assert host.dialogue is not None
    assert host.dialogue.command(0xD000, 0xD0FF) == "D D000,D0FF"


def test_a_transcript_tells_both_sides(tmp_path: Path) -> None:
    docket = tmp_path / "docket"
    with Server(memory) as server:
        words = ["--host", str(HOST), "--window", "0xD000-0xD1FF", "--size", "512", "-o", str(docket)]
        romassay("capture", server.url, *words)
    kinds = {record.kind for record in records((docket / "readings" / "capture-1.transcript").read_bytes())}
    assert kinds >= {"begin", "ask", ">", "<", "answer", "done"}
