from __future__ import annotations

from itertools import pairwise

import pytest

from romassay.errors import BadValue
from romassay.twin import LineNoise, disturb

LOG = b"8000 A9 00 8D 03 C0\r\n" * 5000


def changed(noise: LineNoise, seed: int = 1) -> list[int]:
    noisy = disturb(LOG, noise, seed=seed)
    return [place for place, (a, b) in enumerate(zip(LOG, noisy, strict=True)) if a != b]


def test_no_noise_no_change() -> None:
    assert disturb(LOG, LineNoise(), seed=1) == LOG
    assert disturb(b"", LineNoise(substitute=1.0, drop=1.0, burst=1.0), seed=1) == b""


@pytest.mark.parametrize("kind", ["substitute", "flip"])
def test_the_share_of_characters_that_change(kind: str) -> None:
    assert len(changed(LineNoise(**{kind: 0.01}))) == pytest.approx(0.01 * len(LOG), rel=0.1)


def test_substitutes_print_and_differ() -> None:
    noisy = disturb(LOG, LineNoise(substitute=1.0), seed=1)
    assert all(a != b and 0x20 <= b < 0x7F for a, b in zip(LOG, noisy, strict=True))


def test_digits_become_other_digits_and_nothing_else_changes() -> None:
    noisy = disturb(LOG, LineNoise(digit=1.0), seed=1)
    digits = b"0123456789ABCDEF"
    assert all((b in digits and a != b) if a in digits else a == b for a, b in zip(LOG, noisy, strict=True))
    assert set(noisy) >= set(digits)
    lower = disturb(b"abcdef" * 500, LineNoise(digit=1.0), seed=1)
    assert set(lower) == set(b"abcdef")


def test_a_flip_is_one_bit() -> None:
    noisy = disturb(LOG, LineNoise(flip=1.0), seed=1)
    flips = [a ^ b for a, b in zip(LOG, noisy, strict=True)]
    assert {f.bit_count() for f in flips} == {1}
    assert len(set(flips)) == 8


def test_characters_are_lost() -> None:
    assert len(LOG) - len(disturb(LOG, LineNoise(drop=0.02), seed=1)) == pytest.approx(0.02 * len(LOG), rel=0.1)
    assert disturb(LOG, LineNoise(drop=1.0), seed=1) == b""


def test_bursts_are_runs() -> None:
    places = changed(LineNoise(burst=0.0005, burst_length=9))
    runs = 1 + sum(b - a > 1 for a, b in pairwise(places))
    assert len(places) / runs > 8
    assert len(places) == pytest.approx(0.0005 * 9 * len(LOG), rel=0.4)


def test_the_seed_decides() -> None:
    noise = LineNoise(substitute=0.01)
    assert changed(noise, 1) == changed(noise, 1) != changed(noise, 2)


def test_a_rate_that_is_none() -> None:
    with pytest.raises(BadValue, match=r"a noise rate 'drop' of 1\.5; give a share from 0 to 1"):
        LineNoise(drop=1.5)
    with pytest.raises(BadValue, match="bursts of 0 characters; give 1 or more"):
        LineNoise(burst_length=0)
