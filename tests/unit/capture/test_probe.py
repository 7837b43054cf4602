from __future__ import annotations

from collections import deque

import pytest
from hypothesis import given
from hypothesis import strategies as st
from tests.uart import Frame, dump_text, levels_of, received

from romassay.capture.probe import even_or_odd, probe, weighed
from romassay.errors import BadInput
from romassay.rig import Parity, Serial

TEXT = dump_text(3, 20)


class Wire:
    """A host that prints without end, and a receiver that can be set to any rate. Waiting moves a clock of its own."""

    def __init__(self, baud: int, frame: Frame, text: bytes = TEXT, *, at_once: bool = True) -> None:
        self.levels, self.baud, self.at_once = levels_of(text, frame, pause=20) if text else [], baud, at_once
        self.now = self.start = 0.0
        self.coming: deque[tuple[float, int]] = deque()

    def set(self, settings: Serial) -> None:
        self.coming = deque(received(self.levels, self.baud, settings, at_once=self.at_once))
        self.start = self.now

    def read(self, timeout: float) -> bytes:
        self.now += timeout
        data = bytearray()
        while self.coming and self.start + self.coming[0][0] <= self.now:
            data.append(self.coming.popleft()[1])
        return bytes(data)

    def clock(self) -> float:
        return self.now


TEN = [Frame(8), Frame(8, "none", 2), Frame(7, "even"), Frame(7, "odd"), Frame(7, "even", 2)]
OTHERS = [Frame(7, "none", 1), Frame(8, "even"), Frame(8, "odd")]
TWO_STOPS = [Frame(7, "mark"), Frame(7, "none", 2)]


@pytest.mark.parametrize("baud", [110, 1200, 57600])
@pytest.mark.parametrize("frame", TEN, ids=str)
def test_rate_parity_and_word_length_are_found_from_text(baud: int, frame: Frame) -> None:
    wire = Wire(baud, frame)
    found = probe(wire, wire.clock, rates=(9600, 57600, 1200, 600, 300, 110))
    assert (found.baud, found.data_bits, found.parity) == (baud, frame.data_bits, frame.parity)


@pytest.mark.parametrize("frame", [*TWO_STOPS, *OTHERS], ids=str)
@pytest.mark.parametrize("baud", [300, 9600])
def test_frames_of_nine_and_eleven_bits_are_found_and_a_mark_is_a_second_stop_bit(baud: int, frame: Frame) -> None:
    wire = Wire(baud, frame)
    found = probe(wire, wire.clock, rates=(9600, 19200, 4800, 300))
    parity = "none" if frame.parity == "mark" else frame.parity
    assert (found.baud, found.data_bits, found.parity) == (baud, frame.data_bits, parity)
    assert found.stop_bits == (2 if frame.data_bits == 7 and parity == "none" else 1)


def test_a_receiver_that_waits_for_a_high_line_reads_eight_bits_with_parity_as_they_are() -> None:
    wire = Wire(1200, Frame(8, "even"), at_once=False)
    found = probe(wire, wire.clock, rates=(9600, 1200))
    assert (found.baud, found.data_bits, found.parity) == (1200, 8, "none")


def test_a_silent_line_and_one_without_text_are_told_in_one_line() -> None:
    silent = Wire(9600, Frame(8), text=b"")
    with pytest.raises(BadInput, match="nothing came in at any rate"):
        probe(silent, silent.clock)
    binary = Wire(9600, Frame(8), text=bytes(range(128, 256)) * 4)
    with pytest.raises(BadInput, match="reads as text at no rate"):
        probe(binary, binary.clock, rates=(9600, 4800))


def test_a_word_of_seven_bits_is_known_by_the_evenness_of_all_eight() -> None:
    even = bytes(byte | (byte.bit_count() % 2) << 7 for byte in TEXT)
    assert (weighed(even, 300).parity, weighed(even, 300).data_bits) == ("even", 7)
    assert (weighed(TEXT, 300).parity, weighed(TEXT, 300).data_bits) == ("none", 8)


@given(seed=st.integers(0, 1 << 20), parity=st.sampled_from(["even", "odd"]))
def test_the_parity_of_eight_bits_is_told_from_what_its_bit_does_to_a_receiver_that_is_set_for_none(
    seed: int, parity: Parity
) -> None:
    text = dump_text(seed, 12)
    garbled = received(levels_of(text, Frame(8, parity)), 300, Serial(kind="ttl", baud=300))
    assert even_or_odd(bytes(byte for _, byte in garbled), text) == parity
