"""The verdict and the findings that it rests on."""

from __future__ import annotations

import binascii
from dataclasses import replace

import numpy as np
import pytest

import examples
from faulty import FOG
from romassay.address import Range
from romassay.catalogue import load_part
from romassay.chain import Assay, Options, assay
from romassay.code.model import Check, Code
from romassay.finding import Finding, ranked
from romassay.judge import Judgement, judge
from romassay.judge.evidence import tells_of_itself
from romassay.reading import Hole, Reading, ReadingSet, Role, Source, reading_of
from romassay.rig import Host, Rig
from romassay.settle.model import Decision, Doubt, Image
from romassay.survey.model import Region
from romassay.twin import Bench, Floating, Memory, Specimen, function_from_pattern, take

DATA = bytes(np.random.default_rng(11).integers(0, 256, 1024, dtype=np.uint8))
WINDOW = ((0x8000, 0x8FFF),)
KIB, TWO_KIB = Options(part=load_part("2708")), Options(part=load_part("2316"))


def bench(data: bytes = DATA, pattern: str = "1000 -0aa aaaa aaaa", **changes: object) -> Bench:
    return Bench(16, (Specimen((function_from_pattern("rom", pattern, data),)),), **changes)  # type: ignore[arg-type]


def readings(made: Bench, count: int = 2, window: tuple[tuple[int, int], ...] = WINDOW) -> list[Reading]:
    return [
        replace(
            reading_of(take(made, window, reading=i + 1), unit="hex-digit"),
            source=Source(name=f"pass-{i}.log", sha256=f"{i:064x}"),
        )
        for i in range(count)
    ]


def kinds(result: Assay) -> dict[str, Finding]:
    return {f.kind: f for f in result.findings}


def test_a_decided_byte_never_counts_towards_confirmed() -> None:
    options = Options(
        size=1024,
        decisions=(
            (
                0,
                Decision(3, DATA[3], "I know"),
            ),
        ),
    )
    assert assay(readings(bench()), options).verdict == "provisional"
    assert assay(readings(bench()), Options(size=1024)).verdict == "confirmed"


def test_unknown_lines_make_a_short_window_that_does_not_block() -> None:
    result = assay(readings(bench()), Options(size=1024))
    finding = kinds(result)["short-window"]
    assert finding.lines == ("A12", "A13", "A14", "A15")
    assert not finding.blocks
    assert all(isinstance(where, Range) for where in finding.where)


def test_a_rig_leaves_only_lines_on_pins_in_a_short_window() -> None:
    wired = Rig(host=Host(address_bits=16), wiring={"CS1": "A13", **{f"A{i}": f"A{i}" for i in range(10)}})
    result = assay(readings(bench()), Options(size=1024, rig=wired))
    finding = kinds(result)["short-window"]
    assert finding.lines == ("A13",)
    assert [(where.first & 0xF000, where.last & 0xF000) for where in finding.where] == [(0xA000, 0xA000)]
    none = Rig(host=Host(address_bits=16), wiring={f"A{i}": f"A{i}" for i in range(10)})
    assert "short-window" not in kinds(assay(readings(bench()), Options(size=1024, rig=none)))


def test_holes_are_a_dropout_that_blocks_only_where_bytes_are_thin() -> None:
    plain = readings(bench(pattern="1000 00aa aaaa aaaa"), 3)
    gap = reading_of([(0x8000, DATA[:100]), (0x8074, DATA[0x74:]), (0x8400, b"\xff" * 0xC00)], unit="hex-digit")
    damaged = replace(gap, holes=(Hole(0x8064, 0x8073, 9, "too short"),), source=Source("bad.log", "f" * 64))
    fine = assay([*plain[:2], damaged], KIB)
    assert fine.verdict == "confirmed"
    assert not kinds(fine)["link-dropout"].blocks
    thin = assay([plain[0], damaged], KIB)
    assert thin.verdict == "provisional"
    assert kinds(thin)["link-dropout"].blocks
    assert kinds(thin)["link-dropout"].where == (Range(0x8064, 0x8073),)


def test_contention_blocks_and_names_the_place() -> None:
    made = bench(pattern="10-0 00aa aaaa aaaa", memory=(Memory(0xA000, 0xA3FF, "rom"),))
    result = assay(readings(made, window=((0x8000, 0xBFFF),)), Options(size=1024))
    assert kinds(result)["contention"].where == (Range(0xA000, 0xA3FF),)
    assert result.verdict == "provisional"


def test_equal_halves_of_a_declared_size_are_half_an_image() -> None:
    result = assay(readings(bench(DATA[:512] * 2)), Options(size=1024))
    assert kinds(result)["half-image"].lines == ("A9",)
    assert result.verdict == "provisional"


def test_four_bits_wide() -> None:
    narrow = function_from_pattern("rom", "1000 -0aa aaaa aaaa", DATA, driven=0x0F)
    made = Bench(16, (Specimen((narrow,)),), floating=(Floating("address-high"),))
    result = assay(readings(made), Options(size=1024))
    finding = kinds(result)["undriven-bits"]
    assert finding.lines == ("D4", "D5", "D6", "D7")
    assert not finding.blocks
    assert result.image is not None
    assert (result.image.value & 0x0F).tolist() == [b & 0x0F for b in DATA]


def test_a_blank_part_against_an_empty_socket() -> None:
    made = bench(b"\xff" * 1024, floating=(Floating("address-high"),))
    empty = reading_of(take(made, WINDOW, role="empty-socket"))
    control = replace(empty, role="empty-socket", source=Source("empty.log", "e" * 64))
    result = assay([*readings(made), control], Options(size=1024))
    assert kinds(result)["blank"].blocks
    assert result.verdict == "provisional"


def test_two_memories_seen_once_each_are_not_told_apart() -> None:
    made = bench(pattern="1000 00aa aaaa aaaa", memory=(Memory(0xC000, 0xC7FF, "rom"),))
    result = assay(readings(made, window=((0x8000, 0xFFFF),)))
    assert kinds(result)["ram-or-rom"].blocks
    declared = assay(readings(made, window=((0x8000, 0xFFFF),)), Options(size=1024), exclude=[Range(0xC000, 0xC7FF)])
    assert declared.verdict == "confirmed"


@pytest.mark.parametrize("size", [64, 128])
def test_a_block_of_the_size_of_a_ram_is_not_confirmed_as_rom_by_itself(size: int) -> None:
    made = bench(DATA[:size], pattern="1000 --00 0" + ("0" if size == 64 else "a") + "aa aaaa")
    assert assay(readings(made)).verdict == "provisional"
    assert assay(readings(made), Options(size=size)).verdict == "confirmed"


def test_findings_that_block_come_first_then_by_probability() -> None:
    made = [
        Finding("short-window", False, "a", "b", 1.0),
        Finding("half-image", True, "a", "b", 0.6),
        Finding("weak-bits", True, "a", "b", 0.9),
    ]
    assert [f.kind for f in ranked(tuple(made))] == ["weak-bits", "half-image", "short-window"]


def test_a_size_is_not_confirmed_where_what_follows_was_not_read() -> None:
    half = assay(readings(bench(pattern="1000 00aa aaaa aaaa"), window=((0x8000, 0x81FF),)))
    assert kinds(half)["size-ambiguous"].blocks
    assert half.verdict == "provisional"
    declared = assay(readings(bench(pattern="1000 00aa aaaa aaaa"), window=((0x8000, 0x83FF),)), KIB)
    assert declared.verdict == "confirmed"


def test_a_quarter_of_blank_that_ends_as_a_chip_would_leaves_the_size_open() -> None:
    made = bench(DATA[:768] + b"\xff" * 256, floating=(Floating("pulled", 0xFF),))
    result = assay(readings(made))
    assert len(result.images[0]) == 1024
    assert kinds(result)["size-ambiguous"].blocks
    ragged = bench(DATA[:700] + b"\xff" * 324, "1000 0-aa aaaa aaaa", floating=(Floating("pulled", 0xFF),))
    assert "size-ambiguous" not in kinds(assay(readings(ragged)))


def test_a_rom_seen_at_one_place_needs_a_word_of_the_person_or_the_empty_socket() -> None:
    whole = FOG[:-2].tobytes() + binascii.crc_hqx(FOG[:-2].tobytes(), 0).to_bytes(2, "little")
    checked = bench(whole, "1000 00aa aaaa aaaa", floating=(Floating("address-high"),))
    assert assay(readings(checked)).verdict == "confirmed"
    blocks = bench(FOG.tobytes(), "1000 00aa aaaa aaaa", floating=(Floating("address-high"),))
    assert assay(readings(blocks)).verdict == "provisional"  # each half has a sum: they may be two chips
    unchecked = FOG.copy()
    unchecked[0x2F0] ^= 0x01
    made = bench(unchecked.tobytes(), "1000 00aa aaaa aaaa", floating=(Floating("address-high"),))
    doubted = assay(readings(made))
    assert kinds(doubted)["size-ambiguous"].blocks
    assert "at 8000 only" in kinds(doubted)["size-ambiguous"].evidence
    assert assay(readings(made), Options(size=1024)).verdict == "confirmed"

    def beside(window: tuple[tuple[int, int], ...]) -> Assay:
        empty = reading_of(take(made, window, role="empty-socket"))
        return assay([*readings(made), replace(empty, role="empty-socket", source=Source("empty.log", "e" * 64))])

    assert beside(WINDOW).verdict == "confirmed"
    assert beside(((0x9000, 0x9FFF),)).verdict == "provisional"
    twice = bench(unchecked.tobytes(), "1000 -0aa aaaa aaaa", floating=(Floating("address-high"),))
    assert assay(readings(twice)).verdict == "confirmed"


def pulled_both(made: Bench) -> list[Reading]:
    """Read a bench with the data lines pulled up, and pulled down."""
    return [
        replace(
            readings(replace(made, floating=(Floating("pulled", level),)), 1)[0],
            role=role,
            source=Source(f"{role}.log", f"{level:064x}"),
        )
        for role, level in (("pulled-up", 0xFF), ("pulled-down", 0x00))
    ]


def test_a_cell_that_reads_otherwise_where_it_is_pulled_is_weak_though_all_readings_agree() -> None:
    made, weak = bench(), bytearray(DATA)
    weak[0x123] ^= 0x10
    failing = bench(bytes(weak))
    assert assay([*readings(made), *pulled_both(made)], Options(size=1024)).verdict == "confirmed"
    result = assay([*readings(failing), *pulled_both(made)], Options(size=1024))
    assert kinds(result)["weak-bits"].offsets == (0x123,)
    assert result.verdict == "provisional"


def test_over_a_line_that_damages_characters_one_pulled_byte_alone_says_nothing() -> None:
    made, weak = bench(pattern="1000 00aa aaaa aaaa"), bytearray(DATA)
    weak[0x123] ^= 0x10
    torn = tuple(
        replace(reading, holes=(Hole(0x8FF0, 0x8FFF, 9, "too short"),)) for reading in pulled_both(bench(bytes(weak)))
    )
    once = [torn[0], pulled_both(made)[1]]
    assert "weak-bits" not in kinds(assay([*readings(made), *once], Options(size=1024)))
    assert kinds(assay([*readings(made), *torn], Options(size=1024)))["weak-bits"].offsets == (0x123,)


def test_pulled_readings_of_another_specimen_are_told() -> None:
    other = bench(DATA[::-1])
    result = assay([*readings(bench()), *pulled_both(other)], Options(size=1024))
    assert kinds(result)["mixed-specimens"].blocks
    assert result.verdict == "provisional"


@pytest.mark.parametrize("fill", [0xFF, 0x00])
def test_what_reads_as_blank_bytes_behind_a_rom_of_no_declared_size_leaves_it_open(fill: int) -> None:
    made = bench(DATA[:1024], "1000 -0aa aaaa aaaa", floating=(Floating("pulled", fill),))
    open_size = assay(readings(made))
    found = kinds(open_size)["size-ambiguous"]
    assert (open_size.verdict, found.blocks) == ("provisional", True)
    assert f"reads {fill:02X} throughout" in found.evidence
    assert assay(readings(made), Options(size=1024)).verdict == "confirmed"
    other = bench(DATA[:1024], "1000 -0aa aaaa aaaa", floating=(Floating("address-high"),))
    assert "size-ambiguous" not in kinds(assay(readings(other)))
    before = bench(DATA[:1024], "1000 -1aa aaaa aaaa", floating=(Floating("pulled", fill),))
    assert not kinds(assay(readings(before)))["size-ambiguous"].blocks


def test_pulling_the_bus_away_from_what_blank_bytes_hold_settles_the_size() -> None:
    made = bench(DATA[:1024], "1000 -0aa aaaa aaaa", floating=(Floating("pulled", 0xFF),))
    away = bench(DATA[:1024], "1000 -0aa aaaa aaaa", floating=(Floating("pulled", 0x00),))
    pulled = replace(readings(away, 1)[0], role="pulled-down", source=Source("down.log", "d" * 64))
    assert "size-ambiguous" not in kinds(assay([*readings(made), pulled]))


def test_what_reads_as_blank_bytes_before_a_rom_counts_where_the_bus_says_something_else() -> None:
    made = bench(b"\xff" * 1024 + DATA, "1000 -aaa aaaa aaaa", floating=(Floating("address-high"),))
    result = assay(readings(made, window=((0x8000, 0x9FFF),)))
    assert len(result.images[0]) == 2048 or kinds(result)["size-ambiguous"].blocks


def controlled(fill: int, role: Role, data: bytes, pull: int | None = None) -> Assay:
    """Assay a ROM at 8800 on a bus at one level, with a control reading: with a specimen where it was pulled."""

    def window(level: int, *, specimen: bool) -> bytes:
        said = bytearray([level]) * 0x2000
        said[0x800 : 0x800 + len(data)] = data if specimen else said[0x800 : 0x800 + len(data)]
        return bytes(said)

    passes = [reading_of([(0x8000, window(fill, specimen=True))]) for _ in range(2)]
    control = reading_of([(0x8000, window(fill if pull is None else pull, specimen=pull is not None))])
    return assay([*passes, replace(control, role=role)], TWO_KIB)


@pytest.mark.parametrize("fill", [0xFF, 0x00])
def test_controls_do_not_make_the_bus_the_blank_half_of_a_rom(fill: int) -> None:
    half, whole = DATA[:1024], DATA[:1024] + bytes([fill]) * 1024
    pulled: Role = "pulled-down" if fill else "pulled-up"
    assert kinds(controlled(fill, "empty-socket", half))["half-image"].blocks
    assert kinds(controlled(fill, pulled, half, fill ^ 0xFF))["half-image"].blocks
    assert controlled(fill, pulled, whole, fill ^ 0xFF).verdict == "confirmed"


def test_a_constant_bus_is_no_part_of_a_rom_whatever_the_control() -> None:
    assert kinds(controlled(0xB1, "empty-socket", DATA[:1024]))["half-image"].blocks


def test_a_program_cut_off_by_a_blank_block_is_doubted() -> None:
    program = FOG
    hollow = program.copy()
    hollow[0x200:0x280] = 0xFF
    hollow[[0x1FF, 0x280]] = 0x60
    made = readings(bench(hollow.tobytes(), "1000 00aa aaaa aaaa"))
    assert kinds(assay(made, Options(size=1024)))["address-lines-bridged"].blocks
    assert assay(readings(bench(program.tobytes(), "1000 00aa aaaa aaaa")), Options(size=1024)).verdict == "confirmed"


def plain(first: int, data: bytes, number: int) -> Reading:
    source = Source(f"{number}.bin", f"{number:064x}", "raw-binary")
    return replace(reading_of([(first, data)]), source=source)


@pytest.mark.parametrize(("first", "verdict"), [(0x8000, "confirmed"), (0x9400, "confirmed"), (0x8010, "provisional")])
def test_plain_files_are_confirmed_only_where_their_base_can_not_turn_the_image_round(first: int, verdict: str) -> None:
    data = DATA * 4 + b"\xff" * 4096
    result = assay([plain(first, data, 1), plain(first, data, 2)], Options(size=1024))
    assert result.verdict == verdict
    assert "place-not-shown" in result.limits
    assert ("place-not-shown" in kinds(result)) == (verdict == "provisional")
    shown = replace(plain(first, data, 3), source=Source("3.log", "3" * 64, "text-dump", "where=line address=hex4"))
    assert "place-not-shown" not in assay([plain(first, data, 1), shown], Options(size=1024)).limits


def test_something_stray_beside_a_rom_leaves_its_size_open() -> None:
    stray = function_from_pattern("rom", "1000 0100 1010 aaaa", DATA[:16])
    rom = function_from_pattern("rom", "1000 00aa aaaa aaaa", DATA)
    made = Bench(16, (Specimen((rom, stray)),), floating=(Floating("pulled", 0xFF),))
    result = assay(readings(made))
    assert kinds(result)["size-ambiguous"].blocks


def test_two_copies_that_differ_in_a_few_bytes_are_both_doubted() -> None:
    other = bytearray(DATA)
    other[5] ^= 0x63
    twins = (
        function_from_pattern("rom", "1000 00aa aaaa aaaa", DATA),
        function_from_pattern("rom", "1001 00aa aaaa aaaa", bytes(other)),
    )
    made = Bench(16, (Specimen(twins),), floating=(Floating("address-high"),))
    result = assay(readings(made, window=((0x8000, 0x9FFF),)), Options(size=1024))
    assert result.verdict == "provisional"


def test_the_rom_comes_first_though_the_ram_repeats_and_it_does_not() -> None:
    parts = (
        function_from_pattern("rom", "1000 01aa aaaa aaaa", DATA),
        function_from_pattern("rom", "1000 0000 --aa aaaa", DATA[::16]),
    )
    made = Bench(16, (Specimen(parts),), floating=(Floating("address-high"),))
    result = assay(readings(made))
    assert bytes(result.images[0]) == DATA
    assert kinds(result)["ram-or-rom"].blocks


def test_a_declared_size_does_not_tell_the_hosts_ram_from_a_rom_beside_what_repeats() -> None:
    specimen = function_from_pattern("ram", "1001 000- -aaa aaaa", DATA[:128])
    made = Bench(16, (Specimen((specimen,)),), (Memory(0x8000, 0x83FF, "rom"),), floating=(Floating("address-high"),))
    result = assay(readings(made, window=((0x8000, 0x97FF),)), Options(size=1024))
    assert result.verdict == "provisional"
    assert kinds(result)["ram-or-rom"].blocks


# --- the verdict on hand-made values: whatever survey and settle would make of it -----------------------------------


def verdict_on(made: Image, *, count: int = 3, duplicates: tuple[str, ...] = ()) -> Judgement:
    base = examples.confirmed()
    readings = ReadingSet(examples.readings(count), 16, duplicates=duplicates)
    return judge(readings, base.survey, (made,), size=1024)


def test_a_byte_in_doubt_keeps_every_image_from_being_confirmed() -> None:
    assert verdict_on(examples.image()).verdict == "confirmed"
    doubt = Doubt(5, ((0x41, 2, 0.6), (0x43, 2, 0.4)))
    assert verdict_on(examples.image(doubtful=(doubt,))).verdict == "provisional"
    assert verdict_on(examples.image(decided=(Decision(5, 0x41, "seen on the label"),))).verdict == "provisional"
    once = np.full(1024, 3, np.int32)
    once[7] = 1
    assert verdict_on(examples.image(readings=once)).verdict == "provisional"


def test_a_file_given_twice_blocks_only_where_too_few_are_left() -> None:
    def found(count: int) -> Finding:
        made = examples.image(confidence=examples.confidence(readings=count))
        judged = verdict_on(made, count=count, duplicates=("copy.log",))
        return next(f for f in judged.findings if f.kind == "duplicate-reading")

    assert not found(2).blocks
    assert found(1).blocks


def test_one_power_up_is_a_limit_and_two_are_not() -> None:
    for sessions, limited in ((1, True), (2, False)):
        judged = verdict_on(examples.image(confidence=examples.confidence(sessions=sessions)))
        assert ("no-power-cycle" in judged.limits) is limited


def test_a_memory_seen_once_beside_a_rom_that_repeats_may_be_the_hosts() -> None:
    made = examples.two_roms()
    for excluded, doubted in (((), True), (made.readings.excluded, False)):
        readings = ReadingSet(made.readings.readings, 16, excluded)
        kinds = {(f.kind, f.function) for f in judge(readings, made.survey, made.images, size=1024).findings}
        assert (("ram-or-rom", 1) in kinds) is doubted


@pytest.mark.parametrize("checked", [(True, False), (True, True), (False, False)])
def test_a_check_of_its_own_does_not_tell_the_specimens_memory_from_the_hosts(checked: tuple[bool, bool]) -> None:
    made = examples.two_roms()
    functions = tuple(replace(f, copies=f.copies[:1]) for f in made.survey.functions)
    found = replace(made.survey, functions=functions)
    readings = ReadingSet(made.readings.readings, 16)
    own = (Check("crc-16/xmodem", 0, 1021, 1022, 1, 1e-5),)
    codes = [Code("6502", (("6502", 1.0),), checks=own if one else ()) for one in checked]
    kinds = {f.kind for f in judge(readings, found, made.images, codes=codes).findings}
    assert "ram-or-rom" in kinds


@pytest.mark.parametrize(
    ("first", "last", "stored", "whole"),
    [
        (0, 1021, 1022, True),
        (0, 1015, 1016, True),  # up to the vectors
        (0, 1023, 3, True),
        (8, 1021, 1022, True),  # behind a header
        (0, 1023, None, True),
        (0, 509, 510, False),  # of the first half alone
        (512, 1021, 1022, False),
        (0, 699, 1022, False),
    ],
)
def test_only_a_check_of_all_of_it_tells_that_an_image_is_whole(
    first: int, last: int, stored: int | None, whole: bool
) -> None:
    image = examples.two_roms().images[0]
    code = Code("6502", (("6502", 1.0),), checks=(Check("crc-16/xmodem", first, last, stored, 1, 1e-5),))
    assert tells_of_itself([code], [image]) is whole
    assert not tells_of_itself([code, code], [image, image])


def test_a_rom_of_no_code_seen_once_is_doubted_beside_what_is_not_clear() -> None:
    base = examples.confirmed()
    alone = replace(base.survey.functions[0], copies=base.survey.functions[0].copies[:1])
    unclear = Region(0x9000, 0x90FF, "unknown")
    for regions, code, excluded, doubted in (
        ((unclear,), None, (), True),
        ((), None, (), False),
        ((unclear,), "6502", (), False),
        ((unclear,), None, (Range(0x9000, 0x90FF),), False),
    ):
        found = replace(base.survey, functions=(alone,), regions=regions)
        readings = ReadingSet(examples.readings(3), 16, excluded)
        codes = (Code(code, ((code, 1.0),)),)
        judged = judge(readings, found, (examples.image(),), size=1024, codes=codes)
        assert ("ram-or-rom" in {f.kind for f in judged.findings if f.blocks}) is doubted, (regions, code, excluded)


@pytest.mark.parametrize("half", [0, 512])
def test_where_the_hosts_memory_covers_half_of_a_mirror_the_other_half_is_not_the_rom(half: int) -> None:
    made = bench(pattern="1000 -0aa aaaa aaaa", floating=(Floating("address-high"),))
    over = replace(made, memory=(Memory(0x8000 + half, 0x81FF + half, "rom"),))
    result = assay(readings(over))
    assert result.verdict == "provisional"
    assert kinds(result)["size-ambiguous"].blocks
    assert assay(readings(over), Options(size=1024)).verdict == "provisional"


def test_two_roms_that_share_a_select_leave_no_doubt_of_their_size() -> None:
    other = FOG.copy()
    other[0x2F0] ^= 0x01
    twins = (
        function_from_pattern("rom", "1000 -00a aaaa aaaa", FOG.tobytes()[:512]),
        function_from_pattern("rom", "1000 -01a aaaa aaaa", DATA[:512]),
    )
    made = Bench(16, (Specimen(twins),), floating=(Floating("address-high"),))
    assert "beside it, across" not in str(assay(readings(made)).findings)


def test_what_drives_against_a_copy_is_no_reading_of_the_rom() -> None:
    """The empty socket shows the host's memory, the specimen's readings the bits that both leave high."""
    host = DATA[::-1][:256]
    said = bytearray(DATA + bytes(range(256)) * 12)
    alone = bytearray(bytes(range(256)) * 16)
    said[0x100:0x200] = bytes(a & b for a, b in zip(DATA[0x100:0x200], host, strict=True))
    alone[0x100:0x200] = host
    passes = [replace(reading_of([(0x8000, bytes(said))]), source=Source(f"{i}.log", f"{i:064x}")) for i in range(2)]
    empty = replace(reading_of([(0x8000, bytes(alone))]), role="empty-socket", source=Source("e.log", "e" * 64))
    result = assay([*passes, empty], KIB)
    assert result.verdict == "provisional"
    assert result.images[0].readings[0x100:0x200].max() == 0


@pytest.mark.parametrize("line", range(4))
def test_a_dead_line_of_a_rom_of_32_bytes_is_told(line: int) -> None:
    data = DATA[:32]
    stuck = bytes(data[i & ~(1 << line)] for i in range(32))
    made = bench(stuck, pattern="1000 0000 --0a aaaa", floating=(Floating("address-high"),))
    assert kinds(assay(readings(made), Options(size=32)))["address-line-stuck"].lines == (f"A{line}",)
    whole = bench(data, pattern="1000 0000 --0a aaaa", floating=(Floating("address-high"),))
    assert "address-line-stuck" not in kinds(assay(readings(whole), Options(size=32)))
