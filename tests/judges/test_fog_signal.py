"""The demo's program, held against programs that we did not write: the assembler 64tass and the simulator py65."""

from __future__ import annotations

import subprocess
from collections.abc import Callable
from importlib.resources import files
from itertools import pairwise
from pathlib import Path

import pytest
from py65.devices.mpu6502 import MPU

from tools import need

FOLDER = files("romassay.twin") / "demo"
IMAGE = (FOLDER / "fog_signal.bin").read_bytes()
BASE = 0xFC00
VALVE, MOTOR, LAMP, BELL, ALARM = 1, 2, 4, 8, 16
FOG, AIR, ANSWER, CURRENT, LINE, BY_HAND = 1, 2, 4, 8, 16, 32
ALL_WELL = FOG | AIR | ANSWER | CURRENT | BY_HAND
TENTH = 11 * 142 * 64  # cycles of a pass of the main loop, without what it computes


def test_64tass_makes_the_committed_bytes_from_the_committed_source(tmp_path: Path) -> None:
    source, image = tmp_path / "fog_signal.s", tmp_path / "fog_signal.bin"
    source.write_bytes((FOLDER / "fog_signal.s").read_bytes())
    subprocess.run([need("64tass"), "--quiet", "--nostart", "-o", image, source], check=True)
    assert image.read_bytes() == IMAGE


class Board:
    """The controller's bus: ROM, RAM and ports where the source's head says, the timer by the processor's cycles."""

    def __init__(self, image: bytes = IMAGE) -> None:
        self.image = image
        self.ram = bytearray(64)
        self.ports = bytearray(4)
        self.inputs = ALL_WELL
        self.due = 0
        self.outputs: list[tuple[int, int]] = []
        self.line: list[tuple[int, int]] = []
        self.mpu = MPU(memory=self, pc=int.from_bytes(image[0x3FC:0x3FE], "little"))

    def __getitem__(self, address: int) -> int:
        if address & 0x1400 == 0x1400:
            return self.image[address & 0x3FF]
        assert address & 0x1400 == 0, f"nobody answers at {address:04x}"
        if address & 0x2C0 == 0xC0:
            return self.ram[address & 0x3F]
        assert address & 0x3C0 == 0x3C0, f"nobody answers at {address:04x}"
        if address & 5 == 5:
            return 0x80 if self.mpu.processorCycles >= self.due else 0
        assert address & 7 == 2, f"the program reads {address:04x}"
        return (self.inputs & ~self.ports[3]) | (self.ports[2] & self.ports[3])

    def __setitem__(self, address: int, value: int) -> None:
        if address & 0x16C0 == 0xC0:
            self.ram[address & 0x3F] = value
        elif address & 7 == 6:
            self.due = self.mpu.processorCycles + value * 64
        else:
            assert address & 0x17C0 == 0x3C0, f"the program writes {address:04x}"
            assert address & 7 < 4, f"the program writes {address:04x}"
            self.ports[address & 3] = value
            log = {0: self.outputs, 2: self.line}.get(address & 3)
            if log is not None and (not log or log[-1][1] != value):
                log.append((self.mpu.processorCycles, value))

    def run(self, seconds: float, until: Callable[[], bool] = lambda: False) -> None:
        end = self.mpu.processorCycles + seconds * 10 * TENTH
        while self.mpu.processorCycles < end and not until():
            waiting = self.mpu.pc == HOLD and self.mpu.processorCycles < self.due
            if waiting:  # nothing happens in the loop that waits for the timer
                self.mpu.processorCycles = self.due
            self.mpu.step()

    def printed(self) -> str:
        """Read the teleprinter's line as a receiver does: from each falling edge, in the middle of each bit."""
        edges = [(0, LINE), *((time, value & LINE) for time, value in self.line)]
        text, position, now = "", 0, 0
        bit = 142 * 64 + 30

        def level(time: float) -> int:
            nonlocal position
            while position + 1 < len(edges) and edges[position + 1][0] <= time:
                position += 1
            return edges[position][1]

        for time, value in edges:
            if value or time < now:
                continue
            code = sum((level(time + (n + 1.5) * bit) != 0) << n for n in range(8))
            assert code & 0x80, "the parity bit is at mark"
            text += chr(code & 0x7F)
            now = time + int(9.5 * bit)
        return text


HOLD = BASE + IMAGE.index(bytes.fromhex("2CC70310FB"))


def test_the_sum_over_the_rom_is_zero() -> None:
    assert sum(IMAGE) & 0xFF == 0
    assert len(IMAGE) == 1024


def test_after_reset_the_heading_is_printed_and_the_light_turns() -> None:
    board = Board()
    board.run(14)
    assert board.printed() == "\r\nWENDLESTRAND HARBOUR - WEST MOLE\r\nFOG SIGNAL CONTROL 3. WATCH LOG.\r\n"
    turns = [time for time, _ in board.outputs[1:]]
    assert [value for _, value in board.outputs] == [0, LAMP, 0, LAMP, 0, LAMP]
    lengths = [(b - a) / TENTH for a, b in pairwise(turns)]
    assert lengths == pytest.approx([45, 15, 45, 15], rel=0.02)


def test_in_fog_the_horn_sounds_w_once_a_minute() -> None:
    board = Board()
    board.run(8)
    board.inputs &= ~FOG
    board.run(130)
    horn = [(time, bool(value & VALVE)) for time, value in board.outputs]
    changes = [horn[n] for n in range(1, len(horn)) if horn[n][1] != horn[n - 1][1]]
    lengths = [round((b[0] - a[0]) / TENTH / 10) for a, b in pairwise(changes)]
    assert lengths[:6] == [1, 1, 3, 1, 3, 51]  # Morse W, and silence for the rest of the minute
    assert "00:00 FOG. HORN STARTED, W EACH MINUTE\r\n" in board.printed()


def test_the_switch_starts_the_signal_as_well_and_clear_weather_stops_it() -> None:
    board = Board()
    board.run(8)
    board.inputs &= ~BY_HAND
    board.run(5)
    assert board.ports[0] & MOTOR
    board.inputs |= BY_HAND
    board.run(8)
    assert not board.ports[0] & (MOTOR | VALVE)
    assert "00:00 CLEAR. HORN STOPPED\r\n" in board.printed()


def test_low_pressure_is_said_once() -> None:
    board = Board()
    board.run(8)
    board.inputs &= ~(FOG | AIR)
    board.run(30)
    assert board.printed().count("AIR BELOW 5 BAR") == 1
    assert board.ports[0] & ALARM


def test_a_lamp_without_current_is_said_once() -> None:
    board = Board()
    board.run(8)
    board.inputs &= ~CURRENT
    board.run(40)
    assert board.printed().count("LAMP OUT") == 1


def test_the_watch_is_called_every_half_hour_and_answers() -> None:
    board = Board()
    board.run(31 * 60, until=lambda: bool(board.ports[0] & BELL))
    assert board.ports[0] & BELL
    board.inputs &= ~ANSWER
    board.run(1)
    board.inputs |= ANSWER
    board.run(5)
    assert not board.ports[0] & (BELL | ALARM)
    assert "00:30 WATCH ANSWERED\r\n" in board.printed()


def test_a_watch_that_does_not_answer_lights_the_red_lamp() -> None:
    board = Board()
    board.run(31 * 60, until=lambda: bool(board.ports[0] & BELL))
    board.run(95)
    assert board.ports[0] & ALARM
    assert "00:31 NO ANSWER FROM THE WATCH\r\n" in board.printed()


def test_a_rom_with_a_wrong_byte_rings_the_bell_for_ever() -> None:
    spoilt = bytearray(IMAGE)
    spoilt[0x3E8] ^= 0x10
    board = Board(bytes(spoilt))
    board.run(0.1)
    assert board.outputs[-1][1] == BELL | ALARM
    assert not board.line[1:]
