from __future__ import annotations

import pytest

from romassay.capture.probe import probe, weighed
from romassay.errors import BadInput
from romassay.rig import Serial

TEXT = b"D000  3F 2A 00 FF 10 9C 7E 81\r\nD008  A5 5A 0F F0 33 CC 55 AA\r\n" * 12


def bits_of(data: bytes, data_bits: int, parity: str, stop_bits: int) -> list[int]:
    """Return the levels on the line, one a bit time: start, data low bit first, parity, stop, a pause now and then."""
    levels = []
    for number, byte in enumerate(data):
        ones = [byte >> i & 1 for i in range(data_bits)]
        even = sum(ones) % 2
        extra = {"none": [], "even": [even], "odd": [1 - even], "mark": [1]}[parity]
        levels += [0, *ones, *extra, *([1] * stop_bits), *([1] * (number % 5 == 0) * 3)]
    return levels


def sampled(levels: list[int], sent: int, received: int) -> bytes:
    """Return what a receiver of another rate makes of it: ten bits from a falling edge, sampled in their middle."""
    step = sent / received
    at, data = 0.0, bytearray()
    while len(data) < 250:
        while at < len(levels) and levels[int(at)]:
            at += 1 / 4
        places = [at + step * (bit + 0.5) for bit in range(10)]
        if places[-1] >= len(levels):
            break
        frame = [levels[int(place)] for place in places]
        if frame[0] == 0:
            data.append(sum(bit << i for i, bit in enumerate(frame[1:9])))
        at = places[-1]
    return bytes(data)


class Wire:
    """A host that prints without end, and a receiver that can be set to any rate. Waiting moves a clock of its own."""

    def __init__(
        self, baud: int, data_bits: int = 8, parity: str = "none", stop_bits: int = 1, text: bytes = TEXT
    ) -> None:
        self.levels, self.baud = bits_of(text, data_bits, parity, stop_bits), baud
        self.now = 0.0
        self.tuned = 0
        self.coming = b""

    def set(self, settings: Serial) -> None:
        self.coming = sampled(self.levels, self.baud, settings.baud) if self.levels else b""

    def read(self, timeout: float) -> bytes:
        self.now += timeout
        data, self.coming = self.coming[:64], self.coming[64:]
        return data

    def clock(self) -> float:
        return self.now


FRAMES = [(8, "none", 1), (7, "even", 1), (7, "odd", 1), (7, "mark", 1), (7, "even", 2)]


@pytest.mark.parametrize("baud", [110, 1200, 115200])
@pytest.mark.parametrize("frame", FRAMES, ids=str)
def test_rate_parity_and_word_length_are_found_from_text(baud: int, frame: tuple[int, str, int]) -> None:
    wire = Wire(baud, *frame)
    found = probe(wire, wire.clock)
    assert (found.baud, found.data_bits, found.parity) == (baud, *frame[:2])


def test_a_silent_line_and_one_without_text_are_told_in_one_line() -> None:
    silent = Wire(9600, text=b"")
    with pytest.raises(BadInput, match="nothing came in at any rate"):
        probe(silent, silent.clock)
    binary = Wire(9600, text=bytes(range(128, 256)) * 8)
    with pytest.raises(BadInput, match="reads as text at no rate"):
        probe(binary, binary.clock)


def test_a_word_of_seven_bits_is_known_by_the_evenness_of_all_eight() -> None:
    even = bytes(byte | (byte.bit_count() % 2) << 7 for byte in TEXT)
    assert (weighed(even, 300).parity, weighed(even, 300).data_bits) == ("even", 7)
    assert (weighed(TEXT, 300).parity, weighed(TEXT, 300).data_bits) == ("none", 8)
