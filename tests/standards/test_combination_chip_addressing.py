"""The addressing examples of the 6530's manual against what the twin decodes.

MCS6500 Microcomputer Family Hardware Manual, publication 6500-10A, second edition, January 1976, section 1.6: figure
1.36 (one chip, p. 81) and figure 1.37 (seven chips on a bus of 13 lines, with CS2 = A12, CS1 = A11, RS0 = A10).
"""

from __future__ import annotations

import numpy as np
import pytest

from romassay.catalogue import load_part, rig_of
from romassay.rig import Rig
from romassay.twin import Bench, observe, truth
from romassay.twin.build import bench_of
from romassay.twin.observe import offsets, selected

IGNORED, LOW, HIGH = None, 0, 1
Levels = dict[str, int | None]

ONE_CHIP: dict[str, Levels] = {
    "rom": {"CS2": IGNORED, "CS1": HIGH, "RS0": HIGH},
    "ram": {"CS2": IGNORED, "CS1": LOW, "RS0": LOW, "A9": LOW, "A8": IGNORED, "A7": HIGH, "A6": HIGH},
    "io-timer": {"CS2": IGNORED, "CS1": LOW, "RS0": LOW, "A9": HIGH, "A8": HIGH, "A7": HIGH, "A6": HIGH},
}


def seven(chip: int, rom: str, ram: str) -> tuple[int, dict[str, Levels]]:
    """One row of figure 1.37: the levels of CS2, CS1, RS0 for the ROM, and of A8, A7, A6 for RAM and I/O."""
    upper: Levels = {"CS2": LOW, "CS1": LOW, "RS0": LOW}
    middle = dict(zip(("A8", "A7", "A6"), map(int, ram), strict=True))
    return chip, {
        "rom": dict(zip(("CS2", "CS1", "RS0"), map(int, rom), strict=True)),
        "ram": {**upper, "A9": LOW, **middle},
        "io-timer": {**upper, "A9": HIGH, **middle},
    }


SEVEN_CHIPS = [
    seven(1, "001", "000"),
    seven(2, "010", "001"),
    seven(3, "011", "010"),
    seven(4, "100", "011"),
    seven(5, "101", "100"),
    seven(6, "110", "101"),
    seven(7, "111", "110"),
]

BASES = {  # by arithmetic from figure 1.37: the lowest address of ROM, RAM and I/O on 13 lines
    1: (0x0400, 0x0000, 0x0200),
    2: (0x0800, 0x0040, 0x0240),
    3: (0x0C00, 0x0080, 0x0280),
    4: (0x1000, 0x00C0, 0x02C0),
    5: (0x1400, 0x0100, 0x0300),
    6: (0x1800, 0x0140, 0x0340),
    7: (0x1C00, 0x0180, 0x0380),
}


def bench(mask: dict[str, Levels], bits: int = 13, seed: int = 0) -> Bench:
    """Wire a 6530 as the manual does: CS2 to A12, CS1 to A11, RS0 to A10."""
    words = {IGNORED: "ignored", LOW: "low", HIGH: "high"}
    tables = "".join(
        f"[twin.mask.{name}]\n" + "".join(f'{pin} = "{words[level]}"\n' for pin, level in levels.items())
        for name, levels in mask.items()
    )
    text = f"""
part = "6530"
[host]
address_bits = {bits}
[wiring]
"A0-A9" = "A0-A9"
RS0 = "A10"
CS1 = "A11"
CS2 = "A12"
"DB0-DB7" = "D0-D7"
PHI2 = "PHI2"
"R/W" = "R/W"
"/RES" = "/RES"
[twin]
seed = {seed}
[twin.evening]
window = ["0x0000-0x1FFF"]
{tables}"""
    found = rig_of(text, "manual.toml")
    assert isinstance(found.rig, Rig)
    return bench_of(found.rig, load_part("6530"), {})


def named(levels: Levels) -> dict[int, str]:
    """The levels of pins as those of the bus lines that they are on."""
    lines = {"CS2": 12, "CS1": 11, "RS0": 10, "A9": 9, "A8": 8, "A7": 7, "A6": 6}
    return {lines[pin]: "any" if level is None else str(level) for pin, level in levels.items()}


@pytest.mark.parametrize("function", ["rom", "ram", "io-timer"])
def test_figure_1_36_one_chip(function: str) -> None:
    found = {item.name: item for item in truth(bench(ONE_CHIP))}[function]
    spare = {"io-timer": {4: "any", 5: "any"}}.get(function, {})  # A4 and A5 are not decoded
    assert found.decode == {**named(ONE_CHIP[function]), **spare}


def test_figure_1_36_ram_serves_page_zero_and_the_stack_page() -> None:
    ram = next(item for item in truth(bench(ONE_CHIP)) if item.name == "ram")
    assert ram.copies[:2] == (0x00C0, 0x01C0)
    everything = np.arange(0x2000)
    seen = observe(bench(ONE_CHIP), everything)
    assert (seen[0x00C0:0x0100] == seen[0x01C0:0x0200]).all()


@pytest.mark.parametrize("chip", SEVEN_CHIPS, ids=lambda row: f"chip-{row[0]}")
@pytest.mark.parametrize("function", ["rom", "ram", "io-timer"])
def test_figure_1_37_seven_chips(chip: tuple[int, dict[str, Levels]], function: str) -> None:
    number, mask = chip
    on_bus = bench(mask)
    found = {item.name: item for item in truth(on_bus)}[function]
    spare = {"io-timer": {4: "any", 5: "any"}}.get(function, {})
    assert found.decode == {**named(mask[function]), **spare}
    first = BASES[number][("rom", "ram", "io-timer").index(function)]
    assert found.copies[0] == first
    assert len(found.copies) == {"rom": 1, "ram": 1, "io-timer": 4}[function]
    simulated = next(item for item in on_bus.specimens[0].functions if item.name == function)
    everything = np.arange(0x2000)
    answers = everything[selected(simulated, everything)]
    assert answers.tolist() == list(range(first, first + {"rom": 1024}.get(function, 64)))
    own = {"rom": 1024, "ram": 64, "io-timer": 16}[function]
    assert offsets(simulated, answers).tolist() == [(address - first) % own for address in answers.tolist()]


def test_figure_1_37_no_two_chips_answer_at_one_address_and_the_rom_is_7k() -> None:
    everything = np.arange(0x2000)
    chips = [bench(mask, seed=number) for number, mask in SEVEN_CHIPS]
    answers = {
        name: sum(
            selected(f, everything).astype(int) for chip in chips for f in chip.specimens[0].functions if f.name == name
        )
        for name in ("rom", "ram", "io-timer")
    }
    assert sum(answers.values()).max() == 1
    assert [int(count.sum()) for count in answers.values()] == [7 * 1024, 7 * 64, 7 * 64]
    assert everything[answers["rom"] > 0].tolist() == list(range(0x0400, 0x2000))


def test_page_80_the_7k_seen_at_the_top_of_memory_begin_at_58368() -> None:
    """Page 80 prints 57,367 as the lower end of the ROM at the top of memory; by arithmetic it is 58,368."""
    found = truth(bench(SEVEN_CHIPS[0][1], bits=16))
    rom = next(item for item in found if item.kind == "rom")
    assert rom.copies[-1] == 58368
