"""The dump routines: run in an emulator of another project, and their bytes held against real assemblers."""

from __future__ import annotations

import io
import random
import subprocess
from pathlib import Path

import pytest
from intelhex import IntelHex
from tests.tools import need, need_module

from romassay.address import Range
from romassay.errors import BadValue
from romassay.firmware import CPUS, Routine, routine_for
from romassay.firmware.routine import as_intel_hex, to_key_in

OUTPUT, LOAD = 0xE123, 0x0340
END = 0xEEEE
WINDOWS = [Range(0xD000, 0xD0FF), Range(0x1234, 0x1234), Range(0x1FF8, 0x2010), Range(0xFF80, 0xFFFF)]
MEMORY = random.Random(9).randbytes(1 << 16)


def assembled(routine: Routine, output: Path) -> bytes:
    """Assemble a routine's source with a program made for its CPU."""
    names = {"out": OUTPUT, "first": routine.window.first, "end": routine.window.last, "zero": 0}
    source = output.with_suffix(".asm")
    equal = "{} = ${:04x}\n" if routine.cpu in ("6502", "6800") else "{}: equ 0{:04x}h\n"
    head = "".join(equal.format(name, value) for name, value in names.items())
    body = routine.source
    if routine.cpu == "6502":
        source.write_text(f"{head} * = ${LOAD:04x}\n{body}")
        subprocess.run([need("64tass"), "-q", "--nostart", "-o", str(output), str(source)], check=True)
        return output.read_bytes()
    if routine.cpu == "6800":
        body = body.replace(":", "")
        source.write_text(f" cpu 6800\n{head} * = ${LOAD:04x}\n{body}")
        run = subprocess.run(
            [need("crasm"), "-o", str(output), str(source)], check=True, capture_output=True, text=True
        )
        assert run.returncode == 0
        image = bytearray()
        for line in output.read_text().splitlines():
            if line.startswith("S1"):
                image += bytes.fromhex(line[8:-2])
        return bytes(image)
    source.write_text(f"{head} org 0{LOAD:04x}h\n{body}")
    subprocess.run([need("z80asm"), "-o", str(output), str(source)], check=True)
    return output.read_bytes()


@pytest.mark.parametrize("cpu", CPUS)
def test_the_bytes_are_those_of_a_real_assembler(cpu: str, tmp_path: Path) -> None:
    routine = routine_for(cpu, load=LOAD, output=OUTPUT, window=Range(0xD000, 0xD7FF))
    assert assembled(routine, tmp_path / "out") == routine.code


def run_6502(routine: Routine) -> bytes:
    """Run it in py65; the output routine destroys every register."""
    from py65.devices.mpu6502 import MPU

    memory = list(MEMORY)
    memory[routine.load : routine.load + len(routine.code)] = routine.code
    cpu = MPU(memory=memory)
    cpu.pc = routine.load
    cpu.sp = 0xFD
    memory[0x1FE], memory[0x1FF] = 0xFE, 0xFF  # returns to FFFF
    said = bytearray()
    for _ in range(3_000_000):
        if cpu.pc == 0xFFFF:
            return bytes(said)
        if cpu.pc == OUTPUT:
            said.append(cpu.a)
            cpu.a, cpu.x, cpu.y, cpu.p = 0x55, 0xAA, 0x5A, cpu.p | 0x01
            cpu.inst_0x60()
            continue
        cpu.step()
    raise AssertionError("the routine never returned")


@pytest.mark.parametrize("window", WINDOWS, ids=str)
def test_the_routine_of_the_6502_dumps_its_window_as_intel_hex(window: Range) -> None:
    routine = routine_for("6502", load=LOAD, output=OUTPUT, window=window)
    found = IntelHex(io.StringIO(run_6502(routine).decode()))  # checks every sum, and that the end record is there
    assert found.minaddr() == window.first
    assert found.maxaddr() == window.last
    assert found.tobinstr() == MEMORY[window.first : window.last + 1]


def run_8080(routine: Routine) -> bytes:
    """Run it in the machines of the PyPI package z80; the output routine destroys every register."""
    import z80

    machine = z80.I8080Machine() if routine.cpu == "8080" else z80.Z80Machine()
    machine.set_memory_block(0, MEMORY)
    machine.set_memory_block(routine.load, routine.code)
    machine.set_memory_block(0x02FE, (END).to_bytes(2, "little"))
    machine.sp, machine.pc = 0x02FE, routine.load
    machine.set_breakpoint(OUTPUT)
    machine.set_breakpoint(END)
    said = bytearray()
    for _ in range(100_000):
        machine.ticks_to_stop = 1_000_000
        machine.run()
        if machine.pc == END:
            return bytes(said)
        assert machine.pc == OUTPUT
        assert machine.a == machine.c
        said.append(machine.a)
        back = machine.memory[machine.sp] | machine.memory[machine.sp + 1] << 8
        machine.af, machine.bc, machine.de, machine.hl = 0x55FF, 0xA5A5, 0x5A5A, 0x1111
        machine.sp, machine.pc = machine.sp + 2, back
    raise AssertionError("the routine never returned")


@pytest.mark.parametrize("cpu", ["8080", "z80"])
@pytest.mark.parametrize("window", WINDOWS, ids=str)
def test_the_routine_of_the_8080_dumps_its_window_as_intel_hex(cpu: str, window: Range) -> None:
    routine = routine_for(cpu, load=LOAD, output=OUTPUT, window=window)
    found = IntelHex(io.StringIO(run_8080(routine).decode()))
    assert (found.minaddr(), found.maxaddr()) == (window.first, window.last)
    assert found.tobinstr() == MEMORY[window.first : window.last + 1]


def run_6800(routine: Routine, core: str) -> bytes:
    """Run it in a core of the PyPI package m68hc11; the output routine destroys every register.

    The 6303 and the 68HC11 run the 6800's instructions as it does, but for flags of CPX, which is not among these; that
    none of the bytes is an instruction of theirs alone is what the assembler, set for the 6800, has checked.
    """
    cpu = getattr(need_module("m68hc11"), core)()
    cpu.load(MEMORY, 0)
    cpu.load(routine.code, routine.load)
    cpu.write8(0x01FE, END >> 8)
    cpu.write8(0x01FF, END & 0xFF)
    cpu.sp, cpu.pc = 0x01FD, routine.load
    said = bytearray()
    for _ in range(100_000):
        if cpu.pc == END:
            return bytes(said)
        if cpu.pc == OUTPUT:
            said.append(cpu.a)
            cpu.set_regs(a=0x55, b=0xAA, x=0x5A5A, ccr=0xFF)
            cpu.pc = cpu.read16((cpu.sp + 1) & 0xFFFF)
            cpu.sp += 2
            continue
        cpu.step()
    raise AssertionError("the routine never returned")


@pytest.mark.parametrize("core", ["HD6303", "HC11"])
@pytest.mark.parametrize("window", WINDOWS, ids=str)
def test_the_routine_of_the_6800_dumps_its_window_as_intel_hex(core: str, window: Range) -> None:
    routine = routine_for("6800", load=LOAD, output=OUTPUT, window=window)
    found = IntelHex(io.StringIO(run_6800(routine, core).decode()))
    assert (found.minaddr(), found.maxaddr()) == (window.first, window.last)
    assert found.tobinstr() == MEMORY[window.first : window.last + 1]


def test_it_is_keyed_in_with_a_sum_for_each_line_and_loads_from_a_file() -> None:
    routine = routine_for("6502", load=LOAD, output=OUTPUT, window=Range(0xD000, 0xD0FF))
    keyed = to_key_in(routine)
    assert b"".join(bytes.fromhex(line[6:30].strip()) for line in keyed) == routine.code
    assert all(sum(bytes.fromhex(line[6:30].strip())) & 0xFF == int(line[-2:], 16) for line in keyed)
    assert IntelHex(io.StringIO(as_intel_hex(routine).decode())).tobinstr() == routine.code


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"cpu": "4004"}, "no routine for '4004'; choose 6502, 6800, 8080, z80"),
        ({"load": 0xFFF0}, "end beyond FFFF"),
        ({"load": 0xD010}, "would lie in the window"),
        ({"window": Range(0xFFFF, 0x10000)}, "lies beyond FFFF"),
    ],
)
def test_what_cannot_run_is_refused(change: dict[str, object], says: str) -> None:
    given = {"cpu": "6502", "load": LOAD, "output": OUTPUT, "window": Range(0xD000, 0xD0FF), **change}
    with pytest.raises(BadValue, match=says):
        routine_for(given.pop("cpu"), **given)  # type: ignore[arg-type]
