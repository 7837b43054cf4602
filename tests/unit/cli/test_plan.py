from __future__ import annotations

import json
import re
from pathlib import Path

import pytest

from romassay.catalogue import load_part
from romassay.cli import run
from romassay.errors import BadCatalogue
from romassay.part import Part
from romassay.session.plan import stand_ins

GOOD = 'part = "6530"\nhost = "monitor-300-baud"\ntitle = "Buoy <12> (invented)"\n'


@pytest.fixture
def rig(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.chdir(tmp_path)
    path = tmp_path / "rig.toml"
    path.write_text(GOOD)
    return path


def test_a_rig_without_a_problem_is_planned_and_exits_0(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    assert run(["plan", "rig.toml"]) == 0
    out = capsys.readouterr().out
    assert out.startswith("READY TO BUILD: nothing in the rig stands against it.\n")
    for title in ("Wiring", "Window", "Supply", "Time", "Levels", "Line to the file", "Checklist", "Run sheet"):
        assert f"\n{title}\n" in out
    assert "CS1 (PB6)   select   A11 *     1 kΩ in series" in out
    assert max(len(line) for line in out.splitlines() if "romassay assay" not in line) <= 81
    assert "romassay assay session-2-pass-1.log" in out
    assert rig.read_text() == GOOD


def test_a_rig_with_problems_exits_3_and_names_them(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig.write_text(GOOD + '[supply.rails]\nVCC = 9.0\n[held]\n"/RES" = "low"\n')
    assert run(["plan", "rig.toml"]) == 3
    out = capsys.readouterr().out
    assert re.match(r"NOT LIKE THIS: \d problems in the rig\.\n", out)
    assert "1. rail-beyond-maximum: +9 V at VCC is beyond the absolute maximum" in out
    assert "held-in-reset: /RES is held low" in out


def test_a_page_needs_nothing_else(rig: Path) -> None:
    assert run(["plan", "rig.toml", "--html", "plan.html"]) == 0
    page = Path("plan.html").read_text("utf-8")
    assert "Buoy &lt;12&gt; (invented)" in page
    assert "<script" not in page
    assert not re.search(r'(src|href)="(?!#)', page)
    assert page.count("<svg") > 3
    part = load_part("6530")
    assert all(f">{pin.n}</text>" in page for pin in part.pins)


def test_json_holds_the_whole_plan(rig: Path, capsys: pytest.CaptureFixture[str]) -> None:
    rig.write_text(GOOD.replace("6530", "2316"))
    run(["plan", "rig.toml", "--json"])
    plan = json.loads(capsys.readouterr().out)
    assert plan["schema"] == "romassay/plan/1"
    assert len(plan["wires"]) == 24
    assert plan["coverage"]["expected"][0]["selects"] == ["CS1", "CS2", "CS3"]
    assert plan["problems"] == []


def test_a_slip_in_the_file_is_one_line(rig: Path) -> None:
    rig.write_text(GOOD.replace("part", "parts"))
    with pytest.raises(BadCatalogue, match=r"rig\.toml:1: parts: unknown key; did you mean 'part'"):
        run(["plan", "rig.toml"])
    rig.write_text('host = "reader-5v"\n')
    with pytest.raises(BadCatalogue, match="the rig names no part"):
        run(["plan", "rig.toml"])


def test_parts_that_can_be_written_stand_in_for_a_mask_rom() -> None:
    parts: list[Part] = [load_part(name) for name in ("2316", "2716, 5 V", "2716, three rails", "2732", "2532", "2332")]
    assert stand_ins(parts[0], parts) == ("2716, 5 V",)
    assert stand_ins(parts[5], parts) == ("2532",)
    assert stand_ins(load_part("6530"), parts) == ()


def test_a_page_of_a_plan_with_problems_leaves_them_on_the_screen(
    rig: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    rig.write_text('part = "6530"\n[host]\naddress_bits = 16\n[wiring]\nPHI2 = "PHI2"\n')
    assert run(["plan", "rig.toml", "--html", "plan.html"]) == 3
    out = capsys.readouterr().out
    assert "no-clock: PHI2 is not on the host's clock" in out
    assert "[host.signals]" in out
    rig.write_text(rig.read_text() + '[host.signals]\nclock = "PHI2"\n')
    run(["plan", "rig.toml"])
    assert "no-clock" not in capsys.readouterr().out
