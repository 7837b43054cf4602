"""A listing put together again behaves as the code that was listed: both run in py65, step by step."""

from __future__ import annotations

from pathlib import Path

from py65.devices.mpu6502 import MPU

import romassay
from romassay.code.listing import listing
from romassay.code.source import source
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.cpus.decode import decode

FOG = Path(romassay.__file__).parent / "twin" / "demo" / "fog_signal.bin"
STEPS = 4000


def machine(data: bytes) -> MPU:
    mpu = MPU()
    mpu.memory[0xFC00:0x10000] = list(data)
    mpu.reset()
    mpu.pc = mpu.memory[0xFFFC] | mpu.memory[0xFFFD] << 8
    return mpu


def test_the_same_steps_and_every_one_in_the_listing() -> None:
    data = FOG.read_bytes()
    shown = listing(cpu_of("6502"), data, 0xFC00, [("reset", 0xFC00), ("nmi", 0xFE4D), ("irq", 0xFE55)])
    again = assemble(cpu_of("6502"), source(shown)).data
    first, second = machine(data), machine(again)
    listed = {0xFC00 + offset for offset in shown.followed.instructions}
    for _ in range(STEPS):
        assert (first.pc, first.a, first.x, first.y, first.p) == (second.pc, second.a, second.x, second.y, second.p)
        assert first.pc in listed
        before, one = first.pc, decode(cpu_of("6502"), data, first.pc - 0xFC00, first.pc)
        assert one is not None
        first.step()
        second.step()
        if one.flow == "next":
            assert first.pc == before + one.size
        elif one.flow == "branch":
            assert first.pc in (before + one.size, one.target)
        elif one.flow == "call":
            assert first.pc == one.target
