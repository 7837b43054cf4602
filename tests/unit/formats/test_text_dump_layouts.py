"""Logs in layouts drawn at random: clean ones are read exactly, or what is missing is said; noise makes no wrong byte.

A digit that became another digit is a silent error: no reader can know. Everything else must be a hole.
"""

from __future__ import annotations

import random
from collections.abc import Sequence

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from romassay.errors import BadInput
from romassay.formats.model import Hints, Parsed
from romassay.formats.text_dump import read
from strategies_dumps import Log, Style, disturb, draw_log

BOUNDED = settings(
    max_examples=16,
    deadline=None,
    derandomize=True,
    suppress_health_check=[HealthCheck.too_slow, HealthCheck.data_too_large],
)
SEEDS = st.integers(0, 1 << 20)
RATE = 0.01
MOST_UNEXPLAINED = 0.001
"""Share of the bytes of all noisy logs together that may be wrong without a digit of their own being struck."""


def taken(text: str) -> Parsed | None:
    try:
        return read(text.encode("latin-1"), Hints())
    except BadInput:
        return None


def observed(parsed: Parsed) -> list[tuple[int, int, int]]:
    """All that was read, as (address, value, known bits)."""
    seen = []
    for reading in parsed.readings:
        known = [0xFF] * len(reading.value) if reading.known is None else reading.known.tolist()
        seen += list(zip(reading.addresses().tolist(), reading.value.tolist(), known, strict=True))
    return seen


def swapped(style: Style, first: int, address: int) -> int:
    """Where a byte lies if words are read in the other order."""
    place = address - first
    return first + place // style.size * style.size + style.size - 1 - place % style.size


def truths(style: Style, log: Log) -> list[dict[int, set[int]]]:
    """What may be at each address: two answers where nothing shows the order of bytes."""
    plain: dict[int, set[int]] = {}
    other: dict[int, set[int]] = {}
    for shown in log.passes:
        for address, value in shown.items():
            plain.setdefault(address, set()).add(value)
            other.setdefault(swapped(style, min(shown), address), set()).add(value)
    prints = any(0x20 < value < 0x7F for shown in log.passes for value in shown.values())
    return [plain] if style.size == 1 or (style.gutter is not None and prints) else [plain, other]


def wrong(seen: Sequence[tuple[int, int, int]], truth: dict[int, set[int]], excused: set[int]) -> int:
    """How many bytes are none of those printed at their address."""
    return sum(
        address not in excused and all((value ^ right) & known for right in truth.get(address, ()))
        for address, value, known in seen
    )


@given(SEEDS, st.booleans())
@BOUNDED
def test_what_is_not_read_is_said(seed: int, noisy: bool) -> None:
    rng = random.Random(seed)
    log = draw_log(rng)[1]
    parsed = taken(disturb(log, rng, RATE).text if noisy else log.text)
    if parsed is None:
        return
    lines = log.text.count("\n") + log.text.count("\r") + 64
    for reading in parsed.readings:
        assert len(reading.value) > 0
        assert reading.runs[:, 2].sum() == len(reading.value)
        assert 1 <= reading.runs[:, 3].min() <= reading.runs[:, 3].max() <= lines
        assert all(hole.reason for hole in reading.holes)
        assert all(hole.first is None or hole.last is None or hole.first <= hole.last for hole in reading.holes)


def test_nearly_all_clean_logs_are_read_whole_and_none_wrongly() -> None:
    whole = 0
    for seed in range(40):
        style, log = draw_log(random.Random(seed))
        parsed = taken(log.text)
        if parsed is None:
            continue
        seen = observed(parsed)
        assert min(wrong(seen, truth, set()) for truth in truths(style, log)) == 0
        complete = len(seen) == sum(map(len, log.passes))
        assert complete or any(reading.holes for reading in parsed.readings)
        whole += complete
    assert whole >= 39


@pytest.mark.parametrize("first", [0, 20])
def test_noise_makes_no_byte_wrong_but_by_a_digit_of_its_own(first: int) -> None:
    unexplained = total = 0
    for seed in range(first, first + 20):
        rng = random.Random(seed)
        style, log = draw_log(rng)
        noisy = disturb(log, rng, RATE)
        parsed = taken(noisy.text)
        if parsed is None:
            continue
        struck = {address for _, address in noisy.struck}
        excused = struck | {swapped(style, min(log.passes[0]), address) for address in struck}
        excused |= {address + i for address in struck for i in range(style.size)}
        seen = observed(parsed)
        total += len(seen)
        unexplained += min(wrong(seen, truth, excused) for truth in truths(style, log))
    assert total > 5000
    assert unexplained <= MOST_UNEXPLAINED * total
