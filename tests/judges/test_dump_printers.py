"""Dumps printed by programs that others wrote: xxd, hexdump and od in many combinations of flags.

Differences that are excused by name: `xxd -e`, `hexdump` and `od` print words of the machine that they run on, so that
without a text column nothing in the output tells the order of the bytes; there the order is given.
"""

from __future__ import annotations

import random
import subprocess
from pathlib import Path

import pytest

from romassay.formats import Hints, Loaded, read
from tools import need

RNG = random.Random(1976)
TEXT = b"The fog signal sounds twice a minute. "
IMAGES = {
    "mixed": RNG.randbytes(300) + TEXT * 8 + bytes(512) + b"\xff" * 200 + RNG.randbytes(209),
    "short": RNG.randbytes(150),
    "even": RNG.randbytes(4096),
}

ORDERED = [
    "xxd",
    "xxd -u",
    "xxd -g 1",
    "xxd -g 4",
    "xxd -g 8",
    "xxd -c 8 -g 1",
    "xxd -c 32 -g 1",
    "xxd -c 10 -g 1",
    "xxd -c 64 -g 2",
    "xxd -a -g 1",
    "xxd -o 0x8000 -g 1",
    "xxd -d -g 1",
    "xxd -e",
    "xxd -e -g 2",
    "xxd -p",
    "xxd -b -c 4",
    "hexdump -C",
    "hexdump -C -v",
    "hexdump -b",
    'hexdump -v -e \'"%06_ax: " 8/1 "%02X " "\\n"\'',
    'hexdump -v -e \'"%08.8_ax  " 8/1 "%02x " "  " 8/1 "%02x "\' -e \'"  |" 16/1 "%_p" "|\\n"\'',
    'hexdump -v -e \'"%06_ad " 10/1 " %3u" "\\n"\'',
    'hexdump -v -e \'"%07_ao " 8/1 " %03o" "\\n"\'',
    "od -t x1",
    "od -v -t x1",
    "od -A x -t x1",
    "od -A x -t x1z",
    "od -A d -t x1",
    "od -A d -t u1",
    "od -A o -t o1",
    "od -A x -t u1 -w10",
    "od -A x -t x1 -w8 -v",
    "od -A x -t x1 -w32",
    "od -A x -t x1 -w64 -v",
    "od -A n -t x1 -v",
    "od -A x -t x2 --endian=big",
    "od -A x -t x4 --endian=big -v",
    "od -A d -t u2 --endian=big -v",
    "od -A x -t x2z --endian=little",
]
UNORDERED = ["hexdump", "hexdump -x", "hexdump -d", "hexdump -o", "od", "od -x", "od -A x -t x2", "od -A d -t u2"]

OCTAL = ["hexdump -o", "od", "od -A o -t o2 -v"]


def printed(command: str, image: bytes, folder: Path) -> bytes:
    need(command.split(maxsplit=1)[0])
    file = folder / "image.bin"
    file.write_bytes(image)
    return subprocess.run(f"{command} image.bin", shell=True, cwd=folder, check=True, capture_output=True).stdout  # noqa: S602


def bytes_of(loaded: Loaded) -> dict[int, int]:
    (reading,) = loaded.readings
    return dict(zip(reading.addresses().tolist(), reading.value.tolist(), strict=True))


def base_of(command: str) -> int:
    return 0x8000 if "0x8000" in command else 0


@pytest.mark.parametrize("name", IMAGES)
@pytest.mark.parametrize("command", ORDERED)
def test_dumps_that_show_the_order_of_bytes(command: str, name: str, tmp_path: Path) -> None:
    image = IMAGES[name]
    loaded = read(printed(command, image, tmp_path), command)
    base = base_of(command)
    assert loaded.format == "text-dump"
    assert bytes_of(loaded) == {base + i: value for i, value in enumerate(image)}
    assert loaded.readings[0].holes == ()


@pytest.mark.parametrize("name", ["mixed", "even"])
@pytest.mark.parametrize("command", UNORDERED)
def test_dumps_of_words_whose_order_is_given(command: str, name: str, tmp_path: Path) -> None:
    image = IMAGES[name]
    text = printed(command, image, tmp_path)
    assert any("order" in note for note in read(text, command).notes)
    found = bytes_of(read(text, command, Hints(layout="order=little")))
    assert found == dict(enumerate(image))


@pytest.mark.parametrize("name", ["mixed", "even"])
@pytest.mark.parametrize("command", OCTAL)
def test_octal_words_are_taken_low_byte_first(command: str, name: str, tmp_path: Path) -> None:
    image = IMAGES[name]
    assert bytes_of(read(printed(command, image, tmp_path), command)) == dict(enumerate(image))


def test_octal_words_high_byte_first_need_a_word(tmp_path: Path) -> None:
    text = printed("od -A o -t o2 --endian=big -v", IMAGES["mixed"], tmp_path)
    assert bytes_of(read(text, "od", Hints(layout="order=big"))) == dict(enumerate(IMAGES["mixed"]))
