"""The chain: gathering readings, and the whole way from readings to a verdict."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import HealthCheck, assume, given, settings
from hypothesis import strategies as st

import romassay as ra
from romassay import formats
from romassay.address import Range
from romassay.chain import Options, assay, gather
from romassay.reading import Reading, Source, reading_of
from romassay.twin import Bench, Floating, Specimen, function_from_pattern, take
from strategies import Scene, paired_scenes, readings_of, scenes

DATA = bytes(np.random.default_rng(4).integers(0, 256, 1024, dtype=np.uint8))
SIZE = Options(size=1024)


def named(reading: Reading, name: str, digest: str, pass_number: int = 1) -> Reading:
    return replace(reading, source=Source(name=name, sha256=digest, pass_number=pass_number))


def readings(count: int, data: bytes = DATA) -> list[Reading]:
    bench = Bench(16, (Specimen((function_from_pattern("rom", "1000 00aa aaaa aaaa", data),)),))
    made = [reading_of(take(bench, ((0x8000, 0x8FFF),), reading=i + 1)) for i in range(count)]
    return [named(r, f"pass-{i}.log", f"{i:064x}") for i, r in enumerate(made)]


def test_two_clean_readings_confirm() -> None:
    result = assay(readings(2), SIZE)
    assert result.verdict == "confirmed"
    assert result.image is not None
    assert bytes(result.image) == DATA
    assert result.limits == ("no-power-cycle", "no-control-reading", "part-not-declared", "no-own-check")


def test_one_reading_is_provisional_and_says_why() -> None:
    result = assay(readings(1), SIZE)
    assert result.verdict == "provisional"
    assert [f.kind for f in result.findings if f.blocks] == ["single-reading"]


def test_a_copied_file_counts_once() -> None:
    one = readings(1)[0]
    result = assay([one, named(one, "copy-of-pass-0.log", one.source.sha256)], SIZE)
    assert result.verdict == "provisional"
    assert result.readings.duplicates == ("copy-of-pass-0.log",)
    assert {f.kind for f in result.findings if f.blocks} == {"single-reading", "duplicate-reading"}


def test_a_log_saved_under_another_line_ending_or_encoding_counts_once() -> None:
    log = "".join(f"{0x8000 + at:04X}: {DATA[at : at + 16].hex(' ')}\r\n" for at in range(0, 1024, 16)).encode()
    others = [
        log.replace(b"\r\n", b"\n"),
        log.upper() + b"\n",
        log.decode().encode("utf-16"),
        bytes(c | 0x80 for c in log),
    ]
    for other in others:
        made = gather([formats.read(log, "one.log"), formats.read(other, "two.log")])
        assert (len(made.readings), made.duplicates) == (1, ("two.log",))
    changed = log.replace(b"8000:", b"8000: ", 1).replace(bytes(DATA[:1].hex(), "ascii"), b"0a", 1)
    assert len(gather([formats.read(log, "one.log"), formats.read(changed, "two.log")]).readings) == 2


def test_two_passes_of_one_file_are_two_readings() -> None:
    one, two = readings(2)
    both = [named(one, "evening.log", "ab" * 32), named(two, "evening.log", "ab" * 32, pass_number=2)]
    assert assay(both, SIZE).verdict == "confirmed"


def test_sessions_and_controls_lift_the_limits() -> None:
    made = readings(4)
    powered = [replace(r, conditions=replace(r.conditions, session=str(i % 2))) for i, r in enumerate(made)]
    empty = named(reading_of([(0x8000, b"\xff" * 0x1000)]), "empty.log", "cd" * 32)
    result = assay([*powered, replace(empty, role="empty-socket")], Options(size=1024))
    assert result.limits == ("part-not-declared", "no-own-check")


def test_nothing_at_all_is_not_found() -> None:
    assert assay(reading_of([(0, b"\xff" * 4096)])).verdict == "not-found"
    assert assay(reading_of([])).verdict == "not-found"


def test_a_garbled_address_does_not_widen_the_bus() -> None:
    stray = reading_of([(0x8000 + 16 * i, DATA[16 * i : 16 * i + 16]) for i in range(64)] + [(0x98000, b"\0" * 16)])
    gathered = gather([stray])
    assert gathered.address_bits == 16
    assert [h.reason for h in gathered.readings[0].holes] == ["address 98000 lies beyond 16 address lines"]
    wide = reading_of([(0x98000, DATA)])
    assert gather([wide]).address_bits == 20
    assert gather([wide], address_bits=24).address_bits == 24


def test_doors_of_the_package() -> None:
    reading = readings(1)[0]
    result = ra.assay(reading, ra.Options(size=1024), exclude=[ra.Range(0x9000, 0x9FFF)])
    assert isinstance(result, ra.Assay)
    assert result.readings.excluded == (Range(0x9000, 0x9FFF),)
    assert ra.assay is assay


def right(scene: Scene, image: bytes) -> bool:
    """Tell whether an image is a ROM of the scene: all of it, or the part that is no more than bus on the bus."""
    return any(image == rom.image or (rom.image.startswith(image)) or rom.image.endswith(image) for rom in scene.roms)


@settings(max_examples=60)
@given(scenes(combination=False), st.integers(1, 5), st.floats(0.0, 0.01))
def test_a_wrong_image_is_never_confirmed_with_the_size_declared(scene: Scene, count: int, error: float) -> None:
    result = assay(gather(readings_of(scene, count, error=error)), Options(size=scene.rom.size))
    if result.verdict == "confirmed":
        assert result.image is not None
        assert bytes(result.image) == scene.rom.image


@settings(max_examples=40, suppress_health_check=[HealthCheck.filter_too_much])
@given(paired_scenes(), st.integers(2, 3))
def test_of_two_specimens_no_wrong_image_is_confirmed(scene: Scene, count: int) -> None:
    sizes = {rom.size for rom in scene.roms}
    assume(len(sizes) == 1)
    result = assay(gather(readings_of(scene, count)), Options(size=sizes.pop()))
    if result.verdict == "confirmed":
        assert result.image is not None
        assert bytes(result.image) in [rom.image for rom in scene.roms]


@settings(max_examples=30)
@given(st.integers(0, 255), st.integers(1, 4), st.sampled_from([None, 256, 1024, 4096]))
def test_an_empty_socket_is_never_found(value: int, count: int, size: int | None) -> None:
    for floating in (Floating("constant", value), Floating("previous", value), Floating("decay", value, 9.0)):
        bench = Bench(16, (), floating=(floating,))
        made = [reading_of(take(bench, ((0x4000, 0x7FFF),), reading=i + 1)) for i in range(count)]
        assert assay(made, Options(size=size)).verdict == "not-found"
