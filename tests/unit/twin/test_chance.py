from __future__ import annotations

import numpy as np
import pytest

from romassay.twin.chance import bits, draw, octets, share


def test_the_first_numbers_of_splitmix64() -> None:
    """Started at 0, SplitMix64 gives E220A8397B1DCDAF first (published test value, from memory)."""
    assert int(draw(0)[0]) == 0xE220A8397B1DCDAF


def test_an_element_does_not_depend_on_its_neighbours() -> None:
    many = draw(7, "a", np.arange(1000))
    assert many[123] == draw(7, "a", 123)[0]
    assert len(set(many.tolist())) == 1000
    assert draw(7, "b", 123)[0] != many[123]


def test_shares_are_even() -> None:
    values = share(1, np.arange(100_000))
    assert values.min() >= 0
    assert values.max() < 1
    assert values.mean() == pytest.approx(0.5, abs=0.005)
    counts = np.bincount(octets(2, np.arange(256_000)), minlength=256)
    # chi-square with 255 degrees of freedom: 99.99 % lie below 345 (from memory)
    assert ((counts - 1000) ** 2 / 1000).sum() < 345


def test_bits_have_their_probability() -> None:
    assert np.unpackbits(bits(0.2, 1, np.arange(20_000))).mean() == pytest.approx(0.2, abs=0.005)
    assert set(bits(0.0, np.arange(100)).tolist()) == {0}
    assert set(bits(1.0, np.arange(100)).tolist()) == {255}
