"""Bytes that are kept, memory of the host under the specimen, selects by the rig, and few bytes of another revision."""

from __future__ import annotations

from dataclasses import replace
from importlib.resources import files
from pathlib import Path

import numpy as np
import pytest
from tests.faulty import FIRST, FOG, first, readings, told, window

from romassay.catalogue import load_part, load_rig
from romassay.chain import Assay, Options, assay
from romassay.reading import Bytes, Reading


def kept(period: int) -> Bytes:
    """A window in which the specimen takes an address only once in so many accesses."""

    def hold(value: Bytes) -> Bytes:
        return value[np.arange(len(value)) // period * period]

    return window(data=hold)


def kinds(result: Assay) -> list[str]:
    return [finding.kind for finding in result.findings]


@pytest.mark.parametrize("period", [3, 8, 12, 32])
def test_a_byte_that_comes_again_all_over_is_a_latched_enable(period: int) -> None:
    result = told(kept(period))
    found = result.findings[0]
    assert found.kind == "latched-enable"
    assert f"{period} times in a row" in found.evidence
    assert result.verdict != "confirmed"


def test_a_period_that_address_lines_would_make_too_names_them() -> None:
    assert "A0 to A2" in first(told(kept(8)), "latched-enable").advice
    assert "A0" not in first(told(kept(12)), "latched-enable").advice


def test_a_ramp_in_steps_is_no_latched_enable() -> None:
    ramp = (np.arange(1024) // 16 * 2).astype(np.uint8)
    assert "latched-enable" not in kinds(told(window(ramp)))


def test_a_rom_that_keeps_to_one_byte_from_somewhere_on_is_latched() -> None:
    late = FOG.copy()
    late[0x240:] = 0x37
    found = first(told(window(late)), "latched-enable")
    assert found.offsets[0] <= 0x240
    padded = FOG.copy()
    padded[0x240:] = 0xEA
    assert "latched-enable" not in kinds(told(window(padded)))


def under(host: Bytes, value: Bytes) -> list[Reading]:
    """Two readings with host memory in the specimen's first block, and one of the empty socket."""
    both, hollow = value.copy(), np.full(len(value), 0xFF, np.uint8)
    both[: len(host)] &= host
    hollow[: len(host)] = host
    socket = readings(both, both, hollow)
    return [*socket[:2], replace(socket[2], role="empty-socket")]


@pytest.mark.parametrize(("filling", "line", "level"), [(0x00, 2, 1), (0xFF, 5, 0)])
def test_padding_on_a_stuck_data_line_is_no_latched_enable(filling: int, line: int, level: int) -> None:
    image = np.r_[FOG[:700], np.full(len(FOG) - 700, filling, np.uint8)]
    held = (image | 1 << line if level else image & (0xFF ^ 1 << line)).astype(np.uint8)
    found = told(window(held))
    assert "latched-enable" not in kinds(found)
    assert first(found, "data-line-stuck").lines == (f"D{line}",)


def test_host_memory_under_the_specimen_shows_by_the_empty_socket() -> None:
    result = assay(under(FOG[::-1], window()), Options(size=1024))
    found = first(result, "contention")
    assert found.where[0].first >= FIRST
    assert found.where[-1].last <= FIRST + 0x3FF
    assert sum(where.size for where in found.where) >= 0x200
    assert "harm" in found.advice
    assert result.verdict == "provisional"


def test_host_memory_beside_a_silent_specimen_is_no_conflict() -> None:
    quiet = window()
    quiet[:0x400] = 0xFF
    assert "contention" not in kinds(assay(under(FOG[::-1], quiet), Options(size=1024)))


def everywhere() -> Bytes:
    """A window in which the ROM answers at every address."""
    return FOG[np.arange(0x1000) & 0x3FF]


def test_a_wired_select_that_makes_no_difference_is_named_with_its_pin(tmp_path: Path) -> None:
    path = tmp_path / "rig.toml"
    path.write_bytes(files("romassay.twin.demo").joinpath("rig.toml").read_bytes())
    (tmp_path / "fog_signal.bin").write_bytes(FOG.tobytes())
    log = everywhere()
    found = assay(readings(log, log), Options(part=load_part("6530"), rig=load_rig(path).rig)).findings[0]
    assert (found.kind, found.lines) == ("select-tied", ("RS0",))
    assert "A10" in found.evidence
    assert "RS0 is pin 4" in found.advice


def test_a_part_of_which_nothing_answers_may_have_a_tied_select() -> None:
    log = np.full(0x1000, 0xFF, np.uint8)
    result = assay(readings(log, log), Options(part=load_part("6530")))
    assert (result.verdict, kinds(result)[0]) == ("not-found", "select-tied")
    assert "rated voltages" in result.findings[0].advice


def test_few_bytes_that_part_the_readings_alike_are_of_another_revision() -> None:
    other = FOG.copy()
    other[[0x103, 0x104, 0x105, 0x3FF]] ^= 0x5A
    found = first(told(window(), window(other), window(other), window()), "mixed-specimens")
    assert "4 bytes" in found.evidence


def test_weak_cells_part_the_readings_each_in_its_own_way() -> None:
    passes = [window() for _ in range(4)]
    for number, offset in enumerate((0x20, 0x90, 0x150, 0x2A0)):
        for chosen in (number, (number + 1) % 4):
            passes[chosen][offset] ^= 0x08
    assert "mixed-specimens" not in kinds(told(*passes))


def test_a_blank_half_is_half_a_specimen_only_where_the_program_breaks_off_there() -> None:
    sharp, ragged = FOG.copy(), FOG.copy()
    sharp[0x200:], ragged[0x1C0:] = 0xFF, 0xFF
    assert "half-image" in kinds(told(window(sharp)))
    result = told(window(ragged))
    assert "half-image" not in kinds(result)
    assert first(result, "size-ambiguous").blocks


def test_half_a_byte_that_stands_still_is_another_part() -> None:
    nibble = (FOG & 0x0F) | 0xC0
    made = readings(nibble, nibble)
    result = assay(made, Options(part=load_part("6830")))
    assert first(result, "wrong-part").lines == ("D4", "D5", "D6", "D7")
    assert result.verdict == "provisional"
