"""What a person is told: each fact is looked for in the words, with no colour to lean on."""

from __future__ import annotations

import dataclasses
import zlib

import pytest

import examples
from romassay.address import Cube, Range
from romassay.chain import Assay
from romassay.finding import KINDS, Finding
from romassay.report.picture import address_map, pattern
from romassay.report.summary import Setting, decode_in_words, summary
from romassay.report.text import render, width_of
from romassay.report.words import FINDINGS, LIMITS, REGIONS
from romassay.settle.model import Doubt
from romassay.survey.model import Copy, Function, Region, Survey

IN_DOCKET = Setting("romassay assay -o fog", keeps=True, written=("fog/assay.json", "fog/image.bin"))


def text_of(assay: Assay, setting: Setting | None = None, *, width: int = 80) -> str:
    return render(summary(assay, setting, width=width), colour=False)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_the_first_lines_say_what_was_found_and_how_sure() -> None:
    first, second, third = text_of(examples.confirmed()).splitlines()[:3]
    assert first == "CONFIRMED: 1 KiB of ROM at 8400 with 3 mirrors."
    assert f"{second} {third}" == (
        "Every byte is settled from 3 independent readings or more, none is in doubt, and no finding stands against it."
    )


@pytest.mark.parametrize(
    ("name", "reasons"),
    [
        ("provisional", "weak bits; 1 byte in doubt"),
        ("single", "one reading only"),
        ("decided", "weak bits; 1 byte decided by hand"),
    ],
)
def test_a_provisional_result_says_why(name: str, reasons: str) -> None:
    text = text_of(examples.ALL[name]())
    assert text.startswith("PROVISIONAL: ")
    assert f"Not confirmed, because: {reasons}." in flat(text)


def test_nothing_found_names_the_window_and_gives_no_image() -> None:
    text = text_of(examples.not_found())
    assert text.startswith("NOT FOUND: nothing in 8000-9FFF answers like a ROM.\n")
    assert "CRC-32" not in text
    assert "With the power off, check the wires of supply" in text


def test_the_image_is_named_by_place_mirrors_and_digests() -> None:
    text = text_of(examples.confirmed())
    assert "1 KiB at 8400-87FF; mirrors at 8C00, 9400, 9C00" in text
    assert "CRC-32     5f12e6b1\n" in text
    assert "SHA-256    f73972518d934659c0595194489df1b464503d3919a915b510d3470c9d5ff5c4\n" in text


def test_the_decode_is_shown_as_a_pattern_and_in_words() -> None:
    lines = text_of(examples.confirmed()).splitlines()
    at = next(i for i, line in enumerate(lines) if line.startswith("Decode"))
    assert lines[at] == "Decode     A15  A11  A7   A3"
    assert lines[at + 1] == "           10?x 01.. .... ....   x don't care   ? not exercised   . own line"
    assert "Answers when A15 and A10 are 1 and A14 and A11 are 0. Don't care: A12. Not exercised: A13." in flat(
        text_of(examples.confirmed())
    )


def test_how_sure_gives_the_bound_and_what_it_covers() -> None:
    text = flat(text_of(examples.provisional()))
    assert "Each byte was seen 12 times or more (3 readings, 4 places, 1 power-up)." in text
    assert "9 observations differ from the result." in text
    assert "1.3 of 1024 bytes are wrong. That covers random line errors only; the bytes in doubt come on top." in text
    assert "fewer than 0.001 of 1024 bytes" in flat(text_of(examples.confirmed()))


def test_doubts_and_decisions_are_listed_by_offset() -> None:
    assert "offset 0123: 4A seen 7 times and 42 seen 5 times" in text_of(examples.provisional())
    assert "offset 0123 is 4A: the listing's branch ends there" in text_of(examples.decided())


def test_the_closest_votes_come_first_and_what_was_never_seen_is_no_vote() -> None:
    base = examples.provisional()
    far, close, never = Doubt(3, ((1, 63, 0.9), (2, 1, 0.1))), Doubt(9, ((1, 5, 0.6), (2, 4, 0.4))), Doubt(1, ())
    image = dataclasses.replace(base.images[0], doubtful=(never, far, close))
    text = flat(text_of(dataclasses.replace(base, images=(image,))))
    assert "offset 0009: 01 seen 5 times and 02 seen 4 times offset 0003: 01 seen 63 times and 02 seen once" in text
    assert "2 bytes in doubt" in text


def test_a_narrow_rom_says_which_data_lines_it_drives() -> None:
    base = examples.confirmed()
    narrow = dataclasses.replace(base.survey.functions[0], width=4, driven=0x0F)
    text = text_of(dataclasses.replace(base, survey=dataclasses.replace(base.survey, functions=(narrow,))))
    assert "1 KiB, 4 bits wide (D0, D1, D2 and D3) at 8400-87FF" in flat(text)
    assert "bits wide" not in text_of(base)


@pytest.mark.parametrize(
    ("bound", "said"),
    [
        (0.0009, "fewer than 0.001"),
        (0.0123, "at most 0.013"),
        (1.3, "at most 1.3"),
        (9.91, "at most 10"),
        (10.2, "at most 11"),
        (1023.3, "at most 1024"),
    ],
)
def test_a_bound_is_never_rounded_down(bound: float, said: str) -> None:
    image = examples.image(confidence=examples.confidence(wrong_bytes_upper_bound=bound))
    assert f"At 95%, {said} of 1024 bytes are wrong." in flat(
        text_of(dataclasses.replace(examples.confirmed(), images=(image,)))
    )


def test_a_bound_that_bounds_nothing_is_not_given_as_a_figure() -> None:
    image = examples.image(confidence=examples.confidence(wrong_bytes_upper_bound=1024.0))
    text = flat(text_of(dataclasses.replace(examples.confirmed(), images=(image,))))
    assert "Nothing bounds the number of wrong bytes: there is too little to compare." in text
    assert "of 1024 bytes are wrong" not in text


def test_offsets_that_follow_each_other_are_one_range() -> None:
    finding = Finding("link-corruption", blocks=False, offsets=(9, 0x20, 0x21, 0x22, 0x24), evidence="noisy", advice="")
    assert "offsets 0009, 0020-0022, 0024\n" in text_of(dataclasses.replace(examples.confirmed(), findings=(finding,)))


def test_a_short_window_names_its_lines_and_leaves_the_ranges_to_the_advice() -> None:
    text = text_of(dataclasses.replace(examples.confirmed(), findings=(examples.SHORT,)))
    assert "- window too short for some lines: A13\n" in text


def test_one_address_is_no_range() -> None:
    finding = Finding("link-dropout", blocks=False, where=(Range(0x4E34, 0x4E34),), evidence="lost", advice="")
    assert "on the line: 4E34\n" in text_of(dataclasses.replace(examples.confirmed(), findings=(finding,)))


def test_findings_that_block_are_marked_without_colour() -> None:
    lines = text_of(examples.provisional()).splitlines()
    assert "Findings   ! weak bits: D3, offsets 0123, 0145" in lines
    assert "           - window too short for some lines: A13" in lines
    assert "           ! stands against 'confirmed'" in lines
    assert "! stands" not in text_of(examples.confirmed())


def test_limits_and_next_steps_are_whole_sentences_and_commands() -> None:
    text = flat(text_of(examples.confirmed(), IN_DOCKET))
    assert all(LIMITS[limit] in text for limit in examples.confirmed().limits)
    assert "Read A400-A7FF too: to learn whether A13 counts. romassay assay -o fog NEW.log" in text
    assert "romassay assay -o fog --session 2 NEW.log" in text
    assert "romassay assay -o fog --empty-socket EMPTY.log" in text
    assert "romassay assay -o fog --part TYPE" in text
    assert "-o DIR" not in text
    assert "Written fog/assay.json fog/image.bin" in text


def test_without_a_docket_the_steps_start_from_the_call_itself() -> None:
    text = flat(text_of(examples.confirmed(), Setting("romassay assay a.log b.log")))
    assert "to which the next ones are added. romassay assay a.log b.log -o DIR 2. Read A400" in text
    assert text.count("a.log b.log") == 1
    assert "romassay assay -o DIR --session 2 NEW.log" in text
    assert "Written" not in text


def test_more_readings_are_asked_for_by_number() -> None:
    text = flat(text_of(examples.provisional(), IN_DOCKET))
    assert "Take 4 more readings of 8400-87FF: the bound then falls under 0.01 wrong bytes." in text
    assert "Take 1 more reading of 8400-87FF" in flat(text_of(examples.single(), IN_DOCKET))
    assert "more reading" not in text_of(examples.confirmed())


def test_a_further_rom_that_may_be_the_hosts_is_said_to_be_open() -> None:
    made = examples.two_roms()
    doubt = Finding("ram-or-rom", False, "it appears once", "exclude it", 0.7, function=made.images[1].function)
    text = flat(text_of(dataclasses.replace(made, findings=(*made.findings, doubt))))
    assert "The verdict is on all of them, but whether ROM 2 is the specimen's is open." in text


def test_further_roms_are_named_and_told_apart() -> None:
    text = flat(text_of(examples.two_roms()))
    assert text.startswith("PROVISIONAL: 1 KiB of ROM at 8400 with 3 mirrors.")
    assert "Also found: 256 bytes of ROM at 7000. The verdict is on all of them." in text
    assert "ROM 2 256 bytes at 7000-70FF, no mirror" in text
    assert f"CRC-32 {zlib.crc32(bytes(examples.two_roms().images[1])):08x}, image-2.bin" in text
    assert "0000-1FFF 8 KiB host memory (left out)" in text


def test_readings_show_role_session_holes_and_doubles() -> None:
    base = examples.confirmed()
    readings = examples.readings(3, sessions=("one", "two"))
    control = dataclasses.replace(readings[0], role="empty-socket")
    changed = dataclasses.replace(base.readings, readings=(control, *readings[1:]), duplicates=("copy.log",))
    text = flat(text_of(dataclasses.replace(base, readings=changed)))
    assert "pass-1.log 8000-9FFF: empty socket, session one, 8192 bytes" in text
    assert "pass-2.log 8000-9FFF: session two, 8192 bytes, 1 hole, 1 bad line" in text
    assert "copy.log: the same file as an earlier one, not counted" in text


@pytest.mark.parametrize("name", examples.ALL)
@pytest.mark.parametrize("width", [40, 60, 80, 100])
def test_it_fits_the_screen(name: str, width: int) -> None:
    lines = summary(examples.ALL[name](), IN_DOCKET, width=width)
    for line in lines:
        text = "".join(segment.text for segment in line).strip()
        whole = text.startswith(("SHA-256 ", "romassay ", "docket/"))  # to be copied as it stands: never broken
        assert width_of(line) <= width or whole, text
    assert not any(line and not "".join(s.text for s in line).strip() for line in lines)


@pytest.mark.parametrize("name", examples.ALL)
def test_colour_repeats_what_the_words_say(name: str) -> None:
    lines = summary(examples.ALL[name](), IN_DOCKET)
    plain, coloured = render(lines, colour=False), render(lines, colour=True)
    assert "\x1b" not in plain
    assert "\x1b[" in coloured
    import re

    assert re.sub(r"\x1b\[[0-9;]*m", "", coloured).split() == plain.split()


def test_plain_characters_only() -> None:
    assert all(text_of(make(), IN_DOCKET).isascii() for make in examples.ALL.values())


def test_a_name_that_could_steer_the_terminal_is_shown_as_escapes() -> None:
    base = examples.confirmed()
    source = dataclasses.replace(base.readings.readings[0].source, name="a\x1b]0;x\x07\u202e.log")
    reading = dataclasses.replace(base.readings.readings[0], source=source)
    evil = dataclasses.replace(base, readings=dataclasses.replace(base.readings, readings=(reading,)))
    text = render(summary(evil), colour=True)
    assert "a\\x1b]0;x\\x07\\u202e.log" in text
    assert "\x07" not in text


def test_a_finding_shows_probability_alternative_and_mapping() -> None:
    finding = Finding(
        kind="data-lines-swapped",
        blocks=True,
        evidence="the code reads well only so",
        advice="check the two wires",
        probability=0.87,
        lines=("D3", "D4"),
        mapping=(("D3", "D4"), ("D4", "D3")),
        alternative_to="data-inverted",
        where=(Range(0x8400, 0x87FF),),
    )
    text = flat(text_of(dataclasses.replace(examples.confirmed(), findings=(finding,), verdict="provisional")))
    assert (
        "! data lines swapped: 8400-87FF, D3 is D4, D4 is D3 (probability 87%), or instead: data inverted "
        "The code reads well only so. To do: Check the two wires." in text
    )


def test_every_kind_has_words() -> None:
    assert set(FINDINGS) == set(KINDS)
    assert len(set(FINDINGS.values())) == len(KINDS)
    assert REGIONS["open-bus"] == "floating bus"


def rom(bits: int, care: int, value: int, own: int, unknown: int = 0) -> Function:
    return Function("rom", "ROM", own + 1, 8, own, Cube(bits, care, value), unknown, (Copy(value, own + 1, 1.0),))


@pytest.mark.parametrize(
    ("function", "names", "signs"),
    [
        (rom(16, 0xFC00, 0x8400, 0x3FF), "A15  A11  A7   A3", "1000 01.. .... ...."),
        (rom(8, 0x80, 0x80, 0xF, 0x40), "A7   A3", "1?xx ...."),
        (rom(10, 0x200, 0, 0x7F), "A9  A7   A3", "0x  x... ...."),
        (rom(12, 0, 0, 0xFFF), "A11  A7   A3", ".... .... ...."),
        (rom(24, 0xFF0000, 0x120000, 0xFFFF), "A23  A19  A15  A11  A7   A3", "0001 0010 .... .... .... ...."),
    ],
)
def test_patterns(function: Function, names: str, signs: str) -> None:
    assert pattern(function) == (names, signs)


def test_a_decode_without_any_fixed_line() -> None:
    assert decode_in_words(rom(12, 0, 0, 0xFFF)) == "Answers at any level of the lines above its own."
    assert decode_in_words(rom(12, 0, 0, 0x3FF, 0xC00)) == "Not exercised: A11 and A10."


def test_pins_are_given_where_a_rig_told_them() -> None:
    function = dataclasses.replace(rom(16, 0xFC00, 0x8400, 0x3FF), pins=(("CS1", "1"), ("RS0", "0"), ("CS2", "any")))
    assert "In the specimen's pins: ROM answers when CS1 = 1 and RS0 = 0; CS2 don't care." in decode_in_words(function)


def many_regions() -> Survey:
    kinds = [("rom", 0), ("ram", 1), ("open-bus", None), ("registers", 2)]
    regions = tuple(
        Region(0x8000 + i * 0x100, 0x80FF + i * 0x100, kinds[i % 4][0], kinds[i % 4][1])  # type: ignore[arg-type]
        for i in range(64)
    )
    functions = tuple(dataclasses.replace(rom(16, 0, 0, 0xFF), kind=kind) for kind in ("rom", "ram", "registers"))
    return Survey(16, (Region(0, 0x3FFF, "host"), *regions), functions)


def test_many_regions_become_a_strip_with_a_legend() -> None:
    lines = render(address_map(many_regions()), colour=False).splitlines()
    assert lines[0] == "each sign stands for 256 bytes"
    assert lines[1] == "0000  " + " ".join(["h" * 16] * 4)
    assert lines[2] == "8000  " + " ".join(["Rm-i" * 4] * 4)
    legend = "- = floating bus, R = ROM, h = host memory (left out), i = I/O and timer, m = RAM"
    assert " ".join(lines[3:]) == legend


def test_a_strip_never_grows_beyond_a_screen() -> None:
    scattered = tuple(Region(i << 24, (i << 24) + 15, "open-bus") for i in range(200))
    lines = address_map(Survey(32, scattered, ()))
    assert len(lines) <= 10
    assert max(width_of(line) for line in lines) <= 80
    whole = (Region(0, (1 << 32) - 1, "open-bus"), *(Region(i, i, "unknown") for i in range(11)))
    assert len(address_map(Survey(32, whole, ()))) <= 10


def test_what_matters_most_is_shown_where_a_sign_covers_several() -> None:
    regions = tuple(Region(i * 0x10, i * 0x10 + 15, "contended" if i == 3 else "rom", 0) for i in range(64 * 64 * 4))
    text = render(address_map(Survey(32, regions, (rom(32, 0, 0, 0xF),))), colour=False)
    assert "!" in text
    assert "RRR" in text


def test_more_roms_than_digits_share_a_sign() -> None:
    roms = tuple(rom(16, 0xFF00, i << 8, 0xFF) for i in range(12))
    regions = tuple(Region(i << 8, (i << 8) + 255, "rom", i) for i in range(12))
    text = render(address_map(Survey(16, regions, roms)), colour=False)
    assert "0000  123456789+++" in text
    assert "+ = further ROMs, 1 = ROM 1, 2 = ROM 2" in text


def test_many_roms_stay_a_page() -> None:
    base = examples.confirmed()
    functions = tuple(dataclasses.replace(examples.function(), name=f"ROM {i}") for i in range(12))
    images = tuple(examples.image(function=i) for i in range(12))
    findings = tuple(dataclasses.replace(examples.LINK, function=i) for i in range(12))
    survey = dataclasses.replace(base.survey, functions=functions)
    crowd = dataclasses.replace(base, survey=survey, images=images, findings=findings)
    text = text_of(crowd, dataclasses.replace(IN_DOCKET, written=tuple(f"fog/{i}.bin" for i in range(24))))
    assert "Also found: 11 more ROMs. The verdict is on all of them." in text
    assert "... and 8 more" in text
    assert "- characters corrupted on the line: ROM 2, ROM 3" in text
    assert text.count("\n") < 100


def test_a_new_session_gets_a_name_that_is_not_taken() -> None:
    base = examples.confirmed()
    taken = dataclasses.replace(base.readings, readings=examples.readings(3, sessions=("2", "3", "x")))
    assert "--session 4 NEW.log" in text_of(dataclasses.replace(base, readings=taken), IN_DOCKET)


def test_where_nothing_is_left_to_do_it_says_so() -> None:
    done = dataclasses.replace(
        examples.confirmed(),
        limits=(),
        survey=Survey(16, examples.regions(), (examples.function(unknown=0),)),
    )
    assert "Next       Nothing more is asked for. Keep the docket safe.\n" in text_of(done, IN_DOCKET)


def test_what_was_assumed_is_said_once_with_its_files() -> None:
    setting = Setting(assumed=(("a.log", "words are low byte first"), ("b.log", "words are low byte first")))
    assert "Assumed    a.log, b.log: words are low byte first\n" in text_of(examples.confirmed(), setting)
