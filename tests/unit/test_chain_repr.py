"""What a notebook shows of values, what it offers, and what it says to a slip: short lines."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest

import examples
import romassay
from romassay.errors import BadValue


def test_an_assay_shows_itself_in_one_line() -> None:
    assert repr(examples.confirmed()) == "<Assay confirmed: ROM of 1024 bytes at 8400, 4 copies, CRC-32 5f12e6b1>"
    assert repr(examples.not_found()) == "<Assay not-found: no ROM in 1 reading(s)>"


def test_what_was_loaded_and_its_readings_show_themselves_in_one_line(tmp_path: Path) -> None:
    log = tmp_path / "pass-1.log"
    log.write_text("".join(f"{0x4000 + 8 * n:04X} {'0A ' * 7}0B\n" for n in range(64)) + "READY\n")
    found = romassay.load(log)
    assert repr(found) == f"<Loaded {log}: text-dump, 1 reading(s) of 512 bytes, 1 line(s) left>"
    assert repr(found.readings[0]) == f"<Reading {log}, pass 1 (specimen): 512 bytes at 4000-41FF, 0 hole(s)>"


def test_what_an_assay_is_made_of_shows_itself_in_one_line() -> None:
    made = examples.confirmed()
    assert (
        repr(made.image) == "<Image of function 0: 1024 bytes, each seen 12 times or more in 3 reading(s), 0 in doubt>"
    )
    assert repr(made.survey) == "<Survey of 16 lines: rom of 1024 bytes in 4 place(s); 8 region(s)>"
    assert repr(made.readings) == "<ReadingSet on 16 lines: 3 of specimen>"
    assert repr(romassay.load_part("2716, 5 V")).startswith("<Part 2716, 5 V: 2048 x 8 ")


@pytest.mark.parametrize("slip", ["pass-1.log", Path("pass-1.log"), ["pass-1.log"], 7])
def test_a_name_in_place_of_what_load_returns_is_told(slip: object) -> None:
    with pytest.raises(TypeError, match=r"7|pass-1\.log.* holds no readings; give what `romassay\.load` returns"):
        romassay.assay(slip)  # type: ignore[arg-type]


def test_no_reading_at_all_is_told() -> None:
    with pytest.raises(BadValue, match="there is no reading to assay"):
        romassay.assay([])


def test_a_notebook_is_offered_every_door_before_it_was_used() -> None:
    code = "import romassay; print(set(romassay.__all__) <= set(dir(romassay)))"
    assert subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout == "True\n"


def test_a_users_type_checker_knows_what_the_doors_lead_to(tmp_path: Path) -> None:
    script = tmp_path / "use.py"
    script.write_text("import romassay as ra\n\nreveal_type(ra.assay(ra.load('x')).verdict)\nra.load(3)\n")
    told = subprocess.run(
        [sys.executable, "-m", "mypy", "--strict", "--cache-dir", str(tmp_path / "cache"), str(script)],
        capture_output=True, text=True, check=False,
    ).stdout  # fmt: skip
    assert "Literal['confirmed']" in told or "'confirmed'" in told
    assert 'Argument 1 to "load" has incompatible type "int"' in told
