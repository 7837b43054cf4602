"""Errors and exchanges of lines that every reading has alike: only the bytes of a program, or a control, show them."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest
from tests.faulty import FIRST, FOG, first, readings, told, window

from romassay.chain import Options, assay
from romassay.diagnose.address_lines import address_lines
from romassay.diagnose.evidence import Evidence, gather
from romassay.diagnose.idle import scattered
from romassay.diagnose.steady import steady
from romassay.reading import Bytes, Reading, ReadingSet, Source, reading_of
from romassay.settle import settle
from romassay.survey import survey

DRAW = np.random.default_rng(7)
WORDS = np.frombuffer((b"OPEN THE UPPER GATE. WATER IS HIGH. " * 40)[:1024], np.uint8)


def seen(image: Bytes) -> Evidence:
    """Return what the diagnosis looks at, of a window with one ROM read twice."""
    taken = ReadingSet(tuple(readings(window(image), window(image))), 16)
    found = survey(taken, size=len(image))
    return gather(taken, found, settle(taken, found), None, len(image))


def sagging(image: Bytes, ones: int, line: int) -> Bytes:
    """Let bytes of so many ones and more lose a data line."""
    return np.where(np.bitwise_count(image) >= ones, image & ~np.uint8(1 << line), image).astype(np.uint8)


def late(image: Bytes, lines: int) -> Bytes:
    """Let data lines keep the level of the byte before where they should fall and so many lines turn at once."""
    before = np.r_[np.uint8(0), image[:-1]]
    turns = before ^ image
    return np.where(np.bitwise_count(turns) >= lines, image | turns & before, image).astype(np.uint8)


def wandering(image: Bytes, line: int) -> Bytes:
    """Let an address line have a level of its own at each address, the same each time."""
    where = np.arange(len(image))
    level = np.random.default_rng(1).integers(0, 2, len(image))
    return image[where & ~(1 << line) | level << line]


def exchanged(image: Bytes, a: int, b: int) -> Bytes:
    """Return an image as it is read with two address lines exchanged."""
    where = np.arange(len(image))
    differ = (where >> a ^ where >> b) & 1
    return image[where ^ (differ << a | differ << b)]


@pytest.mark.parametrize(("ones", "line"), [(5, 1), (6, 7), (7, 5), (7, 0)])
def test_a_bit_lost_under_many_ones_in_every_reading_is_doubted(ones: int, line: int) -> None:
    evidence = seen(sagging(FOG, ones, line))
    (doubt,) = steady(evidence, evidence.images[0])
    assert (doubt.kind, doubt.blocks, doubt.lines) == ("supply-sag", True, (f"D{line}",))


@pytest.mark.parametrize(
    ("kind", "spoil"),
    [
        ("supply-sag", lambda image: sagging(image, 7, 3)),
        ("marginal-timing", lambda image: late(image, 5)),
    ],
)
def test_what_every_reading_has_wrong_alike_is_not_confirmed(kind: str, spoil: Callable[[Bytes], Bytes]) -> None:
    result = told(window(spoil(FOG)))
    assert result.verdict == "provisional"
    assert first(result, kind).blocks


def test_an_address_line_of_its_own_level_shows_in_equal_bytes() -> None:
    evidence = seen(wandering(FOG, 6))
    (doubt,) = steady(evidence, evidence.images[0])
    assert (doubt.kind, doubt.lines) == ("address-line-open", ("A6",))
    assert told(window(wandering(FOG, 6))).verdict == "provisional"


@pytest.mark.parametrize("image", [FOG, WORDS, DRAW.integers(0, 256, 1024).astype(np.uint8), np.sort(FOG)])
def test_programs_text_ramps_and_random_bytes_lost_nothing(image: Bytes) -> None:
    evidence = seen(image)
    assert not list(steady(evidence, evidence.images[0]))


def test_blank_bytes_apart_tell_of_exchanged_lines() -> None:
    short = np.full(1024, 0xFF, np.uint8)
    short[:256], short[-4:] = FOG[:256], FOG[-4:]
    assert not list(scattered(seen(short).images[0]))
    apart = seen(exchanged(short, 9, 4)).images[0]
    (doubt,) = scattered(apart)
    assert doubt.lines == ("A4",)
    assert doubt.blocks


def test_characters_and_words_with_blank_halves_are_left_alone() -> None:
    rows = DRAW.integers(1, 64, (64, 2)) << 1
    cells = np.zeros((64, 16), np.uint8)
    cells[:, 1:7] = np.repeat(rows, 3, axis=1)
    assert not list(scattered(seen(cells.ravel()).images[0]))
    numbers = np.zeros(1024, np.uint8)
    numbers[::2] = DRAW.integers(1, 256, 512)
    assert not list(scattered(seen(numbers).images[0]))


@pytest.mark.parametrize(("a", "b"), [(4, 8), (7, 9)])
def test_exchanged_lines_of_half_a_program_are_named(a: int, b: int) -> None:
    """The other half is random bytes, as even as no program."""
    half = np.r_[FOG, DRAW.integers(0, 256, 1024).astype(np.uint8)]
    where = np.arange(FIRST, FIRST + 0x1000)
    read = np.where(where & 0x800 == 0, np.tile(exchanged(half, a, b), 2), np.uint8(0xFF)).astype(np.uint8)
    result = told(read, size=2048)
    assert result.verdict == "provisional"
    assert set(first(result, "address-lines-swapped").lines) == {f"A{a}", f"A{b}"}


def test_vectors_in_three_blocks_of_filling_tell_of_a_bridge() -> None:
    image = np.full(1024, 0xFF, np.uint8)
    image[:200], image[-6:] = FOG[:200], FOG[-6:]
    where = np.arange(1024)
    one, other = where >> 8 & 1, where >> 9 & 1
    bridged = image[where & 0xFF | (one | other) << 8 | (one | other) << 9]
    evidence = seen(bridged)
    (doubt,) = address_lines(evidence, evidence.images[0])
    assert (doubt.kind, doubt.lines) == ("address-lines-bridged", ("A8", "A9"))


def empty(host: Bytes | None = None) -> Reading:
    """Return the window without the specimen; the host's own memory answers in both mirrors alike, if there is any."""
    bus = np.full(0x1000, 0xFF, np.uint8)
    if host is not None:
        bus[0x100 : 0x100 + len(host)] = bus[0x900 : 0x900 + len(host)] = host
    made = reading_of([(FIRST, bus.tobytes())], unit="hex-digit")
    return replace(made, role="empty-socket", source=Source("empty.log", "e" * 64))


@pytest.mark.parametrize("host", [DRAW.integers(0, 256, 32).astype(np.uint8), np.zeros(64, np.uint8)])
@pytest.mark.parametrize("alone", [True, False])
def test_what_the_empty_socket_says_as_well_is_not_the_specimens(host: Bytes, alone: bool) -> None:
    over = window()
    for at in (0x100, 0x900):
        over[at : at + len(host)] = host if alone else over[at : at + len(host)] & host
    result = assay([*readings(over, over), empty(host)], Options(size=1024))
    assert result.verdict == "provisional"
    if not host.any():
        assert 0x100 in first(result, "contention").offsets


def test_an_empty_socket_with_a_bus_at_rest_leaves_a_rom_confirmed() -> None:
    assert assay([*readings(window(), window()), empty()], Options(size=1024)).verdict == "confirmed"
