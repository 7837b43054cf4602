from __future__ import annotations

import numpy as np
from hypothesis import given

from romassay.twin import (
    LOW,
    Bench,
    Function,
    Memory,
    Specimen,
    answering,
    exercised,
    function_from_pattern,
    observe,
    truth,
)
from strategies import Scene, hidden_scenes, hosted_scenes, narrow_scenes, paired_scenes, scenes


def test_the_truth_of_a_pattern_is_the_pattern() -> None:
    bench = Bench(10, (Specimen((function_from_pattern("rom", "1-0 aaa aaaa", bytes(128), driven=0x0F),)),))
    [item] = truth(bench)
    assert item.decode == {9: "1", 8: "any", 7: "0"}
    assert item.own == (0, 1, 2, 3, 4, 5, 6)
    assert (item.size, item.width, item.driven, item.kind, item.name) == (128, 4, 0x0F, "rom", "rom")
    assert item.copies == (0x200, 0x300)
    assert item.image == b"\xf0" * 128


def test_a_held_address_pin_halves_what_is_seen() -> None:
    function = Function("rom", (0, 1, 2, LOW, 3), ((9, 1),), bytes(range(32)))
    [item] = truth(Bench(10, (Specimen((function,)),)))
    assert item.size == 16
    assert item.image == bytes([*range(8), *range(16, 24)])


def test_a_chip_that_never_answers_has_no_truth() -> None:
    assert truth(Bench(10, (Specimen((Function("rom", (0,), ((9, 1), (9, 0)), b"ab"),)),))) == ()


def test_two_specimens_keep_their_numbers() -> None:
    one = Specimen((function_from_pattern("ram", "0000 aaaa"),))
    two = Specimen((function_from_pattern("ram", "0001 aaaa"),))
    assert [(t.specimen, t.copies) for t in truth(Bench(8, (one, two)))] == [(0, (0,)), (1, (16,))]


def test_what_a_window_can_show() -> None:
    bench = Bench(10, (Specimen((function_from_pattern("rom", "1-0 aaa aaaa", bytes(128)),)),))
    [item] = truth(bench)
    assert exercised(bench, item, [(0, 0x3FF)]) == {7: True, 8: True, 9: True}
    assert exercised(bench, item, [(0x200, 0x27F)]) == {7: False, 8: False, 9: False}
    assert exercised(bench, item, [(0x200, 0x2FF)]) == {7: True, 8: False, 9: False}
    assert exercised(bench, item, [(0x200, 0x27F), (0x300, 0x300)]) == {7: False, 8: True, 9: False}
    assert exercised(bench, item, [(0x080, 0x0FF), (0x180, 0x1FF)]) == {7: False, 8: False, 9: False}
    shadowed = Bench(10, bench.specimens, memory=(Memory(0, 0x1FF),))
    assert exercised(shadowed, item, [(0, 0x3FF)]) == {7: True, 8: True, 9: False}


@given(scenes(whole_window=True))
def test_the_truth_says_where_a_function_answers(scene: Scene) -> None:
    """The decode, read back as a rule, gives the copies that were found by trying every address."""
    everything = np.arange(1 << scene.bench.address_bits)
    for item in scene.truths:
        answers = everything[answering(scene.bench, item, everything)]
        assert len(answers) == len(item.copies) * item.size
        own = sum(1 << line for line in item.own)
        assert answers[answers & own == 0].tolist() == list(item.copies)
        assert all(scene.exercised(item).values())


@given(narrow_scenes() | hidden_scenes() | hosted_scenes() | paired_scenes())
def test_the_image_is_what_is_seen_where_nobody_else_drives(scene: Scene) -> None:
    """On the lines that a ROM drives, its image is what the host reads in every copy outside the memory of its own."""
    for item in scene.roms:
        own = sum(1 << line for line in item.own)
        for first in item.copies[:3]:
            where = np.arange(1 << scene.bench.address_bits)
            where = where[(where & ~own) == first]
            outside = np.ones(len(where), np.bool_)
            for memory in scene.bench.memory:
                outside &= (where < memory.first) | (where > memory.last)
            image = np.frombuffer(item.image, np.uint8)
            seen = observe(scene.bench, where)
            assert ((seen ^ image) & item.driven & np.where(outside, 0xFF, 0) == 0).all()
