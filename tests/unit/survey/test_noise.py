"""How noise is measured: what single bits and disagreements show, and what is left alone by it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from romassay.reading import Reading, ReadingSet, reading_of
from romassay.survey import survey
from romassay.survey.consensus import consensus
from romassay.survey.noise import measure, most_noise
from romassay.survey.stack import GRANULE, Stack

GRANULES = 400


def stacked(rate: float, readings: int, *, content: int = 0) -> Stack:
    """A bus that says FF with every bit flipped at a rate, and some granules of random content."""
    draw = np.random.default_rng(5)
    flips = np.packbits(draw.random((readings, GRANULES, GRANULE, 8)) < rate, axis=3)[..., 0]
    value = np.full((readings, GRANULES, GRANULE), 0xFF, np.uint8) ^ flips
    value[:, :content] = draw.integers(0, 256, (content, GRANULE), dtype=np.uint8)
    return Stack(16, np.arange(GRANULES), value, np.full_like(value, 0xFF))


@pytest.mark.parametrize("readings", [1, 3])
@pytest.mark.parametrize("rate", [0.0, 0.002, 0.01, 0.05])
def test_the_rate_is_that_of_the_flips_and_content_is_not_quiet(rate: float, readings: int) -> None:
    given = stacked(rate, readings, content=100)
    bus = np.full((GRANULES, GRANULE), 0xFF, np.uint8)
    noise = measure(given, consensus(given), bus, 0xFF, least=12)
    assert noise.rate == pytest.approx(rate, rel=0.25, abs=1e-4)
    assert not noise.quiet[:100].any()
    assert noise.quiet[100:].all()


def test_more_noise_asks_for_more_bytes_that_agree() -> None:
    bus = np.full((GRANULES, GRANULE), 0xFF, np.uint8)
    needed = []
    for rate in (0.0, 0.005, 0.02, 0.05):
        given = stacked(rate, 2)
        needed.append(measure(given, consensus(given), bus, 0xFF, least=12).agreeing)
    assert needed[0] == 1
    assert needed == sorted(needed)
    assert needed[-1] >= 4


def test_five_deviations_are_allowed() -> None:
    assert float(most_noise(0.0, 128)) == 0.0
    assert float(most_noise(0.05, 128)) == pytest.approx(6.4 + 5 * (0.05 * 0.95 * 128) ** 0.5)


def half_noise(draw: np.random.Generator) -> bytes:
    """4 KiB of a bus of which every other byte is noise."""
    noise = draw.integers(0, 256, 4096, dtype=np.uint8)
    return np.where(draw.random(4096) < 0.5, noise, np.uint8(0xFF)).tobytes()


@pytest.mark.parametrize("seed", range(3))
def test_what_one_of_two_readings_saw_of_a_noisy_bus_is_no_memory(seed: int) -> None:
    draw = np.random.default_rng(seed)
    kept = draw.random(256) < 0.8
    one, two = half_noise(draw), half_noise(draw)
    lines = [(0x7000 + 16 * i, two[16 * i : 16 * i + 16]) for i in range(256) if kept[i] and not 0x18 <= i < 0x20]
    found = survey(ReadingSet((reading_of([(0x7000, one)]), reading_of(lines)), 16))
    assert not found.functions


def fading(draw: np.random.Generator) -> bytes:
    """16 KiB of a bus on which now and then a charge appears and leaks away."""
    said, charge = bytearray(), 0
    for event, left, to in zip(draw.random(16384), draw.random(16384), draw.integers(0, 256, 16384), strict=True):
        charge = int(to) if event < 0.02 else charge & int(to) if left < 0.3 else charge
        said.append(charge)
    return bytes(said)


def read_of(data: bytes, **changes: object) -> Reading:
    return replace(reading_of([(0x8000, data)]), **changes)  # type: ignore[arg-type]


@pytest.mark.parametrize("seed", range(3))
def test_a_bus_that_fades_is_no_rom_where_the_empty_socket_fades_elsewhere(seed: int) -> None:
    draw = np.random.default_rng(seed)
    readings = (read_of(fading(draw)), read_of(fading(draw)), read_of(fading(draw), role="empty-socket"))
    assert not survey(ReadingSet(readings, 16), size=4096).functions
