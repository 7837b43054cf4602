"""Settling: what repetition makes sure of, what it cannot, and how sure it says it is."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import beta

from romassay.address import Cube, Range
from romassay.chain import gather
from romassay.reading import Hole, Reading, ReadingSet, reading_of
from romassay.settle import settle
from romassay.settle.model import Decision, Image
from romassay.survey import survey
from romassay.survey.model import Copy, Function, Survey
from strategies import Scene, readings_of, scenes, with_digit_errors

DATA = bytes(np.random.default_rng(9).integers(0, 256, 512, dtype=np.uint8))
FIRST = 0x8000


def reading(data: bytes, *, damaged: int = 0, unit: str = "hex-digit") -> Reading:
    """Make a reading of the ROM with floating bus beside it, and some damaged lines elsewhere."""
    made = reading_of([(FIRST, data), (FIRST + 0x200, b"\xff" * 0x600)], unit=unit)  # type: ignore[arg-type]
    holes = tuple(Hole(None, None, i + 1, "a character that is no digit") for i in range(damaged))
    return replace(made, holes=holes)


def image_of(*readings: Reading, target: float = 0.01, decisions: tuple[tuple[int, Decision], ...] = ()) -> Image:
    gathered = gather(list(readings))
    found = survey(gathered, size=512)
    return settle(gathered, found, target=target, decisions=decisions)[0]


def with_byte(data: bytes, offset: int, value: int) -> bytes:
    return data[:offset] + bytes([value]) + data[offset + 1 :]


def test_agreement_settles_and_more_of_it_makes_surer() -> None:
    images = [image_of(*[reading(DATA)] * n) for n in range(1, 6)]
    assert all(bytes(i) == DATA and not i.doubtful for i in images)
    least = [float(i.posterior.min()) for i in images]
    bounds = [i.confidence.wrong_bytes_upper_bound for i in images]
    assert least == sorted(least)
    assert bounds == sorted(bounds, reverse=True)
    assert [i.confidence.observations_min for i in images] == [1, 2, 3, 4, 5]


@settings(max_examples=40)
@given(scenes(combination=False, whole_window=True), st.integers(1, 4), st.floats(0.0, 0.01))
def test_one_more_agreeing_reading_never_makes_less_sure(scene: Scene, count: int, error: float) -> None:
    readings = readings_of(scene, count, error=error)
    found = survey(gather(readings), size=scene.rom.size)
    if not found.functions:
        return
    before = settle(gather(readings), found)[0]
    agreeing = reading_of([(copy.first, bytes(before.value)) for copy in found.functions[0].copies], unit="hex-digit")
    after = settle(ReadingSet((*readings, agreeing), scene.bench.address_bits), found)[0]
    assert {d.offset for d in after.doubtful} <= {d.offset for d in before.doubtful}
    assert (after.value == before.value).all()
    assert after.confidence.wrong_bytes_upper_bound <= before.confidence.wrong_bytes_upper_bound + 1e-9


def test_a_tie_is_doubtful_and_shows_both_values() -> None:
    image = image_of(reading(DATA, damaged=9), reading(with_byte(DATA, 7, DATA[7] ^ 0x90), damaged=9))
    assert [d.offset for d in image.doubtful] == [7]
    assert {v for v, _, _ in image.doubtful[0].alternatives} == {DATA[7], DATA[7] ^ 0x90}
    assert [count for _, count, _ in image.doubtful[0].alternatives] == [1, 1]
    assert image.confidence.disagreements == 1


@pytest.mark.parametrize("order", [1, -1])
@pytest.mark.parametrize("flip", [0x10, 0x90, 0x02])
def test_of_a_tie_the_value_is_taken_that_no_broken_line_gave(order: int, flip: int) -> None:
    broken = reading(with_byte(DATA, 7, DATA[7] ^ flip), damaged=9)
    known = np.full(len(broken.value), 0xFF, np.uint8)
    known[3] = 0x00
    broken = replace(broken, known=known)
    image = image_of(*[reading(DATA, damaged=9), broken][::order])
    assert image.value[7] == DATA[7]
    assert 7 in {d.offset for d in image.doubtful}


def test_a_digit_that_three_of_four_have_is_the_lines_error() -> None:
    spoilt = with_byte(DATA, 7, DATA[7] ^ 0x90)
    image = image_of(*[reading(DATA, damaged=30)] * 3, reading(spoilt, damaged=30))
    assert bytes(image) == DATA
    assert image.link_errors == (7,)
    assert not image.flipped


def test_a_digit_that_came_otherwise_once_on_a_whole_line_may_be_a_cells() -> None:
    spoilt = with_byte(DATA, 7, DATA[7] ^ 0x03)
    assert image_of(*[reading(DATA)] * 3, reading(spoilt)).flipped == (7,)


def test_digits_that_came_otherwise_in_several_bits_are_the_lines_though_no_line_broke() -> None:
    spoilt = DATA
    for offset in (7, 90, 301, 440):
        spoilt = with_byte(spoilt, offset, DATA[offset] ^ 0x03)
    image = image_of(*[reading(DATA)] * 3, reading(spoilt))
    assert bytes(image) == DATA
    assert not image.flipped


def test_each_digit_is_voted_for_itself() -> None:
    one = with_byte(DATA, 7, DATA[7] ^ 0x60)
    two = with_byte(DATA, 7, DATA[7] ^ 0x05)
    three = with_byte(DATA, 7, DATA[7] ^ 0x09)
    image = image_of(*(reading(d, damaged=30) for d in (DATA, one, two, three, DATA)))
    assert bytes(image) == DATA


def test_without_line_damage_what_differs_is_the_cells() -> None:
    image = image_of(*[reading(DATA)] * 4, reading(with_byte(DATA, 100, DATA[100] ^ 0x10)))
    assert image.flipped == (100,)
    assert [d.offset for d in image.doubtful] == [100]
    assert bytes(image) == DATA


def test_a_checksum_over_every_record_leaves_only_the_cell_to_blame() -> None:
    spoilt = with_byte(DATA, 100, DATA[100] ^ 0x10)
    checked = [reading(DATA, damaged=50, unit="record-checked")] * 4
    image = image_of(*checked, reading(spoilt, damaged=50, unit="record-checked"))
    assert image.flipped == (100,)


def test_a_bit_that_fails_again_and_again_is_weak_even_on_a_noisy_line() -> None:
    weak = with_byte(DATA, 33, DATA[33] ^ 0x04)
    noisy = [with_digit_errors(weak if i % 3 == 0 else DATA, 0.002, 5, i) for i in range(9)]
    image = image_of(*(reading(d, damaged=20) for d in noisy))
    assert 33 in image.flipped
    assert image.value[33] == DATA[33]


def test_few_wrong_digits_on_a_damaged_line_are_the_lines() -> None:
    once = with_byte(DATA, 33, DATA[33] ^ 0x04)
    assert image_of(*[reading(DATA, damaged=10)] * 5, reading(once, damaged=10)).flipped == ()
    assert image_of(*[reading(DATA, damaged=60)] * 5, reading(once, damaged=60)).flipped == (33,)


@settings(max_examples=40)
@given(scenes(combination=False, whole_window=True, weak=True), st.integers(3, 9))
def test_every_offset_that_flipped_is_listed(scene: Scene, count: int) -> None:
    readings = readings_of(scene, count)
    found = survey(gather(readings), size=scene.rom.size)
    copies = scene.rom.copies
    seen: dict[int, set[int]] = {}
    for item in readings:
        plane = np.zeros(1 << scene.bench.address_bits, np.uint8)
        plane[item.addresses()] = item.value
        for cell in scene.bench.specimens[0].functions[0].weak:
            seen.setdefault(cell.offset, set()).update(int(plane[c + cell.offset]) for c in copies)
    wanted = {offset for offset, values in seen.items() if len(values) > 1}
    if found.functions and found.functions[0].size == scene.rom.size and len(found.functions[0].copies) == len(copies):
        assert set(settle(gather(readings), found)[0].flipped) == wanted


def test_a_byte_never_seen_is_doubtful_and_filled() -> None:
    partial = reading_of([(FIRST, DATA[:500]), (FIRST + 0x200, b"\x00" * 0x600)])
    image = image_of(partial, partial)
    assert [d.offset for d in image.doubtful] == list(range(500, 512))
    assert image.seen[500:].tolist() == [0] * 12
    assert bytes(image.value[500:]) == b"\xff" * 12
    assert image.confidence.observations_min == 0


def test_a_line_sent_again_is_no_second_observation() -> None:
    twice = reading_of([(FIRST, DATA), (FIRST, DATA), (FIRST + 0x200, b"\xff" * 0x600)])
    assert image_of(replace(twice, resent=np.array([1]))).observations.max() == 1
    other = reading_of([(FIRST, DATA), (FIRST + 5, bytes([DATA[5] ^ 0xFF])), (FIRST + 0x200, b"\xff" * 0x600)])
    image = image_of(replace(other, resent=np.array([1])))
    assert 5 in [d.offset for d in image.doubtful]


def test_a_trace_that_sees_an_address_a_thousand_times_counts_as_one_reading() -> None:
    rng = np.random.default_rng(1)
    pieces = [(FIRST + int(a), DATA[int(a) : int(a) + 1]) for a in rng.integers(0, 512, 6000)]
    pieces += [(FIRST + i, DATA[i : i + 1]) for i in range(512)] + [(FIRST + 9, bytes([DATA[9] ^ 1]))]
    trace = reading_of([*pieces, (FIRST + 0x200, b"\xff" * 0x600)], unit="trace")
    image = image_of(trace)
    assert bytes(image) == DATA
    assert image.observations.max() == 1


def test_a_decision_is_kept_apart() -> None:
    decision = Decision(3, 0x42, "read from the listing")
    image = image_of(reading(DATA), reading(DATA), decisions=((0, decision),))
    assert image.value[3] == 0x42
    assert image.decided == (decision,)


def test_the_bound_is_the_published_interval_carried_through_the_vote() -> None:
    """Expected wrong bytes at the Clopper-Pearson limit of the error rate, scipy as the judge of the limit."""
    image = image_of(reading(DATA), reading(DATA), reading(DATA))
    rate = float(beta.ppf(0.95, 1, 2 * 512))
    assert image.confidence.wrong_bytes_upper_bound == pytest.approx(512 * rate * (rate * 0.25) ** 2, rel=1e-6)
    assert image.confidence.level == 0.95


def test_more_readings_for_the_target() -> None:
    one = image_of(reading(DATA))
    assert one.confidence.wrong_bytes_upper_bound == 512
    needed = one.confidence.more_readings_for_target
    assert needed is not None
    enough = image_of(*[reading(DATA)] * (1 + needed))
    assert enough.confidence.wrong_bytes_upper_bound <= 0.01
    assert enough.confidence.more_readings_for_target == 0
    assert image_of(*[reading(DATA)] * needed).confidence.wrong_bytes_upper_bound > 0.01


SECOND = FIRST + 0x200


def laid(*readings: Reading, driven: int = 0xFF, second: Copy | None = None) -> Image:
    """Settle 512 bytes at `FIRST`, and at a second place where one is given, whatever a survey would say."""
    function = Function(
        kind="rom",
        name="rom",
        size=512,
        width=driven.bit_count(),
        own=0x1FF,
        cube=Cube(16, 0xFE00 if second is None else 0xFC00, FIRST),
        unknown=0,
        copies=(Copy(FIRST, 512, 1.0), *([second] if second else [])),
        driven=driven,
    )
    return settle(ReadingSet(readings, 16), Survey(16, (), (function,)))[0]


def test_places_of_one_reading_are_no_readings() -> None:
    image = laid(reading_of([(FIRST, DATA), (SECOND, DATA)]), second=Copy(SECOND, 512, 1.0))
    assert set(image.readings.tolist()) == {1}
    assert set(image.observations.tolist()) == {2}
    assert (image.confidence.readings, image.confidence.copies) == (1, 2)


def test_a_single_bit_that_differs_needs_a_clear_lead() -> None:
    """A cell that fails every other time shows its right value four times of four once in sixteen: that is no proof."""
    spoilt = with_byte(DATA, 7, DATA[7] ^ 0x10)
    close = laid(*[reading(DATA, damaged=9)] * 5, reading(spoilt, damaged=9))
    assert close.flipped == ()
    assert [d.offset for d in close.doubtful] == [7]
    assert not laid(*[reading(DATA, damaged=9)] * 6, reading(spoilt, damaged=9)).doubtful


def test_where_the_hosts_memory_answers_instead_nothing_is_observed() -> None:
    """A quarter of the second place is the host's: too little to be told from noise by its bytes alone."""
    host = bytes(b ^ 0x01 for b in DATA[:128])
    both = reading_of([(FIRST, DATA), (SECOND, host + DATA[128:])])
    covered = Copy(SECOND, 512, 1.0, covered=(Range(SECOND, SECOND + 127),))
    image = laid(both, both, second=covered)
    assert bytes(image) == DATA
    assert not image.doubtful
    assert (set(image.observations[:128].tolist()), set(image.observations[128:].tolist())) == ({2}, {4})


def test_a_line_that_is_not_driven_is_filled_in_only_where_it_stands_still() -> None:
    narrow = bytes(b & 0x0F for b in DATA)
    floating = bytes(b | 0x80 | (0x40 if i % 2 else 0) for i, b in enumerate(narrow))
    other = bytes(b | 0x80 for b in narrow)
    image = laid(reading_of([(FIRST, floating)]), reading_of([(FIRST, other)]), driven=0x0F)
    assert bytes(image) == other
    assert not image.doubtful


def test_a_contended_place_gives_no_observations() -> None:
    pulled = bytes(b & 0x0F for b in DATA)
    both = reading_of([(FIRST, DATA), (SECOND, pulled)])
    image = laid(both, both, second=Copy(SECOND, 512, 0.5, contended=True))
    assert bytes(image) == DATA
    assert (image.confidence.copies, image.confidence.disagreements) == (1, 0)


def test_agreement_makes_no_byte_certain() -> None:
    """The rate is one half beyond what was seen over one trial more: no count of agreements makes it nothing."""
    image = laid(reading(DATA), reading(DATA))
    wrong = 1.0 - float(image.posterior.min())
    rate = 0.5 / 513
    assert wrong == pytest.approx(rate * rate * 0.25, rel=0.5, abs=1e-7)
    assert wrong > 0


def test_on_a_noisy_line_more_readings_bring_more_errors_too() -> None:
    noisy = [reading(with_digit_errors(DATA, 0.02, 5, i), damaged=30) for i in range(5)]
    needed = laid(*noisy[:3]).confidence.more_readings_for_target
    assert needed == 2
    bounds = [laid(*noisy[:count]).confidence.wrong_bytes_upper_bound for count in (4, 5)]
    assert bounds[1] <= 0.01 < bounds[0]


def test_a_weak_cell_is_listed_among_hundreds_of_copies_on_a_noisy_line() -> None:
    draw = np.random.default_rng(3)
    rom = draw.integers(0, 256, 64, dtype=np.uint8)
    passes = []
    for number in range(4):
        value = np.where(np.arange(1 << 14) >> 9 & 1, np.tile(rom, 1 << 8), 0xFF).astype(np.uint8)
        weak = np.flatnonzero((np.arange(1 << 14) & 0x23F) == 0x217)
        value[weak[draw.random(len(weak)) < 0.2]] ^= 0x10
        hit = np.flatnonzero(draw.random(1 << 14) < 0.004)
        value[hit] ^= (1 << draw.integers(0, 8, len(hit))).astype(np.uint8)
        holes = tuple(Hole(None, None, i + 1, "a character that is no digit") for i in range(60))
        made = reading_of([(0, value.tobytes())], address_bits=14, unit="hex-digit")
        passes.append(replace(made, holes=holes, source=replace(made.source, pass_number=number + 1)))
    gathered = gather(passes)
    image = settle(gathered, survey(gathered, size=64))[0]
    assert bytes(image) == rom.tobytes()
    assert 0x17 in image.flipped


def test_what_differs_in_a_crowd_at_one_copy_is_in_doubt_and_no_weak_cell() -> None:
    covered = DATA[:256] + bytes(np.random.default_rng(8).integers(0, 256, 64, dtype=np.uint8)) + DATA[320:]
    one = replace(reading_of([(FIRST, DATA), (FIRST + 0x200, covered)], unit="hex-digit"))
    other = replace(one, source=replace(one.source, pass_number=2))
    found = Survey(
        16,
        (),
        (
            Function(
                "rom", "rom", 512, 8, 511, Cube(16, 0, 0), 0, (Copy(FIRST, 512, 1.0), Copy(FIRST + 0x200, 512, 0.9))
            ),
        ),
    )
    image = settle(ReadingSet((one, other), 16), found)[0]
    assert not image.flipped
    assert {d.offset for d in image.doubtful} == {i for i in range(512) if DATA[i] != covered[i]}


def test_one_copy_that_something_pulls_low_does_not_outvote_the_other() -> None:
    image = np.frombuffer(np.random.default_rng(4).bytes(1024), np.uint8)
    said = np.tile(image, 2)
    said[:256] &= np.frombuffer(np.random.default_rng(5).bytes(256), np.uint8)
    passes = tuple(reading_of([(0x8000, said.tobytes())]) for _ in range(5))
    copies = (Copy(0x8000, 1024, 1.0), Copy(0x8400, 1024, 1.0))
    rom = Function("rom", "rom", 1024, 8, 0x3FF, Cube(16, 0xF800, 0x8000), 0, copies)
    made = settle(ReadingSet(passes, 16), Survey(16, (), (rom,)))[0]
    wrong = set(np.flatnonzero(made.value != image).tolist())
    assert wrong
    assert wrong <= {doubt.offset for doubt in made.doubtful}
