"""The survey held against the twin: whatever is built, the decode that the window can show comes back."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest
from hypothesis import assume, given, settings
from hypothesis import strategies as st

from romassay.address import Range
from romassay.catalogue import load_part
from romassay.chain import gather
from romassay.reading import ReadingSet, reading_of
from romassay.survey import survey
from romassay.twin import Bench, Floating, Function, Memory, Specimen, function_from_pattern, take, truth
from strategies import Scene, floatings, hosted_scenes, lossy, narrow_scenes, readings_of, scenes, seeds

STEADY = st.sampled_from(
    [
        (Floating("pulled", 0xFF),),
        (Floating("pulled", 0x00),),
        (Floating("constant", 0xAD),),
        (Floating("address-low"),),
        (Floating("address-high"),),
        (Floating("pulled", 0xFF, lines=0x3C), Floating("address-high", lines=0x03), Floating("pulled", 0, lines=0xC0)),
    ]
)


def rich(data: bytes, pieces: int = 4) -> bool:
    """Tell whether contents leave nothing to guess: every quarter says something, and none says it again."""
    size = len(data) // pieces
    parts = [data[i * size : (i + 1) * size] for i in range(pieces)]
    return len(set(parts)) == pieces and all(len(set(p)) > min(16, size // 2) for p in parts)


def expected(scene: Scene) -> dict[str, str]:
    """Return the decode of the scene's ROM, 'unknown' where the window cannot show a line."""
    seen = scene.exercised(scene.rom)
    return {f"A{line}": level if seen[line] else "unknown" for line, level in scene.rom.decode.items()}


@settings(max_examples=60)
@given(scenes(floating=STEADY, combination=False), st.integers(1, 4))
def test_any_decode_comes_back_with_the_size_declared(scene: Scene, count: int) -> None:
    assume(rich(scene.rom.image))
    found = survey(gather(readings_of(scene, count)), size=scene.rom.size)
    assert found.functions[0].kind == "rom"
    assert found.functions[0].decode == expected(scene)


@settings(max_examples=60)
@given(scenes(floating=STEADY, whole_window=True, combination=False), st.integers(2, 4))
def test_any_decode_comes_back_with_the_size_inferred(scene: Scene, count: int) -> None:
    assume(rich(scene.rom.image))
    function = survey(gather(readings_of(scene, count))).functions[0]
    assert function.size == scene.rom.size
    assert function.decode == expected(scene)
    assert sorted(c.first for c in function.copies) == sorted(scene.rom.copies)


@settings(max_examples=40)
@given(scenes(floating=STEADY, combination=False), st.integers(3, 5), st.floats(0.0, 0.01))
def test_digit_errors_do_not_change_the_decode(scene: Scene, count: int, error: float) -> None:
    assume(rich(scene.rom.image))
    found = survey(gather(readings_of(scene, count, error=error)), size=scene.rom.size)
    assert found.functions[0].decode == expected(scene)


@settings(max_examples=40)
@given(scenes(floating=STEADY, combination=False), st.integers(2, 4))
def test_reading_what_is_asked_for_resolves_the_lines(scene: Scene, count: int) -> None:
    assume(rich(scene.rom.image))
    before = survey(gather(readings_of(scene, count)), size=scene.rom.size).functions[0]
    asked = tuple((item.where.first, item.where.last) for item in before.read_next)
    more = Scene(scene.bench, tuple(sorted({*scene.window, *asked})), scene.truths)
    after = survey(gather(readings_of(more, count)), size=scene.rom.size).functions[0]
    for line in {name for item in before.read_next for name in item.lines}:
        assert before.decode[line] == "unknown"
        assert after.decode[line] == scene.rom.decode[int(line[1:])]


@settings(max_examples=30)
@given(scenes(combination=False, bits=st.integers(10, 13)), st.integers(2, 4), st.floats(0.0, 0.01), seeds)
def test_a_noisy_line_leaves_a_decode_right_or_unknown(scene: Scene, count: int, error: float, seed: int) -> None:
    assume(rich(scene.rom.image))
    noisy = [lossy(reading, error, seed + i) for i, reading in enumerate(readings_of(scene, count))]
    decode = survey(gather(noisy), size=scene.rom.size).functions[0].decode
    for line, level in expected(scene).items():
        assert decode[line] in (level, "unknown")


@settings(max_examples=30)
@given(narrow_scenes(), st.integers(2, 4))
def test_a_narrow_part_has_a_decode_right_or_unknown(scene: Scene, count: int) -> None:
    assume(rich(scene.rom.image))
    functions = survey(gather(readings_of(scene, count)), size=scene.rom.size).functions
    assume(functions)
    for line, level in expected(scene).items():
        assert functions[0].decode[line] in (level, "unknown")


@settings(max_examples=25)
@given(
    floatings(),
    st.integers(1, 4),
    st.floats(0.0, 0.01),
    seeds,
    st.sampled_from([(), ("empty-socket",), ("pulled-up", "pulled-down"), ("pulled-up",)]),
)
def test_a_noisy_line_to_nothing_shows_nothing(
    floating: tuple[Floating, ...], count: int, error: float, seed: int, controls: tuple[str, ...]
) -> None:
    scene = Scene(Bench(16, (), floating=floating, seed=seed), ((0x8000, 0x8FFF),), ())
    made = readings_of(scene, count)
    for role in controls:
        made += readings_of(scene, 1, role=role)
    readings = gather([lossy(reading, error, seed + i) for i, reading in enumerate(made)])
    for size in (None, 1024):
        assert survey(readings, size=size).functions == ()


@settings(max_examples=40)
@given(hosted_scenes(), st.integers(2, 3))
def test_regions_cover_what_was_read_and_do_not_overlap(scene: Scene, count: int) -> None:
    readings = gather(readings_of(scene, count))
    regions = survey(readings).regions
    covered = sum(r.last - r.first + 1 for r in regions)
    assert covered == sum(last - first + 1 for first, last in scene.window)
    assert all(a.last < b.first for a, b in pairwise(regions))


def bench_of(pattern: str, data: bytes, **changes: object) -> Bench:
    return Bench(16, (Specimen((function_from_pattern("rom", pattern, data),)),), **changes)  # type: ignore[arg-type]


def code(size: int, seed: int = 1) -> bytes:
    return bytes(np.random.default_rng(seed).integers(0, 256, size, dtype=np.uint8))


def read(bench: Bench, window: tuple[tuple[int, int], ...], count: int = 2, role: str = "specimen") -> ReadingSet:
    made = [
        replace(reading_of(take(bench, window, reading=i + 1, role=role), address_bits=16), role=role)  # type: ignore[arg-type]
        for i in range(count)
    ]
    return ReadingSet(tuple(made), 16)


WHOLE = ((0, 0xFFFF),)


def test_excluded_memory_is_no_evidence_and_its_region_is_the_hosts() -> None:
    bench = bench_of("0-10 00aa aaaa aaaa", code(1024), memory=(Memory(0x6000, 0x6FFF),))
    readings = replace(read(bench, WHOLE), excluded=(Range(0x6000, 0x6FFF),))
    found = survey(readings, size=1024)
    assert found.functions[0].decode == {"A10": "0", "A11": "0", "A12": "0", "A13": "1", "A14": "unknown", "A15": "0"}
    assert any((r.first, r.last, r.kind) == (0x6000, 0x6FFF, "host") for r in found.regions)


def test_an_empty_socket_reading_takes_the_hosts_rom_out() -> None:
    bench = bench_of("1000 00aa aaaa aaaa", code(1024), memory=(Memory(0xF000, 0xFFFF, "rom", code(4096, 2)),))
    readings = read(bench, WHOLE).readings + read(bench, WHOLE, 1, "empty-socket").readings
    found = survey(ReadingSet(readings, 16))
    assert [(f.kind, f.size, f.copies[0].first) for f in found.functions] == [("rom", 1024, 0x8000)]
    assert any((r.first, r.last, r.kind) == (0xF000, 0xFFFF, "host") for r in found.regions)


def test_pull_readings_show_the_bits_that_nobody_drives() -> None:
    narrow = function_from_pattern("rom", "1010 0000 aaaa aaaa", code(256), driven=0x0F)
    bench = Bench(16, (Specimen((narrow,)),), floating=(Floating("address-high"),))
    window = ((0xA000, 0xA7FF),)
    readings = read(bench, window).readings
    for role in ("pulled-up", "pulled-down"):
        readings += read(bench, window, 1, role).readings
    function = survey(ReadingSet(readings, 16), size=256).functions[0]
    assert (function.width, function.driven) == (4, 0x0F)
    assert [function.level(line) for line in (8, 9, 10)] == ["0", "0", "0"]


def test_contention_is_named_where_the_host_answers_too() -> None:
    bench = bench_of("10-0 00aa aaaa aaaa", code(1024), memory=(Memory(0xA000, 0xA3FF, "rom", code(1024, 3)),))
    found = survey(read(bench, ((0x8000, 0xBFFF),)), size=1024)
    assert found.functions[0].level(13) == "any"
    assert [c.contended for c in found.functions[0].copies] == [False, True]


def test_ram_and_registers_beside_the_rom() -> None:
    rom = function_from_pattern("rom", "1001 01aa aaaa aaaa", code(1024))
    ram = function_from_pattern("ram", "1001 0000 10aa aaaa")
    ports = function_from_pattern("registers", "1001 0011 11-- aaaa")
    bench = Bench(16, (Specimen((rom, ram, ports)),), floating=(Floating("address-high"),))
    found = survey(read(bench, WHOLE, 3))
    assert [(f.kind, f.size) for f in found.functions] == [("rom", 1024), ("ram", 64), ("registers", 16)]
    wanted = {t.kind: t.decode for t in truth(bench)}
    for function in found.functions:
        assert function.decode == {f"A{line}": level for line, level in wanted[function.kind].items()}


@pytest.mark.parametrize("wide", [0x0C0, 0x1C0, 0x3F0])
def test_a_timer_that_runs_on_does_not_hide_two_copies_of_a_rom_read_once(wide: int) -> None:
    taken = np.tile(np.frombuffer(code(1024) + b"\xff" * 1024, np.uint8), 2).copy()
    counts = np.flatnonzero(np.arange(len(taken)) & (0x400 | wide) == 0x400 | 0x0C0 & wide)
    taken[counts] = 0xF0 - np.arange(len(counts)) // 2 % 256
    found = survey(ReadingSet((reading_of([(0x3000, taken.tobytes())]),), 16))
    rom = found.functions[0]
    assert rom.size == 1024
    assert [copy.first for copy in rom.copies] == [0x3000, 0x3800]


def test_two_roms_are_both_found_and_the_one_in_more_places_comes_first() -> None:
    one = Specimen((function_from_pattern("rom", "1000 00aa aaaa aaaa", code(1024)),))
    two = Specimen((function_from_pattern("rom", "11-- 0aaa aaaa aaaa", code(2048, 2)),))
    found = survey(read(Bench(16, (one, two)), WHOLE))
    assert [(f.size, len(f.copies)) for f in found.functions] == [(2048, 4), (1024, 1)]


def test_halves_that_differ_in_a_few_bytes_are_one_rom() -> None:
    half = bytearray(code(1024))
    other = bytearray(half)
    other[100] ^= 0x81
    other[700] ^= 0x42
    found = survey(read(bench_of("10-- 0aaa aaaa aaaa", bytes(half + other)), WHOLE, 3))
    assert [(f.size, len(f.copies)) for f in found.functions] == [(2048, 4)]


def test_equal_halves_give_the_shorter_size() -> None:
    found = survey(read(bench_of("1000 0aaa aaaa aaaa", code(1024) * 2), WHOLE))
    assert found.functions[0].size == 1024
    assert found.functions[0].level(10) == "any"


def test_a_blank_end_beside_the_same_bus_makes_the_size_ambiguous() -> None:
    found = survey(read(bench_of("1000 00aa aaaa aaaa", code(480) + b"\xff" * 544), WHOLE))
    assert found.functions[0].size == 512
    assert found.functions[0].sizes == (1024,)


def test_a_tail_that_is_not_what_the_bus_says_belongs_to_the_rom() -> None:
    found = survey(read(bench_of("1000 00aa aaaa aaaa", code(480) + b"\x00" * 544), WHOLE))
    assert found.functions[0].size == 1024


def test_an_unknown_line_comes_with_the_range_that_resolves_it() -> None:
    found = survey(read(bench_of("1-00 00aa aaaa aaaa", code(1024)), ((0x8000, 0x87FF),)), size=1024)
    items = {item.lines[0]: item.where for item in found.functions[0].read_next}
    assert set(items) == {"A11", "A12", "A13", "A14", "A15"}
    for line, where in items.items():
        assert where.first & ~0x3FF == 0x8000 ^ 1 << int(line[1:])


def test_nothing_there_is_nothing_found() -> None:
    for floating in (
        Floating("pulled", 0xFF),
        Floating("address-high"),
        Floating("noise"),
        Floating("decay", 0xFF, 8.0),
    ):
        bench = Bench(16, (), floating=(floating,))
        assert survey(read(bench, WHOLE, 3)).functions == ()


def test_four_gigabytes_apart_costs_what_was_read() -> None:
    pieces = [(0x10, code(64)), (0xFFFFFF00, code(64, 2))]
    found = survey(ReadingSet((reading_of(pieces, address_bits=32),), 32))
    assert sum(r.last - r.first + 1 for r in found.regions) == 128


def test_a_rom_seen_only_in_scattered_windows_is_one_function() -> None:
    bench = bench_of("0--- 0aaa aaaa aaaa", code(2048))
    found = survey(read(bench, ((0x25EC, 0x27FF), (0x4000, 0x5FFF))), size=2048)
    roms = [f for f in found.functions if f.kind == "rom"]
    assert len(roms) == 1
    assert 0x2000 in [c.first for c in roms[0].copies]


def test_a_function_without_selects_fills_the_bus() -> None:
    bench = Bench(12, (Specimen((Function("rom", tuple(range(8)), (), code(256)),)),))
    reading = reading_of(take(bench, ((0, 0xFFF),)), address_bits=12)
    function = survey(ReadingSet((reading,), 12)).functions[0]
    assert set(function.decode.values()) == {"any"}
    assert len(function.copies) == 16


def test_a_bus_that_says_its_address_is_learnt_beside_a_blank_half() -> None:
    data = bytes(np.random.default_rng(5).integers(1, 256, 2048, dtype=np.uint8)) + bytes(2048)
    made = Bench(
        16,
        (Specimen((function_from_pattern("rom", "1010 aaaa aaaa aaaa", data),)),),
        floating=(Floating("address-high"),),
    )
    function = survey(gather([reading_of(take(made, ((0xA000, 0xBFFF),), reading=i)) for i in (1, 2)])).functions[0]
    assert function.size == 4096


def test_a_small_rom_that_begins_blank_is_taken_whole() -> None:
    data = bytes(14) + bytes.fromhex("4c04bb4c0383a22a4c09") + bytes(8)
    made = Bench(
        16,
        (Specimen((function_from_pattern("rom", "0010 1001 1-0a aaaa", data),)),),
        floating=(Floating("address-high"),),
    )
    function = survey(gather([reading_of(take(made, ((0x2900, 0x29FF),), reading=i)) for i in (1, 2)])).functions[0]
    assert function.size == 32


def test_ram_that_repeats_does_not_make_the_rom_beside_it_larger() -> None:
    rng = np.random.default_rng(8)
    parts = (
        function_from_pattern("rom", "-1aa aaaa aaaa", rng.bytes(1024)),
        function_from_pattern("rom", "-00- 00aa aaaa", rng.bytes(64)),
    )
    made = Bench(12, (Specimen(parts),), floating=(Floating("constant", 0x0F),))
    passes = [reading_of(take(made, ((0x431, 0xFFF),), reading=i), address_bits=12) for i in (1, 2)]
    assert survey(gather(passes)).functions[0].size == 1024


@pytest.mark.parametrize("floating", [Floating("address-low"), Floating("pulled", 0xFF), Floating("constant", 0xAD)])
@pytest.mark.parametrize("count", [1, 2])
def test_ram_and_ports_side_by_side_are_no_piece_of_the_declared_rom(floating: Floating, count: int) -> None:
    parts = (
        function_from_pattern("rom", "0101 01aa aaaa aaaa", code(1024)),
        function_from_pattern("ram", "0101 0010 11aa aaaa", code(64, 2)),
        function_from_pattern("rom", "0101 0010 10aa aaaa", code(64, 3)),
    )
    made = Bench(16, (Specimen(parts),), floating=(floating,))
    found = survey(read(made, ((0x4000, 0x5FFF),), count), part=load_part("6530")).functions
    assert [(f.kind, f.size, f.copies[0].first) for f in found] == [
        ("rom", 1024, 0x5400),
        ("ram", 64, 0x5280),
        ("ram", 64, 0x52C0),
    ]


@settings(max_examples=25)
@given(
    st.integers(0, 3), st.integers(2, 5), st.integers(8, 12), STEADY, st.sampled_from(["1000", "1-00", "1--0"]), seeds
)
def test_a_table_that_repeats_itself_does_not_break_a_rom(
    quarter: int, period: int, lines: int, floating: tuple[Floating, ...], selects: str, seed: int
) -> None:
    data = bytearray(code(1 << lines, seed))
    piece = code(1 << period, seed + 1)
    wide = len(data) // 4
    data[quarter * wide : (quarter + 1) * wide] = (piece * wide)[:wide]
    pattern = (selects + "0" * (12 - lines)).ljust(16, "a")
    functions = survey(read(bench_of(pattern, bytes(data), floating=floating), WHOLE)).functions
    assert [(f.kind, f.size) for f in functions] == [("rom", 1 << lines)]
    assert [functions[0].level(line) for line in (15, 14, 13, 12)] == [{"-": "any"}.get(c, c) for c in selects]


@settings(max_examples=15)
@given(STEADY, seeds)
def test_mirrors_that_fill_the_other_half_are_no_part_of_the_rom(floating: tuple[Floating, ...], seed: int) -> None:
    parts = (
        function_from_pattern("rom", "10-- -0aa aaaa aaaa", code(1024, seed)),
        function_from_pattern("ram", "10-- -10- --aa aaaa", code(64, seed + 1)),
        function_from_pattern("ram", "10-- -11- ---- aaaa", code(16, seed + 2)),
    )
    functions = survey(read(Bench(16, (Specimen(parts),), floating=floating), WHOLE)).functions
    assert [(f.kind, f.size) for f in functions] == [("rom", 1024), ("ram", 64), ("registers", 16)]


def crossed(window: tuple[int, int], lines: tuple[int, ...], rom: dict[int, bytes]) -> ReadingSet:
    """Return two readings of a bus each data line of which follows an address line, inverted below 0."""
    address = np.arange(window[0], window[1] + 1)
    said = np.zeros(len(address), np.uint8)
    for bit, line in enumerate(lines):
        said |= ((address >> max(line, -1 - line) & 1 ^ (line < 0)) << bit).astype(np.uint8)
    for first, data in rom.items():
        said[first - window[0] : first - window[0] + len(data)] = np.frombuffer(data, np.uint8)
    return gather([reading_of([(window[0], said.tobytes())], address_bits=16) for _ in range(2)])


CROSSED = st.permutations(range(16)).flatmap(
    lambda lines: st.tuples(*(st.sampled_from([line, -1 - line]) for line in lines[:8]))
)


@settings(max_examples=25)
@given(CROSSED, st.integers(6, 12), st.integers(0, 7), seeds)
def test_a_bus_that_follows_any_address_lines_is_no_memory(
    lines: tuple[int, ...], level: int, place: int, seed: int
) -> None:
    window = (0x8000, 0x8000 + (8 << level) - 1)
    assert survey(crossed(window, lines, {})).functions == ()
    first = 0x8000 + (place << level)
    found = survey(crossed(window, lines, {first: code(1 << level, seed)})).functions
    assert [(f.size, f.copies[0].first) for f in found] == [(1 << level, first)]


@pytest.mark.parametrize("round_", [b"\xad\x34\x12", b"\x7e\x23\x05\xc2\x10", bytes(range(3, 250, 9))])
def test_a_bus_that_says_a_loop_of_the_host_again_and_again_is_no_memory(round_: bytes) -> None:
    said = (round_ * 4096)[:4096]
    assert not survey(gather([reading_of([(0x8000, said)])])).functions


def test_a_blank_stretch_before_the_vectors_belongs_to_the_rom_beside_a_bus_that_holds_its_last_byte() -> None:
    data = code(470) + b"\xff" * 548 + b"\x00\x04\x21\x04\x07\x05"
    address = np.arange(0xC000, 0x10000)
    said = ((address >> 8) * 37).astype(np.uint8)
    answers = address >> 13 & 1 == 1
    said[answers] = np.frombuffer(data, np.uint8)[address[answers] & 0x3FF]
    found = survey(gather([reading_of([(0xC000, said.tobytes())], address_bits=16) for _ in range(3)]))
    assert [(f.kind, f.size, len(f.copies)) for f in found.functions] == [("rom", 1024, 8)]


def test_ram_and_running_registers_between_stretches_of_bus_are_no_rom() -> None:
    address = np.arange(0x4000, 0x8000)
    said = (address >> 8).astype(np.uint8)
    rom = address & 0x2C00 == 0x0800
    said[rom] = np.frombuffer(code(1024), np.uint8)[address[rom] & 0x3FF]
    ram = address & 0x23C0 == 0x2100
    said[ram] = np.frombuffer(code(64, 2), np.uint8)[address[ram] & 0x3F]
    ports = address & 0x20C0 == 0x20C0
    said[ports] = np.frombuffer(code(16, 3), np.uint8)[address[ports] & 15]
    timer = ports & (address & 4 == 4)
    said[timer] = (-3 * np.cumsum(ports))[timer] & 0xFF
    found = survey(gather([reading_of([(0x4000, said.tobytes())], address_bits=16)]))
    assert [(f.size, len(f.copies)) for f in found.functions if f.kind == "rom"] == [(1024, 2)]


@settings(max_examples=20)
@given(st.sampled_from([0x01, 0x03, 0x07, 0x30]), st.integers(2, 4), st.integers(7, 12), seeds)
def test_halves_that_differ_in_single_bits_each_time_are_one_rom(mask: int, count: int, bits: int, seed: int) -> None:
    rng = np.random.default_rng(seed)
    half = np.frombuffer(code(1024, seed), np.uint8) & mask
    other = half.copy()
    other[rng.choice(1024, bits, replace=False)] ^= mask & -mask
    data = np.concatenate([half, other])
    address = np.arange(0x2000, 0x4000)
    said = np.where(address & 0x1800 == 0x0800, data[address & 0x7FF], 0).astype(np.uint8)
    found = survey(gather([reading_of([(0x2000, said.tobytes())], address_bits=16) for _ in range(count)]))
    assert found.functions[0].size == 2048


def test_a_bus_that_changes_where_the_rom_does_not_answer_is_no_copy_of_one_data_line() -> None:
    data = np.frombuffer(code(256), np.uint8) & 1 | np.frombuffer(code(256, 2), np.uint8) & 1
    address = np.arange(0x800, 0xC00)
    said = (address >> 8 & 1).astype(np.uint8)
    rom = address >> 8 == 0x0A
    said[rom] = data
    found = survey(gather([reading_of([(0x800, said.tobytes())], address_bits=16) for _ in range(2)]), size=256)
    assert [(f.size, [c.first for c in f.copies]) for f in found.functions] == [(256, [0xA00])]


def test_blocks_most_of_which_were_not_read_are_not_taken() -> None:
    pieces = [(0x7C00, code(1024)), (0x8000, code(2048, 2))]
    found = survey(gather([reading_of(pieces, address_bits=16) for _ in range(2)]))
    assert [(f.size, f.copies[0].first) for f in found.functions] == [(2048, 0x8000), (1024, 0x7C00)]


def test_a_part_whose_ram_and_ports_fill_as_much_as_its_rom_is_told_by_what_runs() -> None:
    rng = np.random.default_rng(3)
    address = np.arange(0x3000, 0x4000)
    rom, ports = np.frombuffer(code(1024), np.uint8), address & 0x800 == 0
    passes = []
    for _ in range(2):
        said = rom[address & 0x3FF].copy()
        said[ports] = np.frombuffer(code(16, 2), np.uint8)[address[ports] & 15]
        said[ports & (address & 0x1C0 == 0)] = np.tile(np.frombuffer(code(64, 3), np.uint8), 4)
        timer = ports & (address & 0x104 == 0x104)
        said[timer] = rng.integers(0, 256) - 3 * np.arange(np.count_nonzero(timer)) & 0xFF
        passes.append(reading_of([(0x3000, said.tobytes())], address_bits=16))
    found = survey(gather(passes), size=1024)
    roms = [f for f in found.functions if f.kind == "rom"]
    assert [c.first for c in roms[0].copies] == [0x3800, 0x3C00]


@settings(max_examples=20)
@given(CROSSED, st.integers(1, 15), st.integers(1, 15), st.integers(1, 3), st.sampled_from([None, 512, 1024]))
def test_a_window_that_begins_anywhere_on_a_bus_of_any_kind_shows_nothing(
    lines: tuple[int, ...], before: int, after: int, count: int, size: int | None
) -> None:
    lines = (*lines[:5], lines[0], lines[1], lines[0])
    bare = crossed((0x3290 + before, 0x4A40 + after), lines, {}).readings[0]
    assert (
        survey(
            gather([replace(bare, source=replace(bare.source, name=str(i))) for i in range(count)]), size=size
        ).functions
        == ()
    )


def test_a_small_rom_in_one_reading_is_found_on_a_bus_that_keeps_its_rule() -> None:
    found = survey(read(bench_of("1000 0001 000a aaaa", code(32)), ((0x8000, 0x81FF),), 1))
    assert [(f.size, f.copies[0].first) for f in found.functions] == [(32, 0x8100)]


def test_a_rom_that_begins_as_a_bus_of_another_kind_may_be_larger_than_its_end() -> None:
    data = bytes(range(0, 0xA8, 8)) + code(64)[:43]
    bench = bench_of("---- ---- 1-aa aaaa", data, floating=(Floating("address-low"),))
    (found,) = [f for f in survey(read(bench, ((0x8800, 0x8FFF),), 2)).functions if f.kind == "rom"]
    assert found.size == 64 or 64 in found.sizes


def test_no_rom_is_as_small_as_sixteen_bytes() -> None:
    data = bytes(7) + bytes.fromhex("83705c4a392a1d130c08") + bytes(111)
    bench = bench_of("---- ---- -aaa aaaa", data, floating=(Floating("decay"),))
    found = survey(read(bench, ((0x4400, 0x47FF),), 4)).functions[0]
    assert found.size >= 32 or found.sizes


@pytest.mark.parametrize("seed", range(4))
def test_a_rom_with_little_in_it_is_taken_whole_beside_a_noisy_bus(seed: int) -> None:
    rng = np.random.default_rng(seed)
    address = np.arange(0x4000, 0x8000)
    data = np.where(rng.random(8192) < 0.9, 0xFF, rng.integers(0, 256, 8192)).astype(np.uint8)
    passes = []
    for _ in range(2):
        noise = np.packbits(rng.random((len(address), 8)) < 0.01, axis=1)[:, 0]
        said = np.where(address & 0x2000, address >> 8 ^ noise, data[address & 0x1FFF]).astype(np.uint8)
        passes.append(reading_of([(0x4000, said.tobytes())], address_bits=16))
    found = survey(gather(passes), size=8192).functions
    assert [(f.size, f.copies[0].first) for f in found] == [(8192, 0x4000)]


def test_a_part_whose_ports_are_smaller_than_what_is_looked_at_is_surveyed() -> None:
    ports = function_from_pattern("rom", "1000 0001 000a aaaa", code(32))
    made = Bench(16, (Specimen((ports,)),), floating=(Floating("address-high"),))
    found = survey(read(made, ((0x8000, 0x8FFF),)), part=load_part("8755")).functions
    assert all(function.kind != "rom" or function.size == 2048 for function in found)
