"""Words whose byte order nothing in their own log shows."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given
from hypothesis import strategies as st

from romassay.chain import Options, assay
from romassay.order import ordered
from romassay.reading import Reading, Source, exchanged, reading_of

DATA = bytes(np.random.default_rng(21).integers(0, 256, 1024, dtype=np.uint8))
BUS = bytes([0xFF]) * 1024


def words(data: bytes, name: str = "words.log") -> Reading:
    """Return a reading of words printed the other way round, lines of sixteen bytes."""
    turned = bytes(np.frombuffer(data, np.uint8).reshape(-1, 2)[:, ::-1].ravel())
    made = reading_of([(0x8000 + i, turned[i : i + 16]) for i in range(0, len(turned), 16)], unit="hex-digit")
    return replace(made, source=Source(name, f"{hash(name) & 0xFFFFFFFF:064x}", unordered=2))


def plain(data: bytes, name: str = "bytes.log") -> Reading:
    return replace(reading_of([(0x8000, data)], unit="hex-digit"), source=Source(name, "b" * 64))


@given(st.binary(min_size=1, max_size=99), st.sampled_from([2, 4, 8]))
def test_exchanging_twice_gives_the_reading_back(data: bytes, size: int) -> None:
    reading = replace(reading_of([(3, data[:40]), (100, data[40:])]), source=Source(unordered=size))
    assert exchanged(exchanged(reading)) == reading


def test_a_reading_in_bytes_settles_the_order_of_words() -> None:
    result = ordered([words(DATA), plain(DATA)])
    assert [r.source.unordered for r in result] == [1, 1]
    assert bytes(result[0].value) == DATA


def test_a_bus_that_says_its_address_settles_it_too() -> None:
    low = bytes(i & 0xFF for i in range(1024))
    (result,) = ordered([words(DATA + low)])
    assert bytes(result.value) == DATA + low


def test_where_nothing_tells_the_image_is_not_confirmed() -> None:
    two = [words(DATA + BUS), words(DATA + BUS, "again.log")]
    result = assay(two, Options(size=1024))
    assert result.verdict == "provisional"
    assert "byte-order" in {f.kind for f in result.findings if f.blocks}
    assert assay([*two, plain(DATA + BUS)], Options(size=1024)).verdict == "confirmed"
