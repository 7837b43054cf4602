"""Rig files with slips in them: a named problem or a plan, never a traceback, and no pin on a wrong voltage."""

from __future__ import annotations

import re

from hypothesis import given, settings
from hypothesis import strategies as st

from romassay.catalogue import RigFile, rig_of
from romassay.errors import BadCatalogue
from romassay.plan import Plan
from romassay.plan.power import PLAIN_SUPPLY
from romassay.report.plan import plan_lines
from romassay.report.plan_json import plan_json
from romassay.report.plan_page import plan_page
from romassay.wiring import reading_level
from strategies_rigs import plan_of

COMBINATION = """part = "6530"
title = "invented"
window = ["0x4000-0x5FFF"]
host = "monitor-300-baud"
gated = ["CS1"]
[wiring]
"A0-A9" = "A0-A9"
RS0 = "A10"
CS1 = "A12"
CS2 = "A15"
"DB0-DB7" = "D0-D7"
PHI2 = "PHI2"
"R/W" = "R/W"
[held]
"/RES" = "high"
[supply.rails]
VCC = 5.0
[supply.regulator]
input = 9.0
heat_sink = 10.0
[buffer]
ranges = ["0x4000-0x5FFF"]
family = "LS"
[known.rom]
CS2 = "ignored"
"""
THREE_RAILS = """part = "2708"
drivers = "HCT"
[host]
like = "reader-5v"
address_bits = 12
memory = [{range = "0x0000-0x03FF", kind = "ram"}]
[host.cycle]
free_running = false
[wiring]
"A0-A9" = "A0-A9"
"D0-D7" = "D0-D7"
"/CS" = "A11"
[held]
PGM = "low"
[supply]
order = ["VBB", "VCC", "VDD"]
[supply.rails]
VBB = -5.0
VCC = 5.0
VDD = 12.0
[supply.checked]
VDD = "an invented data sheet, p. 2"
[pull_ups]
D0 = 4700
"""
MULTIPLEXED = """part = "8048"
host = "reader-multiplexed"
[wiring]
"DB0-DB7" = "AD0-AD7"
P20 = "A8"
P21 = "A9"
X1 = "CLK"
X2 = "/CLK"
"/RESET" = "/ALE"
[supply.rails]
VCC = 5.0
VDD = 5.0
EA = 12.0
[supply.checked]
EA = "an invented data sheet, p. 3"
[series]
P20 = 1000
"""
WORDS = (
    "6530 2708 2716 82S126 8755 6532 nothing VCC VSS VDD VBB EA PA0 PB0 DB0 D0 D9 A0 A10 A12 A31 A40 AD0 CS1 RS0 /CS "
    "PHI2 CLK /RD R/W /WR /RES high low ignored open LS LVC HCT monitor-300-baud reader-3v3 reader-multiplexed ram rom "
    "0x0000-0xFFFF 0x4000-0x47FF 0x0000-0x0000 0xE000-0xFFFF"
).split()
NUMBERS = ["0", "-5", "5", "5.0", "3.3", "12", "12.0", "25", "1e9", "-1e9", "nan", "inf", "8", "24", "16", "true"]


@st.composite
def mutated(draw: st.DrawFn) -> str:
    """A rig file with one to four slips: lines lost, doubled or moved, words and numbers exchanged, characters lost."""
    lines = draw(st.sampled_from([COMBINATION, THREE_RAILS, MULTIPLEXED])).splitlines()
    for _ in range(draw(st.integers(1, 4))):
        at = draw(st.integers(0, len(lines) - 1))
        kind = draw(st.sampled_from(["drop", "double", "swap", "word", "key", "number", "number", "word", "character"]))
        if kind == "drop" and len(lines) > 1:
            del lines[at]
        elif kind == "double":
            lines.insert(draw(st.integers(0, len(lines))), lines[at])
        elif kind == "swap":
            other = draw(st.integers(0, len(lines) - 1))
            lines[at], lines[other] = lines[other], lines[at]
        elif kind == "word":
            word = draw(st.sampled_from(WORDS))
            lines[at] = re.sub(r'"[^"]*"(?!.*")', f'"{word}"', lines[at], count=1)
        elif kind == "key":
            lines[at] = f'"{draw(st.sampled_from(WORDS))}" = ' + lines[at].partition("= ")[2]
        elif kind == "number":
            lines[at] = re.sub(r"= -?[\d.]+$", f"= {draw(st.sampled_from(NUMBERS))}", lines[at])
        elif lines[at]:
            cut = draw(st.integers(0, len(lines[at]) - 1))
            lines[at] = lines[at][:cut] + lines[at][cut + 1 :]
    return "\n".join(lines) + "\n"


def powered_rightly(found: RigFile, plan: Plan) -> None:
    """See that every pin gets what its role bears."""
    part = found.part
    assert part is not None
    rails = {rail.pin: rail for rail in part.rails}
    for wire in plan.wires:
        pin = next(pin for pin in part.pins if pin.n == wire.n)
        rail = rails.get(wire.n)
        if rail is not None and rail.nominal == 0:
            assert (wire.net, wire.to) == ("rail", "ground")
        elif rail is not None and wire.net == "open":
            assert plan.problems
        elif rail is not None:
            volts = float(wire.to.removesuffix(" V"))
            assert wire.net == "rail"
            assert rail.minimum is None or rail.maximum is None or rail.minimum <= volts <= rail.maximum
            assert volts * rail.nominal > 0
            assert abs(volts) <= abs(rail.nominal) * 1.1 + 1e-9
            assert volts <= PLAIN_SUPPLY or rail.src or pin.name in found.rig.supply.checked
        else:
            assert wire.net != "rail"
            assert pin.kind not in ("power", "ground")
        if wire.net == "raised":
            assert pin.hold == "raised"
            assert pin.name in found.rig.supply.checked
        if pin.kind in ("data", "address-data"):
            assert wire.net in ("data", "open")
        if pin.hold == "open":
            assert wire.net == "open"
        wanted = reading_level(part, pin)
        if wanted and wire.net in ("high", "low"):
            assert wire.net == wanted
        if pin.kind == "no-connect":
            assert wire.net == "open"
        if pin.kind == "io":
            assert wire.net in ("open", "address") or "in series" in wire.via or plan.problems
        if wire.net in ("high", "low"):
            assert wire.to == ("+5 V" if wire.net == "high" else "ground")
            assert pin.kind != "io" or wire.via or found.part is None
        if wire.net == "low":
            assert pin.name != "R/W"
    data = [wire.to for wire in plan.wires if wire.net == "data"]
    assert len(data) == len(set(data))  # no two outputs on one line


def outcome(text: str) -> RigFile | str:
    """Return the rig of a text, or what is said against it."""
    try:
        return rig_of(text, "mine.toml", strict=False)
    except BadCatalogue as e:
        return str(e)


@settings(max_examples=120, deadline=None)
@given(text=mutated())
def test_a_rig_with_slips_has_a_named_problem_or_a_plan(text: str) -> None:
    said = outcome(text)
    if isinstance(said, str):
        assert said.startswith("mine.toml")
        assert "\n" not in said
        return
    if said.part is None:
        return
    found, plan = said, plan_of(said)
    assert plan_lines(plan)
    assert plan_page(plan).endswith("</html>")
    assert plan_json(plan).startswith("{")
    assert all(item.kind and item.text and item.advice for item in plan.problems)
    assert not (plan.problems and (plan.steps or plan.checks))
    powered_rightly(found, plan)


def test_the_rigs_without_slips_can_be_built_but_for_what_they_are_made_to_show() -> None:
    for text in (COMBINATION, THREE_RAILS, MULTIPLEXED):
        found = rig_of(text, "mine.toml", strict=False)
        assert not plan_of(found).problems
        powered_rightly(found, plan_of(found))
