"""The reader's firmware, built by avr-gcc and run in simavr with a ROM on its pins."""

from __future__ import annotations

import io
import random
import re
import subprocess
import sys
from pathlib import Path

import pytest
from intelhex import IntelHex
from msgspec.structs import replace
from tests.tools import need

from romassay.catalogue import load_rig
from romassay.errors import BadValue
from romassay.firmware.reader import MCUS, firmware_for
from romassay.rig import Rig

BENCH = Path(__file__).parent.parent / "board" / "avr_bench.c"
ROM = random.Random(21).randbytes(2048)
RIG = """title = "A ROM on a reader"
host = "reader-5v"
part = "2316"

[wiring]
"A0-A10" = "A0-A10"
CS1 = "A11"
CS2 = "/RD"
CS3 = "A13"
"D0-D7" = "D0-D7"
"""
MASK, MATCH = "2800", "2000"
"""CS3 high, CS1 low; CS2 is the strobe."""


@pytest.fixture(scope="module")
def bench(tmp_path_factory: pytest.TempPathFactory) -> Path:
    need("avr-gcc")
    if not Path("/usr/include/simavr/sim_avr.h").exists():
        need("simavr")
    out = tmp_path_factory.mktemp("bench") / "avr_bench"
    subprocess.run([need("gcc"), "-O2", "-o", str(out), str(BENCH), "-lsimavr", "-lelf"], check=True)
    return out


def built(folder: Path, mcu: str, rig: str = RIG) -> Path:
    """Make a reader with the program itself, and build it with its own Makefile."""
    (folder / "rig.toml").write_text(rig)
    words = ["firmware", str(folder / "rig.toml"), "-o", str(folder / "reader"), "--mcu", mcu]
    subprocess.run([sys.executable, "-m", "romassay", *words], check=True, capture_output=True)
    subprocess.run([need("make"), "-s", "-C", str(folder / "reader")], check=True)
    return folder / "reader" / "reader.elf"


@pytest.mark.parametrize("mcu", MCUS)
def test_the_firmware_reads_the_exact_image_and_never_drives_a_data_pin(mcu: str, bench: Path, tmp_path: Path) -> None:
    elf, image = built(tmp_path, mcu), tmp_path / "image.bin"
    image.write_bytes(ROM)
    typed = "d 2000 21FF\nr\nd 27F8 27FF\nd 0000 000F\nx\n"
    run = subprocess.run([str(bench), mcu, str(elf), str(image), MASK, MATCH, typed], capture_output=True, check=False)
    assert run.returncode == 0, run.returncode  # 3: a data pin was an output or pulled up
    said = [part.strip() for part in run.stdout.decode().split("\r\n>")]
    first, again, end, elsewhere, unknown = said[1:6]
    assert IntelHex(io.StringIO(first)).tobinstr() == ROM[:0x200]
    assert again == first
    assert IntelHex(io.StringIO(end)).todict() == dict(enumerate(ROM[0x7F8:], 0x27F8))
    assert set(IntelHex(io.StringIO(elsewhere)).tobinstr()) == {0xA5}
    assert unknown == "?"


@pytest.mark.parametrize("mcu", MCUS)
def test_a_part_that_latches_its_address_gets_a_new_strobe_for_each(mcu: str, bench: Path, tmp_path: Path) -> None:
    elf, image = built(tmp_path, mcu), tmp_path / "image.bin"
    image.write_bytes(ROM)
    command = [str(bench), mcu, str(elf), str(image), MASK, MATCH, "d 2000 20FF\n", "5000", "latch"]
    run = subprocess.run(command, capture_output=True, check=False, timeout=60)
    assert run.returncode == 0
    text = run.stdout.decode().split("\r\n>")[1]
    assert IntelHex(io.StringIO(text.strip())).tobinstr() == ROM[:0x100]


@pytest.mark.parametrize("mcu", MCUS)
@pytest.mark.parametrize("supply", [5000, 4500, 3300])
def test_the_reader_measures_its_supply_against_its_own_reference(
    mcu: str, supply: int, bench: Path, tmp_path: Path
) -> None:
    """simavr puts the reference of 1.1 V on the converter's input; a step of ten bits is 0.4 to 0.5 % of it there."""
    elf, image = built(tmp_path, mcu), tmp_path / "image.bin"
    image.write_bytes(ROM)
    command = [str(bench), mcu, str(elf), str(image), MASK, MATCH, "v\nd 2000 200F\n", str(supply)]
    run = subprocess.run(command, capture_output=True, check=False, timeout=60)
    assert run.returncode == 0
    said = [part.strip() for part in run.stdout.decode().split("\r\n>")]
    found = re.fullmatch(r"supply (\d{5}) mV", said[1])
    assert found
    assert abs(int(found[1]) - supply) < 0.01 * supply
    assert IntelHex(io.StringIO(said[2])).tobinstr() == ROM[:16]


def rig_of(tmp_path: Path, text: str) -> Rig:
    (tmp_path / "rig.toml").write_text(text)
    return load_rig(tmp_path / "rig.toml").rig


@pytest.mark.parametrize("mcu", MCUS)
def test_a_free_running_clock_is_waited_for(mcu: str, bench: Path, tmp_path: Path) -> None:
    rig = rig_of(tmp_path, RIG)
    made = firmware_for(replace(rig, wiring={**rig.wiring, "PHI2": "CLK"}), mcu)
    assert "OCR1A = 15;" in made["pins.h"]  # 16 MHz / 2 / 16 = 0.5 MHz, the host's clock
    for name, text in made.items():
        (tmp_path / name).write_text(text)
    subprocess.run([need("make"), "-s", "-C", str(tmp_path)], check=True)
    image = tmp_path / "image.bin"
    image.write_bytes(ROM)
    command = [str(bench), mcu, str(tmp_path / "reader.elf"), str(image), MASK, MATCH, "d 2000 20FF\n"]
    run = subprocess.run(command, capture_output=True, check=False, timeout=60)
    assert run.returncode == 0
    text = run.stdout.decode().split("\r\n>")[1]
    assert IntelHex(io.StringIO(text.strip())).tobinstr() == ROM[:0x100]


def test_the_pins_are_counted(tmp_path: Path) -> None:
    rig = rig_of(tmp_path, RIG)
    assert "PORTA" in firmware_for(rig, "atmega2560")["pins.h"]
    small = firmware_for(rig, "atmega328p")
    assert "shift register" in small["wires.txt"]
    assert "DDRL" not in "".join(firmware_for(rig, "atmega2560").values())
    with pytest.raises(BadValue, match="no reader for 'atmega8'; choose atmega2560 or atmega328p"):
        firmware_for(rig, "atmega8")


def test_a_line_that_a_reader_does_not_have_is_named(tmp_path: Path) -> None:
    rig = rig_of(tmp_path, RIG)
    rig = replace(rig, wiring={**rig.wiring, "CS1": "A16"})
    with pytest.raises(BadValue, match=r"pin CS1 is on 'PHI9', and a reader has no such line"):
        firmware_for(replace(rig, wiring={**rig.wiring, "CS1": "PHI9"}), "atmega2560")
    with pytest.raises(BadValue, match="16 address lines and 8 data lines"):
        firmware_for(rig, "atmega2560")
