"""What makes a wrong image look proven: read the same each time, by faults or events that every reading shares."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from hypothesis import given, settings
from hypothesis import strategies as st

from faulty import FIRST, FOG, first, readings, told, window
from romassay.address import Cube, Range
from romassay.chain import Options, assay
from romassay.cpus.assemble import assemble
from romassay.cpus.catalogue import cpu_of
from romassay.diagnose.driven_twice import driven_twice
from romassay.diagnose.evidence import Evidence, gather
from romassay.diagnose.parts import two_chips
from romassay.diagnose.specimens import beside
from romassay.reading import Bytes, Reading, ReadingSet, Source, is_copy, reading_of
from romassay.settle import settle
from romassay.survey import survey
from romassay.survey.model import Copy, Function, Survey

ONCE = 0xC00
"""The lines of the window across which a ROM that appears once does not answer."""

SEEDS = st.integers(0, 2**32 - 1)


def once(image: Bytes = FOG) -> Bytes:
    """Return what one pass says where a ROM answers at 8000 alone, and the bus floats high elsewhere."""
    where = np.arange(FIRST, FIRST + 0x1000)
    return np.where(where & ~(len(image) - 1) & 0xFFF, np.uint8(0xFF), image[where & (len(image) - 1)]).astype(np.uint8)


def seen(value: Bytes, size: int | None = None) -> Evidence:
    """Return what the diagnosis looks at, of one pass read twice."""
    taken = ReadingSet(tuple(readings(value, value)), 16)
    found = survey(taken, size=size)
    return gather(taken, found, settle(taken, found), None, size)


def empty() -> Reading:
    """Return the window without the specimen."""
    made = reading_of([(FIRST, b"\xff" * 0x1000)], unit="hex-digit")
    return replace(made, role="empty-socket", source=Source("empty.log", "e" * 64))


def test_a_program_that_appears_once_is_confirmed() -> None:
    assert told(once()).verdict == "confirmed"


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.sampled_from([64, 128, 256, 512]))
def test_a_second_driver_at_a_rom_that_appears_once_is_doubted(seed: int, size: int) -> None:
    """Where two memories answer, a line is high where both are (wired AND: open-drain and NMOS outputs)."""
    draw = np.random.default_rng(seed)
    at = int(draw.integers(0, 512 // size)) * size
    fought = FOG.copy()
    fought[at : at + size] &= draw.integers(0, 256, size).astype(np.uint8)
    evidence = seen(once(fought), size=1024)
    doubt = next(driven_twice(evidence, evidence.images[0]), None)
    if doubt is None:
        assert size < 256
        return
    assert doubt.blocks
    assert all(FIRST + at <= each.first and each.last < FIRST + at + size for each in doubt.where)


def test_an_empty_socket_says_that_sparse_bytes_are_the_specimens_own() -> None:
    sparse = FOG & np.random.default_rng(5).integers(0, 256, 1024).astype(np.uint8)
    assert first(told(once(sparse)), "contention").blocks
    result = assay([*readings(once(sparse), once(sparse)), empty()], Options(size=1024))
    assert result.verdict == "confirmed"


@settings(max_examples=12, deadline=None)
@given(st.integers(0, 8), st.booleans())
def test_a_select_on_a_line_of_the_roms_own_is_named(line: int, level: bool) -> None:
    where = np.arange(FIRST, FIRST + 0x1000)
    silent = (where >> line & 1) == level
    result = told(np.where(silent, np.uint8(0xFF), window()).astype(np.uint8))
    assert result.verdict != "confirmed"
    if line >= 4:
        assert first(result, "address-lines-swapped").lines == (f"A{line}",)


def test_half_a_declared_size_that_only_floats_is_doubted() -> None:
    result = told(once(), size=2048)
    assert result.verdict == "provisional"
    assert first(result, "half-image").offsets == (1024, 2047)
    assert told(once(), size=4096).verdict == "provisional"
    low = np.arange(FIRST, FIRST + 0x1000)
    follows = np.where(low & 0xC00, low & 0xFF, once()).astype(np.uint8)
    assert first(told(follows, size=2048), "half-image").lines == ("A10",)


def test_a_bus_that_says_its_address_is_no_rom_whatever_another_machine_says() -> None:
    high = (np.arange(FIRST, FIRST + 0x1000) >> 8).astype(np.uint8)
    result = assay([*readings(high, high), empty()], Options(size=2048))
    assert result.verdict != "confirmed"


def program(seed: int, origin: int, size: int) -> Bytes:
    """Return invented 6502 code: routines that branch inside and call each other."""
    draw = np.random.default_rng(seed)
    lines, count = [f" org {origin}"], size // 20
    for number in range(count):
        lines += [f"sub{number}: ldx #{draw.integers(1, 32)}", f"loop{number}: lda ${draw.integers(16, 128):02x},x"]
        for _ in range(int(draw.integers(1, 4))):
            lines.append(f" {draw.choice(['adc', 'and', 'sta', 'cmp'])} ${draw.integers(16, 128):02x}")
        lines += [f" jsr sub{draw.integers(0, count)}", " dex", f" bne loop{number}"]
        lines.append(" rts" if draw.random() < 0.7 else f" jmp sub{draw.integers(0, count)}")
    code = assemble(cpu_of("6502"), "\n".join(lines)).data[:size]
    return np.frombuffer(code.ljust(size, b"\xff"), np.uint8)


@settings(max_examples=6, deadline=None)
@given(SEEDS)
def test_two_halves_whose_jumps_do_not_go_to_each_other_may_be_two_chips(seed: int) -> None:
    pair = np.concatenate([program(seed, 0x8000, 512), program(seed + 1, 0x9000, 512)])
    assert next(two_chips(seen(window(pair)))).blocks
    assert not list(two_chips(seen(window(program(seed, 0x8000, 1024)))))


def test_bytes_without_sense_may_be_ram_until_something_tells() -> None:
    random = np.random.default_rng(3).integers(0, 256, 1024).astype(np.uint8)
    result = told(window(random), size=None)
    assert result.verdict == "provisional"
    assert first(result, "ram-or-rom").blocks
    assert told(window(random)).verdict == "confirmed"
    again = assay(readings(window(random), window(random), session=("monday", "tuesday")))
    assert [f.kind for f in again.findings if f.blocks] == ["size-ambiguous"]


def font() -> Bytes:
    """Return invented characters of seven rows and six columns, each in eight bytes."""
    draw = np.random.default_rng(8)
    rows = draw.integers(1, 64, (128, 8)).astype(np.uint8) << 1
    rows[:, 7] = 0
    return rows.ravel()


def test_narrow_characters_leave_data_lines_quiet() -> None:
    result = told(window(font()))
    assert result.verdict == "confirmed"
    assert first(told(window(data=lambda value: value & np.uint8(0x7E))), "data-line-stuck").lines == ("D0", "D7")


def spoilt(value: Bytes, seed: int, count: int = 12) -> Reading:
    """Return one pass over a line that lost some digits and changed others into others."""
    draw = np.random.default_rng(seed)
    at = draw.choice(len(value), count, replace=False)
    known = np.full(len(value), 0xFF, np.uint8)
    known[at] = draw.choice([0x0F, 0xF0], count)
    heard = value & known
    heard[draw.choice(len(value), count // 3, replace=False)] ^= 0x20
    made = reading_of([(FIRST, heard.tobytes())], unit="hex-digit")
    return replace(made, known=known, source=Source(f"{seed}.log", f"{seed:064x}"))


def laid_out(reading: Reading, width: int) -> Reading:
    """Return the same observations in lines of another width, under another name."""
    starts = np.arange(0, len(reading), width)
    count = np.minimum(width, len(reading) - starts)
    runs = np.stack([FIRST + starts, starts, count, starts // width + 1], axis=1).astype(np.int64)
    return replace(reading, runs=runs, source=Source("saved-again.log", "a" * 64))


@settings(max_examples=20, deadline=None)
@given(SEEDS, st.sampled_from([4, 8, 16, 20, 32]), st.integers(3, 40))
def test_a_log_saved_again_in_another_layout_is_one_reading(seed: int, width: int, count: int) -> None:
    one = spoilt(once(), seed, count)
    assert is_copy(one, laid_out(one, width))
    assert not is_copy(one, spoilt(once(), seed + 1, count))
    part = replace(reading_of([(FIRST, one.value[:2048].tobytes())], unit="hex-digit"), known=one.known_bits()[:2048])
    assert is_copy(one, part) == (int(np.isin(part.known_bits(), (0x0F, 0xF0)).sum()) >= 3)


def test_a_clean_log_is_no_copy_of_another() -> None:
    one, other = readings(once(), once())
    assert not is_copy(one, other)


def test_a_copy_does_not_confirm_what_the_line_made_wrong() -> None:
    one = spoilt(window(), 4)
    copied = assay([one, laid_out(one, 8)], Options(size=1024))
    assert copied.verdict == "provisional"
    assert first(copied, "duplicate-reading").blocks
    assert copied.readings.copied == ("saved-again.log, pass 1",)


def test_a_byte_that_one_reading_has_otherwise_at_every_mirror_is_not_the_lines() -> None:
    other = FOG.copy()
    other[100] ^= 0x04
    passes = [window()] * 5 + [window(other)]
    noisy = [spoilt(value, seed) for seed, value in enumerate(passes)]
    result = assay(noisy, Options(size=1024))
    image = result.image
    assert image is not None
    assert 100 in {doubt.offset for doubt in image.doubtful}
    assert result.verdict == "provisional"


def test_revisions_that_differ_beside_the_piece_on_which_they_agree_are_two() -> None:
    other = FOG.copy()
    other[40:240] = np.roll(other[40:240], 3)
    taken = ReadingSet(tuple(readings(window(), window(other))), 16)
    piece = Function(
        "rom", "rom", 512, 8, 0x1FF, Cube(16, 0xFE00, 0x8200), 0, (Copy(0x8200, 512, 1.0), Copy(0x8A00, 512, 1.0))
    )
    found = Survey(16, (), (piece,))
    doubt = next(beside(gather(taken, found, settle(taken, found), None, None)))
    assert doubt.kind == "mixed-specimens"
    assert doubt.where == (Range(0x8000, 0x81FF), Range(0x8800, 0x89FF))
    same = ReadingSet(tuple(readings(window(), window())), 16)
    assert not list(beside(gather(same, found, settle(same, found), None, None)))


def pages(seed: int) -> Bytes:
    """Return invented 6502 code in pages of 256 bytes, none of which jumps to another."""
    draw = np.random.default_rng(seed)
    made = []
    for _ in range(4):
        lines = [" org $8000"]
        for number in range(16):
            lines += [f" ldx #{draw.integers(1, 32)}", f"loop{number}: lda ${draw.integers(16, 128):02x},x"]
            lines += [f" sta ${draw.integers(16, 128):02x}", " dex", f" bne loop{number}", " rts"]
        code = assemble(cpu_of("6502"), "\n".join(lines)).data[:256]
        made.append(np.frombuffer(code.ljust(256, b"\x60"), np.uint8))
    return np.concatenate(made)


@settings(max_examples=6, deadline=None)
@given(SEEDS)
def test_two_orders_of_address_lines_that_read_alike_are_both_named(seed: int) -> None:
    result = told(window(pages(seed)))
    assert result.verdict == "provisional"
    doubt = first(result, "address-lines-swapped")
    assert set(doubt.lines) <= {"A8", "A9"}
    assert doubt.probability < 0.5


@settings(max_examples=6, deadline=None)
@given(SEEDS, st.integers(2, 60))
def test_what_nearly_repeats_is_no_dead_line(seed: int, changed: int) -> None:
    """Where every reading says the same on both sides of a line, and not the same bytes, that line counts."""
    draw = np.random.default_rng(seed)
    twice = np.concatenate([FOG[:512], FOG[:512]])
    at = 512 + draw.choice(512, changed, replace=False)
    twice[at] ^= draw.integers(1, 256, changed).astype(np.uint8)
    found = {f.kind for f in told(window(twice)).findings}
    assert not found & {"address-line-stuck", "half-image"}
    assert {f.kind for f in told(window(np.tile(FOG[:512], 2))).findings} & {"half-image"}


def test_what_a_dead_line_leaves_of_a_larger_rom_is_doubted() -> None:
    """A8 is stuck; the page where A9 is low holds a few vectors and padding, which pass for registers."""
    large = np.full(1024, 0xFF, np.uint8)
    large[512:768] = FOG[:256]
    large[:48] = FOG[256:304]
    where = np.arange(FIRST, FIRST + 0x1000)
    here = large[where & 0x2FF]
    log = np.where(where & 0x400 == 0, np.uint8(0xFF), here).astype(np.uint8)
    result = told(log, size=None)
    assert result.verdict != "confirmed"
    assert "address-line-stuck" in {f.kind for f in result.findings if f.blocks}


def test_what_goes_on_behind_a_declared_size_is_doubted() -> None:
    """A ROM of 1024 bytes, of which the last are blank, is declared as 512, on a bus that floats high."""
    large = FOG.copy()
    large[900:] = 0xFF
    assert told(once(large), size=1024).verdict == "confirmed"
    result = told(once(large), size=512)
    assert result.verdict != "confirmed"
    assert first(result, "wrong-part").lines == ("A9",)
